"""Which planned dose an entry is of: by its line, else by animal and medicine on the nearest day."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from batchdose.findings import UnusableInputError
from batchdose.given import FILLED_HEADINGS, PlannedDose
from batchdose.read.cells import CellError
from batchdose.read.given import Entry, FilledIn
from batchdose.record.entries import Combined, at_of
from batchdose.record.jobs import Job
from batchdose.words import same_name, same_tag


def sort_entries(source: FilledIn | None, job: Job, planned: dict[str, list[Entry]], extra: list[Entry]) -> None:
    """Put entries to the doses of the plan that they are of; the others are extra."""
    taken: set[str] = set()
    for entry in source.lines if source else ():
        _refuse_other_job(entry, job)
        dose = _dose_of(entry, job, taken)
        if not any(entry.text(name) for name in FILLED_HEADINGS):
            if dose is None and (entry.text("tag") or entry.text("eid")) and entry.text("medicine"):
                extra.append(entry)
            continue
        if dose is None:
            extra.append(entry)
        else:
            taken.add(dose.line)
            planned.setdefault(dose.line, []).append(entry)


def _refuse_other_job(entry: Entry, job: Job) -> None:
    named = entry.text("job")
    if named and job.plan and named.casefold() != job.plan.identity.casefold():
        raise UnusableInputError(
            entry.where("job"), f"These ticks are of the job {named}, not of {job.plan.identity}.",
            "Give the dosed workbook of the same job.",
        )  # fmt: skip


def _dose_of(entry: Entry, job: Job, taken: set[str]) -> PlannedDose | None:
    """The planned dose that an entry is of: by its line, else by animal and medicine on the nearest day."""
    if job.plan is None:
        return None
    dose = job.plan.doses.get(entry.text("line"))
    if (
        dose is not None
        and dose.line not in taken
        and _same_animal(entry, dose)
        and same_name(entry.text("medicine")) == same_name(dose.medicine)
    ):
        return dose
    fitting = [
        dose for dose in job.plan.doses.values()
        if dose.line not in taken and (dose.tag or dose.eid) and _same_animal(entry, dose)
        and same_name(entry.text("medicine")) == same_name(dose.medicine)
    ]  # fmt: skip
    if not fitting or len({(dose.tag, dose.eid) for dose in fitting}) > 1:
        return None
    try:
        at = at_of(Combined([entry]).moment(job.zone, job.plan.date_order), job.zone)
    except CellError:
        at = None
    return fitting[0] if at is None else min(fitting, key=lambda dose: _apart(dose, at, job.zone))


def _apart(dose: PlannedDose, at: datetime, zone: ZoneInfo) -> int:
    planned = at_of(dose.planned_for, zone)
    return abs((planned.date() - at.date()).days) if planned else 0


def _same_animal(entry: Entry, dose: PlannedDose) -> bool:
    """Whether an entry names the animal of a dose: nothing that it says of the animal is otherwise."""
    tag, eid = same_tag(entry.text("tag")), same_tag(entry.text("eid"))
    if not tag and not eid:
        return not dose.tag and not dose.eid and same_name(entry.text("mob")) == same_name(dose.mob)
    fits_tag = not tag or tag == same_tag(dose.tag) or (not eid and tag == same_tag(dose.eid))
    return fits_tag and (not eid or eid == same_tag(dose.eid))
