"""Findings: what is wrong or worth knowing, where it stands, and what to do about it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from enum import IntEnum
from itertools import groupby
from typing import TYPE_CHECKING

from batchdose.texts import joined, say, say_many

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence


class Level(IntEnum):
    """How serious a finding is. An error holds something back; a warning or a note does not."""

    ERROR = 3
    WARNING = 2
    NOTE = 1

    @property
    def word(self) -> str:
        """The level as it is written in results and messages: `error`, `warning`, `note`."""
        return self.name.lower()


def column_letter(index: int) -> str:
    """Spreadsheet letter of a column counted from zero.

    >>> column_letter(0), column_letter(27)
    ('A', 'AB')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def cell_position(reference: str) -> tuple[int, int]:
    """Row and column, counted from zero, of a cell reference.

    >>> cell_position("C17")
    (16, 2)
    """
    letters = reference.rstrip("0123456789")
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter.upper()) - 64
    return int(reference[len(letters) :]) - 1, column - 1


@dataclass(frozen=True, slots=True)
class CellRef:
    """A place in a workbook; `sheet` and `cell` are empty where the finding is about the whole."""

    workbook: str
    sheet: str = ""
    cell: str = ""

    def __str__(self) -> str:
        return f"{self.workbook}: {self.place}" if self.place else self.workbook

    @property
    def on_sheet(self) -> str:
        """Workbook and sheet; of a .csv file the name alone."""
        is_sheet = self.sheet and not self.workbook.lower().endswith(".csv")
        return say("{workbook}, sheet {sheet}", workbook=self.workbook, sheet=self.sheet) if is_sheet else self.workbook

    @property
    def place(self) -> str:
        """Sheet and cell; line and column in a .csv file, which has neither.

        >>> CellRef("scale.csv", "scale", "C17").place, CellRef("weighing.xlsx", "Weights", "C17").place
        ('line 17, column 3', 'Weights!C17')
        """
        if self.cell and self.workbook.lower().endswith(".csv"):
            row, column = cell_position(self.cell)
            return say("line {row}, column {column}", row=row + 1, column=column + 1)
        return f"{self.sheet}!{self.cell}" if self.sheet and self.cell else self.sheet or self.cell


@dataclass(frozen=True, slots=True)
class Hold:
    """What an error keeps back, and the reason printed beside it.

    `animals` are rows of the animals table, `medicines` positions in the list of medicines and `courses`
    numbers of courses; None means all of them. `soft` says that a person may decide otherwise (`Give
    anyway`). `needs_weight` spares medicines whose dose does not depend on the weight; `not_weighed` an animal
    that a person confirms not to be heavier than the rest of a mob with one setting. `products` are those that it
    keeps from being called clear (None: all).
    """

    why: str
    animals: tuple[int, ...] | None = None
    medicines: tuple[int, ...] | None = None
    courses: tuple[int, ...] | None = None
    soft: bool = False
    needs_weight: bool = False
    not_weighed: bool = False
    products: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One problem or remark: level, rule, place, what was seen, what it means and what to do.

    A finding worded by the animals it holds gives with `again` the same of fewer of them (rows of the animals table).
    """

    level: Level
    rule: str
    where: CellRef
    seen: str
    message: str
    fix: str
    hold: Hold | None = None
    no_clear: Hold | None = None
    again: Callable[[tuple[int, ...]], Finding] | None = field(default=None, compare=False, repr=False)

    def __str__(self) -> str:
        seen = f" (seen: {self.seen})" if self.seen else ""
        return f"{self.level.word}: {self.where}: {self.message}{seen} {self.fix} [{self.rule}]"


def grouped(findings: Sequence[Finding]) -> Iterator[str]:
    """Findings as lines, sheet after sheet as they come, each sheet with how many of each level it has."""
    for place, group in groupby(findings, key=lambda finding: finding.where.on_sheet):
        of_sheet = list(group)
        yield f"{place}: {count_by_level(of_sheet)}"
        for finding in of_sheet:
            seen = f" (seen: {finding.seen})" if finding.seen else ""
            cell = finding.where.place.split("!")[-1] if finding.where.cell else "as a whole"
            yield f"  {cell}: {finding.level.word}: {finding.message}{seen} {finding.fix} [{finding.rule}]"


class UnusableInputError(Exception):
    """The run cannot go on: a workbook cannot be read, or nothing in it can be used (exit status 2)."""

    def __init__(self, where: CellRef | str, message: str, fix: str) -> None:
        self.where = where
        super().__init__(f"{where}: {message} {fix}")


def count_by_level(findings: Iterable[Finding]) -> str:
    """How many of each level, in words.

    >>> count_by_level([])
    'no findings'
    """
    counts = Counter(finding.level for finding in findings)
    said = {
        Level.ERROR: say_many("{n} error", "{n} errors", counts[Level.ERROR], n=counts[Level.ERROR]),
        Level.WARNING: say_many("{n} warning", "{n} warnings", counts[Level.WARNING], n=counts[Level.WARNING]),
        Level.NOTE: say_many("{n} note", "{n} notes", counts[Level.NOTE], n=counts[Level.NOTE]),
    }
    parts = [said[level] for level in Level if counts[level]]
    return joined(", ", parts) if parts else say("no findings")
