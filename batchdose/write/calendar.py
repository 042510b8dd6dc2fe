"""The calendar file (.ics, RFC 5545): clear-from moments, next doses of courses, last days of opened bottles.

An event keeps its UID for good: it is made from client, job, mob and product. So a rerun, and the recording, move the
events that are in a calendar already. An event that changed has the next SEQUENCE (RFC 5545, 3.8.7.4), one that is no
longer due is CANCELLED (3.8.1.11); the earlier file says which these are. DTSTAMP comes from the job, not from the
clock, so that the same job gives the same bytes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import icalendar

from batchdose.amounts import amount_text
from batchdose.model import LeftOver
from batchdose.words import same_name
from batchdose.write.zones import time_zone


@dataclass(frozen=True, slots=True)
class JobKey:
    """What the events of one job share: its client, the stem of its weighing workbook, its day."""

    client: str
    stem: str
    day: date

    @property
    def parts(self) -> tuple[str, ...]:
        """The same as texts."""
        return same_name(self.client), self.stem, self.day.isoformat()


@dataclass(frozen=True, slots=True)
class Happening:
    """One event: `key` names it for good; a date alone lasts the whole day."""

    key: tuple[str, ...]
    at: datetime | date
    says: str
    more: str

    @property
    def uid(self) -> str:
        """Its UID."""
        return f"{hashlib.sha256(chr(31).join(self.key).encode('utf-8')).hexdigest()[:32]}@batchdose"


def clear_event(job: JobKey, mob: str, product: str, at: datetime, more: str) -> Happening:
    """A product of a mob is clear from a moment."""
    key = (*job.parts, "clear", same_name(mob), product)
    return Happening(key, at, f"{mob or 'All animals'}: {product} clear", more)


@dataclass(frozen=True, slots=True)
class NextDose:
    """A dose of a course after its first: the booster, where it is a vaccine."""

    mob: str
    medicine: str
    number: int
    doses: int
    vaccine: bool
    head: int
    course: str


def dose_event(job: JobKey, dose: NextDose, at: datetime | date) -> Happening:
    """A further dose of a course is due."""
    key = (*job.parts, "dose", same_name(dose.mob), same_name(dose.medicine), dose.course, str(dose.number))
    what = "booster" if dose.vaccine else "dose"
    says = f"{dose.mob or 'All animals'}: {dose.medicine}, {what} {dose.number} of {dose.doses}"
    return Happening(key, at, says, f"{dose.head} head.")


def use_by_event(job: JobKey, medicine: str, unit: str, over: LeftOver, number: int) -> Happening | None:
    """The last day of an opened bottle (None where its in-use life is not stated), the `number`-th of its medicine."""
    if over.use_by is None:
        return None
    key = (*job.parts, "use by", same_name(medicine), same_name(over.batch_no), str(number))
    bottle = f"bottle {over.batch_no}" if over.batch_no else "opened bottle"
    more = f"About {amount_text(over.left, unit)} left. Throw away what is left after this day."
    return Happening(key, over.use_by, f"{medicine}, {bottle}: last day of use", more)


def calendar_file(happenings: Sequence[Happening], stamp: datetime, before: bytes | None = None) -> bytes | None:
    """The calendar as bytes; None where nothing is due and nothing was. `before` is the file of an earlier run."""
    earlier = {str(event.get("uid")): event for event in _events(before)}
    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//batchdose//batchdose//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    events = [_event(happening, stamp, earlier.pop(happening.uid, None)) for happening in happenings]
    events += [_cancelled(event, stamp) for event in earlier.values()]
    if not events:
        return None
    days = [_day(_begins(event)) for event in events]
    for zone in _zones(events):
        calendar.add_component(time_zone(zone, min(days).year - 1, max(days).year + 1))
    for event in sorted(events, key=lambda event: (_day(_begins(event)), str(event["uid"]))):
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def starts(before: bytes | None) -> Mapping[str, datetime | date]:
    """When each event of an earlier file that still holds begins, by UID."""
    events = (event for event in _events(before) if str(event.get("status")) != "CANCELLED")
    return {str(event.get("uid")): _begins(event) for event in events}


def _events(before: bytes | None) -> Sequence[icalendar.Component]:
    """Events of an earlier file; none where it is not a calendar that we wrote."""
    if not before:
        return []
    try:
        found = icalendar.Calendar.from_ical(before).walk("VEVENT")
    except (ValueError, LookupError, TypeError):
        return []
    return [event for event in found if str(event.get("uid", "")).endswith("@batchdose") and "dtstart" in event]


def _event(happening: Happening, stamp: datetime, earlier: icalendar.Component | None) -> icalendar.Component:
    event = icalendar.Event()
    event.add("uid", happening.uid)
    event.add("dtstamp", stamp.astimezone(UTC))
    event.add("dtstart", happening.at)
    event.add("summary", happening.says)
    event.add("description", happening.more)
    event.add("status", "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    event.add("sequence", 0 if earlier is None else _sequence(earlier) + (not _same(event, earlier)))
    return event


def _cancelled(earlier: icalendar.Component, stamp: datetime) -> icalendar.Component:
    """An event that is no longer due."""
    if str(earlier.get("status")) == "CANCELLED":
        return earlier
    event = icalendar.Event()
    event.add("dtstamp", stamp.astimezone(UTC))
    for name in ("uid", "dtstart", "summary", "description", "transp"):
        if name in earlier:
            event[name] = earlier[name]
    event.add("status", "CANCELLED")
    event.add("sequence", _sequence(earlier) + 1)
    return event


def _begins(event: icalendar.Component) -> Any:
    """When an event begins: a date and time, or a day."""
    return event.decoded("dtstart")


def _zones(events: Iterable[icalendar.Component]) -> list[ZoneInfo]:
    """Zones of the events; UTC needs no component."""
    found = (begins.tzinfo for event in events if isinstance(begins := _begins(event), datetime))
    zones = {zone.key: zone for zone in found if isinstance(zone, ZoneInfo)}
    return [zones[key] for key in sorted(zones) if key != "UTC"]


def _sequence(event: icalendar.Component) -> int:
    return int(event.get("sequence", 0))


def _same(one: icalendar.Component, other: icalendar.Component) -> bool:
    """Whether two events say the same."""
    texts = ("summary", "description", "status")
    return one["dtstart"].to_ical() == other["dtstart"].to_ical() and all(
        str(one.get(name)) == str(other.get(name)) for name in texts
    )


def _day(at: datetime | date) -> date:
    return at.date() if isinstance(at, datetime) else at


def whole(happenings: Iterable[Happening | None]) -> list[Happening]:
    """Those that there are."""
    return [happening for happening in happenings if happening is not None]
