"""Rows onto the record: numbered, chained, and only those that say something new. Earlier rows are never touched."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.given import NO, PlanKept
from batchdose.memory import no_collecting
from batchdose.model import InputFile
from batchdose.read.book import Book
from batchdose.read.given import read_given
from batchdose.record import problems
from batchdose.record.book import Record
from batchdose.record.clear import Clearing
from batchdose.record.leftovers import left_rows
from batchdose.record.lock import locked
from batchdose.record.opened import Opened, opened
from batchdose.record.rows import DOSE, HEADINGS, NO_ROW_BEFORE, NUMBERS, Row, latest_of_lines, row_hash
from batchdose.record.stock import LeftInStock, Product
from batchdose.record.take import rows_of
from batchdose.write.files import replace_file
from batchdose.write.record_book import (
    LONGEST_CELL,
    RECORD_SHEET,
    Behind,
    RecordFullError,
    new_record,
    with_index,
    with_more,
)
from batchdose.write.stock_sheet import with_stock_sheet
from batchdose.write.xmltext import CannotCopyError


@dataclass(frozen=True)
class Stands:
    """The record as it stands after a recording: the rows added, who is clear by it, and what is left in stock.

    It has all rows of the animals in question and of their job, not always those of others. `not_kept` is why the sheet
    of what is left could not be written.
    """

    rows: tuple[Row, ...]
    clearing: Clearing
    left: Mapping[Product, LeftInStock]
    not_kept: str = ""


@dataclass(frozen=True)
class Recorded:
    """What one recording did: the rows that were added, how many were there already, the hash of the last row.

    `plan` is that of the job, None for treatments without one, `stands` the record as it stands now, None where there
    is none yet.
    """

    rows: tuple[Row, ...]
    same: int
    head_hash: str
    findings: tuple[Finding, ...]
    plan: PlanKept | None = None
    stands: Stands | None = None

    @property
    def corrections(self) -> int:
        """How many of the rows correct an earlier one."""
        return sum(row.kind == DOSE and bool(row.corrects) for row in self.rows)


def record_job(dosed: Path, ticks: Path | None, to: Path, now: datetime) -> Recorded:
    """Take a filled-in workbook, and ticks, into the record.

    Raises UnusableInputError, with nothing written, where one of them cannot be read, the record is of another
    client, is being written by someone else, or is open in a spreadsheet program.
    """
    _check_name(to, (dosed, *([ticks] if ticks else [])))
    rows, job, findings = rows_of(read_given(dosed), read_given(ticks) if ticks else None, now)
    facts = {key: text for key, text in job.facts.items() if any(row.facts == key for row in rows)}
    _check_facts(facts, dosed)
    with locked(to), no_collecting():
        there = opened(to, rows, facts, job.plan) if to.exists() else _new(to)
        _check_client(there, {known.session.client for known in job.known}, to)
        findings += there.findings
        stands = _write(there, new_rows(there.record.rows, rows), facts, to, now, with_stock=True)
    added, every = stands.rows, stands.clearing.record.rows
    findings += taken_back(every, added, CellRef(dosed.name))
    findings += half_done(every, {row.course for row in rows}, job.known, job.keys, CellRef(dosed.name))
    head = added[-1].hash if added else there.head_hash if there.last else ""
    return Recorded(added, len(rows) - len(added), head, tuple(findings), job.plan, stands if every else None)


def append_rows(to: Path, rows: Iterable[Row], now: datetime) -> list[Row]:
    """Add rows that stand for themselves (a release, a period). Raises UnusableInputError as `record_job` does."""
    new = list(rows)
    return store(opened(to, new, {}), new, {}, to, now)


def new_rows(there: Sequence[Row], rows: Iterable[Row]) -> list[Row]:
    """Rows that say something new: of a line not there yet, or otherwise than the last row of that line."""
    latest = latest_of_lines(there)
    new = []
    for row in rows:
        earlier = latest.get(row.line)
        if earlier is None:
            new.append(row)
        elif not row.says_the_same(earlier):
            new.append(replace(row, corrects=earlier.row))
    return new


def chained(there: Sequence[Row], rows: Iterable[Row], now: datetime) -> Iterator[Row]:
    """Rows with their numbers and hashes, behind those that are there."""
    last = max(there, key=lambda row: row.number, default=None)
    yield from chained_behind(last.number if last else 0, last.hash if last else NO_ROW_BEFORE, rows, now)


def chained_behind(number: int, before: str, rows: Iterable[Row], now: datetime) -> Iterator[Row]:
    """Rows with their numbers and hashes, behind the row of this number and hash."""
    for row in rows:
        number += 1
        made = replace(row, row=str(number), recorded=now.isoformat(timespec="seconds"), hash="")
        before = row_hash(made, before)
        yield replace(made, hash=before)


def taken_back(rows: Sequence[Row], added: Iterable[Row], where: CellRef) -> Iterator[Finding]:
    """Findings for doses that stood there as given and are corrected to not given, a line for each medicine."""
    given = {row.row: row for row in rows if row.given != NO}
    found: dict[str, list[str]] = {}
    for row in added:
        if row.kind == DOSE and row.given == NO and row.corrects in given:
            found.setdefault(row.medicine, []).append(row.tag or row.eid)
    for medicine, tags in found.items():
        yield problems.given_taken_back(where, medicine, tags)


def half_done(
    rows: Sequence[Row], courses: set[str], known: Sequence[object], keys: Sequence[str], where: CellRef
) -> Iterator[Finding]:
    """Findings for courses of this job that were begun and are not finished, a line for each medicine."""
    doses_of = {key: facts.doses for key, facts in zip(keys, known, strict=True)}  # type: ignore[attr-defined]
    given: dict[str, list[Row]] = {}
    for row in latest_of_lines(rows).values():
        if row.course in courses and row.given != NO:
            given.setdefault(row.course, []).append(row)
    found: dict[tuple[str, str], list[str]] = {}
    for of_course in given.values():
        first, planned = of_course[0], doses_of.get(of_course[0].facts, 1)
        if len(of_course) < planned:
            found.setdefault((first.medicine, f"{len(of_course)} of {planned}"), []).append(first.tag)
    for (medicine, seen), tags in found.items():
        yield problems.course_half_done(where, medicine, tags, seen)


def store(there: Opened, rows: Sequence[Row], facts: Mapping[str, str], to: Path, now: datetime) -> list[Row]:
    """Write the rows, and the index with them; the record stays as it is where there are none.

    Raises UnusableInputError, with the record as it was, where it is full or cannot be written.
    """
    return list(_write(there, rows, facts, to, now, with_stock=False).rows)


def _write(
    there: Opened, rows: Sequence[Row], facts: Mapping[str, str], to: Path, now: datetime, *, with_stock: bool
) -> Stands:  # fmt: skip
    """Write the rows, what is left in stock on its sheet, and last the index, which is bound to all of that; at once.

    Without rows the record changes only where that sheet is another now.
    """
    source = there.record
    added = tuple(chained_behind(there.last, there.head_hash, rows, now))
    try:
        data, behind = _with_rows(there, added, facts) if added else (source.book.data, there.behind)
        grown = there.grown(added, facts if added else {}, behind)
        data, not_kept = _with_stock(data, grown.left) if with_stock and grown.clearing.record.rows else (data, "")
        if data != source.book.data and grown.index is not None:
            data = with_index(data, grown.index.content)
    except RecordFullError:
        raise UnusableInputError(
            to.name, "The record is full.", "Keep it, and begin a new one with another name after --to."
        ) from None
    except CannotCopyError as error:
        raise UnusableInputError(
            to.name, f"Nothing can be added to this record, because {error}.",
            "Save it again as .xlsx in your spreadsheet program and record again.",
        ) from None  # fmt: skip
    if added or (data != source.book.data and to.exists()):
        replace_file(to, data)
    return Stands(added, grown.clearing, grown.left, not_kept)


def _with_rows(there: Opened, added: Sequence[Row], facts: Mapping[str, str]) -> tuple[bytes, Behind]:
    """The record with these rows and facts, and where the next rows would go."""
    source = there.record
    columns = [source.columns[name] for name in HEADINGS]
    values = [[_cell(name, getattr(row, name)) for name in HEADINGS] for row in added]
    more = {key: text for key, text in facts.items() if key not in there.fact_keys}
    return with_more(
        source.book.data, source.sheet, source.facts_sheet, columns, values, more, there.last, there.behind
    )


def _with_stock(data: bytes, left: Mapping[Product, LeftInStock]) -> tuple[bytes, str]:
    """The record with its sheet of what is left, or as it is and why it has none: the rows matter more."""
    try:
        return with_stock_sheet(data, list(left_rows(left))), ""
    except CannotCopyError as error:
        return data, str(error)


def record_of_new(to: Path) -> Record:
    """A record without rows, not yet written."""
    columns = {name: at for at, name in enumerate(HEADINGS)}
    book = Book(InputFile(to, ""), [], new_record(list(HEADINGS.values())))
    return Record(book, RECORD_SHEET, (), (), columns, {})


def _new(to: Path) -> Opened:
    return Opened(record_of_new(to), 0, NO_ROW_BEFORE, frozenset(), frozenset(), ())


def _cell(name: str, text: str) -> object:
    if not text or name not in NUMBERS:
        return text
    number = float(text)
    return int(number) if number.is_integer() else number


def _check_name(to: Path, inputs: Iterable[Path]) -> None:
    if to.suffix.lower() != ".xlsx":
        raise UnusableInputError(
            to.name, "A record is an .xlsx workbook.", "Give a name that ends in .xlsx after --to."
        )
    if not to.parent.is_dir():
        raise UnusableInputError(str(to.parent), "There is no such folder.", "Make it, or choose another after --to.")
    if to.resolve() in {path.resolve() for path in inputs}:
        raise UnusableInputError(
            to.name, "This file is an input, and an input is never replaced.", "Choose another name after --to."
        )


def _check_client(record: Opened, clients: set[str], to: Path) -> None:
    """One workbook a client."""
    there = record.clients
    others = clients - {""} - there
    if there and others:
        theirs, ours = ("; ".join(sorted(names)) for names in (there, others))
        raise UnusableInputError(
            to.name, f"This is the record of {theirs}, and the job is of {ours}.",
            "Give the record of the same client after --to.",
        )  # fmt: skip


def _check_facts(facts: Mapping[str, str], dosed: Path) -> None:
    if any(len(text) > LONGEST_CELL for text in facts.values()):
        raise UnusableInputError(
            dosed.name,
            "The texts of a medicine are too long to be kept in the record.",
            "Shorten its texts and plan again.",
        )
