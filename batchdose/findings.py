"""Findings: what is wrong or worth knowing, where it stands, and what to do about it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


class Level(IntEnum):
    """How serious a finding is. An error holds something back; a warning or a note does not."""

    ERROR = 3
    WARNING = 2
    NOTE = 1

    @property
    def word(self) -> str:
        """The level as it is written in results and messages: `error`, `warning`, `note`."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class CellRef:
    """A place in a workbook; `sheet` and `cell` are empty where the finding is about the whole."""

    workbook: str
    sheet: str = ""
    cell: str = ""

    def __str__(self) -> str:
        place = f"{self.sheet}!{self.cell}" if self.sheet and self.cell else self.sheet or self.cell
        return f"{self.workbook}: {place}" if place else self.workbook


@dataclass(frozen=True, slots=True)
class Hold:
    """What an error keeps back, and the reason printed beside it.

    `animals` are rows of the animals table, `medicines` positions in the list of medicines and `courses`
    numbers of courses; None means all of them. `soft` says that a person may decide otherwise (`Give
    anyway`). `needs_weight` spares medicines whose dose does not depend on the weight; `not_weighed` an animal
    that a person confirms not to be heavier than the rest of a mob with one setting.
    """

    why: str
    animals: tuple[int, ...] | None = None
    medicines: tuple[int, ...] | None = None
    courses: tuple[int, ...] | None = None
    soft: bool = False
    needs_weight: bool = False
    not_weighed: bool = False


@dataclass(frozen=True, slots=True)
class Finding:
    """One problem or remark: level, rule, place, what was seen, what it means and what to do."""

    level: Level
    rule: str
    where: CellRef
    seen: str
    message: str
    fix: str
    hold: Hold | None = None
    no_clear: Hold | None = None

    def __str__(self) -> str:
        seen = f" (seen: {self.seen})" if self.seen else ""
        return f"{self.level.word}: {self.where}: {self.message}{seen} {self.fix} [{self.rule}]"


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
    parts = [f"{counts[level]} {level.word}{'s' if counts[level] > 1 else ''}" for level in Level if counts[level]]
    return ", ".join(parts) or "no findings"
