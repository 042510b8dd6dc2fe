"""What the value reader cannot say about a sheet of an .xlsx file: error cells and formulas never calculated.

The value reader shows both as blanks, and a blank would read as "not weighed". This module scans the
sheet's XML for them, and counts the number cells so that a sheet that was silently misread is refused.
Clauses are those of ECMA-376 part 1 (SpreadsheetML).
"""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass, field
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from batchdose.model import cell_position

if TYPE_CHECKING:
    from collections.abc import Iterator

#: A package that unpacks to more than this is not a weighing sheet.
LARGEST_UNPACKED = 200 * 1024 * 1024

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_REL = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_CELL = re.compile(rb"<c\b([^>]*?)(?:/>|>(.*?)</c>)", re.DOTALL)
_ATTRIBUTE = re.compile(rb"""\b([rt])\s*=\s*["']([^"']*)["']""")
_VALUE = re.compile(rb"<v\b[^>]*>([^<]+)</v>")


class DamagedPackageError(Exception):
    """The file cannot be trusted; the message says why, in words for its owner."""


@dataclass
class SheetFacts:
    """Error cells (position -> code), formulas without a stored value, and the count of number cells."""

    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    uncalculated: set[tuple[int, int]] = field(default_factory=set)
    numbers: int = 0


def scan_package(data: bytes) -> dict[str, SheetFacts]:
    """Facts of every worksheet by sheet name. Raises DamagedPackageError with a sentence for the user."""
    try:
        with zipfile.ZipFile(BytesIO(data)) as package:
            if sum(info.file_size for info in package.infolist()) > LARGEST_UNPACKED:
                raise DamagedPackageError("it unpacks to more than 200 MB")
            return {name: _scan_sheet(package.read(part)) for name, part in _sheet_parts(package)}
    except (
        zipfile.BadZipFile,
        KeyError,
        ElementTree.ParseError,
        EOFError,
        OSError,
        NotImplementedError,
    ) as error:
        raise DamagedPackageError("it is damaged or not a workbook") from error


#: Parts that loading and saving again may lose, by a piece of their names.
_FRAGILE = {
    "xl/charts/": "charts", "xl/drawings/": "drawings and comments", "xl/media/": "pictures",
    "xl/pivot": "pivot tables",
    "xl/ctrlProps/": "form controls", "xl/activeX/": "controls", "xl/slicer": "slicers", "customXml/": "custom data",
    "xl/threadedComments/": "threaded comments", "xl/printerSettings/": "printer settings",
    "xl/externalLinks/": "links to other workbooks", "xl/calcChain": "stored results of formulas",
    "xl/metadata": "dynamic formulas", "_xmlsignatures/": "the signature",
}  # fmt: skip


def fragile_parts(data: bytes) -> list[str]:
    """Kinds of parts in the package that loading and saving again may lose."""
    with zipfile.ZipFile(BytesIO(data)) as package:
        names = package.namelist()
    return list(dict.fromkeys(kind for piece, kind in _FRAGILE.items() if any(n.startswith(piece) for n in names)))


def _sheet_parts(package: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Sheet names with the names of their parts (clauses 18.2.19 and 18.2.20)."""
    names = set(package.namelist())
    book = _parse(package.read("xl/workbook.xml"))
    targets = {rel.get("Id"): rel.get("Target", "") for rel in _parse(package.read("xl/_rels/workbook.xml.rels"))}
    for sheet in book.iter(f"{_MAIN}sheet"):
        target = targets.get(sheet.get(_REL), "")
        part = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        if part in names and "worksheets/" in part:
            yield sheet.get("name", ""), part


def _parse(xml: bytes) -> ElementTree.Element:
    """Parse a small part; a document type is refused, since it can define entities without end."""
    if b"<!DOCTYPE" in xml:
        raise DamagedPackageError("it holds a document type definition, which a workbook never needs")
    return ElementTree.fromstring(xml)  # noqa: S314 - document types are refused above


def _scan_sheet(xml: bytes) -> SheetFacts:
    """Facts of one sheet part, by a scan of its cells (clause 18.3.1.4), rewritten first if unusual."""
    unusual = (
        not xml.lstrip(b"\xef\xbb\xbf").startswith(b"<") or b"<!--" in xml or b"<![CDATA[" in xml
        or b"<sheetData" not in xml or re.search(rb"encoding\s*=\s*[\"'](?!utf-8)", xml[:200], re.IGNORECASE)
    )  # fmt: skip
    if unusual or b"<!DOCTYPE" in xml:
        root = _parse(xml)
        ElementTree.register_namespace("", _MAIN[1:-1])
        xml = ElementTree.tostring(root)
    if b't="e"' not in xml and b"t='" not in xml and b"<f" not in xml:
        typed = sum(xml.count(kind) for kind in (b't="s"', b't="str"', b't="b"'))
        return SheetFacts(numbers=max(0, xml.count(b"</v>") - typed))
    facts = SheetFacts()
    row = column = -1
    for cell in _CELL.finditer(xml):
        attributes = dict(_ATTRIBUTE.findall(cell[1]))
        if b"r" in attributes:
            row, column = cell_position(attributes[b"r"].decode())
        else:  # a cell without a reference follows the one before; its row is counted from the start
            row, column = xml.count(b"<row", 0, cell.start()) - 1, column + 1
        _note_cell(facts, (row, column), attributes.get(b"t", b"n"), cell[2] or b"")
    return facts


def _note_cell(facts: SheetFacts, at: tuple[int, int], kind: bytes, content: bytes) -> None:
    value = _VALUE.search(content)
    if kind == b"e":
        facts.errors[at] = value[1].decode() if value else "#ERROR"
    elif b"<f" in content and value is None:
        facts.uncalculated.add(at)
    elif kind in (b"n", b"d") and value is not None:
        facts.numbers += 1
