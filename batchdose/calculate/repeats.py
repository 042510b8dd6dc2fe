"""Whether a medicine is given again too soon: before the label's shortest time, or before a course's next dose."""

from __future__ import annotations

from datetime import UTC
from fractions import Fraction

from batchdose.model import Moment

#: A dose may come this part of its interval too early (common practice, no source: 6 hours in a day).
INTERVAL_SHARE = Fraction(1, 4)
_A_DAY = Fraction(24)


def shortest_wait(repeat_after_hours: Fraction | None, every_hours: Fraction | None) -> Fraction:
    """Hours between two doses of a medicine at least: as on its label, else by its interval, else a day.

    An interval, and a day, may be a quarter shorter; what the label states may not.

    >>> shortest_wait(Fraction(168), None), shortest_wait(None, Fraction(48)), shortest_wait(None, None)
    (Fraction(168, 1), Fraction(36, 1), Fraction(18, 1))
    """
    if repeat_after_hours is not None:
        return repeat_after_hours
    return (every_hours or _A_DAY) * (1 - INTERVAL_SHARE)


def too_soon(one: Moment, other: Moment, wait_hours: Fraction) -> bool:
    """Whether two doses lie nearer together than the shortest wait; with a day alone, by whole days of the calendar."""
    if one.timed and other.timed:
        apart = abs(one.at.astimezone(UTC) - other.at.astimezone(UTC))
        return Fraction(int(apart.total_seconds()), 3600) < wait_hours
    return abs((one.at.date() - other.at.date()).days) * 24 < wait_hours
