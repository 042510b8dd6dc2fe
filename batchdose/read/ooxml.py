"""What the value reader cannot say about a sheet of an .xlsx file: errors, uncalculated formulas, formats, hiding.

The value reader shows error cells and formulas never calculated as blanks, and a blank would read as "not
weighed". Clauses are those of ECMA-376 part 1 (SpreadsheetML).
"""

from __future__ import annotations

import re
import zipfile
import zlib
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from batchdose.model import cell_position
from batchdose.read.facts import LARGEST_UNPACKED, DamagedPackageError, SheetFacts, format_matters

if TYPE_CHECKING:
    from collections.abc import Iterator

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_REL = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_ROW_OR_CELL = re.compile(rb"<row\b([^>]*)>|<c\b([^>]*?)(?:/>|>(.*?)</c>)", re.DOTALL)
_ATTRIBUTE = re.compile(rb"""\b(r|t|s|hidden)\s*=\s*["']([^"']*)["']""")
_VALUE = re.compile(rb"<v\b[^>]*>([^<]+)</v>")
_FORMULA = re.compile(rb"<f[\s/>]")
_COLUMN = re.compile(rb"<col\b([^>]*)/?>")
_TRUE = (b"1", b"true")

#: Built-in number formats that show a percentage (clause 18.8.30).
_BUILT_IN = {9: "0%", 10: "0.00%"}

#: What reading a damaged package may raise.
DAMAGE = (
    zipfile.BadZipFile, zlib.error, KeyError, ElementTree.ParseError, EOFError, OSError, NotImplementedError,
    LookupError, ValueError, OverflowError,
)  # fmt: skip


def open_package(data: bytes) -> zipfile.ZipFile:
    """The package, after a look at its size. Raises DamagedPackageError with a sentence for the user."""
    try:
        package = zipfile.ZipFile(BytesIO(data))
    except DAMAGE as error:
        raise DamagedPackageError("it is damaged or not a workbook") from error
    if sum(info.file_size for info in package.infolist()) > LARGEST_UNPACKED:
        raise DamagedPackageError("it unpacks to more than 200 MB")
    if any(info.flag_bits & 1 for info in package.infolist()):
        raise DamagedPackageError("it is protected by a password")
    return package


def scan_package(data: bytes) -> dict[str, SheetFacts]:
    """Facts of every worksheet by sheet name. Raises DamagedPackageError with a sentence for the user."""
    with open_package(data) as package:
        try:
            styles = _formats(package)
            return {name: _scan_sheet(package.read(part), styles) for name, part in _sheet_parts(package)}
        except DAMAGE as error:
            raise DamagedPackageError("it is damaged or not a workbook") from error


def parse_small(xml: bytes) -> ElementTree.Element:
    """Parse a part; a document type is refused, since it can define entities without end."""
    if b"<!DOCTYPE" in xml or b"<!\x00D\x00O\x00C" in xml:
        raise DamagedPackageError("it holds a document type definition, which a workbook never needs")
    return ElementTree.fromstring(xml)  # noqa: S314 - document types are refused above


def _sheet_parts(package: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Sheet names with the names of their parts (clauses 18.2.19 and 18.2.20)."""
    names = set(package.namelist())
    book = parse_small(package.read("xl/workbook.xml"))
    relations = parse_small(package.read("xl/_rels/workbook.xml.rels"))
    targets = {relation.get("Id"): relation.get("Target", "") for relation in relations}
    for sheet in book.iter(f"{_MAIN}sheet"):
        target = targets.get(sheet.get(_REL), "")
        part = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        if part in names and "worksheets/" in part:
            yield sheet.get("name", ""), part


def _formats(package: zipfile.ZipFile) -> dict[bytes, str]:
    """Style numbers whose number format changes what a number means (clauses 18.8.10 and 18.8.30)."""
    if "xl/styles.xml" not in package.namelist():
        return {}
    styles = parse_small(package.read("xl/styles.xml"))
    codes = _BUILT_IN | {
        int(number.get("numFmtId", "0")): number.get("formatCode", "") for number in styles.iter(f"{_MAIN}numFmt")
    }
    used = (xf for group in styles.iter(f"{_MAIN}cellXfs") for xf in group)
    every = {str(i).encode(): codes.get(int(xf.get("numFmtId", "0")), "") for i, xf in enumerate(used)}
    return {style: code for style, code in every.items() if format_matters(code)}


def _scan_sheet(xml: bytes, styles: dict[bytes, str]) -> SheetFacts:
    """Facts of one sheet part by a scan of its rows and cells (clauses 18.3.1.73 and 18.3.1.4)."""
    xml = _plain(xml)
    facts = SheetFacts(filtered=b"<autoFilter" in xml)
    for column in _COLUMN.finditer(xml):
        attributes = dict(re.findall(rb'\b(min|max|hidden)\s*=\s*"([^"]*)"', column[1]))
        if attributes.get(b"hidden") in _TRUE:
            facts.hidden_columns.update(range(int(attributes[b"min"]) - 1, min(int(attributes[b"max"]), 16384)))
    looks_plain = b't="e"' not in xml and b"='" not in xml and not _FORMULA.search(xml)
    if looks_plain and b" hidden=" not in xml and not any(b' s="%s"' % style in xml for style in styles):
        typed = sum(xml.count(kind) for kind in (b't="s"', b't="str"', b't="b"'))
        facts.numbers = max(0, xml.count(b"</v>") - xml.count(b"<v></v>") - typed)
        return facts
    _scan_cells(xml, styles, facts)
    return facts


def _plain(xml: bytes) -> bytes:
    """The sheet's XML as plain UTF-8 without prefixes, comments and sections; rewritten only if it is not."""
    unusual = (
        not xml.lstrip(b"\xef\xbb\xbf").startswith(b"<") or b"<!--" in xml or b"<![CDATA[" in xml
        or b"<sheetData" not in xml or b"<!DOCTYPE" in xml
        or re.search(rb"encoding\s*=\s*[\"'](?!utf-8)", xml[:200], re.IGNORECASE)
    )  # fmt: skip
    if not unusual:
        return xml
    root = parse_small(xml)
    ElementTree.register_namespace("", _MAIN[1:-1])
    return ElementTree.tostring(root)


def _scan_cells(xml: bytes, styles: dict[bytes, str], facts: SheetFacts) -> None:
    """Note each cell; rows and cells without a reference follow the one before."""
    row = column = -1
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
        _note_cell(facts, (row, column), attributes, match[3] or b"", styles)


def _note_cell(
    facts: SheetFacts, at: tuple[int, int], attributes: dict[bytes, bytes], content: bytes, styles: dict[bytes, str]
) -> None:
    kind, value = attributes.get(b"t", b"n"), _VALUE.search(content)
    if kind == b"e":
        facts.errors[at] = value[1].decode("utf-8", "replace") if value else "#ERROR"
    elif value is None and _FORMULA.search(content) and not (kind == b"str" and b"<v" in content):
        facts.uncalculated.add(at)
    elif kind in (b"n", b"d") and value is not None:
        facts.numbers += 1
        if attributes.get(b"s") in styles:
            facts.formats[at] = styles[attributes[b"s"]]
