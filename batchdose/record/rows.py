"""One row of the treatment record, and how its hash is made.

Every value is kept as text, so that a row reads back the same whatever program saved the workbook.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, fields
from operator import attrgetter

from batchdose.texts import mark

#: What a row is: a dose (also one not given), a release of what holds an animal, a period that a prescriber gives.
DOSE, RELEASE, PERIOD = "dose", "release", "period"

#: Headings of the record in order, by field.
HEADINGS = {
    "row": "Row", "kind": "Kind", "corrects": "Concerns row", "line": "Job and line", "tag": "Tag", "eid": "EID",
    "mob": "Mob", "head": "Head", "medicine": "Medicine", "planned_for": "Planned for", "planned": "Planned dose",
    "given": "Given", "amount": "Amount", "unit": "Unit", "given_at": "Given at", "batch_no": "Batch", "by": "By",
    "why_not": "Why not", "note": "Note", "needle": "Needle broken", "holds": "Clear not stated because",
    "about": "About the animal", "facts": "Facts", "recorded": "Recorded on", "hash": "Hash",
}  # fmt: skip
#: Fields written as number cells.
NUMBERS = ("row", "corrects", "head", "planned", "amount")
#: Fields that say what happened; a row that differs in none of them says nothing new.
SAID = ("given", "amount", "unit", "given_at", "batch_no", "by", "why_not", "note", "needle", "holds",
        "about")  # fmt: skip
#: Why a treatment without a plan states no clear-from, until a period is entered with it.
NOT_PLANNED = mark("not on the plan")
#: Reasons why a dose states no clear-from, as they stand in the record.
HELD, MORE = mark("given though held"), mark("more given than planned")
NO_TIME, NOT_CLEAR = mark("the time is not known"), mark("the entry is not clear")
REASONS = frozenset((NOT_PLANNED, HELD, MORE, NO_TIME, NOT_CLEAR))
NO_ROW_BEFORE = "0" * 64
BROKEN = "yes"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the record. `row` counts from 1; `corrects` is the number of the row that it corrects or releases.

    `given_at` is ISO 8601 with offset, or a date alone where no time is known, or empty. `holds` are the reasons,
    one behind the other with `; `, why this dose states no clear-from. `facts` is the key of its course's facts.
    """

    row: str = ""
    kind: str = DOSE
    corrects: str = ""
    line: str = ""
    tag: str = ""
    eid: str = ""
    mob: str = ""
    head: str = ""
    medicine: str = ""
    planned_for: str = ""
    planned: str = ""
    given: str = ""
    amount: str = ""
    unit: str = ""
    given_at: str = ""
    batch_no: str = ""
    by: str = ""
    why_not: str = ""
    note: str = ""
    needle: str = ""
    holds: str = ""
    about: str = ""
    facts: str = ""
    recorded: str = ""
    hash: str = ""

    @property
    def number(self) -> int:
        """Number of the row."""
        return int(self.row)

    @property
    def course(self) -> str:
        """What the doses of one course of one animal share: their line without the number of the dose."""
        return self.line.rpartition("/")[0] or self.line

    def says_the_same(self, other: Row) -> bool:
        """Whether two rows of one line say that the same happened."""
        return all(getattr(self, name) == getattr(other, name) for name in SAID)


def latest_of_lines(rows: Iterable[Row]) -> dict[str, Row]:
    """The row that holds of each line: the last one written."""
    return {row.line: row for row in sorted(rows, key=lambda row: row.number) if row.kind == DOSE}


_as_json = json.JSONEncoder(ensure_ascii=False).encode
_content = attrgetter(*(field.name for field in fields(Row) if field.name != "hash"))


def row_hash(row: Row, before: str) -> str:
    """SHA-256 over a row's content and the hash of the row before it.

    The content is a JSON list of its texts in the order of the headings, so that nothing can move from cell to cell.
    """
    content = _as_json([before, *_content(row)])
    return hashlib.sha256(content.encode("utf-8", "surrogatepass")).hexdigest()
