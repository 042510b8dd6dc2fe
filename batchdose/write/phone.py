"""The words that the job sheet's script shows on a phone: one place, so that the script holds none.

What stands in braces is filled in by the script (`templates/job_sheet.js`).
"""

from __future__ import annotations

import re
from typing import Any

from batchdose.amounts import COUNTED, number_text, plain_amount, unit_word
from batchdose.texts import mark, say

#: Words by name.
_WORDS = {
    "all_mobs": mark("All mobs"),
    "weight_group": mark("weight group {group}"),
    "ticked": mark("{done} of {all} doses ticked."),
    "not_in_full": mark("{count} of them not given in full."),
    "one_found": mark("1 animal."),
    "many_found": mark("{count} animals."),
    "no_such_tag": mark("No such tag on this sheet: do not dose."),
    "other_mob": mark("Not in this mob, but in: {mobs}."),
    "more": mark("{count} more: type more of the tag."),
    "more_left": mark("and {count} more."),
    "give": mark("Tick when given"),
    "given": mark("✓ Given {time}"),
    "which": mark("({number} of {times})"),
    "not_given": mark("✗ Not given"),
    "part": mark("½ Part given: {amount}"),
    "other_amount": mark("✓ Given {time}: {amount}"),
    "needle_broke": mark("needle broken"),
    "otherwise": mark("Not given, part, note"),
    "how_much": mark("About how much went in?"),
    "none": mark("None"),
    "quarter": mark("¼"),
    "half": mark("½"),
    "mostly": mark("¾"),
    "whole": mark("All"),
    "amount": mark("Or the amount, in {unit}"),
    "amount_unclear": mark("This amount cannot be read: write it in figures."),
    "why": mark("Why, or a note"),
    "own_words": mark("In your own words"),
    "needle": mark("A needle broke"),
    "keep": mark("Keep this"),
    "take_back": mark("Take back"),
    "not_kept": mark("This phone does not keep ticks when the page is closed: save them as .csv first."),
    "saved": mark("Saved as {name}."),
    "scan": mark("Scan with the camera"),
    "stop_scan": mark("Stop the camera"),
    "no_camera": mark("The camera cannot be used here."),
}
#: Why a dose is not given in full (common practice, no source).
_REASONS = (
    mark("Not there"), mark("Got away"), mark("Sick or hurt"), mark("Spat out or spilt"),
    mark("Bottle empty"), mark("Vet or owner said no"),
)  # fmt: skip


def phone_words() -> dict[str, Any]:
    """The words by name in the language spoken, with the reasons to choose from, the decimal mark and the units.

    Units go by their words in the data of the sheet, which are the same in every language.
    """
    words: dict[str, Any] = {name: _with_braces(message) for name, message in _WORDS.items()}
    return words | {"reasons": list(map(say, _REASONS)), "decimal": number_text(0.5)[1:2], "units": _units()}


def _with_braces(message: str) -> str:
    """A message whose values the script fills in."""
    return say(message, **{name: f"{{{name}}}" for name in re.findall(r"{(\w+)}", message)})


def _units() -> dict[str, tuple[str, str]]:
    """Units that are words, for one and for several, by how the data of the sheet have them."""
    return {plain_amount(1, unit).split(" ")[1]: (unit_word(unit, 1), unit_word(unit, 2)) for unit in ("IU", *COUNTED)}
