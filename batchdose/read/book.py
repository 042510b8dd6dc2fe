"""Any workbook as sheets of plain values: .xlsx, .xlsm and .ods through python-calamine, .csv as text."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TypeAlias

from batchdose.findings import UnusableInputError
from batchdose.model import InputFile
from batchdose.read.ooxml import DamagedPackageError, scan_package

READABLE = (".xlsx", ".xlsm", ".ods", ".csv")
_OLE_FILE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")


@dataclass(frozen=True, slots=True)
class NoValue:
    """A cell that shows something other than a value: an error, or a formula never calculated."""

    shows: str
    problem: str


Cell: TypeAlias = str | float | bool | datetime | date | time | timedelta | NoValue | None


@dataclass(frozen=True)
class Sheet:
    """One sheet: `rows[i][j]` is the cell in row i + 1 and column j + 1; None where it is blank."""

    name: str
    rows: list[list[Cell]]


@dataclass(frozen=True)
class Book:
    """One workbook, its sheets in order, and its bytes for the copy that is written later."""

    source: InputFile
    sheets: list[Sheet]
    data: bytes = field(repr=False)

    @property
    def kind(self) -> str:
        """The file's ending in small letters: `.xlsx`, `.xlsm`, `.ods` or `.csv`."""
        return self.source.path.suffix.lower()

    def sheet_named(self, name: str) -> Sheet | None:
        """The sheet of that name, whatever its case, or None."""
        return next((sheet for sheet in self.sheets if sheet.name.strip().casefold() == name.casefold()), None)


def open_book(path: Path) -> Book:
    """Read a workbook whole. Raises UnusableInputError with one clear sentence if that is not possible."""
    path = Path(path)
    if path.suffix.lower() not in READABLE:
        raise UnusableInputError(
            path.name,
            "This is not a workbook that can be read.",
            f"Save it as {', '.join(READABLE)} and try again.",
        )
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise UnusableInputError(
            path.name, f"There is no such file in {path.parent.resolve()}.", "Check the name and the folder."
        ) from None
    except OSError as error:
        raise UnusableInputError(
            path.name,
            f"The file cannot be opened: {error.strerror}.",
            "Close it elsewhere or check its rights.",
        ) from None
    if not data.strip():
        raise UnusableInputError(path.name, "The file is empty.", "Bring the workbook with the data in it.")
    sheets = _csv_sheets(path, data) if path.suffix.lower() == ".csv" else _workbook_sheets(path, data)
    return Book(InputFile(path, hashlib.sha256(data).hexdigest()), sheets, data)


def _workbook_sheets(path: Path, data: bytes) -> list[Sheet]:
    """Sheets of a workbook, with error cells and uncalculated formulas marked as such."""
    from python_calamine import CalamineError, load_workbook

    if data.startswith(_OLE_FILE):
        _refuse_old_or_locked(path, data)
    try:
        facts = scan_package(data) if path.suffix.lower() != ".ods" else {}
        book = load_workbook(io.BytesIO(data))
        sheets = [
            Sheet(name, [[_blank_to_none(cell) for cell in row] for row in
                         book.get_sheet_by_name(name).to_python(skip_empty_area=False)])
            for name in book.sheet_names
            if path.suffix.lower() == ".ods" or name in facts
        ]  # fmt: skip
    except (DamagedPackageError, CalamineError) as error:
        reason = "password-protected" if "assword" in str(error) else str(error).strip(".")
        raise UnusableInputError(
            path.name,
            f"The workbook cannot be read: {reason}.",
            "Save it again without a password and try again.",
        ) from None
    for sheet in sheets:
        if sheet.name in facts:
            _mark_no_values(path, sheet, facts[sheet.name])
    return sheets


def _refuse_old_or_locked(path: Path, data: bytes) -> None:
    if _ENCRYPTED in data:
        raise UnusableInputError(
            path.name,
            "The workbook is protected by a password.",
            "Save a copy without the password and use that.",
        )
    raise UnusableInputError(path.name, "This is an old .xls workbook.", "Save it as .xlsx and use that.")


def _mark_no_values(path: Path, sheet: Sheet, facts: object) -> None:
    """Put the marks of `facts` into the rows, and refuse a sheet whose numbers were not all read."""
    from batchdose.read.ooxml import SheetFacts

    assert isinstance(facts, SheetFacts)  # noqa: S101 - tells the type checker
    read = sum(isinstance(cell, (int, float, date, time, timedelta)) and not isinstance(cell, bool)
               for row in sheet.rows for cell in row)  # fmt: skip
    if read < facts.numbers:
        raise UnusableInputError(
            path.name,
            f'Only {read} of {facts.numbers} numbers on sheet "{sheet.name}" could be read.',
            "Open the workbook in your spreadsheet program, save it again as .xlsx and use that.",
        )
    marks = {at: NoValue(code, "shows an error") for at, code in facts.errors.items()}
    marks |= {at: NoValue("a formula", "holds a formula that was never calculated") for at in facts.uncalculated}
    for (row, column), mark in marks.items():
        while len(sheet.rows) <= row:
            sheet.rows.append([])
        cells = sheet.rows[row]
        cells.extend([None] * (column + 1 - len(cells)))
        cells[column] = mark


def _blank_to_none(cell: object) -> Cell:
    if cell == "" or (isinstance(cell, str) and not cell.strip()):
        return None
    return cell  # type: ignore[return-value]


def _csv_sheets(path: Path, data: bytes) -> list[Sheet]:
    """The one sheet of a .csv file, every cell as text; encoding and delimiter found out."""
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else encoding)
            break
        except UnicodeDecodeError:
            continue
    else:
        raise UnusableInputError(path.name, "The text cannot be read.", "Save it as CSV UTF-8 and try again.")
    lines = text.splitlines()
    delimiter = max(",;\t", key=lambda mark: max((line.count(mark) for line in lines[:20]), default=0))
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise UnusableInputError(path.name, f"The table is damaged: {error}.", "Export it again.") from None
    return [Sheet(path.stem, [[_blank_to_none(cell) for cell in row] for row in rows])]
