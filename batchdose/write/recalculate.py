"""Whether a formula of the user's reads the result columns, so that its stored result would be an old one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from batchdose.model import OWN_HEADING
from batchdose.write.book_part import BookPart, SheetEntry
from batchdose.write.package import Package
from batchdose.write.ranges import area
from batchdose.write.xmltext import CannotCopyError, XmlText

#: A reference in a formula: a sheet's name, if any, and a cell, a range, whole columns or whole rows.
_REFERENCE = re.compile(
    r"(?:(?P<sheet>'(?:[^']|'')+'|[\w.]+)!)?"
    r"(?P<place>\$?[A-Z]{1,3}\$?\d{1,7}(?::\$?[A-Z]{1,3}\$?\d{1,7})?|\$?[A-Z]{1,3}:\$?[A-Z]{1,3}|\$?\d{1,7}:\$?\d{1,7})"
    r"(?![\w(!])"
)
_FORMULA_END = b"f>"


def formulas(package: Package, book: BookPart, weighing: SheetEntry, xml: XmlText) -> Iterator[tuple[int, str]]:
    """Every formula of the workbook, with the number of its sheet; `xml` is the weighing sheet."""
    for sheet in book.sheets:
        for text in _formulas(package, sheet, xml if sheet.index == weighing.index else None):
            yield sheet.index, text


def reads_columns(
    every: Iterable[tuple[int, str]], tables: Iterable[str], weighing: SheetEntry, columns: Sequence[int],
    header_row: int,
) -> bool:  # fmt: skip
    """Whether any formula reads one of these columns of the weighing sheet, from the headings down.

    A formula that takes a whole table of the sheet (`tables` are their names), or a column headed like ours,
    counts too; other names are not followed.
    """
    words = [f"[{OWN_HEADING}", *(f"{table}{part}" for table in tables for part in ("[]", "[#All", "[#Data"))]
    words = [word.casefold() for word in words]
    return any(
        _reads(formula, weighing.name, frozenset(columns), header_row, local=index == weighing.index)
        or any(word in formula.casefold() for word in words)
        for index, formula in every
    )


def reads_names(every: Iterable[tuple[int, str]], names: Iterable[str]) -> bool:
    """Whether any formula reads a table's column of one of these names, in small letters (clause 18.17)."""
    words = [f"[{name}]" for name in names]
    return any(word in formula.casefold() for _, formula in every for word in words)


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
        try:
            _, left, bottom, right = area(found["place"])
        except CannotCopyError:
            continue  # a name that only looks like a cell
        if bottom >= header_row and any(left <= column <= right for column in columns):
            return True
    return False
