"""Cells put into the bytes of one worksheet part, and taken out of them, by their places.

Clauses are those of ECMA-376 part 1: rows 18.3.1.73, cells 18.3.1.4, columns 18.3.1.13, the used range
18.3.1.35. A row or cell without a reference follows the one before it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple, TypeAlias

from batchdose.findings import column_letter
from batchdose.write.ranges import LAST_COLUMN, LAST_ROW, area, area_text, column_number
from batchdose.write.xmltext import MAIN, CannotCopyError, Edit, Element, XmlText, attribute

#: Rows give, for their number, cells as (column, markup), left to right.
Cells: TypeAlias = Callable[[int], Sequence[tuple[int, bytes]]]


class Row(NamedTuple):
    """Where a row stands: its number from 1, its content from `inside` to `close`; self-closed, `inside` is `end`."""

    number: int
    start: int
    inside: int
    close: int
    end: int


class Cell(NamedTuple):
    """Where a cell stands, its column from 1, and whether it says so itself."""

    column: int
    start: int
    end: int
    referenced: bool


class Grid:
    """Rows and cells of a worksheet part."""

    def __init__(self, xml: XmlText) -> None:
        self.xml = xml
        data = xml.element("sheetData")
        if data is None:
            raise CannotCopyError(f"{xml.part} holds no rows")
        self.data: Element = data
        if xml.text.count(MAIN.encode()) > 1 and self._is_mixed():
            raise CannotCopyError(f"{xml.part} is written in an unusual way")
        self._row, self._row_close = xml.open_tag("row"), b"</" + xml.prefix + b"row"
        self._cell = xml.open_tag("c")
        self._one_cell = re.compile(rb"<%bc(?=[\s/>])[^>]*?(?:/>|>.*?</%bc\s*>)" % (xml.prefix, xml.prefix), re.DOTALL)
        self._content = re.compile(rb"<%b(?:f|v|is)[\s/>]" % xml.prefix)
        self._formula = re.compile(rb"<%bf[\s/>]" % xml.prefix)

    def _is_mixed(self) -> bool:
        """Whether rows or cells have another prefix than the sheet, which they may where two mean the same."""
        tags = re.finditer(rb"<([\w.-]+:)?(?:row|c)[\s/>]", self.xml.marks[self.data.inside : self.data.close])
        return any((found[1] or b"") != self.xml.prefix for found in tags)

    def rows(self) -> Iterator[Row]:
        """Every row, in order. Raises CannotCopyError where the order is not that of their numbers."""
        marks, end, number = self.xml.marks, self.data.close, 0
        at = marks.find(self._row, self.data.inside, end)
        while at >= 0:
            inside = marks.find(b">", at, end) + 1
            stated = _ROW_NUMBER.search(marks, at, inside)
            following = int(stated[1]) if stated else number + 1
            if following <= number or following > LAST_ROW or marks[at + len(self._row)] not in b" \t\r\n/>":
                raise CannotCopyError(f"the rows of {self.xml.part} are not in order")
            number = following
            if marks[inside - 2] == ord("/"):
                close = after = inside
            else:
                close = marks.find(self._row_close, inside, end)
                after = marks.find(b">", close, end) + 1
            yield Row(number, at, inside, close, after)
            at = marks.find(self._row, after, end)

    def cells(self, row: Row) -> Iterator[Cell]:
        """Every cell of a row, in order."""
        column = 0
        for found in self._one_cell.finditer(self.xml.marks, row.inside, row.close):
            stated = _CELL_COLUMN.match(self.xml.marks, found.start(), found.end())
            here = column_number(stated[1]) if stated else column + 1
            if here <= column or here > LAST_COLUMN:
                raise CannotCopyError(f"the cells of row {row.number} in {self.xml.part} are not in order")
            column = here
            yield Cell(column, found.start(), found.end(), stated is not None)

    def last_column(self, row: Row) -> int:
        """Column of the last cell of a row, 0 where it has none."""
        marks = self.xml.marks
        at = marks.rfind(self._cell + b" ", row.inside, row.close)
        if at < 0 or self._one_cell.search(marks, at + 1, row.close):
            return max((cell.column for cell in self.cells(row)), default=0)
        stated = _CELL_COLUMN.match(marks, at, marks.find(b">", at))
        return column_number(stated[1]) if stated else max(cell.column for cell in self.cells(row))

    def is_filled(self, cell: Cell) -> bool:
        """Whether a cell holds anything but a format."""
        return self._content.search(self.xml.marks, cell.start, cell.end) is not None

    def filled_in(self, number: int) -> list[int]:
        """Columns that hold anything in one row."""
        row = next((row for row in self.rows() if row.number == number), None)
        return [cell.column for cell in self.cells(row) if self.is_filled(cell)] if row else []

    def filled_columns(self, first_row: int, after: int = 0) -> set[int]:
        """Columns right of `after` that hold anything in this row or below."""
        found: set[int] = set()
        for row in self.rows():
            if row.number >= first_row and self.last_column(row) > after:
                found.update(cell.column for cell in self.cells(row) if cell.column > after and self.is_filled(cell))
        return found

    def edits(self, columns: Sequence[int], first_row: int, new: Cells, last_row: int) -> Iterator[Edit]:
        """What clears these columns from `first_row` on and puts the new cells there.

        `new` is asked for every row up to `last_row`, in order. Raises CannotCopyError where a formula would
        be cleared: it may be listed in the calculation chain, and it is the user's own.
        """
        markup: list[bytes] = []
        missing = first_row
        for row in self.rows():
            if row.number < first_row:
                continue
            missing_rows = self._missing(range(missing, min(row.number, last_row + 1)), new)
            if missing_rows:
                yield Edit(row.start, row.start, missing_rows)
            missing = row.number + 1
            yield from self._row_edits(row, columns, new(row.number) if row.number <= last_row else ())
        markup.append(self._missing(range(missing, last_row + 1), new))
        if added := b"".join(markup):
            yield self._at_end_of_data(added)

    def set_height(self, row: Row, points: float) -> None:
        """Give a height to a row that states none."""
        at = row.inside - (2 if row.inside == row.end else 1)
        self.xml.replace(at, at, b' ht="%g" customHeight="1"' % points)

    def _at_end_of_data(self, rows: bytes) -> Edit:
        if self.data.self_closed:
            return Edit(self.data.end - 2, self.data.end, b">" + rows + b"</" + self.xml.prefix + b"sheetData>")
        return Edit(self.data.close, self.data.close, rows)

    def _missing(self, numbers: Iterable[int], new: Cells) -> bytes:
        """Rows that the sheet does not have yet, where something goes into them."""
        rows = ((number, b"".join(markup for _, markup in new(number))) for number in numbers)
        return b"".join(b'%b r="%d">%b%b>' % (self._row, n, cells, self._row_close) for n, cells in rows if cells)

    def _row_edits(self, row: Row, columns: Sequence[int], new: Sequence[tuple[int, bytes]]) -> Iterator[Edit]:
        if row.inside == row.end:
            if new:
                cells = b"".join(markup for _, markup in new)
                yield Edit(row.end - 2, row.end, b">" + cells + self._row_close + b">")
        elif self.last_column(row) < columns[0]:
            if new:
                yield Edit(row.close, row.close, b"".join(markup for _, markup in new))
        elif not self._ends_in(row, columns, b"".join(markup for _, markup in new)):
            yield from self._among_cells(row, columns, new)

    def _ends_in(self, row: Row, columns: Sequence[int], cells: bytes) -> bool:
        """Whether a row ends in these cells already and has nothing else in our columns, as most do in a second run."""
        if not cells or not self.xml.text.endswith(cells, row.inside, row.close):
            return False
        return self.last_column(row._replace(close=row.close - len(cells))) < columns[0]

    def _among_cells(self, row: Row, columns: Sequence[int], new: Sequence[tuple[int, bytes]]) -> Iterator[Edit]:
        """The edits of a row that has cells in our columns or right of them."""
        there = list(self.cells(row))
        waiting = list(new)[::-1]
        # A cell without a reference is counted from those before it, so none of them may go.
        keep_count = not all(cell.referenced for cell in there)
        for cell in there:
            while waiting and waiting[-1][0] < cell.column:
                yield Edit(cell.start, cell.start, waiting.pop()[1])
            if cell.column not in columns:
                continue
            if self._formula.search(self.xml.marks, cell.start, cell.end):
                place = f"{column_letter(cell.column - 1)}{row.number}"
                raise CannotCopyError(f"cell {place}, in a column of results, holds a formula of yours")
            mine = waiting.pop()[1] if waiting and waiting[-1][0] == cell.column else b""
            if not mine and keep_count:
                mine = b'%b r="%b%d"/>' % (self._cell, column_letter(cell.column - 1).encode(), row.number)
            if self.xml.text[cell.start : cell.end] != mine:
                yield Edit(cell.start, cell.end, mine)
        if waiting:
            yield Edit(row.close, row.close, b"".join(markup for _, markup in reversed(waiting)))


_ROW_NUMBER = re.compile(rb"""\sr\s*=\s*["'](\d+)["']""")
_CELL_COLUMN = re.compile(rb"""[^>]*?\sr\s*=\s*["']([A-Za-z]+)\d+["']""")


def grow_dimension(xml: XmlText, last_column: int, last_row: int) -> None:
    """Take our columns into the used range: a reader that streams shows nothing outside it."""
    dimension = xml.element("dimension")
    if dimension is None:
        return
    top, left, bottom, right = area(attribute(dimension.tag, "ref") or "A1")
    if right < last_column or bottom < last_row:
        xml.set_attribute(dimension, "ref", area_text(top, left, max(bottom, last_row), max(right, last_column)))


def set_widths(xml: XmlText, grid: Grid, widths: Mapping[int, float]) -> None:
    """State a width for these columns, cut out of what states anything for them, so that none stays hidden."""
    cols = xml.element("cols")
    name = f"{xml.prefix.decode()}col"
    new = [
        (column, f'<{name} min="{column}" max="{column}" width="{width:g}" customWidth="1"/>'.encode())
        for column, width in widths.items()
    ]
    if cols is None:
        if new:
            inside = b"".join(markup for _, markup in sorted(new))
            at = grid.data.start
            xml.replace(at, at, b"<%bcols>%b</%bcols>" % (xml.prefix, inside, xml.prefix))
        return
    kept = [part for col in xml.elements("col", cols) for part in _cut(col.tag, widths)]
    if new:
        xml.replace(cols.inside, cols.close, b"".join(markup for _, markup in sorted(kept + new)))


def _cut(tag: bytes, columns: Iterable[int]) -> Iterator[tuple[int, bytes]]:
    """What is left of a `col` element without these columns, as pieces with their first column."""
    first, last = (int(attribute(tag, name) or 1) for name in ("min", "max"))
    edges = [first - 1, *sorted(column for column in columns if first <= column <= last), last + 1]
    for before, after in pairwise(edges):
        if before + 1 < after:
            piece = _MIN.sub(rb"\g<1>%d\g<2>" % (before + 1), tag, count=1)
            yield before + 1, _MAX.sub(rb"\g<1>%d\g<2>" % (after - 1), piece, count=1)


_MIN, _MAX = (re.compile(rb"""(\s%b\s*=\s*["'])\d+(["'])""" % name) for name in (b"min", b"max"))
