"""Result columns and result sheets into a copy of the user's workbook, at the level of its package.

Rewritten are only the weighing sheet, the workbook part, its relations, the content types and the styles, and a
table that grows. Every other part keeps its bytes. Clauses are those of ECMA-376 part 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from batchdose.findings import column_letter
from batchdose.write.book_part import BookPart, SheetEntry
from batchdose.write.earlier import Animals
from batchdose.write.package import Package
from batchdose.write.placing import Placing
from batchdose.write.result_cells import CellStyles, ColumnWriter
from batchdose.write.splice import Cells, Grid, grow_dimension, set_widths
from batchdose.write.styles import Look, Styles, looks_of
from batchdose.write.xmltext import CannotCopyError, XmlText, attribute

_HEADING = Look(font="<b/>", alignment='<alignment vertical="top" wrapText="1"/>')
_DATE = Look(number_format="ddd d mmm yyyy hh:mm")
_QUOTED = Look(quoted=True)
_HELD = Look(
    fill='<fill><patternFill patternType="solid"><fgColor rgb="FFF4CCCC"/><bgColor indexed="64"/></patternFill></fill>'
)

_CELL_STYLE = re.compile(rb'(<c [^>]*?\bs=")(\d+)(")')
_SELECTED = re.compile(rb' tabSelected="(?:1|true)"')

#: Height of a line in points, and characters that do not fit into a line of a heading.
_LINE, _MARGIN = 15, 4


@dataclass(frozen=True)
class Column:
    """One result column: heading, a value for each animal, width in characters; `marked` colours its texts."""

    heading: str
    values: Sequence[object]
    width: float
    marked: bool = False


def graft(
    source: bytes, sheet: str, animals: Animals, columns: Sequence[Column], donor: bytes
) -> tuple[bytes, list[str]]:
    """The workbook with these columns and with the sheets of the donor, and notes for the user.

    A second run clears the columns of the first and replaces its sheets where they stand. Raises CannotCopyError
    where no sound copy can be made.
    """
    package = Package(source)
    book = BookPart(package)
    entry = book.sheet(sheet)
    if entry is None:
        raise CannotCopyError(f'its sheet "{sheet}" is not found')
    styles = Styles(package)
    notes = [*_add_columns(package, book, entry, styles, animals, columns), *_on_other_sheets(book, entry)]
    _add_sheets(package, book, styles, donor)
    styles.store()
    book.store()
    return package.save(), notes


def _add_columns(
    package: Package, book: BookPart, entry: SheetEntry, styles: Styles, animals: Animals, columns: Sequence[Column]
) -> list[str]:
    """Splice the columns into the weighing sheet; gives notes for the user."""
    grid = Grid(package.xml(entry.part or "", "worksheet"))
    placing = Placing(package, book, entry, grid, animals, [column.heading for column in columns])
    place = placing.place()
    unused = placing.headings_of_unused(place)
    placed = dict(zip(place.columns, columns, strict=True))
    texts = {at: column.heading for at, column in placed.items()} | unused
    placing.mind_formulas(place, texts)
    placing.grow(place, texts)
    last_row = max([animals.header_row, *animals.rows])
    grow_dimension(grid.xml, max(place.columns), last_row)
    _make_room(grid, animals.header_row, placed, place.new)
    book.mark_columns(entry.index, [*place.columns, *unused])
    new = _cells(_writers(grid.xml, book, styles, texts, placed), animals, texts, placed)
    edits = grid.edits(sorted({*place.columns, *place.cleared}), animals.header_row, new, last_row)
    package.put(entry.part or "", grid.xml.pieces(edits))
    return placing.notes(place)


def _on_other_sheets(book: BookPart, weighing: SheetEntry) -> list[str]:
    """Notes on results of an earlier run on other sheets: they may be the record of another day, and so are left."""
    return [
        f'The sheet "{sheet.name}" holds results of an earlier run in {_letters(columns)}, worked out from what it '
        f'said then. They are left as they are: do not dose by them. The results of this run are on "{weighing.name}".'
        for sheet in book.sheets
        if sheet.index != weighing.index and (columns := book.own_columns(sheet.index))
    ]


def _letters(columns: Sequence[int]) -> str:
    return f"columns {column_letter(min(columns) - 1)} to {column_letter(max(columns) - 1)}"


def _writers(
    xml: XmlText, book: BookPart, styles: Styles, texts: Mapping[int, str], columns: Mapping[int, Column]
) -> dict[int, ColumnWriter]:
    """What writes the cells of each column."""
    numbers = CellStyles(*(styles.number(look) for look in (_HEADING, _DATE, _QUOTED, _HELD)))
    marked = {at for at, column in columns.items() if column.marked}
    return {
        at: ColumnWriter(xml.prefix, column_letter(at - 1), numbers, from_1904=book.from_1904, marked=at in marked)
        for at in texts
    }


def _cells(
    writers: Mapping[int, ColumnWriter], animals: Animals, texts: Mapping[int, str], columns: Mapping[int, Column]
) -> Cells:
    """What to put into a row: headings into theirs, and the values of each column, left to right."""
    headings = [(at, writers[at].heading(animals.header_row, texts[at])) for at in sorted(texts)]
    values = [(at, writers[at].cell, columns[at].values) for at in sorted(columns)]
    animal_in = {row: animal for animal, row in enumerate(animals.rows)}

    def new(row: int) -> list[tuple[int, bytes]]:
        if row == animals.header_row:
            return headings
        animal = animal_in.get(row)
        if animal is None:
            return []
        return [(at, markup) for at, cell, of_animals in values if (markup := cell(row, of_animals[animal]))]

    return new


def _make_room(grid: Grid, header_row: int, columns: Mapping[int, Column], new: Sequence[int]) -> None:
    """Widths of new columns, and a height for the heading row if it has none, so that headings are seen whole."""
    row = next((row for row in grid.rows() if row.number == header_row), None)
    tag = grid.xml.text[row.start : row.inside] if row else b""
    height = attribute(tag, "ht")
    widths = {at: columns[at].width for at in new}
    if height:
        lines = max(1, int(float(height) // _LINE))
        widths = {at: max(width, -(-len(columns[at].heading) // lines) + _MARGIN) for at, width in widths.items()}
    elif row and widths:
        lines = max(-(-len(columns[at].heading) // int(width - _MARGIN)) for at, width in widths.items())
        grid.set_height(row, _LINE * lines)
    set_widths(grid.xml, grid, widths)


def _add_sheets(package: Package, book: BookPart, styles: Styles, donor: bytes) -> None:
    """Take over the donor's sheets: in the place of those of an earlier run, else behind all others."""
    theirs = book.own_sheets()
    for kind, content, state in _donated(donor, styles):
        entry = theirs.get(kind)
        if entry is None or entry.part is None:
            book.add_sheet(kind, content, state)
        else:
            package.put(entry.part, content)
            package.remove_relations(entry.part)


def _donated(donor: bytes, styles: Styles) -> Iterator[tuple[str, bytes, str]]:
    """Name, part and state of each of the donor's sheets, its styles in the numbers of the user's workbook."""
    package = Package(donor)
    numbers = [styles.number(look) for look in looks_of(package.read("xl/styles.xml"))]
    for sheet in BookPart(package).sheets:
        content = _SELECTED.sub(b"", package.read(sheet.part or ""))
        content = _CELL_STYLE.sub(lambda found: b'%b%d"' % (found[1], numbers[int(found[2])]), content)
        yield sheet.name, content, sheet.state
