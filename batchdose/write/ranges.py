"""Ranges of cells as numbers and as text: columns and rows are counted from 1."""

from __future__ import annotations

from batchdose.model import cell_position, column_letter

#: Columns and rows that a sheet can have (common practice of the programs; the format itself has no limit).
LAST_COLUMN, LAST_ROW = 16_384, 1_048_576


def area(text: str) -> tuple[int, int, int, int]:
    """Top, left, bottom and right of a range, all from 1.

    >>> area("B2:$D$9"), area("C3"), area("$D:$E")
    ((2, 2, 9, 4), (3, 3, 3, 3), (1, 4, 1048576, 5))
    """
    first, _, last = text.replace("$", "").partition(":")
    (top, left), (bottom, right) = _corner(first, low=True), _corner(last or first, low=False)
    return top, left, bottom, right


def _corner(text: str, *, low: bool) -> tuple[int, int]:
    if text.isdigit():
        return int(text), 1 if low else LAST_COLUMN
    if text.isalpha():
        return (1 if low else LAST_ROW), column_number(text.encode())
    row, column = cell_position(text)
    return row + 1, column + 1


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
