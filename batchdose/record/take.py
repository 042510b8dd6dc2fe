"""What came back from the yard, as rows for the record, checked against the plan."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction

from batchdose.findings import Finding
from batchdose.given import NO, PART, YES, PlannedDose
from batchdose.kept import Facts, period_kept
from batchdose.read.cells import CellError
from batchdose.read.given import Entry, FilledIn
from batchdose.read.labels import LabelError, parse_period
from batchdose.record import problems
from batchdose.record.entries import UNCLEAR, Combined, at_of, given_word, number_text, plain
from batchdose.record.jobs import Job
from batchdose.record.matching import sort_entries
from batchdose.record.mobs import mob_entries
from batchdose.record.rows import BROKEN, DOSE, HELD, MORE, NO_TIME, NOT_CLEAR, NOT_PLANNED, Row
from batchdose.words import same_name

_YES_AND_NO = "yes and no"
#: What the field of a withdrawal period begins with, before its product.
PERIOD_FIELD = "withdrawal:"


def rows_of(filled: FilledIn, ticks: FilledIn | None, now: datetime) -> tuple[list[Row], Job, list[Finding]]:
    """Rows for the record, not numbered yet, the job they are of, and what was found.

    Ticks stand above the sheet, a line of the sheet above "all given except". Raises UnusableInputError for ticks of
    another job.
    """
    job = Job(filled.plan, now)
    planned: dict[str, list[Entry]] = {}
    extra: list[Entry] = []
    for source in (ticks, filled):
        sort_entries(source, job, planned, extra)
    doses = filled.plan.doses if filled.plan else {}
    of_mobs, found = mob_entries(filled)
    rows = []
    for line, dose in doses.items():
        entries = [*_agreeing(planned.get(line, [])), *of_mobs.get(line, ())]
        if entries and (row := _row(Combined(entries), dose, job)):
            rows.append(row)
    _note_the_silent(filled, rows, job)
    seen: dict[str, int] = {}
    rows += [row for entry in extra if (row := _extra_row(entry, job, seen))]
    return rows, job, [*found, *job.findings.listed()]


def _agreeing(entries: list[Entry]) -> list[Entry]:
    """Entries of one animal and dose; where one says yes and another no, the first says neither."""
    words = {given_word(entry.text("given")) for entry in entries} - {""}
    if NO in words and len(words) > 1:
        return [replace(entries[0], cells={**entries[0].cells, "given": _YES_AND_NO}), *entries[1:]]
    return entries


def _note_the_silent(filled: FilledIn, rows: list[Row], job: Job) -> None:
    """Note planned doses without an entry, where others of the same medicine and number have one."""
    doses = filled.plan.doses if filled.plan else {}
    said = {row.line.partition("/")[2] for row in rows}
    begun = {(doses[line].medicine, doses[line].number) for line in said if line in doses}
    places = {entry.text("line"): entry.where("given") for entry in filled.lines}
    for line, dose in doses.items():
        if line not in said and not dose.held and (dose.medicine, dose.number) in begun:
            row = Row(tag=dose.tag, eid=dose.eid, mob=dose.mob, medicine=dose.medicine)
            job.findings.add(problems.dose_not_accounted_for, places.get(line), row)


def _row(said: Combined, dose: PlannedDose, job: Job) -> Row | None:
    """The row of one planned dose; None where nothing says whether it was given."""
    plan = job.plan
    key = job.keys[dose.course]
    known = job.known[dose.course]
    row = Row(
        kind=DOSE, line=f"{plan.identity if plan else ''}/{dose.line}", tag=dose.tag, eid=dose.eid, mob=dose.mob,
        head=str(dose.head), medicine=dose.medicine, planned_for=dose.planned_for,
        planned=number_text(Fraction(dose.amount)) if dose.amount else "", unit=dose.unit, facts=key,
        about=json.dumps(dose.about, ensure_ascii=False, sort_keys=True) if dose.about else "",
    )  # fmt: skip
    row, holds = _filled(row, said, job)
    if row.given in (YES, PART, UNCLEAR) and dose.held:
        holds.append(HELD)
        job.findings.add(problems.given_but_held, said.said("given").where, row, dose.held)
    _check_bottle(row, said, known, job)
    return replace(row, holds=_joined(holds))


def _extra_row(entry: Entry, job: Job, seen: dict[str, int]) -> Row | None:
    """The row of a treatment that was not planned."""
    said = Combined([entry])
    row = Row(
        kind=DOSE, tag=plain(entry.text("tag")), eid=plain(entry.text("eid")), mob=plain(entry.text("mob")),
        head="1", medicine=plain(entry.text("medicine")), unit=plain(entry.text("unit")), facts=_facts_for(entry, job),
    )  # fmt: skip
    row, holds = _filled(row, said, job)
    row = _with_periods(row, entry, job)
    # Another sheet may hold the second dose of a day: without a job only the same moment is the same treatment.
    when = row.given_at[:10] if job.plan else row.given_at
    names = (row.tag, row.eid, row.mob, same_name(row.medicine), when)
    digest = hashlib.sha256("|".join(names).encode("utf-8")).hexdigest()[:10]
    seen[digest] = seen.get(digest, 0) + 1
    identity = job.plan.identity if job.plan else "unplanned"
    job.findings.add(problems.treatment_not_on_plan, entry.where("medicine"), row)
    holds = [NOT_PLANNED, *holds]
    return replace(row, holds=_joined(holds), line=f"{identity}/extra {digest} {seen[digest]}/1")


def _with_periods(row: Row, entry: Entry, job: Job) -> Row:
    """A treatment without a plan with the periods that its line states, as on the label or by the prescriber."""
    stated: dict[str, object] = {}
    for field in entry.columns:
        if not field.startswith(PERIOD_FIELD) or not entry.text(field):
            continue
        try:
            period = parse_period(entry.text(field))
        except LabelError:
            job.findings.add(problems.entry_unclear, entry.where(field), row, entry.text(field))
            continue
        if period is not None:
            stated[field.removeprefix(PERIOD_FIELD)] = period_kept(period)
    return replace(row, about=json.dumps({"periods": stated}, sort_keys=True)) if stated else row


def _facts_for(entry: Entry, job: Job) -> str:
    """Key of the facts of the plan's medicine of that name, where it has one row only."""
    name = same_name(entry.text("medicine"))
    keys = {key for key, known in zip(job.keys, job.known, strict=True) if same_name(known.medicine.name) == name}
    return keys.pop() if len(keys) == 1 else ""


def _filled(row: Row, said: Combined, job: Job) -> tuple[Row, list[str]]:
    """A row with what staff entered, and the reasons why it states no clear-from."""
    holds: list[str] = []
    needle = "" if given_word(said.said("needle").text) in ("", NO) else BROKEN
    given = given_word(said.said("given").text)
    if not given:
        given = NO if said.said("why_not").text and not _any(said, "amount", "when", "batch_no") else UNCLEAR
    texts = {name: said.said(name).text for name in ("batch_no", "by", "why_not", "note")}
    row = replace(row, given=given, needle=needle, **texts)
    if given == UNCLEAR:
        job.findings.add(problems.entry_unclear, said.said("given").where, row, said.said("given").text)
        holds.append(NOT_CLEAR)
    if needle:
        job.findings.add(problems.needle_broken, said.said("needle").where, row)
    row = _with_amount(row, said, job, holds)
    return _with_time(row, said, job, holds), holds


def _any(said: Combined, *names: str) -> bool:
    return any(said.said(name).text for name in names)


def _with_amount(row: Row, said: Combined, job: Job, holds: list[str]) -> Row:
    try:
        amount = said.amount(row.unit)
    except CellError:
        job.findings.add(problems.entry_unclear, said.said("amount").where, row, said.said("amount").text)
        holds.append(NOT_CLEAR)
        note = "; ".join(filter(None, (row.note, f"amount entered: {said.said('amount').text}")))
        return replace(row, note=note)
    if row.given == NO:
        return row
    planned = Fraction(row.planned) if row.planned else None
    if amount is None and row.given == YES:
        amount = planned
    where = said.said("amount").where
    if amount is None:
        if row.given != UNCLEAR:
            job.findings.add(problems.amount_not_known, where, row)
        return row
    row = replace(row, amount=number_text(amount))
    if planned is not None and amount != planned and (row.given != PART or amount > planned):
        job.findings.add(problems.amount_not_planned, where, row, f"{row.amount} {row.unit}")
    if planned is not None and amount > planned:
        holds.append(MORE)
    return row


def _with_time(row: Row, said: Combined, job: Job, holds: list[str]) -> Row:
    where = said.said("when").where
    try:
        given_at = said.moment(job.zone, job.plan.date_order if job.plan else "")
    except CellError:
        job.findings.add(problems.entry_unclear, where, row, said.said("when").text)
        note = "; ".join(filter(None, (row.note, f"time entered: {said.said('when').text}")))
        holds.append(NO_TIME)
        return replace(row, note=note)
    row = replace(row, given_at=given_at)
    if row.given == NO:
        return row
    at, planned = at_of(given_at, job.zone), at_of(row.planned_for, job.zone)
    if at is None:
        if row.given != UNCLEAR:
            job.findings.add(problems.time_not_known, where, row)
        holds.append(NO_TIME)
    elif at > job.now:
        job.findings.add(problems.given_in_future, where, row, given_at)
    elif planned and at.date() < planned.date():
        job.findings.add(problems.given_before_plan, where, row, given_at)
    return row


def _check_bottle(row: Row, said: Combined, known: Facts, job: Job) -> None:
    """Whether the bottles are on the plan, and none is past its expiry on the day."""
    if row.given == NO:
        return
    where, at = said.said("batch_no").where, at_of(row.given_at, job.zone)
    packs = {same_name(batch): expiry for batch, expiry in known.packs.items()}
    for batch in filter(None, map(str.strip, row.batch_no.split(";"))):
        if same_name(batch) not in packs:
            job.findings.add(problems.bottle_not_on_plan, where, row, batch)
        expiry: date | None = packs.get(same_name(batch)) or known.medicine.expiry
        if expiry and at and at.date() > expiry:
            job.findings.add(problems.bottle_expired, where, row, f"{batch}, {expiry.isoformat()}")


def _joined(holds: list[str]) -> str:
    return "; ".join(dict.fromkeys(holds))
