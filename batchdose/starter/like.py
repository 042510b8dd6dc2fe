"""What a new workbook takes over from an earlier one: animals, mobs, medicines, stock, and the session but its date."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path

from batchdose.findings import UnusableInputError
from batchdose.model import SessionFacts
from batchdose.read.animals import find_weighing_table
from batchdose.read.book import Book, Cell, NoValue, open_book
from batchdose.read.columns import named_table
from batchdose.read.fields import MOBS as MOB_FIELDS
from batchdose.read.fields import STOCK as STOCK_FIELDS
from batchdose.read.fields import TREATMENTS as TREATMENT_FIELDS
from batchdose.read.fields import is_unit, normal
from batchdose.read.medicines import SMALLEST_PERCENT, find_medicines_table
from batchdose.read.session import read_session_sheet
from batchdose.read.session_names import NAMES
from batchdose.read.table import Table, cell_text
from batchdose.starter.columns import MEDICINES, MOBS, SESSION, STOCK, TREATMENTS, WEIGHTS, Column
from batchdose.starter.workbooks import Filled

#: What belongs to the day of the earlier session, and is not taken over.
_OF_THE_DAY = frozenset({"date", "time"})
#: A number and nothing else, as text: a range too.
_BARE = re.compile(r"\d[\d.,]*(?:\s?[-\u2013]\s?\d[\d.,]*)?")
_NOT_AGAIN = frozenset({"Weight (kg)", "Last weight", "Weighed on", "Give anyway", "Note", "On", "Status"})


def filled_from(paths: Sequence[Path]) -> tuple[Filled, list[str]]:
    """What the workbooks give, and remarks on what was not taken over.

    The last weight becomes `Last weight`; the weight itself, status and days are left empty, since they are of that
    day. Raises UnusableInputError where a workbook cannot be read, or holds neither animals nor medicines.
    """
    rows: dict[str, list[Mapping[str, object]]] = {}
    session: dict[str, object] = {}
    remarks: list[str] = []
    for path in paths:
        book = open_book(path)
        facts, _ = read_session_sheet((book,))
        lost: dict[str, str] = {}
        tables = dict(_tables(book, facts, lost))
        if not {"Weights", "Medicines"} & tables.keys():
            raise UnusableInputError(
                path.name, "Neither animals nor medicines were found.", "Give a weighing or a medicines workbook."
            )
        for name, (table, columns) in tables.items():
            rows.setdefault(name, []).extend(_rows(table, columns, facts.weight_unit))
            remarks += _left_out(table, columns, path.name)
        if "Weights" in lost and book.sheet_named("Session"):
            remarks.append(f"No animals were taken over. {lost['Weights']}")
        taken, others = _session(book)
        session |= taken
        remarks += [f"{path.name}, sheet Session: not taken over: {', '.join(others)}."] if others else []
    return Filled(rows, session), remarks


def _tables(
    book: Book, facts: SessionFacts, lost: dict[str, str]
) -> Iterable[tuple[str, tuple[Table, Sequence[Column]]]]:
    """Tables of a workbook that a new one has too; why one is not found is put into `lost`."""
    finders: tuple[tuple[str, Callable[[], Table | None], Sequence[Column]], ...] = (
        ("Weights", partial(find_weighing_table, book, facts), WEIGHTS),
        ("Medicines", partial(find_medicines_table, book), MEDICINES),
        ("Mobs", partial(named_table, book, "Mobs", MOB_FIELDS), MOBS),
        ("Stock", partial(named_table, book, "Stock", STOCK_FIELDS), STOCK),
        ("Treatments", partial(named_table, book, "Treatments", TREATMENT_FIELDS), TREATMENTS),
    )
    for name, find, columns in finders:
        try:
            table = find()
        except UnusableInputError as error:
            lost[name] = str(error)
            continue
        if table is not None:
            yield name, (table, columns)


def _rows(table: Table, columns: Sequence[Column], weight_unit: str) -> list[Mapping[str, object]]:
    """Rows by our headings; what belonged to the day is left out. `weight_unit` is that of the sheet Session.

    A unit of the earlier heading goes into the cell, since the new heading has none.
    """
    found: list[Mapping[str, object]] = []
    for _, cells in table.rows():
        row: dict[str, object] = {
            column.heading: _with_unit(_value(cells.get(name), column), _unit(table, name, cells, weight_unit))
            for column in columns if column.heading not in _NOT_AGAIN for name in [_field(column, table)]
        }  # fmt: skip
        if "weight" in cells and (last := _value(cells["weight"], None)) is not None:
            row["Last weight"] = _with_unit(last, _unit(table, "weight", cells, weight_unit))
        if any(value is not None for value in row.values()):
            found.append(row)
    return found


def _unit(table: Table, name: str, cells: Mapping[str, Cell], weight_unit: str) -> str:
    """Unit of a bare number of a field: for weights that of its row, of the heading, or of the session."""
    of_heading = table.units.get(name, "")
    if name not in {"weight", "heaviest"}:
        return of_heading
    return cell_text(cells.get("weight_unit")) or of_heading or weight_unit


def _with_unit(value: object, unit: str) -> object:
    """A bare number with its unit. Kilograms need none; a share that may be a percentage or not stays in doubt."""
    bare = isinstance(value, (int, float)) or (isinstance(value, str) and _BARE.fullmatch(value) is not None)
    known = is_unit(unit) or unit.casefold().startswith("milking")
    if unit == "kg" or not known or not bare or isinstance(value, bool):
        return value
    if unit == "%" and isinstance(value, (int, float)) and value < SMALLEST_PERCENT:
        return value
    return f"{cell_text(value)} {unit}"  # type: ignore[arg-type]


def _field(column: Column, table: Table) -> str:
    """The field of a heading of ours, as the table calls it."""
    name = normal(column.heading)
    for field in table.columns:
        if normal(field.replace("_", " ")) == name or (field == "kind" and name == "class"):
            return field
        if field.startswith("withdrawal:") and normal(f"{field.removeprefix('withdrawal:')} withdrawal") == name:
            return field
    return column.heading


def _value(cell: Cell, column: Column | None) -> object:
    """A cell as it is written again: a tag as text with its zeros, an error or a formula without value not at all."""
    if cell is None or isinstance(cell, NoValue):
        return None
    return cell_text(cell) if column is not None and column.kind == "text" else cell


def _left_out(table: Table, columns: Sequence[Column], name: str) -> list[str]:
    """Fields of the earlier sheet that the new one has no column for."""
    known = {_field(column, table) for column in columns} | {"weight", "note", "last_weighed_on", "medicine"}
    others = sorted(field.replace("_", " ") for field in table.columns if field not in known)
    return [f"{name}, sheet {table.sheet.name}: not taken over: {', '.join(others)}."] if others else []


def _session(book: Book) -> tuple[dict[str, object], list[str]]:
    """Entries of the sheet Session but for the day, and the names of those that the new one has no place for."""
    sheet = book.sheet_named("Session")
    found: dict[str, object] = {}
    others: list[str] = []
    ours = {NAMES.get(normal(column.heading), ""): column.heading for column in SESSION}
    for row in sheet.rows if sheet else ():
        name = NAMES.get(normal(cell_text(row[0])), "") if row else ""
        if name in ours and name not in _OF_THE_DAY and len(row) > 1 and not isinstance(row[1], NoValue):
            found[ours[name]] = row[1]
        elif name and name not in {*_OF_THE_DAY, *ours} and len(row) > 1 and row[1] is not None:
            others.append(cell_text(row[0]))
    return found, others
