"""The record workbook read back: its rows, the facts of its courses, and whether it is a record at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from batchdose.findings import CellRef, UnusableInputError, column_letter
from batchdose.kept import Facts, facts_key, facts_of
from batchdose.read.book import Book, Cell, Sheet, open_book
from batchdose.read.table import cell_text
from batchdose.record.rows import HEADINGS, Row
from batchdose.write.record_book import FACTS_MARK, RECORD_SHEET


@dataclass(frozen=True)
class Record:
    """A treatment record: its rows as they stand on the sheet, with the sheet row of each, and facts by key.

    `spoiled` are keys whose facts no longer fit them. `columns` has the place of each field, from zero.
    """

    book: Book
    sheet: str
    rows: tuple[Row, ...]
    places: tuple[int, ...]
    columns: Mapping[str, int]
    facts: Mapping[str, Facts]
    spoiled: frozenset[str] = frozenset()

    def where(self, place: int, field: str) -> CellRef:
        """The cell of a field in a sheet row."""
        return CellRef(self.book.source.name, self.sheet, f"{column_letter(self.columns[field])}{place}")

    @property
    def head_hash(self) -> str:
        """Hash of the last row by number, empty for a record without rows."""
        return max(self.rows, key=lambda row: row.number).hash if self.rows else ""


def is_record(book: Book) -> bool:
    """Whether a workbook is a treatment record, told by the mark on its sheet of facts."""
    return _facts_sheet(book) is not None


def open_record(path: Path) -> Record:
    """Read a record. Raises UnusableInputError where the file is none, or a column of it is missing."""
    return record_of(open_book(path))


def record_of(book: Book) -> Record:
    """The record in a workbook. Raises UnusableInputError where it is none, or a column of it is missing."""
    facts_sheet = _facts_sheet(book)
    if facts_sheet is None:
        raise UnusableInputError(
            book.source.name, "This is not a treatment record.", "Give the workbook that batchdose record wrote."
        )
    sheet, header, columns = _table(book)
    facts, spoiled = _facts(facts_sheet)
    order = [columns[field] for field in HEADINGS]
    found = [(number, row) for number, cells in enumerate(sheet.rows[header:], header + 1)
             if (row := _row(cells, order)) is not None]  # fmt: skip
    _check_numbers(book, sheet, columns, found)
    return Record(
        book, sheet.name, tuple(row for _, row in found), tuple(number for number, _ in found), columns, facts,
        frozenset(spoiled),
    )  # fmt: skip


def _facts_sheet(book: Book) -> Sheet | None:
    return next((s for s in book.sheets if s.rows and s.rows[0] and s.rows[0][0] == FACTS_MARK), None)


def _table(book: Book) -> tuple[Sheet, int, dict[str, int]]:
    """The sheet of the rows, its heading row (from one) and the column of each field, wherever people moved them."""
    fields = {heading: field for field, heading in HEADINGS.items()}
    best: tuple[Sheet, int, dict[str, int]] | None = None
    for sheet in book.sheets:
        for number, cells in enumerate(sheet.rows[:10], 1):
            columns: dict[str, int] = {}
            for at, cell in enumerate(cells):
                if field := fields.get(cell_text(cell)):
                    columns.setdefault(field, at)
            if len(columns) > (len(best[2]) if best else len(HEADINGS) // 2):
                best = sheet, number, columns
    if best is None:
        raise UnusableInputError(
            CellRef(book.source.name, RECORD_SHEET), "The headings of the record are not there.",
            "Put the heading row back, or go back to the last good copy of the record.",
        )  # fmt: skip
    missing = [HEADINGS[field] for field in HEADINGS if field not in best[2]]
    if missing:
        raise UnusableInputError(
            CellRef(book.source.name, best[0].name), f"The record has no column {', '.join(missing)}.",
            "Put the heading back as it was, or go back to the last good copy of the record.",
        )  # fmt: skip
    return best


def _row(cells: list[Cell], order: list[int]) -> Row | None:
    """The row of a sheet row, its columns in the order of the fields; None where it is blank."""
    if len(cells) <= (last := max(order)):
        cells = [*cells, *[None] * (last + 1 - len(cells))]
    texts = ["" if (cell := cells[at]) is None else _text(cell) for at in order]
    return Row(*texts) if any(texts) else None


def _text(cell: Cell) -> str:
    """A cell as the text that was hashed: numbers in their shortest form, texts as they stand."""
    if isinstance(cell, str):
        return cell.replace("\r\n", "\n") if "\r" in cell else cell
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    return cell_text(cell)


def _check_numbers(book: Book, sheet: Sheet, columns: Mapping[str, int], rows: list[tuple[int, Row]]) -> None:
    for number, row in rows:
        if not row.row.isascii() or not row.row.isdigit():
            raise UnusableInputError(
                CellRef(book.source.name, sheet.name, f"{column_letter(columns['row'])}{number}"),
                f'"{row.row}" is not the number of a row of the record.',
                "Undo the change, or go back to the last good copy; a row of your own belongs on another sheet.",
            )  # fmt: skip


def _facts(sheet: Sheet) -> tuple[dict[str, Facts], set[str]]:
    facts: dict[str, Facts] = {}
    spoiled: set[str] = set()
    for cells in sheet.rows[1:]:
        key, text = (cell_text(cells[0]), cells[1]) if len(cells) > 1 else ("", "")
        if not key or not isinstance(text, str):
            continue
        try:
            known = facts_of(text)
        except (ValueError, LookupError, TypeError, AttributeError):
            spoiled.add(key)
        else:
            if facts_key(text) == key:
                facts[key] = known
            else:
                spoiled.add(key)
    return facts, spoiled - facts.keys()
