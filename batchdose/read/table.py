"""A table found on a sheet: its headings, its rows, and the places of its cells; cells as the sheet shows them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from batchdose.amounts import clean
from batchdose.findings import CellRef, Finding, column_letter
from batchdose.read.book import Book, Cell, NoValue, Sheet
from batchdose.read.facts import in_thousands, shown_words


@dataclass(frozen=True)
class Table:
    """A table found on a sheet: where its heading row is, which column (from zero) holds which field.

    `doubles` is the first field that two columns carry, with the two: such a table cannot be used. `unclear` are
    headings that could mean several fields. `second_weight` is a further column of weights in another unit.
    """

    book: Book
    sheet: Sheet
    header_row: int
    columns: Mapping[str, int]
    units: Mapping[str, str]
    findings: tuple[Finding, ...] = field(default=())
    doubles: tuple[str, int, int] | None = None
    unclear: tuple[tuple[int, str, tuple[str, ...]], ...] = ()
    second_weight: tuple[int, str] | None = None

    def rows(self) -> Iterator[tuple[int, dict[str, Cell]]]:
        """Rows below the heading that hold anything in a known column: sheet row (from one) and fields.

        A number whose format shows a percentage or a unit is given as the text that is shown.
        """
        formats, filled = self.sheet.facts.formats, self.filled()
        for number, plain in enumerate(self.sheet.rows[self.header_row :], self.header_row + 1):
            row = filled.get(number, plain)
            values = {name: row[at] if at < len(row) else None for name, at in self.columns.items()}
            for name, at in self.columns.items() if formats else ():
                values[name] = as_shown(values[name], formats.get((number - 1, at), ""))
            if any(value is not None for value in values.values()):
                yield number, values

    def filled(self) -> dict[int, list[Cell]]:
        """Rows below the heading that a cell merged over several rows reaches, with its value in each of them."""
        found: dict[int, list[Cell]] = {}
        for top, left, last, value in self.merged_down():
            for at in range(top + 1, last + 1):
                cells = found.setdefault(at + 1, list(self.sheet.rows[at]))
                cells.extend([None] * (left + 1 - len(cells)))
                cells[left] = value
        return found

    def merged_down(self) -> Iterator[tuple[int, int, int, Cell]]:
        """First row, column and last row (from zero) of each cell merged over several rows, and its value."""
        rows, known = self.sheet.rows, set(self.columns.values())
        for top, left, bottom, _ in self.sheet.facts.merged:
            if left in known and top >= self.header_row and bottom > top and top < len(rows):
                value = rows[top][left] if left < len(rows[top]) else None
                yield top, left, min(bottom, len(rows) - 1), value

    def format(self, row: int, name: str) -> str:
        """The number format of a field's cell, where it changes what the value means."""
        return self.sheet.facts.formats.get((row - 1, self.columns.get(name, -1)), "")

    def where(self, row: int, name: str) -> CellRef:
        """The cell of a field in a sheet row."""
        return self.cell(row, self.columns.get(name, 0))

    def cell(self, row: int, column: int) -> CellRef:
        """The cell in a sheet row and a column counted from zero."""
        return CellRef(self.book.source.name, self.sheet.name, f"{column_letter(column)}{row}")

    @property
    def header(self) -> CellRef:
        """The heading row."""
        return self.cell(self.header_row, 0)


def heading_of(name: str) -> str:
    """Our own heading of a field.

    >>> heading_of("withdrawal:meat"), heading_of("dose_rate")
    ('Meat withdrawal', 'Dose rate')
    """
    if name.startswith("withdrawal:"):
        return f"{name.removeprefix('withdrawal:').capitalize()} withdrawal"
    return name.replace("_", " ").capitalize()


def as_shown(cell: Cell, code: str) -> Cell:
    """A number as its format shows it, where that is a percentage or has a unit in quotes at its end.

    >>> as_shown(0.01, "0%"), as_shown(10.0, '0.0" mg/mL"'), as_shown(10.0, "0.0")
    ('1 %', '10 mg/mL', 10.0)
    """
    if not code or isinstance(cell, bool) or not isinstance(cell, (int, float)):
        return cell
    if "%" in code:
        return f"{(Decimal(repr(cell)) * 100).normalize():f} %"
    if in_thousands(code):
        return f"{cell_text(cell)} (shown in thousands)"
    unit = shown_words(code)
    return f"{cell_text(cell)} {unit}" if unit else cell


def cell_text(cell: Cell) -> str:
    r"""A cell as text; whole numbers without a decimal point, so that tag 412 is `412`.

    >>> cell_text(412.0), cell_text(" a\u00a0b ")
    ('412', 'a b')
    """
    if isinstance(cell, str):
        return clean(cell)
    if cell is None:
        return ""
    if isinstance(cell, NoValue):
        return cell.shows
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return clean(str(cell))
