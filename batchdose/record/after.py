"""What follows a recording: what is left in stock, and the calendar of the job moved to what was really given."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from batchdose.findings import Finding, UnusableInputError
from batchdose.given import PlanKept
from batchdose.record.book import open_record
from batchdose.record.clear import Clearing
from batchdose.record.leftovers import left_lines, left_rows
from batchdose.record.lock import locked
from batchdose.record.repeats import repeats
from batchdose.record.rows import Row
from batchdose.record.stock import LeftInStock, Product, stock_after
from batchdose.write.files import output_stem, replace_file
from batchdose.write.stock_sheet import with_stock_sheet
from batchdose.write.xmltext import CannotCopyError


@dataclass(frozen=True)
class After:
    """What was found once all stood together in the record, and what is told."""

    findings: tuple[Finding, ...] = ()
    lines: tuple[str, ...] = ()


def after_recording(dosed: Path, to: Path, rows: Sequence[Row], plan: PlanKept | None) -> After:
    """Put what is left into the record's workbook, and write the calendar beside the dosed one.

    `rows` are those that were added now, `plan` is the job's, None for treatments without one. What cannot be written
    is said: the record stands, whatever becomes of it.
    """
    if not to.is_file():
        return After()
    clearing = Clearing(open_record(to))
    return After(tuple(repeats(clearing, rows)), tuple(_follow(clearing, dosed, to, plan)))


def _follow(clearing: Clearing, dosed: Path, to: Path, plan: PlanKept | None) -> Iterator[str]:
    """Write what follows, and say it."""
    left = stock_after(clearing.record, clearing.zone)
    yield from left_lines(left)
    yield from _done("the sheet of what is left", lambda: _keep(to, left))
    if plan is not None:
        yield from _done("the calendar", lambda: _write_calendar(dosed, clearing, plan, left))


def _keep(to: Path, left: dict[Product, LeftInStock]) -> None:
    rows = list(left_rows(left))
    with locked(to):
        data = to.read_bytes()
        made = with_stock_sheet(data, rows)
        if made != data:
            replace_file(to, made)


def _write_calendar(dosed: Path, clearing: Clearing, plan: PlanKept, left: dict[Product, LeftInStock]) -> str | None:
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
        yield f"The record is written, but {what} is not: {error}"
