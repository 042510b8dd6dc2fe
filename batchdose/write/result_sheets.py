"""The result sheets (settings, product, findings, what is filled in), built as a workbook of their own by openpyxl.

Cells carry values, never formulas.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from io import BytesIO
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from batchdose.amounts import number_text, unit_word
from batchdose.findings import Finding, Level
from batchdose.model import Draft, MobPlan, Result
from batchdose.write.given_sheets import add_given_sheets
from batchdose.write.sheet_rows import with_rows
from batchdose.write.xmltext import cell_text

SETTINGS, PRODUCT, FINDINGS = "Job settings", "Job product", "Job findings"

_BOLD = Font(bold=True)
_HEAD = PatternFill("solid", fgColor="DDDDDD")
_HELD = PatternFill("solid", fgColor="F4CCCC")
_LINK = Font(underline="single", color="1F4E9A")
_LINE, _MARGIN = 15, 3  # height of a line in points; characters that a line has less than its width
_EPOCH = datetime(2000, 1, 1)  # noqa: DTZ001 - a fixed stamp, so that the same job gives the same bytes


def result_sheets(result: Result, sheets: Iterable[str]) -> bytes:
    """A workbook of the result sheets; `sheets` are the user's, for links to the cells of findings."""
    book = Workbook()
    book.remove(book.worksheets[0])
    _write_settings(book, result)
    _write_product(book, result)
    _write_findings(book, result, frozenset(sheets))
    return saved(book, add_given_sheets(book, result))


def plain_workbook(title: str, rows: Iterable[Iterable[object]]) -> tuple[str, bytes]:
    """A new workbook with these cells on its one sheet, and the name that the sheet has."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = _title(title)
    for number, row in enumerate(rows, 1):
        for column, value in enumerate(row, 1):
            _put(sheet.cell(number, column), value)
    return sheet.title, saved(book)


def _title(name: str) -> str:
    """A name that a sheet may have: at most 31 characters, none of those that are not allowed."""
    return re.sub(r"[\\/*?:\[\]]", " ", name)[:31].strip().strip("'") or "Animals"


def _put(cell: Cell | Any, value: object) -> None:
    """Set a value that is never a formula: text stays text whatever it starts with.

    A cell that has no value is written as what it shows.
    """
    if isinstance(value, (int, float, date, time, timedelta)) or value is None:
        cell.value = value
        return
    text = cell_text(str(getattr(value, "shows", value)))
    cell.value = text
    if text:
        cell.data_type = "s"
        cell.quotePrefix = text[0] in "=+-@"


def new_sheet(book: Workbook, name: str, headings: Iterable[str], widths: Iterable[int]) -> Worksheet:
    """A sheet with its headings, which stay in sight, and the widths of its columns in characters."""
    sheet: Worksheet = book.create_sheet(name)
    for column, (heading, width) in enumerate(zip(headings, widths, strict=True), 1):
        cell = sheet.cell(1, column, heading)
        cell.font, cell.fill = _BOLD, _HEAD
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = "A2"
    return sheet


def fill_rows(sheet: Worksheet, rows: Iterable[Sequence[object]]) -> None:
    """Write rows below the headings, as high as their longest text needs: not every program sees to that itself."""
    for number, row in enumerate(rows, 2):
        lines = 1
        for column, value in enumerate(row, 1):
            cell = sheet.cell(number, column)
            _put(cell, value)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            width = sheet.column_dimensions[get_column_letter(column)].width - _MARGIN
            lines = max(lines, -(-len(str(value or "")) // int(width)))
        if lines > 1:
            sheet.row_dimensions[number].height = _LINE * lines


def _write_settings(book: Workbook, result: Result) -> None:
    headings = ("Mob", "Medicine", "Draft", "From kg", "To kg", "Setting", "Unit", "Head", "Total", "Remarks")
    sheet = new_sheet(book, SETTINGS, headings, (24, 40, 8, 10, 10, 16, 8, 8, 10, 50))
    rows: list[Sequence[object]] = []
    for mob in result.mobs:
        name, unit = result.medicines[mob.medicine].name, unit_word(mob.unit)
        total, remarks = float(mob.total), " ".join(mob.remarks)
        if not mob.drafts:
            setting = _setting_of_all(mob, result)
            rows.append((mob.mob, name, "", None, None, setting, unit, mob.head, total, remarks))
        rows.extend(
            (mob.mob, name, d.label, d.from_kg, d.to_kg, float(d.setting), unit, d.head, total, remarks + _gun(d, unit))
            for d in mob.drafts
        )
    fill_rows(sheet, rows)


def _gun(draft: Draft, unit: str) -> str:
    """Where a gun that was measured must be set, if not to the setting itself."""
    return f" Set the gun that was measured to {number_text(draft.gun_to)} {unit}." if draft.gun_to is not None else ""


def _setting_of_all(mob: MobPlan, result: Result) -> str | float:
    """The one dose of a medicine given per head; otherwise each animal has its own."""
    if result.medicines[mob.medicine].needs_weight:
        return "each by weight"
    table = result.treatments
    mine = table[(table["medicine"] == mob.medicine) & (table["mob"] == mob.mob) & ~table["held"]]
    return float(mine["dose"].iloc[0])


def _write_product(book: Workbook, result: Result) -> None:
    costs = ("Cost", "Cost per animal", "Cost per kg")
    headings = ("Medicine", "Doses", "To draw", "Unit", "Packs", "Batch", "Short", *costs, "Remarks")
    sheet = new_sheet(book, PRODUCT, headings, (40, 8, 10, 8, 24, 18, 10, 10, 16, 12, 50))
    rows: list[Sequence[object]] = []
    for plan in result.product:
        unit = unit_word(plan.unit)
        packs = "; ".join(
            f"{p.packs} x {number_text(p.size)} {unit}{' to buy' if p.to_buy else ''}" for p in plan.packs
        )
        batches = "; ".join(p.batch_no for p in plan.packs if p.batch_no)
        short = float(plan.short) if plan.stock_known else "not known"
        rows.append(
            (
                plan.medicine,
                plan.doses,
                float(plan.to_draw),
                unit,
                packs,
                batches,
                short,
                *map(_money, (plan.cost, plan.cost_per_animal, plan.cost_per_kg)),
                " ".join(plan.remarks),
            )
        )
    fill_rows(sheet, rows)


def _money(cost: Fraction | float | None) -> float | None:
    """A cost in the currency of the prices, to four decimals; nothing where a price is missing."""
    return None if cost is None else round(float(cost), 4)


def _write_findings(book: Workbook, result: Result, sheets: frozenset[str]) -> None:
    headings = ("Level", "Workbook", "Place", "Seen", "What is wrong", "What to do", "Rule")
    sheet = new_sheet(book, FINDINGS, headings, (10, 24, 22, 20, 70, 60, 24))
    fill_rows(
        sheet,
        ((f.level.word, f.where.workbook, _place(f), f.seen, f.message, f.fix, f.rule) for f in result.findings),
    )
    for row, finding in enumerate(result.findings, 2):
        if finding.level == Level.ERROR:
            sheet.cell(row, 1).fill = _HELD
        where = finding.where
        if where.workbook == result.session.source.name and where.cell and where.sheet in sheets:
            quoted = where.sheet.replace("'", "''")
            cell = sheet.cell(row, 3)
            cell.hyperlink = Hyperlink(ref=cell.coordinate, location=f"'{quoted}'!{where.cell}")
            cell.font = _LINK


def _place(finding: Finding) -> str:
    where = finding.where
    return f"{where.sheet}!{where.cell}" if where.cell else where.sheet


def saved(book: Workbook, rows: Mapping[str, bytes] | None = None) -> bytes:
    """The workbook saved with fixed stamps in its package, so that the same job gives the same bytes.

    `rows` is markup of more rows, by the sheet that they go to.
    """
    more = {
        f"xl/worksheets/sheet{book.sheetnames.index(name) + 1}.xml": markup for name, markup in (rows or {}).items()
    }
    saved = BytesIO()
    book.save(saved)
    fixed = BytesIO()
    stamp = f"{_EPOCH:%Y-%m-%dT%H:%M:%SZ}".encode()
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as target:
        for info in source.infolist():
            content = source.read(info)
            if info.filename in more:
                content = with_rows(content, more[info.filename])
            if info.filename == "docProps/core.xml":
                head, mark, rest = content.partition(b"<dcterms:modified")
                if mark:
                    opening, _, tail = rest.partition(b">")
                    content = head + mark + opening + b">" + stamp + tail[tail.index(b"</") :]
            entry = zipfile.ZipInfo(info.filename, _EPOCH.timetuple()[:6])
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            target.writestr(entry, content)
    return fixed.getvalue()
