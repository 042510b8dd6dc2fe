"""What was recorded now and lies too near to something that was recorded before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from batchdose.amounts import date_text
from batchdose.findings import CellRef, Finding
from batchdose.given import NO
from batchdose.record import problems
from batchdose.record.clear import Clearing, GivenCourse, repeated_too_soon
from batchdose.record.rows import Row


def repeats(clearing: Clearing, rows: Iterable[Row]) -> Iterator[Finding]:
    """A finding for each medicine of these rows that an animal got too soon after another course of the same active."""
    places = dict(zip((row.number for row in clearing.record.rows), clearing.record.places, strict=True))
    found: dict[tuple[str, str, str], list[Row]] = {}
    for row in rows:
        if row.given == NO or not row.given_at:
            continue
        animal, _ = clearing.animals.may_be(row.tag, row.eid, row.mob)
        courses = list(clearing.courses(animal.rows))
        mine = next((course for course in courses if row.number in course.numbers), None)
        for other in courses if mine else ():
            if mine and other is not mine and other.actives & mine.actives and repeated_too_soon(other, mine):
                found.setdefault((row.medicine, other.rows[0].medicine, _last(other)), []).append(row)
    for (medicine, before, day), of_it in found.items():
        where = clearing.record.where(places[of_it[0].number], "given_at") if of_it[0].number in places else CellRef("")
        tags = list(dict.fromkeys(row.tag or row.eid for row in of_it))
        yield problems.repeated_too_soon(where, medicine, tags, before, day)


def _last(course: GivenCourse) -> str:
    """Day of the last dose of a course that has a time."""
    known = [moment.at for moment in course.moments if moment is not None]
    return date_text(known[-1]) if known else ""
