"""What was drawn from the bottles, the rows of one job, day and bottle together: what the stock is counted from.

A record keeps them in its index, since they are few where its rows are many; a corrected row takes its own part out.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from batchdose.given import NO
from batchdose.record.entries import at_of
from batchdose.record.rows import DOSE, Row, latest_of_lines


class Draw(NamedTuple):
    """What was drawn together: on one day for one job, by the facts of one course, from what one entry names."""

    day: date
    job: str
    facts: str
    medicine: str
    unit: str
    batch_no: str


@dataclass
class Drawn:
    """How much was given of it [units of product], and the numbers of its rows, in order."""

    given: Fraction = Fraction(0)
    numbers: list[int] = field(default_factory=list)


@dataclass
class Draws:
    """All of a record."""

    of: dict[Draw, Drawn] = field(default_factory=dict)

    def put(self, row: Row, zone: ZoneInfo) -> None:
        """Count a row that holds now."""
        if draw := _draw(row, zone):
            drawn = self.of.setdefault(draw, Drawn())
            drawn.given += _amount(row)
            insort(drawn.numbers, row.number)

    def take_out(self, row: Row, zone: ZoneInfo) -> None:
        """Count a row no more, since another has corrected it."""
        draw = _draw(row, zone)
        if draw is None or (drawn := self.of.get(draw)) is None:
            return
        drawn.given -= _amount(row)
        drawn.numbers.remove(row.number)
        if not drawn.numbers:
            del self.of[draw]

    def updated(self, there: Iterable[Row], added: Iterable[Row], zone: ZoneInfo) -> None:
        """Count rows that were added behind those that are there, among which are all that they correct."""
        latest = latest_of_lines(there)
        for row in added:
            if row.kind == DOSE:
                if row.line in latest:
                    self.take_out(latest[row.line], zone)
                latest[row.line] = row
                self.put(row, zone)

    def to_json(self) -> list[list[Any]]:
        """As plain values."""
        return [[draw.day.isoformat(), *draw[1:], str(drawn.given), drawn.numbers] for draw, drawn in self.of.items()]


def draws_of(rows: Iterable[Row], zone: ZoneInfo) -> Draws:
    """What was drawn by the rows of a whole record."""
    found = Draws()
    for row in latest_of_lines(rows).values():
        found.put(row, zone)
    return found


def draws_from(kept: list[list[Any]]) -> Draws:
    """What was kept. Raises LookupError, TypeError or ValueError where it is not ours."""
    return Draws({
        Draw(date.fromisoformat(day), job, facts, medicine, unit, batch_no): Drawn(Fraction(given), list(numbers))
        for day, job, facts, medicine, unit, batch_no, given, numbers in kept
    })  # fmt: skip


def _draw(row: Row, zone: ZoneInfo) -> Draw | None:
    """What a row belongs to; None where nothing was given, or nobody knows the day."""
    try:
        at = at_of(row.given_at or row.planned_for, zone)
    except ValueError:  # altered, which is told elsewhere
        return None
    if row.kind != DOSE or row.given == NO or at is None:
        return None
    return Draw(at.date(), row.line.partition("/")[0], row.facts, row.medicine, row.unit, row.batch_no)


def _amount(row: Row) -> Fraction:
    """What a row drew without loss: the amount given, the planned dose where that is not known, for each head."""
    try:
        return Fraction(row.amount or row.planned or "0") * int(row.head or "1")
    except ValueError:  # altered, which is told elsewhere
        return Fraction(0)
