"""The record workbook: made new, or with rows put behind those it has. What is there keeps its bytes."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping, Sequence
from io import BytesIO

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from batchdose.given import RECORD_FACTS
from batchdose.write.book_part import BookPart
from batchdose.write.package import Package
from batchdose.write.result_sheets import saved
from batchdose.write.sheet_rows import last_row, rows_markup, with_rows
from batchdose.write.xmltext import CannotCopyError

RECORD_SHEET, FACTS_SHEET = "Record", RECORD_FACTS
#: First cell of the sheet of facts, by which a record is known.
FACTS_MARK = "batchdose treatment record"
_WIDE = 18
#: Facts of a course longer than a cell holds cannot be kept (specification of spreadsheet programs: 32,767).
LONGEST_CELL = 32_767
#: Rows of a record, and its parts unpacked [bytes]: within what can still be read back and added to.
MOST_ROWS, LARGEST_RECORD = 150_000, 190 * 1024 * 1024


class RecordFullError(Exception):
    """With these rows the record would be larger than what can be read back."""


def new_record(headings: Sequence[str]) -> bytes:
    """A record without rows: the headings, and the hidden sheet of facts."""
    book = Workbook()
    sheet: Worksheet = book.worksheets[0]
    sheet.title = RECORD_SHEET
    for column, heading in enumerate(headings, 1):
        cell = sheet.cell(1, column, heading)
        cell.font, cell.fill = Font(bold=True), PatternFill("solid", fgColor="DDDDDD")
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.column_dimensions[get_column_letter(column)].width = _WIDE
    sheet.freeze_panes = "A2"
    facts: Worksheet = book.create_sheet(FACTS_SHEET)
    facts.sheet_state = "hidden"
    facts.cell(1, 1, FACTS_MARK)
    facts.cell(1, 2, 1)
    return saved(book)


def with_more(
    record: bytes, sheet: str, facts_sheet: str, columns: Sequence[int], rows: Sequence[Sequence[object]],
    facts: Mapping[str, str], there: int,
) -> bytes:  # fmt: skip
    """The record with more rows on its sheet, and more facts by key.

    `columns` says in which column (from zero) each value of a row goes, `there` how many rows it has. Raises
    CannotCopyError where the workbook is written in a way that nothing can be added to, RecordFullError where it
    would grow too large to be read.
    """
    if len(rows) + there > MOST_ROWS:
        raise RecordFullError
    package = Package(record)
    book = BookPart(package)
    width = max(columns) + 1
    _append(package, book, sheet, [_placed(row, columns, width) for row in rows])
    _append(package, book, facts_sheet, list(facts.items()))
    data = package.save()
    with zipfile.ZipFile(BytesIO(data)) as made:
        if sum(info.file_size for info in made.infolist()) > LARGEST_RECORD:
            raise RecordFullError
    return data


def _placed(row: Sequence[object], columns: Sequence[int], width: int) -> list[object]:
    cells: list[object] = [None] * width
    for at, value in zip(columns, row, strict=True):
        cells[at] = value
    return cells


def _append(package: Package, book: BookPart, name: str, rows: Sequence[Sequence[object]]) -> None:
    entry = book.sheet(name)
    if entry is None or entry.part is None:
        raise CannotCopyError(f'its sheet "{name}" is not found')
    if rows:
        part = package.read(entry.part)
        package.put(entry.part, with_rows(part, rows_markup(last_row(part) + 1, rows)))
