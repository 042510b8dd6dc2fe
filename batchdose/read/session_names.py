"""Names that an entry of the sheet `Session` may have, and what each holds."""

from __future__ import annotations

from batchdose.read.fields import WEIGHING, normal

#: Names accepted on the `Session` sheet, by field; the first of each is ours.
ACCEPTED = {
    "client": ("Client", "Client name", "Customer", "Farm", "Farm name"),
    "holding": ("Holding number", "Holding"),
    "operator": ("Operator",),
    "date": ("Date", "Day", "Date of treatment", "Treatment date", "Day of treatment", "Treated on"),
    "time": ("Time", "Time of treatment"),
    "zone": ("Time zone", "Zone"),
    "date_order": ("Date order", "Order of dates", "Date format"),
    "species": ("Species",),
    "weight_unit": ("Weight unit", "Unit", "Units", "Unit of weight", "Weights in"),
    "weighing_sheet": ("Weighing sheet", "Weights sheet"),
    "oldest_weight_days": ("Oldest weight",),
    "scale_step_kg": ("Scale step",),
    "scale_tolerance_kg": ("Scale tolerance",),
    "cut_step_kg": ("Cut step",),
    "rules": ("Rules", "Country"),
    "organic": ("Organic", "Organic farm"),
    "spare": ("Spare",),
    "milking_times": ("Milking times",),
    "max_drafts": ("Largest number of drafts", "Max drafts", "Maximum drafts", "Maximum number of drafts", "Drafts"),
    "least_head": ("Least head in a draft",),
    "least_saving": ("Least saving",),
    "drafts_for": ("Drafts for",),
    "under_dosed_share": ("Under-dosed share",),
    "confidence": ("Confidence",),
    "gun_set_to": ("Gun set to",),
    "gun_gave": ("Gun gave", "Gun gave in all"),
    "gun_shots": ("Gun shots",),
    "language": ("Language", "Language of the job sheet", "Idioma", "Langue"),
}  # fmt: skip
#: `Weight column`, `Tag column` ... name a column of the weighing sheet.
COLUMN = "column:"
NAMES = {normal(name): field for field, names in ACCEPTED.items() for name in names}
NAMES |= {normal(f"{spec.headings[0]} column"): f"{COLUMN}{spec.name}" for spec in WEIGHING}

#: Entries that are for people only.
FOR_PEOPLE = frozenset(map(normal, ("Note", "Notes", "Remark", "Remarks", "Comment", "Comments")))


def written(field: str) -> str:
    """How a name is written on the sheet Session.

    >>> written("scale_step_kg"), written("column:weight"), written("max_drafts")
    ('Scale step', 'Weight column', 'Largest number of drafts')
    """
    if field.startswith(COLUMN):
        return f"{field.removeprefix(COLUMN)} column".replace("_", " ").capitalize()
    return ACCEPTED[field][0]


#: What an entry holds, by field, for the docs.
_HELP = {
    "client": "printed", "holding": "printed", "operator": "printed", "date": "day of treatment", "time": "hour of it",
    "zone": "Europe/Dublin", "date_order": "day first, or month first: how dates such as 03/04/2026 are meant",
    "species": "of all animals whose row and mob do not say it", "weight_unit": "kg or lb, where the heading is bare",
    "weighing_sheet": "which sheet, where several have tags and weights",
    "oldest_weight_days": "days after which a weight is told as old, 30 if not stated",
    "scale_step_kg": "0.5 kg", "scale_tolerance_kg": "0.5 kg: how far the scale may be off",
    "cut_step_kg": "1 kg: drafts are cut on whole steps",
    "rules": "EU, GB (or UK), US, AU, NZ, none; a country of the EU is EU",
    "organic": "yes or no", "spare": "5 %: added to the product (a bare 0.5 is asked about)",
    "milking_times": "06:00, 17:30",
    "max_drafts": "largest number of settings for a mob", "least_head": "10: no draft of fewer head",
    "least_saving": "2 %: another draft that saves less is not recommended",
    "drafts_for": "least product, or least overdose: what the split into drafts is for",
    "under_dosed_share": "5 %: of a mob weighed in part, at most so many may get less than their dose",
    "confidence": "95 %: how sure that is to be",
    "gun_set_to": "5 mL: what the gun was set to when it was measured; with several medicines in the job, one line for "
    "each, `Gun set to: wormer A`",
    "gun_gave": "49 mL: what all shots gave together; `Gun gave: wormer A` likewise",
    "gun_shots": "10: how many shots, 10 if not stated; `Gun shots: wormer A` likewise",
    "language": "of the job sheet: English, español or français (en, es, fr)",
}  # fmt: skip


def session_page() -> str:
    """The part of `docs/headings.md` on the sheet `Session`: each name, others accepted, what it holds."""
    lines = ["", "## Session", "", "A name and beside it its value, one a line; a heading row may stand above.", ""]
    lines += ["| Name | Also accepted | Holds |", "|---|---|---|"]
    lines += [f"| {written(field)} | {', '.join(ACCEPTED[field][1:])} | {held} |" for field, held in _HELP.items()]
    lines.append("| Weight column, Tag column ... | | the heading or the letter of that column on the weighing sheet |")
    return "\n".join(lines) + "\n"
