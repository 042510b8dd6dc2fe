"""The record workbook: made new, or with rows put behind those it has. What is there keeps its bytes."""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

from batchdose.given import RECORD_FACTS
from batchdose.write.book_part import BookPart
from batchdose.write.package import Deflated, Package
from batchdose.write.sheet_rows import last_row, rows_markup, with_rows
from batchdose.write.xmltext import CannotCopyError

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

RECORD_SHEET, FACTS_SHEET, STOCK_SHEET = "Record", RECORD_FACTS, "Stock left"
#: First cell of the sheet of facts, by which a record is known.
FACTS_MARK = "batchdose treatment record"
_WIDE = 18
#: Facts of a course longer than a cell holds cannot be kept (specification of spreadsheet programs: 32,767).
LONGEST_CELL = 32_767
#: Rows of a record, and its parts unpacked [bytes]: within what can still be read back and added to.
MOST_ROWS, LARGEST_RECORD = 240_000, 500 * 1024 * 1024
#: The part that makes reading quick. A relation of a kind that programs do not know is no fault (part 2, clause 6.5).
INDEX_PART, _INDEX_RELATION = "xl/record-index.json", "urn:batchdose:record-index"
_END = b"</sheetData>"


class RecordFullError(Exception):
    """With these rows the record would be larger than what can be read back."""


@dataclass(frozen=True, slots=True)
class Behind:
    """Where the next rows go: the number of the last row on the sheet, and the bytes of its part up to there.

    `stream` are bytes compressed, `size` bytes unpacked, `crc` is their check sum.
    """

    place: int
    stream: int
    size: int
    crc: int


def new_record(headings: Sequence[str]) -> bytes:
    """A record without rows: the headings, and the hidden sheet of facts."""
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    from batchdose.write.result_sheets import saved

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
    facts: Mapping[str, str], there: int, behind: Behind | None = None,
) -> tuple[bytes, Behind]:  # fmt: skip
    """The record with more rows on its sheet, and more facts by key; and where the next rows would go.

    `columns` says in which column (from zero) each value of a row goes, `there` how many rows it has, `behind` where
    they go if that is known. Raises CannotCopyError where the workbook is written in a way that nothing can be added
    to, RecordFullError where it would grow too large to be read.
    """
    if len(rows) + there > MOST_ROWS:
        raise RecordFullError
    package = Package(record, LARGEST_RECORD)
    book = BookPart(package)
    width = max(columns) + 1
    part, facts_part = _part(book, sheet), _part(book, facts_sheet)
    behind = _put_rows(package, part, [_placed(row, columns, width) for row in rows], behind)
    if facts:
        whole = package.read(facts_part)
        package.put(facts_part, with_rows(whole, rows_markup(last_row(whole) + 1, list(facts.items()))))
    if INDEX_PART not in package:
        package.add_part(INDEX_PART, b"", "application/json")
        package.relate(package.workbook, _INDEX_RELATION, INDEX_PART)
    package.put(INDEX_PART, b"")
    data = package.save()
    with zipfile.ZipFile(BytesIO(data)) as made:
        if sum(info.file_size for info in made.infolist()) > LARGEST_RECORD:
            raise RecordFullError
    return data, behind


def with_index(record: bytes, index: Callable[[str], bytes]) -> bytes:
    """The record with its index, which is made for the digest of all its other parts."""
    package = Package(record, LARGEST_RECORD)
    content = index(package.digest(INDEX_PART))
    package.put(INDEX_PART, Deflated().with_more(content, last=True, level=1))
    return package.save()


def _put_rows(package: Package, part: str, rows: Sequence[Sequence[object]], behind: Behind | None) -> Behind:
    """Put rows behind those of a sheet. Where that is known, what is there is not even unpacked."""
    if behind is None:
        whole = package.read(part)
        place = last_row(whole)
        whole = with_rows(whole, rows_markup(place + 1, rows))
        end = whole.index(_END)
        there, tail = Deflated().with_more(whole[:end], last=False), whole[end:]
    else:
        stream, place = package.stream(part), behind.place
        tail = zlib.decompress(stream[behind.stream :], -15)
        there = Deflated((stream[: behind.stream],), behind.crc, behind.size)
        there = there.with_more(rows_markup(place + 1, rows), last=False)
    package.put(part, there.with_more(tail, last=True))
    return Behind(place + len(rows), there.length, there.size, there.crc)


def _part(book: BookPart, name: str) -> str:
    entry = book.sheet(name)
    if entry is None or entry.part is None:
        raise CannotCopyError(f'its sheet "{name}" is not found')
    return entry.part


def _placed(row: Sequence[object], columns: Sequence[int], width: int) -> list[object]:
    cells: list[object] = [None] * width
    for at, value in zip(columns, row, strict=True):
        cells[at] = value
    return cells
