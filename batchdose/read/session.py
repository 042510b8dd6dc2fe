"""The `Session` sheet, and the moment for which the job is planned."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, time
from difflib import get_close_matches
from fractions import Fraction
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from batchdose.amounts import clean
from batchdose.findings import CellRef, Finding, UnusableInputError, column_letter
from batchdose.model import GunEntry, Moment, SessionFacts
from batchdose.read import problems, table_problems
from batchdose.read.book import Book, Cell, NoValue, Sheet
from batchdose.read.cells import (
    CellError,
    read_count,
    read_moment,
    read_share,
    read_time_of_day,
    read_times,
    read_yes_no,
    weight_ng,
)
from batchdose.read.fields import normal
from batchdose.read.guns import gun_entry_name
from batchdose.read.labels import LabelError, parse_hours
from batchdose.read.session_names import COLUMN, FOR_PEOPLE, NAMES, written
from batchdose.read.table import as_shown, cell_text
from batchdose.texts import LANGUAGES, joined, language_named, of_error, say
from batchdose.units import BODYWEIGHT, UnknownUnitError, unit_named
from batchdose.words import species_of_animals

#: An entry: what stands there, and where.
_Entry: TypeAlias = tuple[Cell, CellRef]

RULES = ("EU", "GB", "US", "AU", "NZ")

#: Country names and short forms for the rules in force. Member states of the European Union in 2026, from memory.
_RULES_OF = {
    "UK": "GB", "UNITED KINGDOM": "GB", "GREAT BRITAIN": "GB", "ENGLAND": "GB", "SCOTLAND": "GB", "WALES": "GB",
    "USA": "US", "UNITED STATES": "US", "AUSTRALIA": "AU", "NEW ZEALAND": "NZ", "EUROPEAN UNION": "EU",
} | dict.fromkeys(
    ("AUSTRIA", "BELGIUM", "BULGARIA", "CROATIA", "CYPRUS", "CZECHIA", "DENMARK", "ESTONIA", "FINLAND", "FRANCE",
     "GERMANY", "GREECE", "HUNGARY", "IRELAND", "ITALY", "LATVIA", "LITHUANIA", "LUXEMBOURG", "MALTA", "NETHERLANDS",
     "POLAND", "PORTUGAL", "ROMANIA", "SLOVAKIA", "SLOVENIA", "SPAIN", "SWEDEN"), "EU",
)  # fmt: skip

#: Entries of which nothing can be planned while they contradict each other.
_DECISIVE = ("species", "weight_unit", "rules", "date", "zone", "date_order")


def _rules(cell: Cell) -> str:
    word = cell_text(cell).upper()
    word = _RULES_OF.get(word, word)
    if word in ("NONE", ""):
        return ""
    if word not in RULES:
        raise CellError(say('"{typed}" is none of {rules} and none', typed=cell_text(cell), rules=", ".join(RULES)))
    return word


def _zone(cell: Cell) -> ZoneInfo:
    try:
        return ZoneInfo(cell_text(cell))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise CellError(say('"{typed}" is not a time zone such as Europe/Dublin', typed=cell_text(cell))) from None


def _unit(cell: Cell) -> str:
    try:
        return unit_named(cell_text(cell), BODYWEIGHT).removesuffix("_bw")
    except UnknownUnitError:
        raise CellError(say('"{typed}" is neither kg nor lb', typed=cell_text(cell))) from None


def _date_order(cell: Cell) -> str:
    word = "".join(c for c in cell_text(cell).casefold() if c.isalpha())
    if re.fullmatch("dayfirst|d+m+y+|daymonthyear", word):
        return "day first"
    if re.fullmatch("monthfirst|m+d+y+|monthdayyear", word):
        return "month first"
    raise CellError(say('"{typed}" is neither "day first" nor "month first"', typed=cell_text(cell)))


def _language(cell: Cell) -> str:
    language = language_named(cell_text(cell))
    if not language:
        choices = joined(", ", [f"{name} ({code})" for code, name in LANGUAGES.items()])
        raise CellError(
            say(
                '"{typed}" is none of the languages of the job sheet: {choices}', typed=cell_text(cell), choices=choices
            )
        )
    return language


def _species(cell: Cell) -> str:
    return "; ".join(sorted(species_of_animals(cell_text(cell))))


def _kilograms(cell: Cell) -> Fraction:
    return Fraction(weight_ng(cell if isinstance(cell, str) else cell_text(cell), "kg"), 10**12)


MOST_DRAFTS = 100


def _drafts(cell: Cell) -> int:
    """A number of drafts; nobody parts a mob into more than a hundred."""
    number = read_count(cell)
    if number > MOST_DRAFTS:
        raise CellError(say('"{typed}" is more than {most} drafts', typed=cell_text(cell), most=MOST_DRAFTS))
    return number


def _drafts_for(cell: Cell) -> str:
    word = cell_text(cell).casefold().removeprefix("least ").strip()
    if word not in ("product", "overdose"):
        raise CellError(say('"{typed}" is neither "least product" nor "least overdose"', typed=cell_text(cell)))
    return word


def _days(cell: Cell) -> int:
    """Whole days; a bare number is days."""
    text = cell_text(cell)
    if text.isdecimal():
        return int(text)
    try:
        hours = parse_hours(text)
    except LabelError as error:
        raise CellError(of_error(error)) from None
    return math.ceil(hours / 24)


_READERS: dict[str, Callable[[Cell], Any]] = {
    "rules": _rules, "date_order": _date_order, "zone": _zone, "weight_unit": _unit, "organic": read_yes_no,
    "spare": read_share,
    "milking_times": read_times, "max_drafts": _drafts, "cut_step_kg": _kilograms,
    "scale_step_kg": _kilograms, "scale_tolerance_kg": _kilograms, "time": read_time_of_day,
    "oldest_weight_days": _days, "species": _species,
    "least_head": read_count, "least_saving": read_share, "drafts_for": _drafts_for,
    "under_dosed_share": read_share, "confidence": read_share, "language": _language,
}  # fmt: skip


def read_session_sheet(books: Sequence[Book]) -> tuple[SessionFacts, list[Finding]]:
    """Facts of the sheets `Session` of the workbooks, and what could not be read on them.

    Raises UnusableInputError where the date is written so that it could be two dates, where an entry that decides
    (species, unit, rules, date ...) stands twice with two values, and where the sheet of weights is not there.
    """
    findings: list[Finding] = []
    unknown: set[str] = set()
    guns: list[GunEntry] = []
    raw: dict[str, _Entry] = {}
    sheets = [(book, sheet) for book in books if (sheet := book.sheet_named("Session"))]
    entries = (entry for book, sheet in sheets for entry in _entries(book, sheet, findings, guns))
    raw = _once(entries, unknown, findings)
    columns = {n.removeprefix(COLUMN): cell_text(cell) for n, (cell, _) in raw.items() if n.startswith(COLUMN)}
    values = _values(raw, unknown, findings)
    at = values.pop("time", None)
    facts = SessionFacts(**values, columns=columns, guns=tuple(guns), unknown=frozenset(unknown))
    if facts.weighing_sheet:
        _sheet_is_there(facts.weighing_sheet, raw["weighing_sheet"][1], books)
    if facts.zone is None:
        findings.append(problems.time_zone_missing(raw["zone"][1] if "zone" in raw else CellRef("", "Session")))
    if "date" in raw:
        facts = replace(facts, date=_session_date(*raw["date"], facts, at))
    return facts, findings


def _values(raw: dict[str, _Entry], unknown: set[str], findings: list[Finding]) -> dict[str, Any]:
    """Values by field, of all but the date and the names of columns; what cannot be read is `unknown`."""
    values: dict[str, Any] = {}
    for name, (cell, where) in raw.items():
        if name == "date" or name.startswith(COLUMN):
            continue
        try:
            values[name] = _value(name, cell)
        except CellError as error:
            unknown.add(name)
            findings.append(problems.session_entry_unreadable(where, cell_text(cell), of_error(error)))
            if name == "species":  # not to be taken from the medicines instead
                values[name] = cell_text(cell)
    return values


def _value(name: str, cell: Cell) -> Any:
    if isinstance(cell, NoValue):
        raise CellError(say("it {problem}", problem=cell.problem))
    return _READERS.get(name, cell_text)(cell)


def _sheet_is_there(name: str, where: CellRef, books: Sequence[Book]) -> None:
    names = [sheet.name for sheet in books[0].sheets]
    if name.casefold() not in map(str.casefold, names):
        raise UnusableInputError(
            where, f'There is no sheet "{name}" in {books[0].source.name}, which has: {"; ".join(names)}.',
            "Write the name of the sheet with the animals.",
        )  # fmt: skip


def _once(entries: Iterable[tuple[str, _Entry]], unknown: set[str], findings: list[Finding]) -> dict[str, _Entry]:
    """Entries by field. One that stands twice with two values is not used, or stops the run where it decides."""
    once: dict[str, _Entry] = {}
    for name, (cell, where) in entries:
        first, there = once.setdefault(name, (cell, where))
        if cell_text(first).casefold() == cell_text(cell).casefold():
            continue
        other = there.cell if there.on_sheet == where.on_sheet else str(there)
        if name in _DECISIVE:
            raise UnusableInputError(
                where, f'"{written(name)}" is "{cell_text(cell)}" here, and "{cell_text(first)}" in {other}.',
                "Clear the one that is wrong.",
            )  # fmt: skip
        unknown.add(name)
        findings.append(problems.session_entry_repeated(where, written(name), cell_text(cell), other))
    return {name: entry for name, entry in once.items() if name not in unknown}


def _entries(
    book: Book, sheet: Sheet, findings: list[Finding], guns: list[GunEntry]
) -> Iterator[tuple[str, _Entry]]:  # fmt: skip
    """Each entry with a value: field, value as its format shows it, and its cell. Those on guns go into `guns`."""
    column = None
    for number, row in enumerate(sheet.rows, 1):
        at = next((i for i, cell in enumerate(row) if cell is not None), len(row))
        name = row[at] if at < len(row) else None
        if not isinstance(name, str):
            continue
        if column is None and (heading := _value_heading(row, at)):
            column = heading
            continue
        beside = at + 1 if column is None or column <= at else column
        value = row[beside] if beside < len(row) else None
        if value is None:
            continue
        value = as_shown(value, sheet.facts.formats.get((number - 1, beside), ""))
        where = CellRef(book.source.name, sheet.name, f"{column_letter(beside)}{number}")
        if gun := gun_entry_name(name):
            guns.append(GunEntry(clean(name), *gun, value, where))
        elif field := NAMES.get(normal(name)):
            yield field, (value, where)
        elif close := get_close_matches(normal(name), NAMES, n=1, cutoff=0.8):
            findings.append(table_problems.heading_near_miss(where, name, written(NAMES[close[0]])))
        elif normal(name) not in FOR_PEOPLE:
            near = get_close_matches(normal(name), NAMES, n=1, cutoff=0.6)
            offer = written(NAMES[near[0]]) if near else ""
            findings.append(problems.session_entry_unknown(where, name, cell_text(value), offer))


def _value_heading(row: Sequence[Cell], name_at: int) -> int | None:
    """Column headed Value in a row of headings."""
    heads = [normal(cell) if isinstance(cell, str) else "" for cell in row]
    return next((at for at, head in enumerate(heads) if at > name_at and head in ("value", "values", "entry")), None)


def _session_date(cell: Cell, where: CellRef, facts: SessionFacts, at: time | None) -> Moment:
    try:
        moment = read_moment(cell, facts.time_zone, facts.date_order)
    except CellError as error:
        raise UnusableInputError(
            where, f"The date of the session cannot be read: {error}.", problems.DATE_HELP
        ) from None
    if at is not None and not moment.timed:
        return Moment(datetime.combine(moment.at.date(), at, facts.time_zone), timed=True)
    return moment


def planned_moment(facts: SessionFacts, on: str | None) -> Moment:
    """When the treatment is planned: `--on`, else the session's date, else today without a time."""
    zone = facts.zone or ZoneInfo("UTC")
    if on is not None:
        with contextlib.suppress(CellError):
            return read_moment(on, zone)
        raise UnusableInputError("--on", f'"{on}" is not a date or a date and time.', "Write it as 2026-03-14T09:00.")
    if facts.date is not None:
        return facts.date
    now = datetime.now(zone)
    return Moment(now.replace(hour=0, minute=0, second=0, microsecond=0), timed=False)
