"""A workbook of plain tables: a sheet each, headings frozen, with links to files beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.worksheet.hyperlink import Hyperlink

from batchdose.write.result_sheets import fill_rows, new_sheet, saved


@dataclass(frozen=True)
class Link:
    """A cell that opens a file: its text, and the file's place from the workbook."""

    text: str
    target: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Table:
    """One sheet: its name, headings with the width of each column in characters, and the rows."""

    name: str
    headings: Sequence[tuple[str, int]]
    rows: Sequence[Sequence[object]]


def workbook_of(tables: Iterable[Table]) -> bytes:
    """The tables as a workbook, with the same bytes for the same tables."""
    book = Workbook()
    book.remove(book.worksheets[0])
    for table in tables:
        sheet = new_sheet(book, table.name, *zip(*table.headings, strict=True))
        fill_rows(sheet, table.rows)
        sheet.auto_filter.ref = sheet.dimensions
        for number, row in enumerate(table.rows, 2):
            for column, value in enumerate(row, 1):
                if isinstance(value, Link) and value.target:
                    cell = sheet.cell(number, column)
                    cell.hyperlink = Hyperlink(ref=cell.coordinate, target=value.target)
                    cell.font = Font(underline="single", color="1F4E9A")
    return saved(book)
