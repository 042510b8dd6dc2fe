"""The VTIMEZONE of a zone (RFC 5545, 3.6.5): every change of the clocks in a span of years."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import icalendar

_MINUTE = timedelta(minutes=1)


def time_zone(zone: ZoneInfo, first_year: int, last_year: int) -> icalendar.Timezone:
    """The component for a zone. An onset is in the local time before the change, as the rule asks (3.6.5, DTSTART)."""
    component = icalendar.Timezone()
    component.add("tzid", zone.key)
    start = datetime(first_year, 1, 1, tzinfo=UTC)
    component.add_component(_observance(zone, start, start - _MINUTE))
    for change in _changes(zone, start, datetime(last_year + 1, 1, 1, tzinfo=UTC)):
        component.add_component(_observance(zone, change, change - _MINUTE))
    return component


def _observance(zone: ZoneInfo, at: datetime, before: datetime) -> icalendar.TimezoneStandard:
    """The offset that holds from a moment on."""
    local, earlier = at.astimezone(zone), before.astimezone(zone)
    kind = icalendar.TimezoneDaylight if local.dst() else icalendar.TimezoneStandard
    found = kind()
    found.add("dtstart", (at + (earlier.utcoffset() or timedelta())).replace(tzinfo=None))
    found.add("tzoffsetfrom", earlier.utcoffset())
    found.add("tzoffsetto", local.utcoffset())
    found.add("tzname", local.tzname() or zone.key)
    return found  # type: ignore[return-value]


def _changes(zone: ZoneInfo, start: datetime, end: datetime) -> Iterator[datetime]:
    """Moments [UTC] at which the offset changes, to the minute; it changes at most once a day."""
    day = start
    while day < end:
        after = day + timedelta(days=1)
        if day.astimezone(zone).utcoffset() != after.astimezone(zone).utcoffset():
            yield _change_between(zone, day, after)
        day = after


def _change_between(zone: ZoneInfo, early: datetime, late: datetime) -> datetime:
    before = early.astimezone(zone).utcoffset()
    while late - early > _MINUTE:
        middle = early + _MINUTE * ((late - early) // _MINUTE // 2)
        early, late = (middle, late) if middle.astimezone(zone).utcoffset() == before else (early, middle)
    return late
