"""What the value reader cannot say about a sheet, whatever kind of file it came from."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

SAVE_AGAIN = "Open it in your spreadsheet program, save it again without a password, and use that."


#: Formats that show a month without its day.
_MONTH = re.compile(r"(?:m{1,5}[-/. \\]*y{2,4}|y{2,4}[-/. \\]*m{1,5})", re.IGNORECASE)


class DamagedPackageError(Exception):
    """The file cannot be trusted; the message says why, in words for its owner, and `fix` what to do."""

    def __init__(self, message: str, fix: str = "") -> None:
        self.fix = fix
        super().__init__(message)


class TooLargeError(DamagedPackageError):
    """The file is beyond a limit; the message names the limit."""


@dataclass
class SheetFacts:
    """Positions count from zero (row, column). `formats` holds only formats that change what a number means.

    `errors`: error cells and what they show. `uncalculated`: formulas without a stored result. `numbers`:
    how many number cells there are at least, so that a sheet that was silently misread is refused.
    `merged`: first row, first column, last row and last column of each merged area. `concealed`: the sheet
    itself is hidden. `formulas`: it holds any. `reach`: how many rows and columns there are up to the last
    value, at most; `characters`: how many characters its text cells hold, at most.
    """

    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    uncalculated: set[tuple[int, int]] = field(default_factory=set)
    formats: dict[tuple[int, int], str] = field(default_factory=dict)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    filtered: bool = False
    concealed: bool = False
    formulas: bool = False
    numbers: int = 0
    reach: tuple[int, int] = (0, 0)
    characters: int = 0


def format_matters(code: str) -> bool:
    """Whether a number format changes what a number means: a percentage, a unit, thousands, zeros, a month alone.

    >>> format_matters('0.0" lb"'), format_matters("0000"), format_matters("0.00"), format_matters("0,")
    (True, True, False, True)
    """
    plain = code.split(";", maxsplit=1)[0]
    zeros = len(code) > 1 and set(code) == {"0"}
    return "%" in plain or bool(shown_words(plain)) or in_thousands(plain) or zeros or shows_month(plain)


def shown_words(code: str) -> str:
    """Letters that a number format shows beside the number: a unit, mostly.

    >>> shown_words('0.0" lb"'), shown_words('"lb "0.0'), shown_words("[$kg] 0.0"), shown_words("#,##0.00")
    ('lb', 'lb', 'kg', '')
    """
    first = code.split(";", maxsplit=1)[0]
    parts = re.findall(r'"([^"]*)"|((?:\\.)+)|\[\$([^\]-]*)', first)
    text = "".join(quoted or escaped.replace("\\", "") or sign for quoted, escaped, sign in parts).strip()
    return text if any(map(str.isalpha, text)) else ""


def in_thousands(code: str) -> bool:
    """Whether a number format shows thousands, by a comma after its last digit.

    >>> in_thousands("0,"), in_thousands("#,##0")
    (True, False)
    """
    return re.search(r"[0#?],+(?![0#?,])", re.sub(r'"[^"]*"', "", code.split(";", maxsplit=1)[0])) is not None


def shows_month(code: str) -> bool:
    """Whether a number format shows a month without its day.

    >>> shows_month("mmm-yy"), shows_month("[$-809]yyyy-mm;@"), shows_month("dd/mm/yy")
    (True, True, False)
    """
    return _MONTH.fullmatch(re.sub(r"\[[^\]]*\]", "", code.split(";", maxsplit=1)[0])) is not None
