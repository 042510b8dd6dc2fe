"""The sheets that are filled in after the job: their names, their headings, what the plan keeps behind them.

Written by one part of the program and read by another, so their shape stands here. Types and names only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

#: Names of the sheets: one line a dose, one line a mob, and the plan itself (very hidden).
GIVEN, GIVEN_MOBS, PLAN_KEPT = "Job given", "Job given by mob", "Job plan kept"
#: Name of the hidden sheet of a treatment record, by which one is known among other workbooks.
RECORD_FACTS = "Record facts"
#: First cell of the hidden sheet, by which it is known again whatever it is called now.
MARK = "batchdose plan kept"
PLAN_FORMAT = 1

#: Headings of the sheet with one line a dose, by field; those that staff fill in, then the line's own number.
PLANNED_HEADINGS = {
    "tag": "Tag", "eid": "EID", "mob": "Mob", "medicine": "Medicine", "number": "Dose of course",
    "planned_for": "Planned for", "planned": "Dose", "unit": "Unit", "planned_batch": "Planned bottle",
    "held": "Held and why",
}  # fmt: skip
FILLED_HEADINGS = {
    "given": "Given", "amount": "Amount given", "when": "Date and time", "batch_no": "Bottle", "by": "By",
    "why_not": "Why not", "note": "Note", "needle": "Needle broken",
}  # fmt: skip
LINE_HEADINGS = {**PLANNED_HEADINGS, **FILLED_HEADINGS, "line": "Line"}
#: Headings of the sheet with one line a mob.
MOB_FILLED = {
    "all_given": "All given", "except": "Except (tags)", "when": "Finished at", "batch_no": "Bottle", "by": "By",
    "note": "Note",
}  # fmt: skip
MOB_HEADINGS = {
    "mob": "Mob", "medicine": "Medicine", "number": "Dose of course", "planned_for": "Planned for", "head": "Head",
    **MOB_FILLED, "line": "Line",
}  # fmt: skip

YES, NO, PART = "yes", "no", "part"


def dose_line(animal: int, course: int, number: int) -> str:
    """Name of one dose of the plan: row of the animals table, course, and which dose of the course.

    >>> dose_line(12, 0, 3)
    '12/0/3'
    """
    return f"{animal}/{course}/{number}"


@dataclass(frozen=True, slots=True)
class PlannedDose:
    """One dose of the plan: who gets it, when, how much. `held` is the reason not to give it.

    `amount` is decimal text in `unit` of product, empty where none is planned. `about` says of the animal what
    its withdrawal and the record depend on (species, sex, weight, giving birth, earlier periods).
    """

    line: str
    course: int
    number: int
    tag: str
    eid: str
    mob: str
    head: int
    medicine: str
    planned_for: str
    amount: str
    unit: str
    batches: tuple[str, ...]
    held: str
    about: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class PlanKept:
    """The plan behind a fill-in sheet: the job's identity, its doses by line, and the facts of each course as JSON.

    `source` is the stem of the weighing workbook.
    """

    identity: str
    client: str
    planned: str
    zone: str
    date_order: str
    courses: tuple[str, ...]
    doses: Mapping[str, PlannedDose]
    mob_lines: Mapping[str, tuple[str, ...]]
    source: str = ""
