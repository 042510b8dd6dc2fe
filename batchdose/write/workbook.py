"""The updated workbook: the user's own with result columns beside the animals, and our result sheets behind.

The copy is made part by part: what is not ours keeps its bytes. Cells carry values, never formulas.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from batchdose.model import Clear, Result
from batchdose.write.book_part import BookPart
from batchdose.write.columns import animal_columns
from batchdose.write.earlier import Animals
from batchdose.write.graft import Column, graft
from batchdose.write.package import Package
from batchdose.write.result_sheets import plain_workbook, result_sheets
from batchdose.write.xmltext import CannotCopyError

#: What markup may raise that is well-formed and makes no sense; the work of the day must not be lost over it.
_UNFORESEEN = (ValueError, LookupError, ArithmeticError)

_NARROWEST, _WIDEST, _OF_A_DATE = 14, 60, 22


def updated_workbook(result: Result) -> tuple[str, bytes, list[str]]:
    """Ending of the file's name, bytes of the updated workbook, and remarks for the user.

    Where the user's workbook cannot be copied, or is no .xlsx or .xlsm, animals and results go into a new one.
    """
    kind = result.session.source.path.suffix.lower()
    name = result.session.source.name
    if kind not in (".xlsx", ".xlsm"):
        made, notes = _new(result)
        return "-dosed.xlsx", made, [f"From {name} a new workbook was made, with the animals and the results.", *notes]
    try:
        copy, notes = _grafted(result, result.session.data, result.session.sheet)
    except CannotCopyError as error:
        reason = str(error)
    except _UNFORESEEN:
        reason = "it is written in an unusual way"
    else:
        return f"-dosed{kind}", copy, notes
    remark = (
        f"A copy of {name} could not be made, because {reason}. The results are in a workbook of their own; "
        "save yours again in your spreadsheet program to have them beside the animals."
    )
    made, notes = _new(result)
    return "-results.xlsx", made, [remark, *notes]


def _new(result: Result) -> tuple[bytes, list[str]]:
    """A new workbook with the cells of the weighing sheet, the result columns and the result sheets."""
    sheet, book = plain_workbook(result.session.sheet, result.session.rows)
    return _grafted(result, book, sheet)


def _grafted(result: Result, source: bytes, sheet: str) -> tuple[bytes, list[str]]:
    session = result.session
    tag = session.columns.get("tag", session.columns.get("eid", 0)) + 1
    inputs = frozenset(column + 1 for column in (*session.columns.values(), *session.weights_beside.values()))
    headings = session.rows[session.header_row - 1]
    animals = Animals(session.header_row, tag, headings, _rows(result), session.rows, inputs)
    sheets = (entry.name for entry in BookPart(Package(source)).sheets)
    donor = result_sheets(result, sheets)
    return graft(source, sheet, animals, _columns(result), donor)


def _rows(result: Result) -> list[int]:
    """Sheet rows of the animals; a mob given as a whole has none."""
    return [int(row) for row in result.session.animals.index if row > 0]


def _columns(result: Result) -> list[Column]:
    """The result columns; headings differ whatever their case, as those of a table must."""
    columns: list[Column] = []
    taken: set[str] = set()
    rows = _rows(result)
    for wanted, values in animal_columns(result):
        heading, number = wanted, 2
        while heading.casefold() in taken:
            heading, number = f"{wanted} ({number})", number + 1
        taken.add(heading.casefold())
        cells = [_plain(values.get(row)) for row in rows]
        columns.append(Column(heading, cells, _width(heading, cells), marked=heading.endswith("held and why")))
    return columns


def _plain(value: object) -> object:
    """A moment when an animal is clear as a date, or as the words for why there is none."""
    if isinstance(value, Clear):
        return value.at.replace(tzinfo=None) if value.at else value.state.replace("_", " ")
    return value


def _width(heading: str, cells: Iterable[object]) -> float:
    longest = max((len(str(value)) for value in cells if not isinstance(value, datetime)), default=0)
    return min(max(_NARROWEST, longest + 2, _OF_A_DATE if "clear" in heading else 0), _WIDEST)
