"""What the record says of the animals of a weighing sheet: what still runs, what they got, what is in doubt.

A record that was altered drops nothing and clears nobody: then no product of any animal is called clear.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC

from batchdose.calculate.withdrawal import EARLIER, latest
from batchdose.model import Clear, EarlierCourse, EarlierTreatments, Medicine, Moment, WeighingSession
from batchdose.record.animals import OTHER_EID, TWO_ANIMALS, Animal
from batchdose.record.clear import Clearing, GivenCourse
from batchdose.record.entries import at_of
from batchdose.texts import say
from batchdose.words import actives_of

ALTERED = Clear(None, "not_stated", say("the treatment record was altered"))
_IN_DOUBT = Clear(None, "not_stated", say("its tag is on two animals of the treatment record"))


def earlier_treatments(
    clearing: Clearing, session: WeighingSession, medicines: Sequence[Medicine], planned: Moment
) -> EarlierTreatments:
    """What the record says of the animals of a session that is planned for a moment.

    Of the courses only those are kept that share an active, or the name, with one of the medicines.
    """
    wanted = frozenset().union(*(actives_of(medicine.active, medicine.name) for medicine in medicines))
    # Also those that only this job's medicines name: after a broken needle, or a label without a period, none is clear.
    of_job = (product for medicine in medicines for product in medicine.withdrawal)
    clears: dict[str, dict[int, Clear]] = {product: {} for product in (*clearing.products(), *of_job)}
    courses: list[EarlierCourse] = []
    known: set[int] = set()
    needles: set[int] = set()
    two: set[int] = set()
    other: set[int] = set()
    names = session.animals[["tag", "eid", "mob"]]
    for row, tag, eid, mob in names.itertuples(name=None):
        animal, doubt = clearing.animals.may_be(tag, eid, mob)
        known.update([row] if animal.rows else [])
        two.update([row] if doubt == TWO_ANIMALS else [])
        other.update([row] if doubt == OTHER_EID else [])
        needles.update([row] if any(map(clearing.has_needle, animal.rows)) else [])
        courses += _courses(clearing, animal, row, wanted)
        for product, of_product in clears.items():
            doubts = [ALTERED] * (not clearing.sound) + [_IN_DOUBT] * (doubt == TWO_ANIMALS)
            clear = latest([_named(clearing.held(animal, product).clear, planned), *doubts])
            if _runs(clear, planned):
                of_product[row] = clear
    return EarlierTreatments(
        clearing.record.book.source, {product: found for product, found in clears.items() if found}, tuple(courses),
        frozenset(known), frozenset(needles), frozenset(two), frozenset(other), altered=not clearing.sound,
    )  # fmt: skip


def _courses(clearing: Clearing, animal: Animal, row: int, wanted: frozenset[str]) -> Iterator[EarlierCourse]:
    """Courses of an animal that share an active with what is wanted."""
    for course in clearing.courses(animal.rows):
        if course.actives & wanted:
            yield _course(clearing, course, row)


def _course(clearing: Clearing, course: GivenCourse, row: int) -> EarlierCourse:
    facts, last = course.facts, course.rows[-1]
    return EarlierCourse(
        row=row, medicine=last.medicine, actives=course.actives,
        given=tuple(_given(clearing, course)), doses=facts.doses if facts else 1,
        every_hours=facts.medicine.every_hours if facts else None,
        clears={product: clearing.course_clear(course, product) for product in clearing.products()},
        number=last.number,
    )  # fmt: skip


def _given(clearing: Clearing, course: GivenCourse) -> Iterator[Moment]:
    """When its doses were given; where nobody entered the time the day planned, or else that of the recording.

    So no repeat is missed.
    """
    for row, moment in zip(course.rows, course.moments, strict=True):
        planned = at_of(row.planned_for, clearing.zone)
        if moment is not None:
            yield moment
        elif (day := planned or at_of(row.recorded, clearing.zone)) is not None:
            yield Moment(day, timed=False)


def _named(clear: Clear, planned: Moment) -> Clear:
    """A clear-from as it stands beside those of this job: by what it comes from, in the zone of the job."""
    if clear.state == "from" and clear.at is not None:
        return Clear(clear.at.astimezone(planned.at.tzinfo), "from", EARLIER)
    if clear.state == "not_stated":
        return Clear(None, clear.state, say("an earlier treatment: {why}", why=clear.why))
    return clear


def _runs(clear: Clear, planned: Moment) -> bool:
    """Whether something of it is left at the moment of the job."""
    if clear.state == "from" and clear.at is not None:
        return clear.at.astimezone(UTC) > planned.at.astimezone(UTC)
    return clear.state in ("not_stated", "not_permitted")
