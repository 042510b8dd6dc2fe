"""The starter workbooks, built by openpyxl: notes, drop-downs, what is missing in a frame, and an example row."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.formatting.rule import FormulaRule, Rule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from batchdose.starter.columns import (
    EXAMPLE,
    FIRST,
    LISTS,
    MEDICINES,
    MOBS,
    SESSION,
    STOCK,
    TREATMENTS,
    WEIGHTS,
    Column,
)
from batchdose.texts import say
from batchdose.write.result_sheets import saved

WEIGHING_NAME, MEDICINES_NAME = "weighing.xlsx", "medicines.xlsx"
#: Rows that have drop-downs and formats; people rarely weigh more in one go, and a row copied takes them along.
_ROWS = 2000
_HEAD = PatternFill("solid", fgColor="DDDDDD")
_MISSING = Side(style="medium", color="AA0000")
_FORMATS = {"text": "@", "date": "yyyy-mm-dd", "any": "General"}
_NOTE_WIDTH, _NOTE_LINE = 260, 18


@dataclass(frozen=True)
class Filled:
    """What an earlier workbook gives: rows by sheet, each by heading, and entries of Session by name."""

    rows: Mapping[str, Sequence[Mapping[str, object]]] = field(default_factory=dict)
    session: Mapping[str, object] = field(default_factory=dict)


def starters(filled: Filled | None = None) -> dict[str, bytes]:
    """Both workbooks by name, in the language spoken; `filled` stands in place of the example rows."""
    filled = filled or Filled()
    weighing = _book()
    _table(weighing, "Weights", WEIGHTS, filled)
    _session(weighing, filled)
    _table(weighing, "Treatments", TREATMENTS, filled)
    _table(weighing, "Mobs", MOBS, filled, example=False)
    _first_sheet(weighing)
    medicines = _book()
    _table(medicines, "Medicines", MEDICINES, filled)
    _table(medicines, "Stock", STOCK, filled, example=False)
    _first_sheet(medicines)
    return {WEIGHING_NAME: saved(weighing), MEDICINES_NAME: saved(medicines)}


def _book() -> Workbook:
    """A workbook with the lists of choices on a hidden sheet, each under a name."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title, sheet.sheet_state = "Lists", "hidden"
    for column, (name, choices) in enumerate(LISTS.items(), 1):
        letter = get_column_letter(column)
        for row, choice in enumerate(choices, 1):
            sheet.cell(row, column, choice)
        place = f"Lists!${letter}$1:${letter}${len(choices)}"
        book.defined_names[f"choices_{name}"] = DefinedName(f"choices_{name}", attr_text=place)
    return book


def _table(book: Workbook, name: str, columns: Sequence[Column], filled: Filled, *, example: bool = True) -> None:
    """A sheet with its headings, and the rows that are there already, else an example."""
    sheet: Worksheet = book.create_sheet(name)
    rows = filled.rows.get(name, ())
    for number, column in enumerate(columns, 1):
        letter = get_column_letter(number)
        _heading(sheet.cell(1, number), column)
        sheet.column_dimensions[letter].width = max(column.width, len(column.heading) + 3)
        for row in range(2, max(60, len(rows) + 20)):
            sheet.cell(row, number).number_format = _FORMATS[column.kind]
        if column.choices:
            _drop_down(sheet, f"{letter}2:{letter}{_ROWS}", column)
        if not rows and example and column.example:
            cell = sheet.cell(2, number, say(EXAMPLE, value=column.example))
            cell.font, cell.data_type = Font(italic=True, color="595959"), "s"
        for at, row_values in enumerate(rows, 2):
            _put(sheet, at, number, row_values.get(column.heading))
    _mark_missing(sheet, columns)
    sheet.freeze_panes = "B2"
    sheet.row_dimensions[1].height = 30
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"


def _put(sheet: Worksheet, row: int, column: int, value: object) -> None:
    """A value of an earlier workbook; text stays text, whatever it begins with."""
    if value is None or value == "":
        return
    cell = sheet.cell(row, column)
    cell.value = value  # type: ignore[assignment]
    if isinstance(value, str):
        cell.data_type = "s"


def _heading(cell: object, column: Column) -> None:
    note = say(column.note)
    if column.example:
        note = say("{note} For example: {example}", note=note, example=column.example)
    cell.value = column.heading  # type: ignore[attr-defined]
    cell.font, cell.fill = Font(bold=True), _HEAD  # type: ignore[attr-defined]
    cell.alignment = Alignment(wrap_text=True, vertical="center")  # type: ignore[attr-defined]
    comment = Comment(note, "batchdose", width=_NOTE_WIDTH, height=_NOTE_LINE * (len(note) // 34 + 2))
    cell.comment = comment  # type: ignore[attr-defined]


def _drop_down(sheet: Worksheet, place: str, column: Column) -> None:
    """Choices from the list; another entry is allowed, since the program says itself what it does not know."""
    choice = DataValidation(
        type="list", formula1=f"=choices_{column.choices}", allow_blank=True, showErrorMessage=False
    )
    choice.prompt, choice.promptTitle, choice.showInputMessage = say(column.note)[:255], column.heading[:32], True
    choice.add(place)
    sheet.add_data_validation(choice)


def _mark_missing(sheet: Worksheet, columns: Sequence[Column]) -> None:
    """A frame and a tint for each needed cell that is empty in a row that was begun."""
    last = get_column_letter(len(columns))
    for number, column in enumerate(columns, 1):
        if column.needed:
            letter = get_column_letter(number)
            rule = _missing(f"AND(COUNTA($A2:${last}2)>0,LEN(TRIM({letter}2))=0)")
            sheet.conditional_formatting.add(f"{letter}2:{letter}{_ROWS}", rule)


def _missing(formula: str) -> Rule:
    """How a needed cell looks while it is empty: a frame, so that it shows in grey print too, and a tint."""
    frame = Border(left=_MISSING, right=_MISSING, top=_MISSING, bottom=_MISSING)
    tint = PatternFill("solid", bgColor="FFE2CC")
    rule: Rule = FormulaRule(formula=[formula], border=frame, fill=tint)  # type: ignore[no-untyped-call]
    return rule


def _session(book: Workbook, filled: Filled) -> None:
    """The sheet Session: a name, its value, and what it is for."""
    sheet: Worksheet = book.create_sheet("Session")
    for row, column in enumerate(SESSION, 1):
        name = sheet.cell(row, 1, column.heading)
        name.font, name.fill = Font(bold=True), _HEAD
        sheet.cell(row, 3, say(column.note)).font = Font(italic=True, color="595959")
        sheet.cell(row, 2).number_format = _FORMATS[column.kind]
        _put(sheet, row, 2, filled.session.get(column.heading))
        if column.choices:
            _drop_down(sheet, f"B{row}", column)
        if column.needed:
            sheet.conditional_formatting.add(f"B{row}", _missing(f"LEN(TRIM(B{row}))=0"))
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 28, 34
    sheet.column_dimensions["C"].width = 70
    sheet.freeze_panes = "B1"


def _first_sheet(book: Workbook) -> None:
    """The sheet that is seen first."""
    sheet: Worksheet = book.create_sheet("Read me first", 0)
    sheet.column_dimensions["A"].width = 86
    for row, line in enumerate(_lines(FIRST), 1):
        cell = sheet.cell(row, 1, line)
        cell.font = Font(bold=row == 1, size=16 if row == 1 else 12)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.row_dimensions[row].height = 18 * (len(line) // 75 + 1) + 8
    sheet.sheet_view.showGridLines = False
    book.active = 0


def _lines(messages: Iterable[str]) -> list[str]:
    return [say(message) for message in messages]
