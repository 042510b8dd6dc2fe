"""What a new workbook takes over from an earlier one: animals, mobs, medicines, stock, and the session but its date."""

from __future__ import annotations

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
from batchdose.read.fields import normal
from batchdose.read.medicines import find_medicines_table
from batchdose.read.session import read_session_sheet
from batchdose.read.session_names import NAMES
from batchdose.read.table import Table, cell_text
from batchdose.starter.columns import MEDICINES, MOBS, SESSION, STOCK, TREATMENTS, WEIGHTS, Column
from batchdose.starter.workbooks import Filled

#: What belongs to the day of the earlier session, and is not taken over.
_OF_THE_DAY = frozenset({"date", "time"})
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
        tables = dict(_tables(book, facts))
        if not {"Weights", "Medicines"} & tables.keys():
            raise UnusableInputError(
                path.name, "Neither animals nor medicines were found.", "Give a weighing or a medicines workbook."
            )
        for name, (table, columns) in tables.items():
            rows.setdefault(name, []).extend(_rows(table, columns))
            remarks += _left_out(table, columns, path.name)
        session |= _session(book)
    return Filled(rows, session), remarks


def _tables(book: Book, facts: SessionFacts) -> Iterable[tuple[str, tuple[Table, Sequence[Column]]]]:
    """Tables of a workbook that a new one has too."""
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
        except UnusableInputError:
            continue
        if table is not None:
            yield name, (table, columns)


def _rows(table: Table, columns: Sequence[Column]) -> list[Mapping[str, object]]:
    """Rows by our headings; what belonged to the day is left out."""
    found: list[Mapping[str, object]] = []
    for _, cells in table.rows():
        row: dict[str, object] = {
            column.heading: _value(cells.get(_field(column, table)), column)
            for column in columns if column.heading not in _NOT_AGAIN
        }  # fmt: skip
        if "weight" in cells and (last := _value(cells["weight"], None)) is not None:
            unit = table.units.get("weight", "")
            row["Last weight"] = f"{last} {unit}".strip() if unit and unit != "kg" else last
        if any(value is not None for value in row.values()):
            found.append(row)
    return found


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


def _session(book: Book) -> dict[str, object]:
    """Entries of the sheet Session but for the day."""
    sheet = book.sheet_named("Session")
    found: dict[str, object] = {}
    ours = {NAMES.get(normal(column.heading), ""): column.heading for column in SESSION}
    for row in sheet.rows if sheet else ():
        name = NAMES.get(normal(cell_text(row[0])), "") if row else ""
        if name in ours and name not in _OF_THE_DAY and len(row) > 1 and not isinstance(row[1], NoValue):
            found[ours[name]] = row[1]
    return found
