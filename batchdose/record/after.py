"""What follows a recording: the calendar of the job moved to what was really given."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from batchdose.findings import UnusableInputError
from batchdose.read.given import read_given
from batchdose.record.book import open_record
from batchdose.record.clear import Clearing
from batchdose.write.files import output_stem, replace_file


def after_recording(dosed: Path, to: Path) -> Iterator[str]:
    """Write the calendar beside the dosed workbook; what was written, in lines.

    What cannot be written is said: the record stands, whatever becomes of the calendar.
    """
    # Loaded only here: nothing else of the record needs a calendar.
    from batchdose.record.calendar import recorded_calendar

    plan = read_given(dosed).plan
    if plan is None or not to.is_file():
        return
    clearing = Clearing(open_record(to))
    stem = plan.source or output_stem(dosed)
    path = dosed.with_name(f"{stem}-clear.ics")
    try:
        before = path.read_bytes() if path.is_file() else None
        calendar = recorded_calendar(clearing, plan, stem, before)
        if calendar is not None:
            replace_file(path, calendar)
            yield f"Wrote {path}"
    except (UnusableInputError, OSError) as error:
        yield f"The record is written, but the calendar is not: {error}"
