"""Withdrawal periods to clear-from moments: the one place where days, hours and milkings are counted.

Convention: the period runs from the last administration in whole periods of 24 h (FAAST reviews,
"Livestock medicines, withdrawal times": a withdrawal day is a full 24 hours). With the hour known,
n days end n x 24 elapsed hours later; with only the day known, they run from the midnight that ends it
(Fimea, "What is a withdrawal period?": 6 days are over on the 7th day after). Fractions of a day or a
milking go up (FDA CVM Guideline 3, part VI). A blank is not zero (NOAH Compendium, guide to the tables).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, time, timedelta
from fractions import Fraction

from batchdose.model import STATES, Clear, Medicine, Moment, Period
from batchdose.texts import say

#: Why an animal is not clear, where an earlier treatment is the cause.
EARLIER = say("an earlier treatment")
#: Hours that a milking stands for at least: 36 h are 3 milkings in 21 CFR 526.820(d)(3), and so on.
HOURS_PER_MILKING = 12
_NEVER = datetime.max.replace(tzinfo=UTC)


def clear_from(last: Moment, period: Period | None, *, milking_times: Sequence[time] = (), milk: bool = False) -> Clear:
    """Clear-from after the last administration.

    A milk period ends at the first milking at or after its end, where the milking times are known. A period
    in milkings ends at the later of n milkings and n x 12 h, then at the next milking; without milking
    times it cannot be counted and is not stated. Several parts: the later.
    """
    if period is None:
        return Clear(None, "not_stated", say("no withdrawal period is stated"))
    if not period.permitted:
        return Clear(None, "not_permitted", say("not permitted"))
    start = last.at if last.timed else _next_midnight(last.at)
    ends = [_after_days(start, period.days, timed=last.timed)] if period.days is not None else []
    if period.hours is not None:
        ends.append(_later(start, period.hours))
    if period.milkings is not None:
        if not milking_times:
            why = say("the milking times are not stated, so milkings cannot be counted")
            return Clear(None, "not_stated", why)
        ends.append(_after_milkings(start, math.ceil(period.milkings), milking_times))
    end = max(ends, key=lambda at: at.astimezone(UTC))
    return Clear(_first_milking(end, milking_times) if milk and milking_times else end, "from", period.text)


def latest(clears: Iterable[Clear]) -> Clear:
    """All of several withdrawal periods together: the strongest state, and the latest moment within it."""
    found = list(clears)
    if not found:
        return Clear(None, "not_applicable")
    strongest = max(found, key=lambda clear: STATES.index(clear.state))
    if strongest.state != "from":
        return strongest
    return max(
        (clear for clear in found if clear.at is not None),
        key=lambda clear: (clear.at or _NEVER).astimezone(UTC),
    )


def clear_after_birth(
    clear: Clear, medicine: Medicine, gave_birth: datetime | None, last: Moment, milking_times: Sequence[time] = ()
) -> Clear:
    """Milk after a treatment that also counts from giving birth: the later of both; not known before birth.

    Where the dry time was shorter than the label's shortest, the period is not stated: the label or the
    prescriber says what holds then.
    """
    if medicine.milk_after_birth is None or clear.state == "not_permitted":
        return clear
    if gave_birth is None or gave_birth < last.at.replace(hour=0, minute=0):
        return Clear(None, "not_stated", say("the period runs from giving birth, which is not known yet"))
    dry = medicine.shortest_dry_days
    if dry is not None and gave_birth - last.at < timedelta(days=float(dry)):
        return Clear(None, "not_stated", say("the dry time was shorter than the label asks; ask the prescriber"))
    born = Moment(gave_birth, timed=False)
    after = clear_from(born, medicine.milk_after_birth, milking_times=milking_times, milk=True)
    return latest([clear, after])


def scaled(period: Period, factor: Fraction, text: str) -> Period:
    """Every part of a period times a factor."""

    def times(part: Fraction | None) -> Fraction | None:
        return None if part is None else part * factor

    return Period(times(period.days), times(period.hours), times(period.milkings), text=text)


def in_whole_days(period: Period, text: str) -> Period:
    """A period rounded up to whole days; milkings count 12 h each.

    >>> in_whole_days(Period(hours=Fraction(90)), "").days
    Fraction(4, 1)
    """
    hours = max((period.days or 0) * 24, period.hours or 0, (period.milkings or 0) * HOURS_PER_MILKING)
    return Period(days=Fraction(math.ceil(Fraction(hours) / 24)), text=text)


def _next_midnight(at: datetime) -> datetime:
    day = at.date() + timedelta(days=1)
    return datetime(day.year, day.month, day.day, tzinfo=at.tzinfo)


def _later(start: datetime, hours: Fraction) -> datetime:
    """Elapsed hours later: counted in UTC, so that a change of the clocks neither adds nor takes an hour."""
    seconds = math.ceil(hours * 3600)
    return (start.astimezone(UTC) + timedelta(seconds=seconds)).astimezone(start.tzinfo)


def _after_days(start: datetime, days: Fraction, *, timed: bool) -> datetime:
    whole = math.ceil(days)
    if timed:
        return _later(start, Fraction(24 * whole))
    return start + timedelta(days=whole)  # the same clock time of the calendar: midnight


def _milkings(start: datetime, times: Sequence[time]) -> Iterator[datetime]:
    """Milkings from the day of `start` on, in order."""
    day = start.date()
    while True:
        for at in sorted(times):
            yield datetime.combine(day, at, start.tzinfo)
        day += timedelta(days=1)


def _first_milking(end: datetime, times: Sequence[time]) -> datetime:
    return next(at for at in _milkings(end, times) if at.astimezone(UTC) >= end.astimezone(UTC))


def _after_milkings(start: datetime, count: int, times: Sequence[time]) -> datetime:
    """Next milking after `count` milkings, and not before `count` x 12 h."""
    end = _later(start, Fraction(count * HOURS_PER_MILKING))
    after = (at for at in _milkings(start, times) if at.astimezone(UTC) > start.astimezone(UTC))
    for _ in range(count):
        next(after)
    if count == 0:
        return _first_milking(start, times)
    return next(at for at in after if at.astimezone(UTC) >= end.astimezone(UTC))
