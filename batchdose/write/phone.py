"""The words that the job sheet's script shows on a phone: one place, so that the script holds none.

What stands in braces is filled in by the script (`templates/job_sheet.js`).
"""

from __future__ import annotations

#: Words by name.
_WORDS = {
    "all_mobs": "All mobs",
    "weight_group": "weight group {group}",
    "ticked": "{done} of {all} doses ticked.",
    "not_in_full": "{count} of them not given in full.",
    "one_found": "1 animal.",
    "many_found": "{count} animals.",
    "no_such_tag": "No such tag on this sheet: do not dose.",
    "other_mob": "Not in this mob, but in: {mobs}.",
    "more": "{count} more: type more of the tag.",
    "more_left": "and {count} more.",
    "give": "Tick when given",
    "given": "✓ Given {time}",
    "which": "({number} of {times})",
    "not_given": "✗ Not given",
    "part": "½ Part given: {amount}",
    "other_amount": "✓ Given {time}: {amount}",
    "needle_broke": "needle broken",
    "otherwise": "Not given, part, note",
    "how_much": "About how much went in?",
    "none": "None",
    "quarter": "¼",
    "half": "½",
    "mostly": "¾",
    "whole": "All",
    "amount": "Or the amount, in {unit}",
    "amount_unclear": "This amount cannot be read: write it in figures.",
    "why": "Why, or a note",
    "own_words": "In your own words",
    "needle": "A needle broke",
    "keep": "Keep this",
    "take_back": "Take back",
    "not_kept": "This phone does not keep ticks when the page is closed: save them as .csv first.",
    "saved": "Saved as {name}.",
    "scan": "Scan with the camera",
    "stop_scan": "Stop the camera",
    "no_camera": "The camera cannot be used here.",
    "decimal": ".",
}
#: Why a dose is not given in full (common practice, no source).
_REASONS = ("Not there", "Got away", "Sick or hurt", "Spat out or spilt", "Bottle empty", "Vet or owner said no")


def phone_words() -> dict[str, str | list[str]]:
    """The words by name, and the reasons to choose from under `reasons`."""
    return {**_WORDS, "reasons": list(_REASONS)}
