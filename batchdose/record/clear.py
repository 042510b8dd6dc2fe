"""Who is clear: the withdrawal period of every dose that was really given, and what keeps it from being stated."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import Any, Literal
from zoneinfo import ZoneInfo

from batchdose.calculate.minimums import periods_in_force
from batchdose.calculate.repeats import INTERVAL_SHARE, shortest_wait, too_soon
from batchdose.calculate.withdrawal import EARLIER, clear_after_birth, clear_from, latest
from batchdose.findings import Level
from batchdose.given import NO
from batchdose.kept import Facts, period_of
from batchdose.model import Clear, Moment, Period, SessionFacts
from batchdose.record.animals import Animal, Animals, about, animals_of
from batchdose.record.book import Record
from batchdose.record.chain import chain_findings
from batchdose.record.entries import at_of
from batchdose.record.rows import BROKEN, NO_TIME, NOT_PLANNED, PERIOD, REASONS, RELEASE, Row, latest_of_lines
from batchdose.texts import joined, mark, say
from batchdose.words import MALE, actives_of

_MOST_HELD = 10_000
Answer = Literal["clear", "not clear", "not known"]
NEEDLE = mark("a needle broke and was not released")
OTHER_INTERVAL = mark("another interval than planned")
_TOLD = REASONS | {OTHER_INTERVAL}
NO_FACTS, REPEATED = mark("no label was kept for it"), mark("the same active again")


@dataclass(frozen=True, slots=True)
class Held:
    """Clear-from of one product after one course, and the row of the dose that it counts from."""

    clear: Clear
    row: Row | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """One animal and product on a moment: clear, not clear or not known; with the row that holds it."""

    name: str
    tag: str
    product: str
    answer: Answer
    held: Held


@dataclass(frozen=True)
class GivenCourse:
    """What was given of one course of one animal, in order of time; `numbers` are all its rows, corrected ones too."""

    rows: tuple[Row, ...]
    facts: Facts | None
    moments: tuple[Moment | None, ...]
    numbers: frozenset[int]

    @property
    def last_row(self) -> int:
        """Number of the newest row."""
        return max(self.numbers)

    @property
    def actives(self) -> frozenset[str]:
        """Its actives and its name, for comparing."""
        return actives_of(self.facts.medicine.active if self.facts else "", self.rows[0].medicine)


@dataclass(frozen=True)
class _Given:
    """All courses of an animal; and of those that share an active the earlier, the later, and whether it was too soon.

    Pairs are in order of the later one's time.
    """

    courses: Sequence[GivenCourse]
    pairs: Sequence[tuple[GivenCourse, GivenCourse, bool]]


class Clearing:
    """Clear-from moments out of a record. A record whose chain does not hold makes no animal clear."""

    def __init__(
        self, record: Record, *, sound: bool | None = None, zone: ZoneInfo | None = None, products: Sequence[str] = ()
    ) -> None:
        """`sound`, `zone` and `products` are given where they are known already, as for a part of a record."""
        self.record = record
        self.chain = tuple(chain_findings(record)) if sound is None else ()
        self.sound = not any(finding.level == Level.ERROR for finding in self.chain) if sound is None else sound
        self._of_line: dict[str, list[Row]] = {}
        for row in sorted(record.rows, key=lambda row: row.number):
            self._of_line.setdefault(row.line, []).append(row)
        self._extra = {kind: [row for row in record.rows if row.kind == kind] for kind in (PERIOD, RELEASE)}
        self.latest = latest_of_lines(record.rows)
        self.animals: Animals = animals_of(self.latest.values())
        self.zone = zone or zone_of(record.facts.values())
        self._products = products
        self._last: tuple[tuple[Row, ...], _Given] | None = None
        #: By product and the rows that count, which the record keeps alive: after a recording they are asked for twice.
        self._held: dict[tuple[Any, ...], Held] = {}
        self._known: dict[tuple[Any, ...], Clear] = {}

    def products(self) -> list[str]:
        """Products that any treatment of the record has a period for, meat and milk first."""
        if self._products:
            return list(self._products)
        more = (product for facts in self.record.facts.values() for product in facts.products)
        return list(dict.fromkeys(["meat", "milk", *more]))

    def every(self) -> Iterable[Animal]:
        """Every animal, then every mob that was treated as a whole."""
        return self.animals.every()

    def of_both(self, eid: str, tag: str) -> tuple[Animal | None, str]:
        """The animal of an EID and a tag that stand together, or of one of them; or None and why it is not known."""
        return self.animals.of_both(eid, tag)

    def verdict(self, animal: Animal, product: str, on: datetime) -> Verdict:
        """Whether an animal is clear for a product on a moment."""
        held = self.held(animal, product)
        answer: Answer = "clear" if is_over(held.clear, on) else "not clear"
        return Verdict(animal.name, animal.tag, product, answer if self.sound else "not known", held)

    def held(self, animal: Animal, product: str) -> Held:
        """The strongest of all that counts for an animal and product."""
        key = (product, *map(id, animal.rows))
        if key not in self._held:
            if len(self._held) >= _MOST_HELD:
                self._held.clear()
            self._held[key] = self._strongest(animal, product)
        return self._held[key]

    def _strongest(self, animal: Animal, product: str) -> Held:
        given = self._given_to(animal)
        # A needle first, since it holds whatever the prescriber says of the others.
        found = [Held(Clear(None, "not_stated", say(NEEDLE)), row) for row in animal.rows if self.has_needle(row)]
        found += [Held(self.course_clear(course, product), course.rows[-1]) for course in given.courses]
        found += self._repeated(given, product)
        found += [Held(Clear(at, "from", EARLIER), row) for row in animal.rows
                  if (at := _earlier(row, product, self.zone))]  # fmt: skip
        if not found:
            return Held(Clear(None, "not_applicable", say("nothing was given")), None)
        together = latest(held.clear for held in found)
        strongest = next(held for held in found if held.clear == together)
        return replace(strongest, clear=_with_every_reason(together, found))

    def _given_to(self, animal: Animal) -> _Given:
        """What an animal was given; that of the last one asked about is at hand for its other products."""
        if self._last is None or self._last[0] is not animal.rows:
            self._last = animal.rows, _given(list(self.courses(animal.rows)))
        return self._last[1]

    def courses(self, rows: Iterable[Row]) -> Iterable[GivenCourse]:
        """What was given, course by course."""
        grouped: dict[str, list[Row]] = {}
        for row in rows:
            if row.given != NO:
                grouped.setdefault(row.course, []).append(row)
        for of_course in grouped.values():
            pairs = sorted(((row, self._moment(row)) for row in of_course), key=lambda pair: _order(pair[1]))
            numbers = frozenset(r.number for row in of_course for r in self._of_line[row.line])
            ordered, moments = tuple(row for row, _ in pairs), tuple(moment for _, moment in pairs)
            yield GivenCourse(ordered, self.record.facts.get(of_course[0].facts), moments, numbers)

    def _moment(self, row: Row) -> Moment | None:
        """When a dose was given; the planned day where it is dated before that, since the later date is safe."""
        facts = self.record.facts.get(row.facts)
        zone = facts.session.time_zone if facts else self.zone
        at, planned = at_of(row.given_at, zone), at_of(row.planned_for, zone)
        if at is None:
            return None
        if planned is not None and at.date() < planned.date():
            return Moment(planned, timed="T" in row.planned_for)
        return Moment(at, timed="T" in row.given_at)

    def course_clear(self, course: GivenCourse, product: str) -> Clear:
        """Clear-from of one product after one course."""
        last, facts = course.moments[-1], course.facts
        why = _why_not_stated(course)
        stated = self._stated(course, product, course.last_row) or _own_period(course, product)
        if last is None or any(moment is None for moment in course.moments):
            return Clear(None, "not_stated", why or say(NO_TIME))
        if facts is None:
            if stated is None:
                return Clear(None, "not_stated", why or say(NO_FACTS))
            return clear_from(last, stated, milk=product == "milk")
        if product == "milk" and str(about(course.rows[-1]).get("sex", "")).casefold() in MALE:
            return Clear(None, "not_applicable", say("a male gives no milk"))
        base = self._after(facts, last, product, stated, off_label=bool(why))
        if product == "milk":
            birth = at_of(str(about(course.rows[-1]).get("gave_birth") or ""), facts.session.time_zone)
            base = clear_after_birth(base, facts.medicine, birth, last, facts.session.milking_times)
        if why and stated is None:
            return (
                latest([base, Clear(None, "not_stated", why)]) if base.state != "not_stated" else replace(base, why=why)
            )
        return base

    def _after(self, facts: Facts, last: Moment, product: str, stated: Period | None, *, off_label: bool) -> Clear:
        """Clear-from of one product after the last dose; off label also the legal minimum, and what is stated."""
        key = (id(facts), last, product, stated, off_label)
        if key not in self._known:
            medicine = facts.medicine
            if off_label and not medicine.off_label:
                medicine = replace(medicine, off_label=True, longest_label=medicine.withdrawal)
            found = []
            if stated is None or medicine.withdrawal.get(product) is not None:
                found.append(_counted(replace(facts, medicine=medicine), last, product))
            if stated is not None:
                given = replace(medicine, withdrawal={**medicine.withdrawal, product: stated})
                found.append(_counted(replace(facts, medicine=given), last, product))
            self._known[key] = latest(found)
        return self._known[key]

    def _stated(self, course: GivenCourse, product: str, since: int) -> Period | None:
        """The period that a prescriber gave for a course after its newest row, None without one."""
        for row in reversed(self._extra[PERIOD]):
            if row.corrects and int(row.corrects) in course.numbers and row.number > since:
                periods = about(row).get("periods")
                if isinstance(periods, dict) and product in periods:
                    return period_of(periods[product])
        return None

    def has_needle(self, row: Row) -> bool:
        """Whether a needle broke at this dose, as any of its rows says, and nobody has released it since."""
        versions = self._of_line[row.line]
        broken = [version.number for version in versions if version.needle == BROKEN]
        numbers = {str(version.number) for version in versions}
        released = (
            any(r.corrects in numbers and r.number > broken[0] for r in self._extra[RELEASE]) if broken else False
        )
        return bool(broken) and not released

    def _repeated(self, given: _Given, product: str) -> Iterable[Held]:
        """Courses begun while the same active was not clear yet, or too soon: then the prescriber says what holds."""
        for earlier, later, soon in given.pairs:
            clear_at, first = self.course_clear(earlier, product).at, later.moments[0]
            if soon or (clear_at is not None and first is not None and first.at < clear_at):
                newest = max(earlier.last_row, later.last_row)
                if self._stated(later, product, newest) is None:
                    yield Held(Clear(None, "not_stated", say(REPEATED)), later.rows[-1])


def _with_every_reason(together: Clear, found: Iterable[Held]) -> Clear:
    """What is not stated, with all that keeps it from being stated: one reason must not hide another."""
    if together.state != "not_stated":
        return together
    reasons = (held.clear.why for held in found if held.clear.state == "not_stated")
    return replace(together, why=joined("; ", [why for why in dict.fromkeys(reasons) if why]))


def _given(courses: Sequence[GivenCourse]) -> _Given:
    timed = [c for c in courses if c.moments[0] is not None and c.moments[-1] is not None]
    timed.sort(key=lambda course: _order(course.moments[0]))
    pairs = [
        (earlier, later, repeated_too_soon(earlier, later))
        for number, later in enumerate(timed) for earlier in timed[:number] if _same_active(earlier, later)
    ]  # fmt: skip
    return _Given(courses, pairs)


def zone_of(facts: Iterable[Facts]) -> ZoneInfo:
    """Zone of a record: that of the newest facts."""
    return next((known.session.time_zone for known in reversed(list(facts))), ZoneInfo("UTC"))


def _counted(facts: Facts, last: Moment, product: str) -> Clear:
    """Clear-from after the last dose with every period in force, as the plan counts it."""
    session: SessionFacts = facts.session
    periods, missing = periods_in_force(facts.medicine, product, session, facts.species)
    if not periods:
        return clear_from(last, None)
    together = latest(
        clear_from(last, period, milking_times=session.milking_times, milk=product == "milk") for period in periods
    )
    return Clear(None, "not_stated", missing) if missing and together.state == "from" else together


def _why_not_stated(course: GivenCourse) -> str:
    """Why the label's period is only a floor for what was given; empty where it holds."""
    reasons = [reason for row in course.rows if row.holds for reason in row.holds.split("; ")]
    if course.facts is not None and _other_interval(course):
        reasons.append(OTHER_INTERVAL)
    return joined("; ", [say(reason) if reason in _TOLD else reason for reason in dict.fromkeys(reasons)])


def _own_period(course: GivenCourse, product: str) -> Period | None:
    """The period that was entered with a treatment without a plan, where nothing else speaks against it."""
    periods = about(course.rows[-1]).get("periods")
    alone = all(row.holds in ("", NOT_PLANNED) for row in course.rows)
    return period_of(periods[product]) if alone and isinstance(periods, dict) and product in periods else None


def _other_interval(course: GivenCourse) -> bool:
    every = course.facts.medicine.every_hours if course.facts else None
    hours = every or Fraction(24)
    for (row, moment), (after, then) in pairwise(zip(course.rows, course.moments, strict=True)):
        if moment is None or then is None:
            continue
        doses = int(after.line.rpartition("/")[2] or 0) - int(row.line.rpartition("/")[2] or 0)
        wanted = timedelta(hours=float(hours * doses))
        if moment.timed and then.timed:
            off = abs((then.at.astimezone(UTC) - moment.at.astimezone(UTC)) - wanted)
            if off > timedelta(hours=float(hours * INTERVAL_SHARE)):
                return True
        elif abs((then.at.date() - moment.at.date()).days - wanted / timedelta(days=1)) >= 1:
            return True
    return False


def _same_active(one: GivenCourse, other: GivenCourse) -> bool:
    """Whether two courses share an active, or are the same medicine."""
    return bool(one.actives & other.actives)


def repeated_too_soon(earlier: GivenCourse, later: GivenCourse) -> bool:
    """Whether doses of two courses of one active lie nearer together than its label, or its interval, allows."""
    medicine = later.facts.medicine if later.facts else None
    wait = shortest_wait(medicine.repeat_after_hours if medicine else None, medicine.every_hours if medicine else None)
    pairs = ((one, other) for one in earlier.moments for other in later.moments)
    return any(one is not None and other is not None and too_soon(one, other, wait) for one, other in pairs)


def _earlier(row: Row, product: str, zone: ZoneInfo) -> datetime | None:
    """Clear-from after treatments before this record, as the weighing sheet stated it."""
    earlier: Mapping[str, str] | object = about(row).get("earlier")
    return at_of(str(earlier[product]), zone) if isinstance(earlier, dict) and product in earlier else None


def is_over(clear: Clear, on: datetime) -> bool:
    """Whether a withdrawal period is over on a moment."""
    if clear.state == "not_applicable":
        return True
    return clear.state == "from" and clear.at is not None and clear.at.astimezone(UTC) <= on.astimezone(UTC)


def _order(moment: Moment | None) -> tuple[bool, datetime]:
    """Sort key of a moment; what has no time comes last."""
    return moment is None, moment.at.astimezone(UTC) if moment else datetime.max.replace(tzinfo=UTC)
