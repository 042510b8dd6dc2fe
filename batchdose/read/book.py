"""Any workbook as sheets of plain values: .xlsx, .xlsm and .ods through python-calamine, .csv as text."""

from __future__ import annotations

import hashlib
import io
import re
import stat
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import chain
from math import isfinite
from pathlib import Path
from typing import Any, TypeAlias

from batchdose.findings import UnusableInputError
from batchdose.memory import no_collecting
from batchdose.model import InputFile
from batchdose.read.csvfile import csv_rows
from batchdose.read.facts import SAVE_AGAIN, DamagedPackageError, SheetFacts
from batchdose.read.limits import LONGEST_TEXT, check_file_size, check_sheets, check_text
from batchdose.read.ods import scan_ods
from batchdose.read.ooxml import scan_package
from batchdose.read.package import BROKEN, open_package
from batchdose.texts import say

READABLE = (".xlsx", ".xlsm", ".ods", ".csv")
_NUMBERS = (int, float, date, time, timedelta)
#: Characters that no sheet can hold, and that would stop the copy from being written.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")
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


def open_book(path: Path, room: int = 1) -> Book:
    """Read a workbook whole; `room` is how many times the usual limits it may be.

    Raises UnusableInputError with one clear sentence if that is not possible.
    """
    path = Path(path)
    if path.suffix.lower() not in READABLE:
        raise UnusableInputError(
            path.name,
            "This is not a workbook that can be read.",
            f"Save it as {', '.join(READABLE)} and try again.",
        )
    try:
        data = bytes_of(path)
        if not data.strip():
            raise UnusableInputError(path.name, "The file is empty.", "Bring the workbook with the data in it.")
        sheets = _csv_sheets(path, data) if path.suffix.lower() == ".csv" else _workbook_sheets(path, data, room)
    except DamagedPackageError as error:
        reason = f"The workbook cannot be read: {' '.join(str(error).split()).rstrip('.')}."
        raise UnusableInputError(path.name, reason, error.fix or SAVE_AGAIN) from None
    return Book(InputFile(path, hashlib.sha256(data).hexdigest()), sheets, data)


def bytes_of(path: Path) -> bytes:
    """The file's bytes. Only a plain file is opened: a pipe or a device could keep us waiting for ever.

    Raises UnusableInputError where it cannot be read, TooLargeError where it is larger than the limit.
    """
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            kind = "a folder" if stat.S_ISDIR(about.st_mode) else "no plain file"
            raise UnusableInputError(
                path.name, f"The file cannot be opened: it is {kind}.", "Give the workbook itself."
            )
        check_file_size(about.st_size, csv=path.suffix.lower() == ".csv")
        return path.read_bytes()
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


def _workbook_sheets(path: Path, data: bytes, room: int) -> list[Sheet]:
    """Sheets of a workbook, with error cells and uncalculated formulas marked as such."""
    if data.startswith(_OLE_FILE):
        _refuse_old_or_locked(path, data)
    facts = scan_ods(data) if path.suffix.lower() == ".ods" else scan_package(data, room)
    check_sheets(facts, room)
    sheets = [Sheet(name, rows, facts[name]) for name, rows in _values(data, facts)]
    if lost := facts.keys() - {sheet.name for sheet in sheets}:
        raise DamagedPackageError(f'its sheet "{min(lost)}" cannot be read')
    for sheet in sheets:
        _mark_no_values(path, sheet)
    return sheets


def _values(data: bytes, facts: Mapping[str, SheetFacts]) -> list[tuple[str, list[list[Cell]]]]:
    """Names and values of the sheets. Raises DamagedPackageError where the reader gives up, in whatever way."""
    from python_calamine import CalamineError, load_workbook

    try:
        with no_collecting():
            book = load_workbook(io.BytesIO(data))
            names = [name for name in book.sheet_names if name in facts]
            return [(n, _cells(book.get_sheet_by_name(n).to_python(skip_empty_area=False))) for n in names]
    except CalamineError as error:
        raise DamagedPackageError("it is protected by a password" if "assword" in str(error) else BROKEN) from None
    except (ValueError, OverflowError) as error:
        raise DamagedPackageError(BROKEN) from error
    except BaseException as error:
        # A fault inside the reader comes as an exception outside the usual family.
        if type(error).__name__ != "PanicException":
            raise
        raise DamagedPackageError(BROKEN) from None


def sheet_alone(path: Path, name: str, room: int = 1) -> list[list[Cell]]:
    """Rows of one sheet of a workbook, without the others: quick where those are long. None of its cells is judged.

    `room` is how many times as large as usual the workbook may be.

    Raises UnusableInputError as `open_book` does.
    """
    try:
        data = bytes_of(path)
        open_package(data, room).close()
        [(_, rows)] = _values(data, {name: SheetFacts()})
    except (DamagedPackageError, ValueError) as error:
        reason = f"The workbook cannot be read: {' '.join(str(error).split()).rstrip('.')}."
        raise UnusableInputError(path.name, reason, SAVE_AGAIN) from None
    return rows


def _cells(rows: Iterable[Iterable[Any]]) -> list[list[Cell]]:
    """The cells of a sheet, blank text as no value."""
    return [
        [cell if type(cell) is not str or (cell.isprintable() and cell.strip()) else _text(cell) for cell in row]
        for row in rows
    ]


def _text(cell: str) -> str | None:
    """A text, or None if it is blank. Control characters are made visible: left out, they would change what it says."""
    return _CONTROL.sub("\ufffd", cell) if cell.strip() else None


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
    kinds = Counter(map(type, chain.from_iterable(sheet.rows)))
    read = sum(count for kind, count in kinds.items() if issubclass(kind, _NUMBERS) and kind is not bool)
    if read < facts.numbers:
        raise UnusableInputError(
            path.name,
            f'Only {read} of {facts.numbers} numbers on sheet "{sheet.name}" could be read.',
            "Open the workbook in your spreadsheet program, save it again as .xlsx and use that.",
        )
    for number, row in enumerate(sheet.rows, 1):
        if sum(map(len, [cell for cell in row if type(cell) is str])) > LONGEST_TEXT:
            check_text(sheet.name, number, max(len(cell) for cell in row if type(cell) is str))
    shows, never = say("shows an error"), NoValue(say("a formula"), say("holds a formula that was never calculated"))
    marks = {at: NoValue(code, shows) for at, code in facts.errors.items()}
    marks |= dict.fromkeys(facts.uncalculated, never)
    marks |= _numbers_without_end(sheet)
    for (at, column), mark in marks.items():
        if at < 0 or column < 0:
            raise DamagedPackageError(BROKEN)
        while len(sheet.rows) <= at:
            sheet.rows.append([])
        cells = sheet.rows[at]
        cells.extend([None] * (column + 1 - len(cells)))
        cells[column] = mark
    for (at, column), code in facts.formats.items():
        if set(code) == {"0"} and at < len(sheet.rows) and column < len(sheet.rows[at]):
            sheet.rows[at][column] = _with_zeros(sheet.rows[at][column], len(code))


def _numbers_without_end(sheet: Sheet) -> dict[tuple[int, int], NoValue]:
    """Number cells whose number is none (`nan`), or larger than any that can be kept."""
    if isfinite(sum(cell for row in sheet.rows for cell in row if type(cell) is float)):
        return {}
    cells = ((at, n, cell) for at, row in enumerate(sheet.rows) for n, cell in enumerate(row) if type(cell) is float)
    return {(row, column): NoValue(str(cell), say("is no number")) for row, column, cell in cells if not isfinite(cell)}


def _with_zeros(cell: Cell, digits: int) -> Cell:
    """A whole number as its format shows it: 412 under the format 0000 is 0412."""
    whole = isinstance(cell, (int, float)) and not isinstance(cell, bool) and float(cell).is_integer()
    return f"{int(cell):0{digits}d}" if whole and isinstance(cell, (int, float)) else cell


def _csv_sheets(path: Path, data: bytes) -> list[Sheet]:
    """The one sheet of a .csv file, every cell as text."""
    return [Sheet(path.stem, _cells(csv_rows(data, path.stem)))]
