"""What the value reader cannot say about a sheet of an .ods file: error cells, hidden and filtered rows.

Elements are those of OpenDocument 1.3 part 3 (ISO/IEC 26300), chapter 9.
"""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from xml.etree import ElementTree

from batchdose.read.facts import DamagedPackageError, SheetFacts
from batchdose.read.ooxml import DAMAGE, open_package

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_CALC = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"
#: Rows and columns beyond this hold nothing; a repeated blank row may stand for a million.
_LARGEST_REPEAT = 20_000


def scan_ods(data: bytes) -> dict[str, SheetFacts]:
    """Facts of every sheet by name. Raises DamagedPackageError with a sentence for the user."""
    with open_package(data) as package:
        try:
            content = package.read("content.xml")
            manifest = package.read("META-INF/manifest.xml") if "META-INF/manifest.xml" in package.namelist() else b""
        except DAMAGE as error:
            raise DamagedPackageError("it is damaged or not a workbook") from error
    if b"encryption-data" in manifest:
        raise DamagedPackageError("it is protected by a password")
    if b"<!DOCTYPE" in content:
        raise DamagedPackageError("it holds a document type definition, which a workbook never needs")
    try:
        return dict(_sheets(content))
    except DAMAGE as error:
        raise DamagedPackageError("it is damaged or not a workbook") from error


def _sheets(content: bytes) -> Iterator[tuple[str, SheetFacts]]:
    for _, table in ElementTree.iterparse(BytesIO(content)):  # noqa: S314 - document types are refused above
        if table.tag == f"{_TABLE}table":
            yield table.get(f"{_TABLE}name", ""), _facts(table)
            table.clear()


def _facts(table: ElementTree.Element) -> SheetFacts:
    facts = SheetFacts()
    column = 0
    for spec in table.iter(f"{_TABLE}table-column"):
        repeat = _repeat(spec, "columns")
        if spec.get(f"{_TABLE}visibility") in ("collapse", "filter"):
            facts.hidden_columns.update(range(column, column + min(repeat, _LARGEST_REPEAT)))
        column += repeat
    number = 0
    for row in table.iter(f"{_TABLE}table-row"):
        repeat = _repeat(row, "rows")
        hidden = row.get(f"{_TABLE}visibility")
        if hidden in ("collapse", "filter"):
            facts.hidden_rows.update(range(number, number + min(repeat, _LARGEST_REPEAT)))
            facts.filtered |= hidden == "filter"
        if repeat < _LARGEST_REPEAT:
            _errors_of(row, number, repeat, facts)
        number += repeat
    return facts


def _errors_of(row: ElementTree.Element, number: int, repeat: int, facts: SheetFacts) -> None:
    column = 0
    for cell in row:
        if cell.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            continue
        times = _repeat(cell, "columns")
        if times < _LARGEST_REPEAT and cell.get(f"{_CALC}value-type") == "error":
            shown = "".join(text for p in cell.iter(f"{_TEXT}p") for text in p.itertext()) or "#ERROR"
            for at in ((r, c) for r in range(number, number + repeat) for c in range(column, column + times)):
                facts.errors[at] = shown
        column += times


def _repeat(element: ElementTree.Element, what: str) -> int:
    return int(element.get(f"{_TABLE}number-{what}-repeated", "1"))
