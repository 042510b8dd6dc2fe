"""Whether a formula of the user's reads the result columns, so that its stored result would be an old one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from batchdose.model import OWN_HEADING
from batchdose.write.book_part import BookPart, SheetEntry
from batchdose.write.package import Package
from batchdose.write.splice import LAST_COLUMN, area
from batchdose.write.xmltext import CannotCopyError, XmlText, attribute

#: A reference in a formula: a sheet's name, if any, and a cell, a range, whole columns or whole rows.
_REFERENCE = re.compile(
    r"(?:(?P<sheet>'(?:[^']|'')+'|[\w.]+)!)?"
    r"(?P<place>\$?[A-Z]{1,3}\$?\d{1,7}(?::\$?[A-Z]{1,3}\$?\d{1,7})?|\$?[A-Z]{1,3}:\$?[A-Z]{1,3}|\$?\d{1,7}:\$?\d{1,7})"
    r"(?![\w(!])"
)
_FORMULA_END = b"f>"


def reads_columns(
    package: Package, book: BookPart, weighing: SheetEntry, xml: XmlText, columns: Sequence[int], header_row: int
) -> bool:
    """Whether any formula of the workbook reads one of these columns of the weighing sheet, from the headings down.

    `xml` is that sheet. A formula that takes a whole table of the sheet, or a column headed like ours, counts too;
    other names are not followed.
    """
    words = [f"[{OWN_HEADING}".casefold(), *_whole_tables(package, weighing)]
    return any(
        _reads(formula, weighing.name, frozenset(columns), header_row, local=sheet.index == weighing.index)
        or any(word in formula.casefold() for word in words)
        for sheet in book.sheets
        for formula in _formulas(package, sheet, xml if sheet.index == weighing.index else None)
    )


def _whole_tables(package: Package, weighing: SheetEntry) -> Iterator[str]:
    """How a formula takes a whole table of the sheet."""
    for part in package.relations(weighing.part or "", "table"):
        name = (attribute(package.xml(part, "table").need("table").tag, "displayName") or "").casefold()
        yield from (f"{name}[]", f"{name}[#all", f"{name}[#data")


def _formulas(package: Package, sheet: SheetEntry, xml: XmlText | None) -> Iterator[str]:
    """Texts of the formulas of one sheet (clause 18.3.1.40); a sheet that is no worksheet, or damaged, has none."""
    if xml is None:
        if sheet.part is None or sheet.part not in package or _FORMULA_END not in package.read(sheet.part):
            return
        try:
            xml = package.xml(sheet.part, "worksheet")
        except CannotCopyError:
            return
    for found in xml.elements("f"):
        yield xml.content(found).decode("utf-8")


def _reads(formula: str, sheet: str, columns: Iterable[int], header_row: int, *, local: bool) -> bool:
    for found in _REFERENCE.finditer(formula):
        named = found["sheet"]
        if named is None and not local:
            continue
        if named is not None and named.strip("'").replace("''", "'").casefold() != sheet.casefold():
            continue
        _, left, bottom, right = area(found["place"])
        if bottom >= header_row and right <= LAST_COLUMN and any(left <= column <= right for column in columns):
            return True
    return False
