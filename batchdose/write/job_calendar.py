"""The calendar of a plan, by the dates that the job sheet prints. Recording moves it to what was really given."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time
from typing import Any

import pandas as pd

from batchdose.calculate.withdrawal import latest
from batchdose.model import Moment, Result
from batchdose.write.calendar import (
    Happening,
    JobKey,
    NextDose,
    calendar_file,
    clear_event,
    dose_event,
    use_by_event,
    whole,
)
from batchdose.write.clear_dates import not_yet_clear, paper_date
from batchdose.write.files import output_stem

_EXPECTED = "Expected by the plan, if all is given as planned; the treatment record says it for what was really given."


def plan_calendar(result: Result, before: bytes | None) -> bytes | None:
    """The calendar of a result as bytes, None where nothing is due; `before` is the file of an earlier run."""
    job = JobKey(
        result.session.facts.client, output_stem(result.session.source.path), result.planned.at.date()
    )  # fmt: skip
    found = [*_clears(result, job), *_doses(result, job), *_bottles(result, job)]
    return calendar_file(found, result.planned.at, before)


def _clears(result: Result, job: JobKey) -> Iterator[Happening]:
    """Clear-from of each mob and product, the latest of its animals; none where it is not stated for one of them."""
    zone = result.session.facts.time_zone
    for mob, group in not_yet_clear(result).groupby("mob", sort=False):
        for product in result.products_clear:
            together = latest(group[f"clear:{product}"])
            if together.state == "from" and together.at is not None:
                at = datetime.combine(paper_date(together.at), time(), zone)
                yield clear_event(job, str(mob), product, at, f"{int(group['head'].sum())} head. {_EXPECTED}")


def _doses(result: Result, job: JobKey) -> Iterator[Happening]:
    """Doses of each course after the first."""
    table = result.treatments[~result.treatments["held"]]
    for (course, mob), group in table.groupby(["course", "mob"], sort=False):
        medicine, moments = result.medicines[int(group["medicine"].iloc[0])], group["planned_for"].iloc[0]
        for number, moment in enumerate(moments[1:], 2):
            dose = NextDose(
                str(mob), medicine.name, number, len(moments), medicine.type == "vaccine", _head(group), str(course)
            )
            yield dose_event(job, dose, _at(moment))


def _head(group: pd.DataFrame) -> int:
    return int(group["head"].sum())


def _at(moment: Moment) -> Any:
    """A moment, or its day where no time is known."""
    return moment.at if moment.timed else moment.at.date()


def _bottles(result: Result, job: JobKey) -> list[Happening]:
    return whole(
        use_by_event(job, plan.medicine, plan.unit, over, number)
        for plan in result.product
        for number, over in enumerate(plan.left_over)
    )
