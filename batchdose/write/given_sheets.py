"""The sheets that staff fill in after the job, and the plan kept behind them on a very hidden sheet.

Drop-downs and checks are the spreadsheet program's own (data validation, ECMA-376 part 1, clause 18.3.1.33).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import pandas as pd
from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from batchdose.amounts import unit_word
from batchdose.given import (
    FILLED_HEADINGS,
    GIVEN,
    GIVEN_MOBS,
    LINE_HEADINGS,
    MARK,
    MOB_FILLED,
    MOB_HEADINGS,
    NO,
    PART,
    PLAN_FORMAT,
    PLAN_KEPT,
    YES,
    PlannedDose,
    dose_line,
)
from batchdose.kept import facts_json
from batchdose.model import NG_PER_KG, Moment, Result
from batchdose.write.files import output_stem
from batchdose.write.identity import course_facts, job_identity
from batchdose.write.sheet_rows import rows_markup

_BOLD, _HEAD = Font(bold=True), PatternFill("solid", fgColor="DDDDDD")
_FILL, _GREY = PatternFill("solid", fgColor="FFF9DB"), Font(color="999999")
_THIN = Side(style="thin", color="CCCCCC")
_BOX = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
#: Rows below the plan that the checks also cover, for animals that were not on it.
_MORE_ROWS = 200
_WIDTHS = {
    "medicine": 32,
    "held": 30,
    "planned_for": 20,
    "when": 18,
    "except": 36,
    "note": 30,
    "eid": 18,
    "why_not": 24,
    "planned": 17,
}
_USUAL_WIDTH = 11
_OF_ANIMAL = ("species", "sex", "status")
_EARLIER = {"meat_clear_from": "meat", "milk_clear_from": "milk"}
_LONGEST_LIST = 255  # characters of a drop-down's own list


@dataclass(frozen=True)
class _Sheet:
    """One of the fill-in sheets: its name, headings and filled-in headings, its rows."""

    name: str
    headings: Mapping[str, str]
    filled: Mapping[str, str]
    rows: Sequence[Sequence[object]]


def add_given_sheets(book: Workbook, result: Result) -> dict[str, bytes]:
    """Add the fill-in sheets and the kept plan, with headings and checks; gives each sheet's rows as markup."""
    doses = list(planned_doses(result))
    by_mob = _by_mob(doses)
    sheets = (
        _Sheet(GIVEN, LINE_HEADINGS, FILLED_HEADINGS, [_line(dose) for dose in doses]),
        _Sheet(GIVEN_MOBS, MOB_HEADINGS, MOB_FILLED, [_mob_line(key, lines) for key, lines in by_mob.items()]),
    )
    batches = [batch for plan in result.product for pack in plan.packs if (batch := pack.batch_no)]
    rows = {sheet.name: _add(book, sheet, list(dict.fromkeys(batches))) for sheet in sheets}
    hidden: Worksheet = book.create_sheet(PLAN_KEPT)
    hidden.sheet_state = "veryHidden"
    kept = _plan_kept(result, doses, {key: [dose.line for dose in lines] for key, lines in by_mob.items()})
    return rows | {PLAN_KEPT: rows_markup(1, list(kept))}


def planned_doses(result: Result) -> Iterator[PlannedDose]:
    """Every dose of the plan, first those of the first day; held ones too, so that what was given all the same fits."""
    abouts = _abouts(result)
    names = ["animal", "course", "tag", "eid", "mob", "head", "medicine", "dose", "unit", "batch_no", "why",
             "planned_for"]  # fmt: skip
    found: list[tuple[datetime, PlannedDose]] = []
    for row in result.treatments[names].to_dict("records"):
        about = abouts[row["animal"]]
        held, moments = "; ".join(row["why"]), row["planned_for"]
        amount = "" if pd.isna(row["dose"]) else f"{row['dose']:.12g}"
        for number, moment in enumerate(moments, 1):
            dose = PlannedDose(
                dose_line(row["animal"], row["course"], number), row["course"], number, row["tag"], row["eid"],
                row["mob"], int(row["head"]), result.medicines[row["medicine"]].name, _iso(moment), amount,
                unit_word(row["unit"]), tuple(row["batch_no"]), held, about,
            )  # fmt: skip
            found.append((moment.at.astimezone(UTC), dose))
    found.sort(key=lambda pair: pair[0])
    yield from (dose for _, dose in found)


def _abouts(result: Result) -> dict[int, dict[str, object]]:
    """What the record keeps of each animal, without what is not known."""
    animals = result.session.animals
    kilograms = (animals["weight_ng"] / NG_PER_KG).to_dict()
    names = [name for name in (*_OF_ANIMAL, "gave_birth", *_EARLIER) if name in animals.columns]
    found: dict[int, dict[str, object]] = {}
    for label, *values in animals[names].itertuples(name=None):
        cells = dict(zip(names, values, strict=True))
        about = {name: cells[name] for name in _OF_ANIMAL if cells.get(name)}
        earlier = {_EARLIER[name]: at for name in _EARLIER if (at := _moment_text(cells.get(name)))}
        more = {"kg": kilograms[label], "earlier": earlier, "gave_birth": _moment_text(cells.get("gave_birth"))}
        found[label] = about | {name: value for name, value in more.items() if value}
    return found


def _moment_text(value: object) -> str:
    return value.isoformat() if isinstance(value, datetime) and value == value else ""  # noqa: PLR0124 - no time


def _by_mob(doses: Sequence[PlannedDose]) -> dict[str, list[PlannedDose]]:
    """Doses that may be given, by mob, medicine and planned moment: one line "all given except" each."""
    found: dict[tuple[object, ...], list[PlannedDose]] = {}
    for dose in doses:
        if not dose.held:
            found.setdefault((dose.mob, dose.medicine, dose.number, dose.planned_for), []).append(dose)
    return {f"mob/{number}": lines for number, lines in enumerate(found.values(), 1)}


def _line(dose: PlannedDose) -> list[object]:
    amount: object = "DO NOT DOSE" if dose.held else float(dose.amount) if dose.amount else None
    planned = [
        dose.tag, dose.eid, dose.mob, dose.medicine, dose.number, _shown(dose.planned_for),
        amount, dose.unit, "; ".join(dose.batches), dose.held,
    ]  # fmt: skip
    return [*planned, *[None] * len(FILLED_HEADINGS), dose.line]


def _mob_line(key: str, doses: Sequence[PlannedDose]) -> list[object]:
    first, head = doses[0], sum(dose.head for dose in doses)
    planned = [first.mob or "All animals", first.medicine, first.number, _shown(first.planned_for), head]
    return [*planned, *[None] * len(MOB_FILLED), key]


def _add(book: Workbook, sheet: _Sheet, batches: Sequence[str]) -> bytes:
    """A sheet with its headings and checks; gives the markup of its rows."""
    page: Worksheet = book.create_sheet(sheet.name)
    styles = []
    for column, (name, heading) in enumerate(sheet.headings.items(), 1):
        cell = page.cell(1, column, heading)
        cell.font, cell.fill, cell.alignment = _BOLD, _HEAD, Alignment(wrap_text=True, vertical="top")
        page.column_dimensions[get_column_letter(column)].width = _WIDTHS.get(name, _USUAL_WIDTH)
        styles.append(_style(page, name, filled=name in sheet.filled))
    page.freeze_panes = "A2"
    for name in sheet.filled:
        letter = get_column_letter(list(sheet.headings).index(name) + 1)
        if check := _check(name, batches):
            check.add(f"{letter}2:{letter}{len(sheet.rows) + 1 + _MORE_ROWS}")
            page.add_data_validation(check)
    return rows_markup(2, sheet.rows, styles)


def _style(page: Worksheet, name: str, *, filled: bool) -> int:
    """Number of the style of a column's cells; a scratch cell is enough to have it in the workbook."""
    scratch: Any = page.cell(1, 40)
    scratch.style = "Normal"
    if filled:
        scratch.fill, scratch.border = _FILL, _BOX
        scratch.number_format = {"when": "yyyy-mm-dd hh:mm", "amount": "General"}.get(name, "@")
    elif name == "line":
        scratch.font = _GREY
    number = int(scratch.style_id)
    scratch.style = "Normal"
    return number


def _check(name: str, batches: Sequence[str]) -> DataValidation | None:
    """The check of a column to fill in, None where anything may stand."""
    check = _of_kind(name, batches)
    if check is not None:
        check.allow_blank, check.showDropDown, check.showInputMessage = True, False, True
        check.showErrorMessage = name != "batch_no"
    return check


def _of_kind(name: str, batches: Sequence[str]) -> DataValidation | None:
    lists = {"given": (YES, NO, PART), "all_given": (YES,), "needle": (YES,), "batch_no": batches}
    if name in lists:
        text = ",".join(lists[name])
        if not text or len(text) > _LONGEST_LIST or any('"' in item or "," in item for item in lists[name]):
            return None
        check = DataValidation(type="list", formula1=f'"{text}"')
        check.error = f"Choose {' or '.join(lists[name])}, or leave it empty."
    elif name == "amount":
        check = DataValidation(type="decimal", operator="greaterThan", formula1="0")
        check.error = "The amount that was really given, a number above zero, in the unit of the dose."
    elif name == "when":
        check = DataValidation(type="date", operator="greaterThan", formula1="DATE(2000,1,1)")
        check.error = "A date and time, such as 2026-03-14 09:30."
    else:
        return None
    return check


def _plan_kept(
    result: Result, doses: Sequence[PlannedDose], mob_lines: Mapping[str, Sequence[str]]
) -> Iterator[tuple[str, str]]:
    """Rows of the hidden sheet: what each row is, and its content as JSON."""
    facts = result.session.facts
    job = {
        "format": PLAN_FORMAT, "identity": job_identity(result), "client": facts.client, "zone": str(facts.time_zone),
        "planned": _iso(result.planned), "date_order": facts.date_order,
        "source": output_stem(result.session.source.path),
    }  # fmt: skip
    yield MARK, _json(job)
    for course in sorted(result.treatments["course"].unique()):
        yield "course", facts_json(course_facts(result, int(course)))
    for dose in doses:
        yield "dose", _json([
            dose.line, dose.course, dose.number, dose.tag, dose.eid, dose.mob, dose.head, dose.medicine,
            dose.planned_for, dose.amount, dose.unit, dose.batches, dose.held, dose.about,
        ])  # fmt: skip
    for key, lines in mob_lines.items():
        for at in range(0, len(lines), 500):  # a cell holds 32,767 characters
            yield key, _json(lines[at : at + 500])


@lru_cache(maxsize=4096)
def _iso(moment: Moment) -> str:
    return moment.at.isoformat() if moment.timed else moment.at.date().isoformat()


@lru_cache(maxsize=4096)
def _shown(iso: str) -> str:
    """A planned moment as text that no program reads in another order of day and month."""
    at = datetime.fromisoformat(iso)
    return f"{at:%a} {at.day} {at:%b %Y}" + (f" {at:%H:%M}" if "T" in iso else "")


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
