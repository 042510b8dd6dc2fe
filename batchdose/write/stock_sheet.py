"""The sheet `Stock left` of the treatment record, made anew at each recording; its rows keep their bytes."""

from __future__ import annotations

from collections.abc import Sequence

from batchdose.findings import column_letter
from batchdose.write.book_part import BookPart
from batchdose.write.package import Package
from batchdose.write.record_book import LARGEST_RECORD, STOCK_SHEET
from batchdose.write.sheet_rows import rows_markup

_HEADINGS = ("Medicine", "Batch", "Pack", "Packs", "Left in the opened one", "Unit", "Opened on", "Last day of use",
             "Stopper entered", "What it rests on")  # fmt: skip
_WIDTHS = (32, 14, 9, 9, 12, 8, 13, 15, 10, 70)
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def with_stock_sheet(record: bytes, rows: Sequence[Sequence[object]]) -> bytes:
    """The record with its sheet of what is left, in the place of the one it has, else behind all sheets.

    Raises CannotCopyError where the workbook is written in a way that nothing can be added to.
    """
    package = Package(record, LARGEST_RECORD)
    book = BookPart(package)
    content = _sheet([_HEADINGS, *rows])
    there = book.own_sheets().get(STOCK_SHEET)
    if there is None or there.part is None:
        book.add_sheet(STOCK_SHEET, content)
    elif package.read(there.part) == content:
        return record
    else:
        package.put(there.part, content)
    book.store()
    return package.save()


def _sheet(rows: Sequence[Sequence[object]]) -> bytes:
    """A sheet part: widths of its columns (clause 18.3.1.13), then its rows."""
    columns = "".join(
        f'<col min="{at}" max="{at}" width="{width}" customWidth="1"/>' for at, width in enumerate(_WIDTHS, 1)
    )
    last = f"{column_letter(len(_HEADINGS) - 1)}{len(rows)}"
    return b"".join((
        b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n',
        f'<worksheet xmlns="{_MAIN}"><dimension ref="A1:{last}"/>'
        f"<cols>{columns}</cols><sheetData>".encode(),
        rows_markup(1, rows), b"</sheetData></worksheet>",
    ))  # fmt: skip
