"""What the value reader cannot say about a sheet, whatever kind of file it came from."""

from __future__ import annotations

from dataclasses import dataclass, field

#: A file that unpacks to more than this is no weighing sheet.
LARGEST_UNPACKED = 200 * 1024 * 1024


class DamagedPackageError(Exception):
    """The file cannot be trusted; the message says why, in words for its owner."""


@dataclass
class SheetFacts:
    """Positions count from zero (row, column). `formats` holds only formats that change what a number means.

    `errors`: error cells and what they show. `uncalculated`: formulas without a stored result. `numbers`:
    how many number cells there are at least, so that a sheet that was silently misread is refused. `merged`:
    first row, first column, last row, last column of each merged area. `concealed`: the sheet itself is hidden.
    """

    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    uncalculated: set[tuple[int, int]] = field(default_factory=set)
    formats: dict[tuple[int, int], str] = field(default_factory=dict)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    filtered: bool = False
    concealed: bool = False
    numbers: int = 0


def format_matters(code: str) -> bool:
    """Whether a number format changes what a number means: a percentage, a unit in quotes, leading zeros.

    >>> format_matters('0.0" lb"'), format_matters("0000"), format_matters("0.00")
    (True, True, False)
    """
    return "%" in code or '"' in code or (len(code) > 1 and set(code) == {"0"})
