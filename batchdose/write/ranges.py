"""Ranges of cells as numbers and as text: columns and rows are counted from 1."""

from __future__ import annotations

import re

from batchdose.findings import column_letter
from batchdose.write.xmltext import CannotCopyError

#: Columns and rows that a sheet can have (common practice of the programs; the format itself has no limit).
LAST_COLUMN, LAST_ROW = 16_384, 1_048_576


def area(text: str) -> tuple[int, int, int, int]:
    """Top, left, bottom and right of a range, all from 1. Raises CannotCopyError where it is none.

    >>> area("B2:$D$9"), area("C3"), area("$D:$E")
    ((2, 2, 9, 4), (3, 3, 3, 3), (1, 4, 1048576, 5))
    """
    first, _, last = text.replace("$", "").partition(":")
    (top, left), (bottom, right) = _corner(first, 1, 1), _corner(last or first, LAST_ROW, LAST_COLUMN)
    if not (1 <= top <= bottom <= LAST_ROW and 1 <= left <= right <= LAST_COLUMN):
        raise CannotCopyError(f'"{text}" in it is no range')
    return top, left, bottom, right


def _corner(text: str, row: int, column: int) -> tuple[int, int]:
    """Row and column of a corner; what it does not say is that of the whole sheet."""
    found = _CORNER.fullmatch(text)
    if not found or not text:
        return 0, 0
    letters, digits = found.groups()
    return int(digits or row), column_number(letters.encode()) if letters else column


_CORNER = re.compile(r"([A-Za-z]{1,3})?(\d{1,7})?")


def area_text(top: int, left: int, bottom: int, right: int) -> str:
    """A range as text.

    >>> area_text(2, 2, 9, 4)
    'B2:D9'
    """
    return f"{column_letter(left - 1)}{top}:{column_letter(right - 1)}{bottom}"


def column_number(letters: bytes) -> int:
    """Number of a column from its letters.

    >>> column_number(b"AB")
    28
    """
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number
