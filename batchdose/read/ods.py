"""What the value reader cannot say about a sheet of an .ods file: error cells, formats, hidden and filtered rows.

The content is one part of any size, so it is read as a stream. Elements are those of OpenDocument 1.3 part 3
(ISO/IEC 26300), chapters 9 (tables) and 16 (styles).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from xml.parsers import expat

from batchdose.read.facts import DamagedPackageError, SheetFacts, format_matters
from batchdose.read.limits import LAST_COLUMN, LAST_ROW, check_characters, check_depth, check_names, check_reach
from batchdose.read.odsformats import Formats
from batchdose.read.odsrows import PLAIN_ROW, shortened
from batchdose.read.package import BROKEN, DAMAGE, check_whole, open_package

_MIME = b"application/vnd.oasis.opendocument.spreadsheet"
_TABLE = "urn:oasis:names:tc:opendocument:xmlns:table:1.0 "
_TEXT = "urn:oasis:names:tc:opendocument:xmlns:text:1.0 "
_OFFICE = "urn:oasis:names:tc:opendocument:xmlns:office:1.0 "
_CALC = "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0 "
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")
_NUMBERS = ("float", "percentage", "currency")
#: What spreadsheet programs show for an error.
_ERROR = re.compile(r"#(?:DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!)|Err:\d+")


def scan_ods(data: bytes) -> dict[str, SheetFacts]:
    """Facts of every sheet by name. Raises DamagedPackageError with a sentence for the user."""
    with open_package(data) as package:
        names = package.namelist()
        if "xl/workbook.xml" in names and "content.xml" not in names:
            raise DamagedPackageError("it is an .xlsx workbook by its contents", "Give it the ending .xlsx.")
        try:
            content = package.read("content.xml")
            manifest = package.read("META-INF/manifest.xml") if "META-INF/manifest.xml" in names else b""
            kind = package.read("mimetype") if "mimetype" in names else _MIME
        except DAMAGE as error:
            raise DamagedPackageError(BROKEN) from error
    if b"encryption-data" in manifest:
        raise DamagedPackageError("it is protected by a password")
    if not kind.strip().startswith(_MIME):
        raise DamagedPackageError("it is not a spreadsheet by its own account", "Save it as .ods or .xlsx.")
    try:
        check_whole(content)
        return _Scan().facts_of(content)
    except DAMAGE as error:
        raise DamagedPackageError(BROKEN) from error


@dataclass(slots=True)
class _Cell:
    """A cell as it is met: its column, how often it is repeated, its attributes and what it shows."""

    column: int
    times: int
    attributes: dict[str, str]
    shown: str = ""
    filled: bool = False


@dataclass
class _Scan:
    """A reading of the content from start to end; what is open at the moment stands in the fields."""

    facts: dict[str, SheetFacts] = field(default_factory=dict)
    formats: Formats = field(default_factory=Formats)
    sheet: SheetFacts | None = None
    name: str = ""
    row: int = 0
    column: int = 0
    repeat: int = 1
    cells: list[_Cell] = field(default_factory=list)
    column_styles: list[tuple[int, str]] = field(default_factory=list)
    in_cell: bool = False
    in_text: bool = False
    in_note: bool = False
    depth: int = 0

    def facts_of(self, content: bytes) -> dict[str, SheetFacts]:
        """Facts of every sheet by name."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        body = max(content.find(b"<office:body"), 0)
        parser.Parse(content[:body], False)
        parser.Parse(shortened(content[body:], self.formats.that_matter()), True)
        return self.facts

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        check_depth(self.depth)
        if tag in _CELLS:
            self._start_cell(attributes)
        elif tag == f"{_TEXT}p":
            self._start_paragraph()
        elif tag == f"{_TABLE}table-row":
            self._start_row(attributes)
        elif tag == f"{_TABLE}table-column":
            self._note_column(attributes)
        elif tag == f"{_TABLE}table":
            self._start_sheet(attributes)
        elif tag == f"{_OFFICE}annotation":
            self.in_note = True
        elif tag == PLAIN_ROW:
            self._note_plain_row(attributes)
        elif self.sheet is None:
            self.formats.start(tag, attributes)

    def _end(self, tag: str) -> None:
        self.depth -= 1
        if tag == f"{_TEXT}p":
            self.in_text = False
        elif tag in _CELLS:
            self.in_cell = False
        elif tag == f"{_TABLE}table-row":
            self._end_row()
        elif tag == f"{_OFFICE}annotation":
            self.in_note = False
        elif tag == f"{_TABLE}table":
            self.sheet = None

    def _characters(self, text: str) -> None:
        if self.sheet is None:
            self.formats.text(text)
        elif self.in_text and self.cells:
            self.cells[-1].shown += text

    def _start_sheet(self, attributes: dict[str, str]) -> None:
        self.name = attributes.get(f"{_TABLE}name", "")
        check_names([*self.facts, self.name])
        concealed = attributes.get(f"{_TABLE}style-name", "") in self.formats.concealed
        self.sheet = self.facts[self.name] = SheetFacts(concealed=concealed)
        self.row = self.column = 0
        self.column_styles = []

    def _note_column(self, attributes: dict[str, str]) -> None:
        repeat = _repeat(attributes, "columns")
        if self.sheet is not None and attributes.get(f"{_TABLE}visibility") in ("collapse", "filter"):
            self.sheet.hidden_columns.update(range(self.column, min(self.column + repeat, LAST_COLUMN)))
        self.column += repeat
        self.column_styles.append((self.column, attributes.get(f"{_TABLE}default-cell-style-name", "")))

    def _start_row(self, attributes: dict[str, str]) -> None:
        self.repeat, self.column, self.cells = _repeat(attributes, "rows"), 0, []
        hidden = attributes.get(f"{_TABLE}visibility")
        if self.sheet is not None and hidden in ("collapse", "filter"):
            self.sheet.hidden_rows.update(range(self.row, min(self.row + self.repeat, LAST_ROW)))
            self.sheet.filtered |= hidden == "filter"

    def _start_cell(self, attributes: dict[str, str]) -> None:
        times = _repeat(attributes, "columns")
        filled = f"{_OFFICE}value-type" in attributes or f"{_TABLE}formula" in attributes
        self.cells.append(_Cell(self.column, times, attributes, filled=filled))
        self.in_cell = True
        self.column += times

    def _start_paragraph(self) -> None:
        if self.in_cell and not self.in_note:
            self.in_text = self.cells[-1].filled = True

    def _note_plain_row(self, attributes: dict[str, str]) -> None:
        if self.sheet is None:
            return
        rows, columns = self.sheet.reach
        self.sheet.reach = max(rows, self.row + 1), max(columns, int(attributes["columns"]))
        check_reach(self.name, *self.sheet.reach)
        self.sheet.numbers += int(attributes["numbers"])
        self.sheet.characters += int(attributes["characters"])
        check_characters(self.sheet.characters)

    def _end_row(self) -> None:
        first, self.row = self.row, self.row + self.repeat
        filled = [cell for cell in self.cells if cell.filled]
        if self.sheet is None or not filled:
            return
        rows, columns = self.sheet.reach
        self.sheet.reach = max(rows, self.row), max(columns, filled[-1].column + filled[-1].times)
        check_reach(self.name, *self.sheet.reach)
        for cell in filled:
            self._note_cell(cell, first, self.sheet)

    def _note_cell(self, cell: _Cell, row: int, facts: SheetFacts) -> None:
        attributes, places = cell.attributes, self.repeat * cell.times
        kind = attributes.get(f"{_OFFICE}value-type", "")
        facts.characters += len(cell.shown) * places
        check_characters(facts.characters)
        if f"{_TABLE}formula" in attributes:
            facts.formulas = True
        across, down = _repeat(attributes, "columns", "spanned"), _repeat(attributes, "rows", "spanned")
        if across > 1 or down > 1:
            facts.merged.append((row, cell.column, row + down - 1, cell.column + across - 1))
        if attributes.get(f"{_CALC}value-type") == "error" or _ERROR.fullmatch(cell.shown):
            facts.errors.update(dict.fromkeys(self._places(cell, row), cell.shown or "#ERROR"))
        elif not kind and not cell.shown:
            facts.uncalculated.update(self._places(cell, row) if f"{_TABLE}formula" in attributes else ())
        elif kind in _NUMBERS:
            facts.numbers += places if f"{_OFFICE}value" in attributes else 0
            code = "0%" if kind == "percentage" else self._format(cell)
            if format_matters(code):
                facts.formats.update(dict.fromkeys(self._places(cell, row), code))

    def _places(self, cell: _Cell, row: int) -> list[tuple[int, int]]:
        """All places that a repeated cell in a repeated row stands for, from zero."""
        columns = range(cell.column, cell.column + cell.times)
        return [(at, column) for at in range(row, row + self.repeat) for column in columns]

    def _format(self, cell: _Cell) -> str:
        """Number format of a cell: its own, else that of its column."""
        style = cell.attributes.get(f"{_TABLE}style-name", "")
        if not style:
            style = next((name for end, name in self.column_styles if cell.column < end), "")
        return self.formats.code_of(style)


def _repeat(attributes: dict[str, str], what: str, how: str = "repeated") -> int:
    """How many rows or columns an element stands for. Raises ValueError for less than one."""
    number = int(attributes.get(f"{_TABLE}number-{what}-{how}", "1"))
    if number < 1:
        raise ValueError(number)
    return number
