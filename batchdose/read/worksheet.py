"""One sheet part of an .xlsx file, scanned for what the value reader cannot say.

A sheet of 100,000 animals is 40 MB of text, so it is searched for the few cells that matter; only a sheet whose
cells do not all name their place is gone through cell by cell. Clauses are those of ECMA-376 part 1.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from batchdose.findings import cell_position
from batchdose.read.facts import SheetFacts
from batchdose.read.limits import LAST_COLUMN, LAST_ROW, MOST_CELLS, MOST_CHARACTERS, check_rows
from batchdose.read.package import check_whole, parse_part

if TYPE_CHECKING:
    from collections.abc import Sequence

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_CELL = re.compile(rb"<c\b([^>]*?)(?:/>|>(.*?)</c>)", re.DOTALL)
_ROW_OR_CELL = re.compile(rb"<row\b([^>]*)>|" + _CELL.pattern, re.DOTALL)
_ATTRIBUTE = re.compile(rb"""\b(r|t|s|hidden)\s*=\s*["']([^"']*)["']""")
_VALUE = re.compile(rb"<v\b[^>]*>([^<]+)</v>")
_FORMULA = re.compile(rb"<f[\s/>]")
_NO_RESULT = re.compile(rb"<f(?:\s[^>]*)?(?:/>|>[^<]*</f>)(?!\s*<v[^>]*>[^<])")
_COLUMN = re.compile(rb"<col\b([^>]*)/?>")
_SPAN = re.compile(rb"""\b(min|max|hidden)\s*=\s*["']([^"']*)["']""")
_MERGED = re.compile(rb"""<mergeCell\b[^>]*?\bref\s*=\s*["']([A-Za-z]+\d+)(?::([A-Za-z]+\d+))?["']""")
_HIDDEN_ROW = re.compile(rb"""<row\b[^>]*?\bhidden\s*=\s*["'](?:1|true)["'][^>]*>""")
_ROW_NUMBER = re.compile(rb'<row r="(\d+)"')
_FILLED = re.compile(rb'<c r="([A-Za-z]+\d+)"[^>/]*>(?!</c>)')
_SHARED_TEXT = re.compile(rb"""\bt\s*=\s*["']s["'][^>]*>\s*<v[^>]*>\s*(\d+)\s*</v>""")
_NO_PLACE = re.compile(rb'<(?:c|row)(?! r=")[\s/>]')
_TRUE = (b"1", b"true")


def has_formula(xml: bytes) -> bool:
    """Whether a sheet part holds a formula (clause 18.3.1.40)."""
    return _FORMULA.search(xml) is not None


def scan_sheet(
    xml: bytes, styles: Mapping[bytes, str], text_lengths: Sequence[int], room: int = 1
) -> SheetFacts:  # fmt: skip
    """Facts of a sheet part (clauses 18.3.1.73 and 18.3.1.4).

    `styles` are the style numbers whose format changes what a number means, `text_lengths` the lengths of the
    workbook's shared texts, `room` how many times the usual number of cells it may hold. Raises
    DamagedPackageError, or what parsing damaged XML raises.
    """
    xml = _plain(xml)
    check_rows(xml.count(b"<row"))
    facts = SheetFacts(filtered=b"<autoFilter" in xml, formulas=has_formula(xml))
    for column in _COLUMN.finditer(xml):
        attributes = dict(_SPAN.findall(column[1]))
        if attributes.get(b"hidden") in _TRUE:
            facts.hidden_columns.update(range(int(attributes[b"min"]) - 1, min(int(attributes[b"max"]), LAST_COLUMN)))
    facts.merged = [_area(match[1], match[2] or match[1]) for match in _MERGED.finditer(xml)]
    usual = _names_every_place(xml)
    facts.characters = _characters(xml, text_lengths, b't="s"' if usual else b"<v")
    if usual:
        _scan_some(xml, styles, facts, room)
    else:
        _scan_every(xml, styles, facts)
    return facts


def _plain(xml: bytes) -> bytes:
    """The sheet's XML as plain UTF-8 without prefixes, comments and sections; rewritten only if it is not."""
    unusual = (
        not xml.lstrip(b"\xef\xbb\xbf").startswith(b"<") or b"<!--" in xml or b"<![CDATA[" in xml
        or b"<sheetData" not in xml or b"<!DOCTYPE" in xml
        or re.search(rb"encoding\s*=\s*[\"'](?!utf-8)", xml[:200], re.IGNORECASE)
    )  # fmt: skip
    if not unusual:
        check_whole(xml)
        return xml
    root = parse_part(xml)
    ElementTree.register_namespace("", MAIN[1:-1])
    return ElementTree.tostring(root)


def _area(first: bytes, last: bytes) -> tuple[int, int, int, int]:
    """First row, first column, last row and last column of a merged area, from zero (clause 18.3.1.54)."""
    return (*cell_position(first.decode()), *cell_position(last.decode()))


def _characters(xml: bytes, lengths: Sequence[int], sign: bytes) -> int:
    """Characters in the text cells, at most: counted cell by cell only where the longest text in each were too much."""
    most = max(lengths, default=0) * xml.count(sign)
    if most <= MOST_CHARACTERS:
        return most
    used = Counter(_SHARED_TEXT.findall(xml))
    return sum(times * lengths[int(number)] for number, times in used.items() if int(number) < len(lengths))


def _names_every_place(xml: bytes) -> bool:
    """Whether each row and cell begins with its place (`<c r="B2" t="s">`), as spreadsheet programs write them."""
    cells = xml.find(b"<sheetData")
    usual = not any(xml.find(sign, cells) >= 0 for sign in (b"\n", b"\t", b" =", b'= "', b"='"))
    return usual and not _NO_PLACE.search(xml)


def _scan_some(xml: bytes, styles: Mapping[bytes, str], facts: SheetFacts, room: int) -> None:
    """Note the cells that matter, where each cell names its place."""
    facts.reach = _reach(xml, room)
    typed = sum(xml.count(kind) for kind in (b't="s"', b't="str"', b't="b"', b't="e"'))
    facts.numbers = max(0, xml.count(b"</v>") - xml.count(b"<v></v>") - typed)
    if b"hidden" in xml:
        for row in _HIDDEN_ROW.finditer(xml):
            facts.hidden_rows.add(int(dict(_ATTRIBUTE.findall(row[0]))[b"r"]) - 1)
    for start in _starts(xml, styles, facts):
        if cell := _CELL.match(xml, start):
            attributes = dict(_ATTRIBUTE.findall(cell[1]))
            _note_cell(facts, cell_position(attributes[b"r"].decode("ascii")), attributes, cell[2] or b"", styles)


def _starts(xml: bytes, styles: Mapping[bytes, str], facts: SheetFacts) -> Iterator[int]:
    """Where the cells begin that show an error, have no result, or a format that matters."""
    if b't="e"' in xml:
        yield from (match.start() for match in re.finditer(rb'<c r="[^>]*? t="e"', xml))
    if facts.formulas:
        yield from (xml.rfind(b"<c r=", 0, match.start()) for match in _NO_RESULT.finditer(xml))
    used = [style for style in styles if b' s="%s"' % style in xml]
    if used:
        yield from (match.start() for match in re.finditer(rb'<c r="[^>]*? s="(?:%s)"' % b"|".join(used), xml))


def _reach(xml: bytes, room: int) -> tuple[int, int]:
    """Rows and columns up to the last cell; counted exactly, blank cells left out, only where that is far."""
    rows = max((int(number) for number in set(_ROW_NUMBER.findall(xml))), default=0)
    within = re.findall(rb'<c r="([A-Z]+)(?:%s)"' % _numbers_up_to(rows), xml)
    columns = max((cell_position(letters.decode() + "1")[1] + 1 for letters in set(within)), default=0)
    inside = rows <= LAST_ROW and rows * columns * 1.1 <= MOST_CELLS * room
    if inside and len(within) == xml.count(b'<c r="'):
        return rows, columns
    filled = {cell_position(place.decode()) for place in _FILLED.findall(xml)}
    return max((row for row, _ in filled), default=-1) + 1, max((column for _, column in filled), default=-1) + 1


def _numbers_up_to(number: int) -> bytes:
    """Pattern of the whole numbers from one to `number`, or at most a tenth more.

    >>> _numbers_up_to(11234)
    b'[1-9][0-9]{0,3}|(?:10|11)[0-9]{3}'
    """
    digits = len(str(number))
    if digits == 1:
        return b"[1-9]"
    leads = "|".join(str(lead) for lead in range(10, int(str(number)[:2]) + 1))
    return f"[1-9][0-9]{{0,{digits - 2}}}|(?:{leads})[0-9]{{{digits - 2}}}".encode()


def _scan_every(xml: bytes, styles: Mapping[bytes, str], facts: SheetFacts) -> None:
    """Note each cell; rows and cells without a reference follow the one before."""
    row = column = -1
    rows = columns = 0
    for match in _ROW_OR_CELL.finditer(xml):
        if match[1] is not None:
            attributes = dict(_ATTRIBUTE.findall(match[1]))
            row, column = int(attributes.get(b"r", row + 2)) - 1, -1
            if attributes.get(b"hidden") in _TRUE:
                facts.hidden_rows.add(row)
            continue
        attributes = dict(_ATTRIBUTE.findall(match[2]))
        if b"r" in attributes:
            row, column = cell_position(attributes[b"r"].decode("ascii"))
        else:
            column += 1
        if match[3]:
            rows, columns = max(rows, row + 1), max(columns, column + 1)
        facts.numbers += attributes.get(b"t", b"n") in (b"n", b"d") and _VALUE.search(match[3] or b"") is not None
        _note_cell(facts, (row, column), attributes, match[3] or b"", styles)
    facts.reach = rows, columns


def _note_cell(
    facts: SheetFacts, at: tuple[int, int], attributes: dict[bytes, bytes], content: bytes, styles: Mapping[bytes, str]
) -> None:
    """Note what is special about one cell."""
    kind, value = attributes.get(b"t", b"n"), _VALUE.search(content)
    if kind == b"e":
        facts.errors[at] = value[1].decode("utf-8", "replace") if value else "#ERROR"
    elif value is None and _FORMULA.search(content) and not (kind == b"str" and b"<v" in content):
        facts.uncalculated.add(at)
    elif kind in (b"n", b"d") and value is not None and attributes.get(b"s") in styles:
        facts.formats[at] = styles[attributes[b"s"]]
