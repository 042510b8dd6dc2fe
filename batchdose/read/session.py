"""The `Session` sheet, and the moment for which the job is planned."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import datetime, time
from difflib import get_close_matches
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.model import Moment, SessionFacts
from batchdose.read import problems
from batchdose.read.book import Book, Cell, Sheet
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
from batchdose.read.columns import cell_text
from batchdose.read.fields import WEIGHING, normal
from batchdose.read.labels import LabelError, parse_hours
from batchdose.units import BODYWEIGHT, UnknownUnitError, unit_named

RULES = ("EU", "GB", "US", "AU", "NZ")

#: Names accepted on the `Session` sheet -> field.
NAMES = {
    "client": "client", "holdingnumber": "holding", "holding": "holding", "date": "date", "time": "time",
    "timezone": "zone", "operator": "operator", "species": "species", "weightunit": "weight_unit",
    "weighingsheet": "weighing_sheet", "dateorder": "date_order", "scalestep": "scale_step_kg",
    "scaletolerance": "scale_tolerance_kg",
    "rules": "rules", "organic": "organic",
    "spare": "spare", "milkingtimes": "milking_times", "largestnumberofdrafts": "max_drafts",
    "cutstep": "cut_step_kg", "oldestweight": "oldest_weight_days",
    "leastheadinadraft": "least_head", "leastsaving": "least_saving", "draftsfor": "drafts_for",
    "underdosedshare": "under_dosed_share", "confidence": "confidence",
}  # fmt: skip
#: `Weight column`, `Tag column` ... name a column of the weighing sheet.
_COLUMN = "column:"
NAMES |= {normal(f"{spec.headings[0]} column"): f"{_COLUMN}{spec.name}" for spec in WEIGHING}


def _rules(cell: Cell) -> str:
    word = cell_text(cell).upper()
    if word in ("NONE", ""):
        return ""
    if word not in RULES:
        raise CellError(f'"{cell_text(cell)}" is none of {", ".join(RULES)} and none')
    return word


def _zone(cell: Cell) -> ZoneInfo:
    try:
        return ZoneInfo(cell_text(cell))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise CellError(f'"{cell_text(cell)}" is not a time zone such as Europe/Dublin') from None


def _unit(cell: Cell) -> str:
    try:
        return unit_named(cell_text(cell), BODYWEIGHT).removesuffix("_bw")
    except UnknownUnitError:
        raise CellError(f'"{cell_text(cell)}" is neither kg nor lb') from None


def _date_order(cell: Cell) -> str:
    words = " ".join(cell_text(cell).casefold().split())
    if words not in ("day first", "month first"):
        raise CellError(f'"{cell_text(cell)}" is neither "day first" nor "month first"')
    return words


def _kilograms(cell: Cell) -> Fraction:
    return Fraction(weight_ng(cell if isinstance(cell, str) else cell_text(cell), "kg"), 10**12)


def _drafts_for(cell: Cell) -> str:
    word = cell_text(cell).casefold().removeprefix("least ").strip()
    if word not in ("product", "overdose"):
        raise CellError(f'"{cell_text(cell)}" is neither "least product" nor "least overdose"')
    return word


def _days(cell: Cell) -> int:
    """Whole days; a bare number is days."""
    text = cell_text(cell)
    if text.isdecimal():
        return int(text)
    try:
        hours = parse_hours(text)
    except LabelError as error:
        raise CellError(f"{error}") from None
    return math.ceil(hours / 24)


_READERS: dict[str, Callable[[Cell], Any]] = {
    "rules": _rules, "date_order": _date_order, "zone": _zone, "weight_unit": _unit, "organic": read_yes_no,
    "spare": read_share,
    "milking_times": read_times, "max_drafts": read_count, "cut_step_kg": _kilograms,
    "scale_step_kg": _kilograms, "scale_tolerance_kg": _kilograms, "time": read_time_of_day,
    "oldest_weight_days": _days,
    "least_head": read_count, "least_saving": read_share, "drafts_for": _drafts_for,
    "under_dosed_share": read_share, "confidence": read_share,
}  # fmt: skip


def read_session_sheet(books: Iterable[Book]) -> tuple[SessionFacts, list[Finding]]:
    """Facts of the first `Session` sheet among the workbooks, and what could not be read on it.

    Raises UnusableInputError where the date is written so that it could be two dates.
    """
    findings: list[Finding] = []
    values: dict[str, Any] = {}
    unknown: set[str] = set()
    raw: dict[str, tuple[Cell, CellRef]] = {}
    columns: dict[str, str] = {}
    for book in books:
        if sheet := book.sheet_named("Session"):
            raw = dict(_entries(book, sheet, findings))
            break
    for name, (cell, where) in raw.items():
        if name == "date":
            continue
        if name.startswith(_COLUMN):
            columns[name.removeprefix(_COLUMN)] = cell_text(cell)
            continue
        try:
            values[name] = _READERS.get(name, cell_text)(cell)
        except CellError as error:
            unknown.add(name)
            findings.append(problems.session_entry_unreadable(where, cell_text(cell), str(error)))
    at = values.pop("time", None)
    facts = SessionFacts(**values, columns=columns, unknown=frozenset(unknown))
    if facts.zone is None:
        findings.append(problems.time_zone_missing(raw["zone"][1] if "zone" in raw else CellRef("", "Session")))
    if "date" in raw:
        facts = replace(facts, date=_session_date(*raw["date"], facts, at))
    return facts, findings


def _entries(book: Book, sheet: Sheet, findings: list[Finding]) -> Iterator[tuple[str, tuple[Cell, CellRef]]]:
    for number, row in enumerate(sheet.rows, 1):
        filled = [cell for cell in row if cell is not None]
        if len(filled) < 2 or not isinstance(filled[0], str):
            continue
        name = NAMES.get(normal(filled[0]))
        where = CellRef(book.source.name, sheet.name, f"B{number}")
        if name:
            yield name, (filled[1], where)
        elif close := get_close_matches(normal(filled[0]), NAMES, n=1, cutoff=0.8):
            findings.append(problems.heading_near_miss(where, filled[0], _written(NAMES[close[0]])))


def _written(name: str) -> str:
    """How a name is written on the sheet Session.

    >>> _written("scale_step_kg"), _written("column:weight"), _written("max_drafts")
    ('Scale step', 'Weight column', 'Largest number of drafts')
    """
    if name.startswith(_COLUMN):
        return f"{name.removeprefix(_COLUMN)} column".replace("_", " ").capitalize()
    other = {
        "holding": "Holding number", "zone": "Time zone", "max_drafts": "Largest number of drafts",
        "least_head": "Least head in a draft", "under_dosed_share": "Under-dosed share",
    }  # fmt: skip
    return other.get(name) or name.removesuffix("_kg").removesuffix("_days").replace("_", " ").capitalize()


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


#: What an entry holds, by field, for the docs.
_HELP = {
    "client": "printed", "holding": "printed", "operator": "printed", "date": "day of treatment", "time": "hour of it",
    "zone": "Europe/Dublin", "date_order": "day first, or month first: how dates such as 03/04/2026 are meant",
    "species": "of all animals whose row and mob do not say it", "weight_unit": "kg or lb, where the heading is bare",
    "weighing_sheet": "which sheet, where several have tags and weights",
    "oldest_weight_days": "days after which a weight is told as old, 30 if not stated",
    "scale_step_kg": "0.5 kg", "scale_tolerance_kg": "0.5 kg: how far the scale may be off",
    "cut_step_kg": "1 kg: drafts are cut on whole steps",
    "rules": "EU, GB, US, AU, NZ, none",
    "organic": "yes or no", "spare": "5 %: added to the product", "milking_times": "06:00, 17:30",
    "max_drafts": "largest number of settings for a mob", "least_head": "10: no draft of fewer head",
    "least_saving": "2 %: another draft that saves less is not recommended",
    "drafts_for": "least product, or least overdose: what the split into drafts is for",
    "under_dosed_share": "5 %: of a mob weighed in part, at most so many may get less than their dose",
    "confidence": "95 %: how sure that is to be",
}  # fmt: skip


def session_page() -> str:
    """The part of `docs/headings.md` on the sheet `Session`: each name, the others accepted, what it holds."""
    lines = ["", "## Session", "", "A name and beside it its value, one a line; a heading row may stand above.", ""]
    lines += ["| Name | Holds |", "|---|---|"]
    lines += [f"| {_written(field)} | {held} |" for field, held in _HELP.items()]
    lines.append("| Weight column, Tag column ... | the heading or the letter of that column on the weighing sheet |")
    return "\n".join(lines) + "\n"
