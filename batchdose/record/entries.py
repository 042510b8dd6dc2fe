"""Single entries to what they say: yes or no, amounts, times. What cannot be read one way is unclear, never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

from batchdose.findings import CellRef
from batchdose.given import NO, PART, YES
from batchdose.read.cells import CellError, read_moment
from batchdose.read.given import Entry
from batchdose.read.numbers import NotANumberError, exact, parse_number

UNCLEAR = "unclear"
_WORDS = {
    "yes": YES, "y": YES, "true": YES, "x": YES, "✓": YES, "no": NO, "n": NO, "false": NO, "part": PART, "partly": PART,
}  # fmt: skip
#: Texts that spreadsheet files read as a character by its number (ECMA-376 part 1, clause 22.9.2.19).
_ESCAPE = re.compile(r"_x(?=[0-9A-Fa-f]{4}_)")


@dataclass(frozen=True, slots=True)
class Said:
    """One field: its text, and the cell that says it."""

    text: str
    where: CellRef | None
    entry: Entry | None = None


class Combined:
    """Entries for one dose, the stronger first: what the first leaves empty, the next says."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self.entries = tuple(entries)

    def said(self, field: str) -> Said:
        """What the first entry with anything in this field says."""
        for entry in self.entries:
            if text := entry.text(field):
                return Said(plain(text), entry.where(field), entry)
        return Said("", self.entries[0].where(field) if self.entries else None)

    def moment(self, zone: ZoneInfo, order: str) -> str:
        """The date and time as ISO 8601, empty where none is entered. Raises CellError where it is not readable."""
        said = self.said("when")
        if said.entry is None:
            return ""
        at = read_moment(said.entry.cells.get("when"), zone, order)
        return at.at.isoformat() if at.timed else at.at.date().isoformat()

    def amount(self, unit: str) -> Fraction | None:
        """The amount, None where none is entered. Raises CellError where it is no amount above zero in `unit`."""
        said = self.said("amount")
        if said.entry is None:
            return None
        cell = said.entry.cells.get("amount")
        text = said.text.casefold().removesuffix(unit.casefold()).strip() if unit else said.text
        try:
            found = exact(cell) if isinstance(cell, float) else parse_number(text)
        except NotANumberError as error:
            raise CellError(str(error)) from None
        if found <= 0:
            raise CellError("an amount is more than zero")
        return found


def given_word(text: str) -> str:
    """What an entry under Given says: yes, no, part, or that it is unclear.

    >>> given_word("Yes"), given_word("some"), given_word("")
    ('yes', 'unclear', '')
    """
    return _WORDS.get(text.strip().casefold(), UNCLEAR) if text.strip() else ""


def plain(text: str) -> str:
    """A text that comes back from a workbook as it went in."""
    return _ESCAPE.sub("_ x", text)


def number_text(value: Fraction) -> str:
    """A number as the record keeps it: in its shortest form.

    >>> number_text(Fraction(9, 10)), number_text(Fraction(2))
    ('0.9', '2')
    """
    number = float(value)
    return str(int(number)) if number.is_integer() else repr(number)


def at_of(iso: str, zone: ZoneInfo) -> datetime | None:
    """A moment of the record in a zone, midnight where only the day is known; None where there is none."""
    if not iso:
        return None
    at = datetime.fromisoformat(iso)
    return at.astimezone(zone) if at.tzinfo else at.replace(tzinfo=zone)
