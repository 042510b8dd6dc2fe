"""The filled-in sheets of a dosed workbook, and ticks from a .csv file: what staff entered, cell by cell.

Nothing is judged here: a cell is kept as it stands, with its place.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from batchdose.findings import CellRef, UnusableInputError, column_letter
from batchdose.given import (
    FILLED_HEADINGS,
    LINE_HEADINGS,
    MARK,
    MOB_FILLED,
    MOB_HEADINGS,
    PLAN_FORMAT,
    PLAN_KEPT,
    PlanKept,
    PlannedDose,
)
from batchdose.read.book import Book, Cell, Sheet, open_book
from batchdose.read.fields import normal, withdrawal_fields
from batchdose.read.package import names_sheet
from batchdose.read.table import cell_text

#: Other headings that ticks and sheets of their own may have, by field.
_OTHERS = {
    "batch_no": ("batch_no", "batch", "batch number"), "when": ("when", "given at"), "amount": ("amount",),
    "number": ("dose number",), "needle": ("broken needle",), "line": ("line",), "job": ("job",),
    "why_not": ("why_not",), "unit": ("unit",),
}  # fmt: skip
_HEADING_WITHIN = 5
#: The apostrophe that keeps a spreadsheet from taking a text of the ticks for a formula (docs/ticks.md).
_GUARD = re.compile(r"^'(?=[=+\-@\t])")


@dataclass(frozen=True)
class Entry:
    """One row of a filled-in sheet: its cells by field, and the place of each."""

    book: str
    sheet: str
    row: int
    columns: Mapping[str, int]
    cells: Mapping[str, Cell]

    def text(self, field: str) -> str:
        """A cell as text, empty where it is blank or has no column; without the guard of the ticks' .csv file."""
        return _GUARD.sub("", cell_text(self.cells.get(field)))

    def where(self, field: str) -> CellRef:
        """The cell of a field, the row's first cell where it has no column."""
        return CellRef(self.book, self.sheet, f"{column_letter(self.columns.get(field, 0))}{self.row}")


@dataclass(frozen=True)
class FilledIn:
    """What came back: the plan kept behind the sheets (None without one), and the entries."""

    book: Book
    plan: PlanKept | None
    lines: tuple[Entry, ...]
    mobs: tuple[Entry, ...]


def read_given(path: Path) -> FilledIn:
    """Read the filled-in sheets of a workbook, or of a .csv of ticks, with the plan kept in it.

    Raises UnusableInputError where it cannot be read, or has no sheet with the headings Given and Medicine.
    """
    book = open_book(path)
    lines, mobs = _entries(book)
    if lines is None:
        raise UnusableInputError(
            book.source.name, 'No sheet has the headings "Medicine" and "Given".',
            "Give the dosed workbook whose sheet Job given was filled in, or a table with these headings.",
        )  # fmt: skip
    return FilledIn(book, _plan(book), tuple(lines), tuple(mobs or ()))


def filled_cells(path: Path) -> CellRef | None:
    """The first cell in which staff entered anything on a workbook's fill-in sheets; None where there is none.

    Raises UnusableInputError where a workbook with such sheets cannot be read.
    """
    if not names_sheet(path, PLAN_KEPT):
        return None
    book = open_book(path)
    lines, mobs = _entries(book)
    for entries, filled in ((lines, FILLED_HEADINGS), (mobs, MOB_FILLED)):
        for entry in entries or ():
            planned = bool(entry.text("line"))
            named = [name for name in (*filled, *(() if planned else ("tag", "medicine"))) if entry.text(name)]
            if named:
                return entry.where(named[0])
    return None


def _entries(book: Book) -> tuple[list[Entry] | None, list[Entry] | None]:
    """Entries of the sheet with a line a dose and of that with a line a mob, None for one that is not there."""
    lines = mobs = None
    for sheet in book.sheets:
        if mobs is None and (found := _heading(sheet, MOB_HEADINGS, {"medicine", "all_given"})):
            mobs = list(_rows(book, sheet, *found))
            continue
        found = _heading(sheet, LINE_HEADINGS, {"medicine", "given"})
        # Our own sheet stands above any other that happens to have these headings.
        if found and (lines is None or "line" in found[1]):
            lines = list(_rows(book, sheet, *found))
    return lines, mobs


def _heading(sheet: Sheet, headings: Mapping[str, str], needed: set[str]) -> tuple[int, dict[str, int]] | None:
    """Row of the headings (from one) and the column of each field, where those needed are there."""
    known = {normal(other): field for field, others in _OTHERS.items() for other in others}
    known |= {normal(heading): field for field, heading in headings.items()}
    for number, row in enumerate(sheet.rows[:_HEADING_WITHIN], 1):
        columns: dict[str, int] = {}
        for at, cell in enumerate(row):
            field = (known.get(normal(cell)) or _period_field(cell)) if isinstance(cell, str) else None
            if field:
                columns.setdefault(field, at)
        if needed <= columns.keys():
            return number, columns
    return None


def _period_field(heading: str) -> str | None:
    """The field of a heading such as `Meat withdrawal`: the period that holds for a treatment without a plan."""
    found = withdrawal_fields(heading)
    return found[0] if len(found) == 1 else None


def _rows(book: Book, sheet: Sheet, header: int, columns: dict[str, int]) -> Iterator[Entry]:
    for number, row in enumerate(sheet.rows[header:], header + 1):
        cells = {field: row[at] for field, at in columns.items() if at < len(row) and row[at] is not None}
        if cells:
            yield Entry(book.source.name, sheet.name, number, columns, cells)


def _plan(book: Book) -> PlanKept | None:
    """The plan kept on the hidden sheet; None where there is no such sheet."""
    for sheet in book.sheets:
        if sheet.rows and sheet.rows[0] and sheet.rows[0][0] == MARK:
            try:
                return _plan_of([(cell_text(row[0]), str(row[1])) for row in sheet.rows if len(row) > 1])
            except (ValueError, LookupError, TypeError) as error:
                raise UnusableInputError(
                    CellRef(book.source.name, sheet.name), "The plan kept behind the fill-in sheet was changed.",
                    "Plan the job again with batchdose dose, and copy the entries onto the new sheet.",
                ) from error  # fmt: skip
    return None


def _plan_of(rows: list[tuple[str, str]]) -> PlanKept:
    job = json.loads(rows[0][1])
    if job["format"] != PLAN_FORMAT:
        raise ValueError(job["format"])
    doses: dict[str, PlannedDose] = {}
    mobs: dict[str, tuple[str, ...]] = {}
    for kind, text in rows[1:]:
        if kind == "dose":
            *planned, batches, held, about = json.loads(text)
            doses[planned[0]] = PlannedDose(*(*planned, tuple(batches), held, about))
        elif kind.startswith("mob/"):
            mobs[kind] = (*mobs.get(kind, ()), *json.loads(text))
    courses = tuple(text for kind, text in rows[1:] if kind == "course")
    return PlanKept(
        job["identity"],
        job["client"],
        job["planned"],
        job["zone"],
        job["date_order"],
        courses,
        doses,
        mobs,
        job.get("source", ""),
    )
