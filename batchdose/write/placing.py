"""Where the result columns go: beside the user's, or where they were; tables and filters go along.

Clauses are those of ECMA-376 part 1: tables 18.5.1, filters 18.3.2, merged cells 18.3.1.55.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from batchdose.model import OWN_HEADING
from batchdose.write.book_part import BookPart, SheetEntry
from batchdose.write.earlier import Animals, earlier_columns, notes_on
from batchdose.write.package import Package
from batchdose.write.ranges import LAST_COLUMN, area, area_text
from batchdose.write.recalculate import formulas, reads_columns, reads_names
from batchdose.write.splice import Grid
from batchdose.write.tables import Table, grow_filter, grow_table, sheet_filter, table_of
from batchdose.write.xmltext import CannotCopyError, attribute, cell_text

#: Heading of a column of an earlier run that is in a table and not needed now; a table's column needs one.
_NOT_USED = f"{OWN_HEADING}not used"
_SORT = (
    "Sort whole rows only: the results are not in the same table or filter as the animals, so a sort could leave "
    "them behind. The tag in front of the results shows it."
)


@dataclass(frozen=True)
class Place:
    """Columns for the results, from 1, which of them are new, and further ones that are only to be cleared."""

    columns: list[int]
    new: list[int]
    cleared: list[int] = field(default_factory=list)


class Placing:
    """Columns, tables and filters of the weighing sheet."""

    def __init__(
        self, package: Package, book: BookPart, sheet: SheetEntry, grid: Grid, animals: Animals, names: Iterable[str]
    ) -> None:
        self._names = {name.casefold() for name in names}
        self._package, self._book, self._sheet, self._grid = package, book, sheet, grid
        self._animals, self._header_row, self._tag_column = animals, animals.header_row, animals.tag_column
        self._earlier = earlier_columns(animals, book.own_columns(sheet.index))
        xml = grid.xml
        self._merged = [area(attribute(found.tag, "ref") or "A1") for found in xml.elements("mergeCell")]
        parts = package.relations(sheet.part or "", "table")
        self._tables = [table_of(package, part) for part in parts]
        self._filter = sheet_filter(xml)

    def place(self) -> Place:
        """A column for each result: those of the last run, and the first free ones right of all headings."""
        count = len(self._names)
        own = self._earlier.own
        cleared: list[int] = []
        if any(self._is_merged(column) for column in own):
            own, cleared = [], own  # a dose inside merged cells would not be seen
        if len(own) >= count:
            return Place(own[:count], [], cleared + own[count:])
        new = self._free(count - len(own), {*own, *cleared}, max(own, default=0))
        return Place(own + new, new, cleared)

    def notes(self, place: Place) -> list[str]:
        """What the user should know of where the results are."""
        regions = [table for table in (*self._tables, self._filter) if table and self._is_of_animals(table)]
        inside = all(region.left <= min(place.columns) and self._right(region, place) >= max(place.columns)
                     for region in regions)  # fmt: skip
        filled = {*self._grid.filled_in(self._header_row), *place.columns}
        beside = all(column in filled for column in range(self._tag_column, max(place.columns) + 1))
        notes = [] if inside and (regions or beside) else [_SORT]
        notes += notes_on(self._animals, self._earlier)
        if self._is_under_a_drawing(place):
            notes.append("A chart or picture lies over the results: move it to see them.")
        if self._grid.xml.element("sheetProtection"):
            notes.append(f'The sheet "{self._sheet.name}" is protected and stays so; the results are in it.')
        return notes

    def grow(self, place: Place, headings: Mapping[int, str]) -> None:
        """Let tables and the filter that touch our columns take them in, and tables say our headings."""
        for table in self._tables:
            self._rename(table, place, headings)
            if right := self._growth(table, place):
                names = [headings[column] for column in range(table.right + 1, right + 1)]
                grow_table(table, right, names)
            if table.xml.edits:
                self._package.put(table.part, table.xml.data())
        if self._filter and (right := self._growth(self._filter, place)):
            grow_filter(self._filter, right)
            top, left, bottom, _ = self._filter.corners
            self._book.grow_filter(self._sheet.index, area_text(top, left, bottom, right))

    def headings_of_unused(self, place: Place) -> dict[int, str]:
        """Columns to be cleared that are in a table, with the heading that they need there."""
        inside = [c for c in place.cleared if any(table.left <= c <= table.right for table in self._tables)]
        return {c: _NOT_USED if not at else f"{_NOT_USED} {at + 1}" for at, c in enumerate(inside)}

    def mind_formulas(self, place: Place, headings: Mapping[int, str]) -> None:
        """Have formulas that read our columns worked out anew when the workbook is opened.

        Raises CannotCopyError where one reads a table's column by a name that is to change.
        """
        columns, tables = {*place.columns, *place.cleared}, self._names_of_tables()
        if reads_columns(self._formulas(), tables, self._sheet, sorted(columns), self._header_row):
            self._book.calculate_on_load()
        renamed = {
            name.casefold()
            for table in self._tables
            for column, name in table.names().items()
            if column in headings and name != cell_text(headings[column])
        }
        if renamed and reads_names(self._formulas(), renamed):
            raise CannotCopyError("a formula of yours reads a column of its table that is now headed otherwise")

    def _formulas(self) -> Iterator[tuple[int, str]]:
        return formulas(self._package, self._book, self._sheet, self._grid.xml)

    def _names_of_tables(self) -> list[str]:
        """Names by which formulas know the tables of the sheet."""
        return [attribute(table.xml.need("table").tag, "displayName") or "" for table in self._tables]

    def _is_under_a_drawing(self, place: Place) -> bool:
        """Whether a chart, picture or shape of the sheet covers a result column (clause 20.5.2)."""
        for part in self._package.relations(self._sheet.part or "", "drawing"):
            spans = zip(*(_columns_in(self._package, part, name) for name in ("from", "to")), strict=False)
            if any(left <= max(place.columns) and right >= min(place.columns) for left, right in spans):
                return True
        return False

    def _is_merged(self, column: int) -> bool:
        return any(
            left <= column <= right and bottom >= self._header_row and (top, left) != (bottom, right)
            for top, left, bottom, right in self._merged
        )

    def _free(self, count: int, own: set[int], after: int) -> list[int]:
        """The first columns side by side that hold nothing from the heading row on, right of the headings."""
        headings = [column for column in self._grid.filled_in(self._header_row) if column not in own]
        last = max([after, *headings])
        taken = self._grid.filled_columns(self._header_row, last) - own
        for top, left, bottom, right in [*self._merged, *(table.corners for table in self._tables)]:
            if bottom >= self._header_row and (top, left) != (bottom, right):
                taken.update(range(left, right + 1))
        first = last + 1
        for column in sorted(column for column in taken if column > last):
            if column < first + count:
                first = column + 1
        if first + count - 1 > LAST_COLUMN:
            raise CannotCopyError("there is no room for the results right of its columns")
        return list(range(first, first + count))

    def _growth(self, table: Table, place: Place) -> int:
        """The right edge that a table or filter grows to, or 0 where it stays as it is."""
        touches = bool(place.new) and place.new[0] == table.right + 1
        if not touches or not self._is_of_animals(table) or not table.can_grow:
            return 0
        return 0 if self._clash(table, place) else place.new[-1]

    def _is_of_animals(self, table: Table) -> bool:
        """Whether a table or filter has the animals in it; one of other things must not take the doses along."""
        return table.top == self._header_row and table.left <= self._tag_column <= table.right

    def _right(self, table: Table, place: Place) -> int:
        return self._growth(table, place) or table.right

    def _clash(self, table: Table, place: Place) -> bool:
        """Whether a table has a column of the user's that is headed like one of ours: names must differ."""
        own = {*place.columns, *place.cleared}
        return any(name.casefold() in self._names for column, name in table.names().items() if column not in own)

    def _rename(self, table: Table, place: Place, headings: Mapping[int, str]) -> None:
        """Name the table's columns as their headings are (clause 18.5.1.3), where an earlier run took them in."""
        for column, found in enumerate(table.xml.elements("tableColumn"), table.left):
            if column in headings and attribute(found.tag, "name") != cell_text(headings[column]):
                if self._clash(table, place):
                    raise CannotCopyError("its table has a column of yours that is headed like a result")
                table.xml.set_attribute(found, "name", cell_text(headings[column]))


def _columns_in(package: Package, part: str, name: str) -> list[int]:
    """Columns where the drawings of a part begin or end, from 1."""
    xml = package.xml(part, "wsDr")
    corners = (xml.need("col", found) for found in xml.elements(name))
    return [int(xml.content(found)) + 1 for found in corners]
