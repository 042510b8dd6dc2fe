"""The weighing sheet to one table of animals, indexed by sheet row."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import Any

import pandas as pd

from batchdose.findings import CellRef, Finding, UnusableInputError, column_letter
from batchdose.model import ANIMAL_COLUMNS, SessionFacts
from batchdose.read import problems, table_problems
from batchdose.read.book import Book, Cell, NoValue
from batchdose.read.cells import CellError, read_moment, read_whole
from batchdose.read.columns import find_table, missing_fields, offers_of, single
from batchdose.read.fields import WEIGHING
from batchdose.read.rows import AnimalRows, animal_rows
from batchdose.read.table import Table, cell_text, heading_of
from batchdose.read.weights import last_weights, read_weights
from batchdose.texts import of_error
from batchdose.words import same_name, species_of_animals, status_of

TEXTS = ("tag", "eid", "mob", "kind", "sex", "medicine", "give_anyway")
#: Sheets with a meaning of their own, which are never the weighing sheet.
OTHER_SHEETS = ("session", "mobs", "treatments", "medicines", "dose bands", "stock")
DATES = (
    "born", "slaughter_on", "sold_on", "first_milk_sold", "due", "gave_birth", "meat_clear_from", "milk_clear_from",
)  # fmt: skip
#: Dates that keep nobody back when they cannot be read.
WEIGHING_DATES = ("weighed_on", "last_weighed_on")


def find_weighing_table(book: Book, facts: SessionFacts) -> Table:
    """The one sheet that has tag (or EID) and weight; the session may name the sheet and its columns.

    Raises UnusableInputError if there is none, or several and none is named, or a named column is not there.
    """
    sheets = [sheet for sheet in book.sheets if sheet.name.strip().casefold() not in OTHER_SHEETS]
    found = (find_table(book, sheet, WEIGHING, named=facts.columns, needed=_is_whole) for sheet in sheets)
    tables = [table for table in found if table]
    if wanted := facts.weighing_sheet:
        if wanted.casefold() not in {sheet.name.casefold() for sheet in sheets}:
            names = ", ".join(f'"{sheet.name}"' for sheet in sheets)
            raise UnusableInputError(
                CellRef(book.source.name, "Session"), f'The Weighing sheet "{wanted}" is not there.',
                f"Write one of {names}.",
            )  # fmt: skip
        tables = [table for table in tables if table.sheet.name.casefold() == wanted.casefold()]
    whole = [table for table in tables if _is_whole(table)]
    if len(whole) > 1:
        names = " and ".join(f'"{table.sheet.name}"' for table in whole)
        raise UnusableInputError(
            book.source.name, f"The sheets {names} both have tags and weights.",
            'Name the one to use on the sheet Session, as "Weighing sheet".',
        )  # fmt: skip
    if whole:
        return _with_named_columns(single(whole[0]), facts)
    near = [table for table in tables if _bears_on_animals(table)]
    if not near:
        raise UnusableInputError(
            book.source.name, "No heading row with Tag and Weight was found on any sheet.",
            "Put the headings Tag and Weight (kg) above the animals.",
        )  # fmt: skip
    best = _with_named_columns(max(near, key=lambda table: len(table.columns)), facts)
    lacking = missing_fields(best, WEIGHING) + ([] if {"tag", "eid"} & best.columns.keys() else ["Tag"])
    raise UnusableInputError(
        best.header, f"There is no column {' and no column '.join(lacking)}.",
        offers_of(best) or f"Add the heading {lacking[0]} to the row of headings.",
    )  # fmt: skip


def _is_whole(table: Table) -> bool:
    """Whether a heading row has all that a weighing sheet needs."""
    return "weight" in table.columns and bool({"tag", "eid"} & table.columns.keys())


def _bears_on_animals(table: Table) -> bool:
    """Whether a table has a tag, an EID or a weight, or a heading that could mean one."""
    possible = {name for _, _, names in table.unclear for name in names}
    return bool({"tag", "eid", "weight"} & (table.columns.keys() | possible))


def _with_named_columns(table: Table, facts: SessionFacts) -> Table:
    """The table, if it has every column that the session names."""
    for name, column in facts.columns.items():
        if name not in table.columns:
            raise UnusableInputError(
                CellRef(table.book.source.name, "Session"),
                f'The column "{column}", named as {heading_of(name)} column, is not on sheet {table.sheet.name}.',
                "Write its heading or its letter.",
            )
    return table


def read_animals(table: Table, facts: SessionFacts) -> tuple[pd.DataFrame, dict[int, int], list[Finding]]:
    """Animals with the columns of ANIMAL_COLUMNS, and a finding for each cell that cannot be read.

    Also the column of each row whose weight stands in the second column of weights.
    """
    rows = animal_rows(table)
    findings = [*table.findings, *rows.findings, *_hidden(table, rows.numbers)]
    first = column_letter(table.columns.get("tag", table.columns.get("eid", 0)))
    data: dict[str, Any] = {name: _texts(rows, name) for name in TEXTS}
    findings += _without_value(rows)
    data["tag"] = [tag or eid for tag, eid in zip(data["tag"], data["eid"], strict=True)]
    data["mob"] = _one_spelling(data["mob"])
    data["cell"] = [f"{table.sheet.name}!{first}{n}" for n in rows.numbers]
    data["species"] = _each_once(rows.column("species"), lambda cell: _listed(species_of_animals(_text(cell))))
    data["status"] = _each_once(rows.column("status"), lambda cell: _listed(status_of(_text(cell))))
    for name in (*DATES, *WEIGHING_DATES):
        data[name] = _dates(rows, name, facts, findings)
    if "leaves_on" in table.columns:
        leaves = _dates(rows, "leaves_on", facts, findings)
        own = data["slaughter_on"]
        data["slaughter_on"] = own.where(own.notna(), leaves) if own.notna().any() else leaves
    weights = read_weights(rows, data["mob"], facts)
    findings += weights.findings
    data["weight_ng"] = data["lightest_ng"] = weights.ng
    data["weight_text"] = weights.text
    data["last_weight_ng"] = last_weights(rows, facts, findings)
    data["head"] = [1] * len(rows.numbers)
    data["courses_in_12_months"] = _earlier_courses(rows, findings)
    animals = pd.DataFrame(data, columns=list(ANIMAL_COLUMNS))
    return animals.set_index(pd.Index(rows.numbers, dtype="int64")), weights.beside, findings


def _earlier_courses(rows: AnimalRows, findings: list[Finding]) -> list[int]:
    """Courses of treatment in the last twelve months; -1 where the sheet does not say, or it cannot be read."""
    name = "courses_in_12_months"
    if name not in rows.table.columns:
        return [-1] * len(rows.numbers)
    counts: list[int] = []
    for number, cell in zip(rows.numbers, rows.column(name), strict=True):
        counts.append(-1)
        try:
            counts[-1] = -1 if cell is None else read_whole(cell)
        except CellError as error:
            where = rows.table.where(number, name)
            findings.append(problems.weighing_fact_unreadable(where, name, cell_text(cell), of_error(error)))
    return counts


def _texts(rows: AnimalRows, name: str) -> list[str]:
    """Texts of a column, empty where blank or where the sheet has no such column."""
    if name not in rows.table.columns:
        return [""] * len(rows.numbers)
    if name in ("tag", "eid"):
        return [_text(cell) for cell in rows.column(name)]
    return _each_once(rows.column(name), _text)


def _listed(words: Iterable[str]) -> str:
    return "; ".join(sorted(words))


def _each_once(cells: list[Cell], said: Callable[[Cell], str]) -> list[str]:
    """What each cell says; the same few words stand in many rows."""
    # With its type, since True and 1 are equal, but are not the same text.
    keys = [(type(cell), cell) for cell in cells]
    known = {key: said(key[1]) for key in set(keys)}
    return [known[key] for key in keys]


def _one_spelling(mobs: list[str]) -> list[str]:
    """Names of mobs, each in the spelling that stands first: "Hill" and "hill " are one mob."""
    spelling: dict[str, str] = {}
    of = {mob: spelling.setdefault(same_name(mob), mob) for mob in dict.fromkeys(mobs)}
    return [of[mob] for mob in mobs]


def _without_value(rows: AnimalRows) -> Iterator[Finding]:
    """Findings for cells of text that show an error instead of a value (a tag's are found with the row)."""
    facts = rows.table.sheet.facts
    for name in (*TEXTS[1:], "species", "status") if facts.errors or facts.uncalculated else ():
        if name in rows.table.columns:
            for row, cell in zip(rows.numbers, rows.column(name), strict=True):
                if isinstance(cell, NoValue):
                    where = rows.table.where(row, name)
                    yield problems.cell_without_value(where, row, name, cell.shows, cell.problem)


def _hidden(table: Table, rows: list[int]) -> Iterator[Finding]:
    """Notes on what is read although the workbook hides it."""
    facts = table.sheet.facts
    if facts.concealed:
        yield table_problems.sheet_concealed(CellRef(table.book.source.name, table.sheet.name))
    if facts.hidden_rows and (hidden := [row for row in rows if row - 1 in facts.hidden_rows]):
        yield table_problems.rows_hidden(table.where(hidden[0], "tag"), len(hidden), filtered=facts.filtered)
    if names := [name for name, at in table.columns.items() if at in facts.hidden_columns]:
        where = table.where(table.header_row, names[0])
        yield table_problems.columns_hidden(where, [heading_of(name) for name in names])


def _text(cell: Cell) -> str:
    """A cell as text; one that shows an error has none."""
    return "" if isinstance(cell, NoValue) else cell_text(cell)


def _dates(rows: AnimalRows, name: str, facts: SessionFacts, findings: list[Finding]) -> pd.Series[Any]:
    """Dates of a column, none where blank or not readable (then with a finding); each distinct cell is read once."""
    if name not in rows.table.columns:
        return pd.Series([None] * len(rows.numbers), dtype=object)
    keys = [(type(cell), cell) for cell in rows.column(name)]
    known: dict[tuple[type, Cell], datetime | None] = {(type(None), None): None}
    wrong: dict[tuple[type, Cell], str] = {}
    for key in set(keys) - known.keys():
        known[key] = None
        try:
            known[key] = read_moment(key[1], facts.time_zone, facts.date_order).at
        except CellError as error:
            wrong[key] = of_error(error)
    for row, key in zip(rows.numbers, keys, strict=True) if wrong else ():
        if key in wrong:
            where, seen = rows.table.where(row, name), cell_text(key[1])
            findings.append(
                problems.weighing_fact_unreadable(where, name, seen, wrong[key]) if name in WEIGHING_DATES
                else problems.date_unreadable(where, row, name, seen, wrong[key])
            )  # fmt: skip
    position = {key: at for at, key in enumerate(known)}
    moments = pd.Series(list(known.values()), dtype=f"datetime64[us, {facts.time_zone.key}]")
    return moments.take([position[key] for key in keys]).reset_index(drop=True)
