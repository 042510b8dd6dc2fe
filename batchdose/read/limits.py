"""What a workbook may be at most. Beyond that it is refused in one sentence, before it is read; see docs/limits.md.

A weighing sheet of 100,000 animals stays far below. The limits keep a damaged, runaway or hostile file from
filling the memory or taking minutes.
"""

from __future__ import annotations

from batchdose.read.facts import DamagedPackageError, SheetFacts, TooLargeError

MEGABYTE = 1024 * 1024
#: A workbook as it lies on the disk, and a .csv file [bytes].
LARGEST_FILE = 100 * MEGABYTE
LARGEST_CSV = 50 * MEGABYTE
#: All parts of a workbook unpacked, and one of its small parts (list of sheets, styles) [bytes].
LARGEST_UNPACKED = 200 * MEGABYTE
LARGEST_SMALL_PART = 8 * MEGABYTE
#: Parts (files) in a workbook's package, and sheets.
MOST_PARTS = 5_000
MOST_SHEETS = 200
#: The last row and column that may hold a value (16,384 is column XFD), and rows times columns of all sheets.
LAST_ROW = 250_000
LAST_COLUMN = 16_384
MOST_CELLS = 5_000_000
#: Texts that a workbook keeps aside for its cells; characters in one cell (as in Excel), and in all of them.
MOST_TEXTS = 2_000_000
LONGEST_TEXT = 32_767
MOST_CHARACTERS = 100_000_000
#: Elements within elements in one part.
DEEPEST_XML = 200
#: Rows that a sheet may describe, blank ones with a format of their own included.
MOST_ROWS_DESCRIBED = 1_048_576
#: A treatment record may be this many times as large, unpacked and in cells and characters: it is years of jobs.
RECORD_ROOM = 3

_FAR = "Remove what lies far from the table, or copy the table into a new workbook."
_SHORTER = "Shorten it, or look for a quotation mark there that is never closed."
_SMALLER = "Copy the table alone into a new workbook and use that."


def check_file_size(size: int, *, csv: bool) -> None:
    """Raise TooLargeError where a file is larger than any weighing sheet."""
    most = LARGEST_CSV if csv else LARGEST_FILE
    if size > most:
        raise TooLargeError(f"it is larger than {most // MEGABYTE} MB", _SMALLER)


def check_parts(sizes: list[int], room: int = 1) -> None:
    """Raise TooLargeError where a package has too many parts, or would unpack to too much."""
    if len(sizes) > MOST_PARTS:
        raise TooLargeError(f"it is made of more than {MOST_PARTS:,} parts", _SMALLER)
    if sum(sizes) > LARGEST_UNPACKED * room:
        raise TooLargeError(f"it unpacks to more than {LARGEST_UNPACKED * room // MEGABYTE} MB", _SMALLER)


def check_small_part(size: int) -> None:
    """Raise TooLargeError for a list of sheets or styles of a size that only a damaged file has."""
    if size > LARGEST_SMALL_PART:
        raise TooLargeError(
            f"its list of sheets or styles is larger than {LARGEST_SMALL_PART // MEGABYTE} MB", _SMALLER
        )


def check_depth(depth: int) -> None:
    """Raise DamagedPackageError for elements nested deeper than any spreadsheet program nests them."""
    if depth > DEEPEST_XML:
        raise DamagedPackageError(f"its parts are nested more than {DEEPEST_XML} deep")


def check_texts(count: int) -> None:
    """Raise TooLargeError where a workbook keeps too many texts."""
    if count > MOST_TEXTS:
        raise TooLargeError(f"it holds more than {MOST_TEXTS:,} texts", _SMALLER)


def check_rows(count: int) -> None:
    """Raise TooLargeError where a sheet describes more rows than a spreadsheet program has."""
    if count > MOST_ROWS_DESCRIBED:
        raise TooLargeError(f"a sheet describes more than {MOST_ROWS_DESCRIBED:,} rows", _SMALLER)


def check_reach(name: str, rows: int, columns: int, room: int = 1) -> None:
    """Raise TooLargeError where values of a sheet lie too far out: `rows` and `columns` up to the last value."""
    if rows > LAST_ROW or columns > LAST_COLUMN or rows * columns > MOST_CELLS * room:
        raise TooLargeError(
            f'the values on sheet "{name}" reach as far as row {rows:,} and column number {columns:,}', _FAR
        )


def check_text(name: str, row: int, length: int) -> None:
    """Raise TooLargeError where a cell holds a longer text than a cell can."""
    if length > LONGEST_TEXT:
        raise TooLargeError(f'a text in row {row:,} of "{name}" is longer than {LONGEST_TEXT:,} characters', _SHORTER)


def check_names(names: list[str]) -> None:
    """Raise where a workbook has too many sheets, or two that the program could not tell apart."""
    if len(names) > MOST_SHEETS:
        raise TooLargeError(f"it has more than {MOST_SHEETS} sheets", _SMALLER)
    if len({name.casefold() for name in names}) < len(names):
        raise DamagedPackageError("it has two sheets of one name")


def check_characters(count: int, room: int = 1) -> None:
    """Raise TooLargeError where the cells hold more text than a person has typed."""
    if count > MOST_CHARACTERS * room:
        raise TooLargeError(f"its cells hold more than {MOST_CHARACTERS * room:,} characters", _SMALLER)


def check_sheets(facts: dict[str, SheetFacts], room: int = 1) -> None:
    """Raise TooLargeError where the sheets of a workbook hold too much, each or together."""
    for name, sheet in facts.items():
        check_reach(name, *sheet.reach, room)
    if sum(rows * columns for rows, columns in (sheet.reach for sheet in facts.values())) > MOST_CELLS * room:
        raise TooLargeError(f"its sheets have more than {MOST_CELLS * room:,} cells", _SMALLER)
    check_characters(sum(sheet.characters for sheet in facts.values()), room)
