"""The updated workbook: the user's sheets, result columns beside the animals, and our result sheets.

For now the copy is made by loading and saving with openpyxl; what that may lose is reported beforehand.
Cells carry values, never formulas.
"""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterable, Sequence
from datetime import datetime
from io import BytesIO
from typing import Any, TypeAlias

from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from batchdose.amounts import number_text, unit_word
from batchdose.calculate.withdrawal import Clear
from batchdose.findings import Finding, Level
from batchdose.model import MobPlan, Result
from batchdose.write.columns import OWN_HEADING, animal_columns

#: Sheet-scoped name that marks a sheet as ours, so that the next run replaces it.
MARK = "_batchdose_results"
SHEETS = ("Job settings", "Job product", "Job findings")

_BOLD = Font(bold=True)
_HEAD = PatternFill("solid", fgColor="DDDDDD")
_HELD = PatternFill("solid", fgColor="F4CCCC")
_EPOCH = datetime(2000, 1, 1)  # noqa: DTZ001 - a fixed stamp, so that the same job gives the same bytes

Value: TypeAlias = str | float | int | datetime | Clear | None


def updated_workbook(result: Result) -> tuple[str, bytes, str]:
    """Ending of the file's name, bytes of the updated workbook, and a remark for the user.

    Where the user's workbook cannot be copied, or is no .xlsx, the animals and results go into a new one.
    """
    session = result.session
    kind, remark = session.source.path.suffix.lower(), ""
    if kind in (".xlsx", ".xlsm"):
        try:
            copy = _loaded(session.data, kind)
        except _CANNOT_COPY:
            kind = "-results.xlsx"
            remark = (
                "The copy of your workbook could not be made, so the results are in a workbook of their own. "
                "Save yours again in your spreadsheet program to have them beside the animals."
            )
        else:
            return f"-dosed{kind}", _same_bytes(_filled(copy, result)), remark
    else:
        kind = "-dosed.xlsx"
        remark = f"From {session.source.name} a new workbook was made, with the animals and the results."
    book = Workbook()
    sheet = book[book.sheetnames[0]]
    sheet.title = _title(session.sheet)
    for number, row in enumerate(session.rows, 1):
        for at, value in enumerate(row, 1):
            _put(sheet.cell(number, at), value)
    return kind, _same_bytes(_filled(book, result, sheet.title)), remark


#: What loading a workbook that openpyxl does not like may raise.
_CANNOT_COPY = (ValueError, TypeError, KeyError, AttributeError, IndexError, OSError, SyntaxError)


def _loaded(data: bytes, kind: str) -> Workbook:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the copy may lose is reported beforehand
        return load_workbook(BytesIO(data), keep_vba=kind == ".xlsm")


def _filled(book: Workbook, result: Result, title: str = "") -> Workbook:
    """The workbook with the result columns and sheets in it."""
    _remove_own(book)
    _write_columns(book[title or result.session.sheet], result.session.header_row, animal_columns(result))
    _write_settings(book, result)
    _write_product(book, result)
    _write_findings(book, result)
    return book


def _title(name: str) -> str:
    """A name that a sheet may have: at most 31 characters, none of those that are not allowed."""
    return re.sub(r"[\\/*?:\[\]]", " ", name)[:31].strip() or "Animals"


def _remove_own(book: Workbook) -> None:
    for sheet in list(book.worksheets):
        if MARK in sheet.defined_names:
            book.remove(sheet)


def _put(cell: Cell | Any, value: object) -> None:
    """Set a value that is never a formula: text stays text whatever it starts with."""
    if isinstance(value, Clear):
        value = value.at.replace(tzinfo=None) if value.at else value.state.replace("_", " ")
    if isinstance(value, (str, int, float, datetime)) or value is None:
        cell.value = value
    else:
        cell.value = str(value)
    if isinstance(value, str) and value:
        cell.data_type = "s"
        cell.quotePrefix = value[0] in "=+-@"
    if isinstance(value, datetime):
        cell.number_format = "ddd d mmm yyyy hh:mm"


def _write_columns(sheet: Worksheet, header: int, columns: Sequence[tuple[str, dict[int, Value]]]) -> None:
    """Write result columns right of the user's; those of an earlier run are cleared and used again.

    A column that somebody wrote beside ours stays: what needs more room goes right of everything.
    """
    own = [at for at, cell in enumerate(sheet[header], 1) if str(cell.value or "").startswith(OWN_HEADING)]
    last_row = sheet.max_row
    for column in own:
        for row in range(header, last_row + 1):
            _put(sheet.cell(row, column), None)
            sheet.cell(row, column).fill = PatternFill()
    free = [*own, *range(sheet.max_column + 1, sheet.max_column + 1 + len(columns))]
    lines = 1
    for column, (heading, values) in zip(free, columns, strict=False):
        _put(sheet.cell(header, column), heading)
        sheet.cell(header, column).font = _BOLD
        sheet.cell(header, column).alignment = Alignment(wrap_text=True, vertical="top")
        for row, value in values.items():
            cell = sheet.cell(row, column)
            _put(cell, value)
            if heading.endswith("held and why") and value:
                cell.fill = _HELD
        longest = max((len(str(v)) for v in values.values() if not isinstance(v, (Clear, datetime))), default=0)
        width = min(max(14, longest + 2, 22 if "clear" in heading else 0), 60)
        sheet.column_dimensions[get_column_letter(column)].width = width
        lines = max(lines, -(-len(heading) // (width - 4)))
    height = sheet.row_dimensions[header].height or 15
    sheet.row_dimensions[header].height = max(height, 15 * lines)


def _new_sheet(book: Workbook, name: str, headings: Iterable[str], widths: Iterable[int]) -> Worksheet:
    taken = {sheet.title.casefold() for sheet in book.worksheets}
    title, number = name, 2
    while title.casefold() in taken:
        title, number = f"{name} ({number})", number + 1
    sheet: Worksheet = book.create_sheet(title)
    sheet.defined_names.add(DefinedName(MARK, attr_text="1", hidden=True))
    for column, (heading, width) in enumerate(zip(headings, widths, strict=True), 1):
        cell = sheet.cell(1, column, heading)
        cell.font, cell.fill = _BOLD, _HEAD
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = "A2"
    return sheet


def _rows(sheet: Worksheet, rows: Iterable[Sequence[object]]) -> None:
    for number, row in enumerate(rows, 2):
        for column, value in enumerate(row, 1):
            cell = sheet.cell(number, column)
            _put(cell, value)
            cell.alignment = Alignment(wrap_text=True, vertical="top")


def _write_settings(book: Workbook, result: Result) -> None:
    headings = ("Mob", "Medicine", "Draft", "From kg", "To kg", "Setting", "Unit", "Head", "Total", "Remarks")
    sheet = _new_sheet(book, SHEETS[0], headings, (24, 40, 8, 10, 10, 16, 8, 8, 10, 50))
    rows: list[Sequence[object]] = []
    for mob in result.mobs:
        name, unit = result.medicines[mob.medicine].name, unit_word(mob.unit)
        total, remarks = float(mob.total), " ".join(mob.remarks)
        if not mob.drafts:
            setting = _setting_of_all(mob, result)
            rows.append((mob.mob, name, "", None, None, setting, unit, mob.head, total, remarks))
        rows.extend(
            (mob.mob, name, d.label, d.from_kg, d.to_kg, float(d.setting), unit, d.head, total, remarks)
            for d in mob.drafts
        )
    _rows(sheet, rows)


def _setting_of_all(mob: MobPlan, result: Result) -> str | float:
    """The one dose of a medicine given per head; otherwise each animal has its own."""
    if result.medicines[mob.medicine].needs_weight:
        return "each by weight"
    table = result.treatments
    mine = table[(table["medicine"] == mob.medicine) & (table["mob"] == mob.mob) & ~table["held"]]
    return float(mine["dose"].iloc[0])


def _write_product(book: Workbook, result: Result) -> None:
    headings = ("Medicine", "Doses", "To draw", "Unit", "Packs", "Batch", "Short", "Remarks")
    sheet = _new_sheet(book, SHEETS[1], headings, (40, 8, 10, 8, 24, 18, 10, 50))
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
                " ".join(plan.remarks),
            )
        )
    _rows(sheet, rows)


def _write_findings(book: Workbook, result: Result) -> None:
    headings = ("Level", "Workbook", "Place", "Seen", "What is wrong", "What to do", "Rule")
    sheet = _new_sheet(book, SHEETS[2], headings, (10, 24, 22, 20, 70, 60, 24))
    _rows(
        sheet,
        ((f.level.word, f.where.workbook, _place(f), f.seen, f.message, f.fix, f.rule) for f in result.findings),
    )
    for row, finding in enumerate(result.findings, 2):
        if finding.level == Level.ERROR:
            sheet.cell(row, 1).fill = _HELD
        where = finding.where
        if where.workbook == result.session.source.name and where.cell and where.sheet in book.sheetnames:
            quoted = where.sheet.replace("'", "''")
            cell = sheet.cell(row, 3)
            cell.hyperlink = Hyperlink(ref=cell.coordinate, location=f"'{quoted}'!{where.cell}")
            cell.font = Font(underline="single", color="1F4E9A")


def _place(finding: Finding) -> str:
    where = finding.where
    return f"{where.sheet}!{where.cell}" if where.cell else where.sheet


def _same_bytes(book: Workbook) -> bytes:
    """The workbook saved with fixed stamps in its package, so that the same job gives the same bytes."""
    saved = BytesIO()
    book.save(saved)
    fixed = BytesIO()
    stamp = f"{_EPOCH:%Y-%m-%dT%H:%M:%SZ}".encode()
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as target:
        for info in source.infolist():
            content = source.read(info)
            if info.filename == "docProps/core.xml":
                head, mark, rest = content.partition(b"<dcterms:modified")
                if mark:
                    opening, _, tail = rest.partition(b">")
                    content = head + mark + opening + b">" + stamp + tail[tail.index(b"</") :]
            entry = zipfile.ZipInfo(info.filename, _EPOCH.timetuple()[:6])
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            target.writestr(entry, content)
    return fixed.getvalue()
