"""Any workbook as sheets of plain values: .xlsx, .xlsm and .ods through python-calamine, .csv as text."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TypeAlias

from batchdose.findings import UnusableInputError
from batchdose.model import InputFile
from batchdose.read.csvfile import csv_rows
from batchdose.read.facts import DamagedPackageError, SheetFacts
from batchdose.read.ods import scan_ods
from batchdose.read.ooxml import scan_package

READABLE = (".xlsx", ".xlsm", ".ods", ".csv")
#: Rows and columns that a sheet can have.
LARGEST_SHEET = (1_048_576, 16_384)
_NUMBERS = (int, float, date, time, timedelta)
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
    facts: SheetFacts = field(default_factory=SheetFacts)


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
        facts = scan_ods(data) if path.suffix.lower() == ".ods" else scan_package(data)
        book = load_workbook(io.BytesIO(data))
        sheets = [
            Sheet(name, _cells(book.get_sheet_by_name(name).to_python(skip_empty_area=False)), facts[name])
            for name in book.sheet_names
            if name in facts
        ]
    except (DamagedPackageError, CalamineError) as error:
        reason = "it is protected by a password" if "assword" in str(error) else f"{error}".strip(".")
        raise UnusableInputError(
            path.name, f"The workbook cannot be read: {' '.join(reason.split())}.",
            "Open it in your spreadsheet program, save it again without a password, and use that.",
        ) from None  # fmt: skip
    for sheet in sheets:
        _mark_no_values(path, sheet)
    return sheets


def _cells(rows: Iterable[Iterable[object]]) -> list[list[Cell]]:
    return [[_blank_to_none(cell) for cell in row] for row in rows]


def _refuse_old_or_locked(path: Path, data: bytes) -> None:
    if _ENCRYPTED in data:
        raise UnusableInputError(
            path.name,
            "The workbook is protected by a password.",
            "Save a copy without the password and use that.",
        )
    raise UnusableInputError(path.name, "This is an old .xls workbook.", "Save it as .xlsx and use that.")


def _mark_no_values(path: Path, sheet: Sheet) -> None:
    """Put the marks of the sheet's facts into its rows, and refuse a sheet whose numbers were not all read."""
    facts = sheet.facts
    read = sum(isinstance(cell, _NUMBERS) and not isinstance(cell, bool) for row in sheet.rows for cell in row)
    if read < facts.numbers:
        raise UnusableInputError(
            path.name,
            f'Only {read} of {facts.numbers} numbers on sheet "{sheet.name}" could be read.',
            "Open the workbook in your spreadsheet program, save it again as .xlsx and use that.",
        )
    marks = {at: NoValue(code, "shows an error") for at, code in facts.errors.items()}
    marks |= {at: NoValue("a formula", "holds a formula that was never calculated") for at in facts.uncalculated}
    for (row, column), mark in marks.items():
        if row >= LARGEST_SHEET[0] or column >= LARGEST_SHEET[1]:
            raise UnusableInputError(path.name, f'Sheet "{sheet.name}" is too large.', "Remove what lies far off.")
        while len(sheet.rows) <= row:
            sheet.rows.append([])
        cells = sheet.rows[row]
        cells.extend([None] * (column + 1 - len(cells)))
        cells[column] = mark
    for (row, column), code in facts.formats.items():
        if set(code) == {"0"} and row < len(sheet.rows) and column < len(sheet.rows[row]):
            sheet.rows[row][column] = _with_zeros(sheet.rows[row][column], len(code))


def _with_zeros(cell: Cell, digits: int) -> Cell:
    """A whole number as its format shows it: 412 under the format 0000 is 0412."""
    whole = isinstance(cell, (int, float)) and not isinstance(cell, bool) and float(cell).is_integer()
    return f"{int(cell):0{digits}d}" if whole and isinstance(cell, (int, float)) else cell


def _blank_to_none(cell: object) -> Cell:
    if cell == "" or (isinstance(cell, str) and not cell.strip()):
        return None
    return cell  # type: ignore[return-value]


def _csv_sheets(path: Path, data: bytes) -> list[Sheet]:
    """The one sheet of a .csv file, every cell as text."""
    try:
        return [Sheet(path.stem, [list(row) for row in csv_rows(data)])]
    except DamagedPackageError as error:
        raise UnusableInputError(path.name, f"The file cannot be read: {error}.", "Export it again.") from None
