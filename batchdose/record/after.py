"""What follows a recording: what is left in stock, and the calendar of the job moved to what was really given."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from batchdose.findings import Finding, UnusableInputError
from batchdose.given import PlanKept
from batchdose.record.append import Recorded, Stands
from batchdose.record.clear import Clearing
from batchdose.record.leftovers import left_lines
from batchdose.record.repeats import repeats
from batchdose.record.stock import LeftInStock, Product
from batchdose.write.files import output_stem, replace_file
from batchdose.write.xmltext import CannotCopyError

_NOT_WRITTEN = "The record is written, but {} is not: {}"


@dataclass(frozen=True)
class After:
    """What was found once all stood together in the record, and what is told."""

    findings: tuple[Finding, ...] = ()
    lines: tuple[str, ...] = ()


def after_recording(dosed: Path, done: Recorded) -> After:
    """Look at what was recorded beside what was there, and write the calendar beside the dosed workbook.

    What cannot be written is said: the record stands, whatever becomes of it. Nothing of it is read again.
    """
    if done.stands is None:
        return After()
    return After(tuple(repeats(done.stands.clearing, done.rows)), tuple(_follow(done.stands, dosed, done.plan)))


def _follow(stands: Stands, dosed: Path, plan: PlanKept | None) -> Iterator[str]:
    """Write what follows, and say it."""
    yield from left_lines(stands.left)
    if stands.not_kept:
        yield _NOT_WRITTEN.format("the sheet of what is left", stands.not_kept)
    if plan is not None:
        yield from _done("the calendar", lambda: _write_calendar(dosed, stands.clearing, plan, stands.left))


def _write_calendar(dosed: Path, clearing: Clearing, plan: PlanKept, left: Mapping[Product, LeftInStock]) -> str | None:
    # Loaded only here: nothing else of the record needs a calendar.
    from batchdose.record.calendar import recorded_calendar

    stem = plan.source or output_stem(dosed)
    path = dosed.with_name(f"{stem}-clear.ics")
    before = path.read_bytes() if path.is_file() else None
    calendar = recorded_calendar(clearing, plan, stem, left, before)
    if calendar is None:
        return None
    replace_file(path, calendar)
    return f"Wrote {path}"


def _done(what: str, write: Callable[[], str | None]) -> Iterator[str]:
    """What was written, or that it could not be."""
    try:
        if said := write():
            yield said
    except (UnusableInputError, CannotCopyError, OSError) as error:
        yield _NOT_WRITTEN.format(what, error)
