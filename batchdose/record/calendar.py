"""The calendar of a job after it was recorded: what was really given moves the events that the plan expected."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from batchdose.calculate.withdrawal import latest
from batchdose.given import NO, PlanKept, PlannedDose
from batchdose.kept import facts_of
from batchdose.model import LeftOver
from batchdose.record.clear import Clearing
from batchdose.record.entries import at_of
from batchdose.record.rows import Row
from batchdose.record.stock import LeftInStock, Product, last_day
from batchdose.words import same_name
from batchdose.write.calendar import (
    Happening,
    JobKey,
    NextDose,
    calendar_file,
    clear_event,
    dose_event,
    starts,
    use_by_event,
)

_REAL = "By the treatment record, after what was really given."
_PARTLY = "Not everything that was planned is recorded yet."


def recorded_calendar(
    clearing: Clearing, plan: PlanKept, stem: str, left: Mapping[Product, LeftInStock], before: bytes | None
) -> bytes | None:
    """The calendar of a recorded job as bytes, None where nothing is due; `before` is the file that there is.

    `left` is what the record leaves in stock: the opened bottles of the job's medicines are among the events.

    Where not all planned doses of a mob are recorded, an event never moves to an earlier moment. A record that was
    altered gives no clear-from.
    """
    job = JobKey(plan.client, plan.source or stem, date.fromisoformat(plan.planned[:10]))
    after = _After(clearing, plan)
    found = [*after.clears(job, starts(before)), *after.doses(job), *_bottles(job, plan, left)]
    stamp = max((row.recorded for row in clearing.record.rows), default=plan.planned)
    return calendar_file(found, _moment(stamp, after.zone), before)


class _After:
    """A job's plan beside its rows in the record."""

    def __init__(self, clearing: Clearing, plan: PlanKept) -> None:
        self.clearing, self.plan = clearing, plan
        self.zone = clearing.zone
        latest_rows = clearing.latest
        self.rows: dict[str, Row] = {
            line.partition("/")[2]: row for line, row in latest_rows.items() if line.startswith(f"{plan.identity}/")
        }
        self.known = [facts_of(text) for text in plan.courses]

    def clears(self, job: JobKey, before: Mapping[str, datetime | date]) -> Iterator[Happening]:
        """Clear-from of each mob and product; none where it is not stated for one of its animals."""
        if not self.clearing.sound:
            return
        for name, of_mob in self._mobs().items():
            animals = {(row.tag, row.eid): self.clearing.animals.may_be(row.tag, row.eid, row.mob)[0] for row in of_mob}
            waiting = self._waiting(name)
            products = self.clearing.products()
            held = [[self.clearing.held(animal, product).clear for product in products] for animal in animals.values()]
            for product, clears in zip(products, zip(*held, strict=True), strict=True):
                together = latest(clears)
                if together.state != "from" or together.at is None:
                    continue
                head = sum({(row.tag, row.eid): int(row.head or 1) for row in of_mob}.values())
                event = clear_event(job, of_mob[0].mob, product, together.at.astimezone(self.zone), "")
                planned = before.get(event.uid)
                at, more = event.at, f"{head} head. {_REAL}"
                if waiting and not isinstance(planned, datetime):
                    continue
                if waiting:
                    at, more = _later(at, planned), f"{more} {_PARTLY}"
                yield Happening(event.key, at, event.says, more)

    def doses(self, job: JobKey) -> Iterator[Happening]:
        """Doses of courses after the first: those to come are moved where the one before was late."""
        groups: dict[tuple[str, int, int], list[PlannedDose]] = {}
        for dose in self.plan.doses.values():
            if dose.number > 1 and not dose.held:
                groups.setdefault((same_name(dose.mob), dose.course, dose.number), []).append(dose)
        for (_, course, number), doses in groups.items():
            first, facts = doses[0], self.known[course]
            head = sum(dose.head for dose in doses)
            vaccine = facts.medicine.type == "vaccine"
            said = NextDose(first.mob, first.medicine, number, facts.doses, vaccine, head, str(course))
            yield dose_event(job, said, self._due(doses))

    def _due(self, doses: list[PlannedDose]) -> Any:
        """When a dose is due: as planned, or its interval after the last one that was given, whichever is later."""
        timed = "T" in doses[0].planned_for
        due = [self._due_of(dose) for dose in doses]
        at = max(due)
        return at if timed else at.date()

    def _due_of(self, dose: PlannedDose) -> datetime:
        planned = _moment(dose.planned_for, self.zone)
        course = dose.line.rpartition("/")[0]
        if dose.line in self.rows:
            return planned
        hours = float(self.known[dose.course].medicine.every_hours or 24)
        for number in range(dose.number - 1, 0, -1):
            row = self.rows.get(f"{course}/{number}")
            given = at_of(row.given_at, self.zone) if row is not None and row.given != NO else None
            if given is not None:
                return max(planned, given + timedelta(hours=hours * (dose.number - number)))
        return planned

    def _mobs(self) -> dict[str, list[Row]]:
        found: dict[str, list[Row]] = {}
        for row in self.rows.values():
            found.setdefault(same_name(row.mob), []).append(row)
        return {name: rows for name, rows in found.items() if any(row.given != NO for row in rows)}

    def _waiting(self, mob: str) -> bool:
        """Whether some planned dose of a mob is not recorded yet."""
        doses = self.plan.doses.values()
        return any(not dose.held and same_name(dose.mob) == mob and dose.line not in self.rows for dose in doses)


def _bottles(job: JobKey, plan: PlanKept, left: Mapping[Product, LeftInStock]) -> Iterator[Happening]:
    """Last days of the opened bottles of the job's medicines."""
    wanted = {same_name(dose.medicine) for dose in plan.doses.values()}
    for (name, _), of_product in left.items():
        opened = [pack for packs in of_product.packs.values() for pack in packs if pack.opened_on is not None]
        for number, pack in enumerate(opened if name in wanted else ()):
            rest = pack.left or pack.size
            over = LeftOver(
                pack.size, pack.batch_no, rest, pack.opened_on, last_day(pack), pack.punctures, bought=False
            )
            if event := use_by_event(job, of_product.name, pack.unit, over, number):
                yield event


def _moment(iso: str, zone: ZoneInfo) -> datetime:
    """A moment in a zone, midnight where only the day is known."""
    at = datetime.fromisoformat(iso)
    return at.astimezone(zone) if at.tzinfo else at.replace(tzinfo=zone)


def _later(at: datetime | date, planned: datetime | date | None) -> datetime | date:
    return max(at, planned) if isinstance(at, datetime) and isinstance(planned, datetime) else at
