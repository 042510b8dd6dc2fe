"""The weighing sheet and the `Mobs` sheet to one table of animals, indexed by sheet row."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pandas as pd

from batchdose.findings import Finding, UnusableInputError
from batchdose.model import ANIMAL_COLUMNS, SessionFacts, column_letter
from batchdose.read import problems
from batchdose.read.book import Book, Cell, NoValue
from batchdose.read.cells import CellError, NoUnitError, read_moment, weight_ng
from batchdose.read.columns import Table, cell_text, find_table, heading_of, missing_fields, single
from batchdose.read.fields import WEIGHING, is_heading
from batchdose.units import BODYWEIGHT, UnknownUnitError, unit_named
from batchdose.words import TOTALS, species_of, status_of

TEXTS = ("tag", "eid", "mob", "kind", "sex", "medicine", "give_anyway")
#: Sheets with a meaning of their own, which are never the weighing sheet.
OTHER_SHEETS = ("session", "mobs", "treatments", "medicines", "dose bands", "stock")
DATES = ("born", "slaughter_on", "sold_on", "first_milk_sold", "due", "gave_birth")


def find_weighing_table(book: Book, wanted: str) -> Table:
    """The one sheet that has tag (or EID) and weight; `wanted` names it where there are several.

    Raises UnusableInputError if there is none, or several and none is named.
    """
    sheets = [sheet for sheet in book.sheets if sheet.name.strip().casefold() not in OTHER_SHEETS]
    tables = [table for sheet in sheets if (table := find_table(book, sheet, WEIGHING))]
    if wanted:
        tables = [table for table in tables if table.sheet.name.casefold() == wanted.casefold()]
    whole = [t for t in tables if "weight" in t.columns and ("tag" in t.columns or "eid" in t.columns)]
    if len(whole) > 1:
        names = " and ".join(f'"{table.sheet.name}"' for table in whole)
        raise UnusableInputError(
            book.source.name, f"The sheets {names} both have tags and weights.",
            'Name the one to use on the sheet Session, as "Weighing sheet".',
        )  # fmt: skip
    if whole:
        return single(whole[0])
    near = [table for table in tables if {"tag", "eid", "weight"} & table.columns.keys()]
    if not near:
        raise UnusableInputError(
            book.source.name, "No heading row with Tag and Weight was found on any sheet.",
            "Put the headings Tag and Weight (kg) above the animals.",
        )  # fmt: skip
    best = max(near, key=lambda table: len(table.columns))
    lacking = missing_fields(best, WEIGHING) + ([] if {"tag", "eid"} & best.columns.keys() else ["Tag"])
    offers = " ".join(f"{finding.where.cell}: {finding.fix}" for finding in best.findings)
    raise UnusableInputError(
        best.header, f"There is no column {' and no column '.join(lacking)}.",
        offers or f"Add the heading {lacking[0]} to the row of headings.",
    )  # fmt: skip


def read_animals(table: Table, facts: SessionFacts) -> tuple[pd.DataFrame, list[Finding]]:
    """Animals with the columns of ANIMAL_COLUMNS, and a finding for each cell that cannot be read."""
    findings = list(table.findings)
    numbered = [(n, row) for n, row in enumerate(table.sheet.rows[table.header_row :], table.header_row + 1)]
    numbered = [(n, row) for n, row in numbered if _is_animal(table, n, row, findings)]
    rows = [n for n, _ in numbered]

    findings += _hidden(table, rows)

    def column(name: str) -> list[Cell]:
        at = table.columns.get(name)
        return [None if at is None or at >= len(row) else row[at] for _, row in numbered]

    first = column_letter(table.columns.get("tag", table.columns.get("eid", 0)))
    data: dict[str, Any] = {name: [_text(cell) for cell in column(name)] for name in TEXTS}
    for name in (*TEXTS[1:], "species", "status"):
        findings.extend(
            problems.cell_without_value(table.where(row, name), row, name, cell.shows, cell.problem)
            for row, cell in zip(rows, column(name), strict=True)
            if isinstance(cell, NoValue)
        )
    data["tag"] = [tag or eid for tag, eid in zip(data["tag"], data["eid"], strict=True)]
    data["cell"] = [f"{table.sheet.name}!{first}{n}" for n in rows]
    data["species"] = ["; ".join(sorted(species_of(_text(cell)))) for cell in column("species")]
    data["status"] = ["; ".join(sorted(status_of(_text(cell)))) for cell in column("status")]
    for name in DATES:
        data[name] = _dates(table, name, rows, column(name), facts, findings)
    if "leaves_on" in table.columns:
        leaves = _dates(table, "leaves_on", rows, column("leaves_on"), facts, findings)
        data["slaughter_on"] = [own or leaving for own, leaving in zip(data["slaughter_on"], leaves, strict=True)]
    unit = _weight_unit(table, facts)
    mobs = dict(zip(rows, data["mob"], strict=True))
    data["weight_ng"] = _weights(table, mobs, column("weight"), unit, findings)
    data["weight_text"] = [
        with_unit(cell_text(cell), unit) if ng else ""
        for cell, ng in zip(column("weight"), data["weight_ng"], strict=True)
    ]
    data["lightest_ng"] = data["weight_ng"]
    data["head"] = [1] * len(rows)
    return pd.DataFrame(data, index=pd.Index(rows, dtype="int64"), columns=list(ANIMAL_COLUMNS)), findings


def _hidden(table: Table, rows: list[int]) -> Iterator[Finding]:
    """Notes on rows and columns that are read although the sheet hides them."""
    facts = table.sheet.facts
    if hidden := [row for row in rows if row - 1 in facts.hidden_rows]:
        yield problems.rows_hidden(table.where(hidden[0], "tag"), len(hidden), filtered=facts.filtered)
    if names := [name for name, at in table.columns.items() if at in facts.hidden_columns]:
        where = table.where(table.header_row, names[0])
        yield problems.columns_hidden(where, [heading_of(name) for name in names])


def _text(cell: Cell) -> str:
    """A cell as text; one that shows an error has none."""
    return "" if isinstance(cell, NoValue) else cell_text(cell)


def _is_animal(table: Table, number: int, row: list[Cell], findings: list[Finding]) -> bool:
    """Whether a row holds an animal: not blank, not a total, not the heading once more."""
    cells = {name: row[at] for name, at in table.columns.items() if at < len(row) and row[at] is not None}
    if not cells.keys() & {"tag", "eid", "weight"}:
        return False
    if sum(isinstance(cell, str) and is_heading(cell) for cell in cells.values()) > 1:
        return False
    name = _text(cells.get("tag")) or _text(cells.get("eid"))
    if name.casefold().rstrip(":") in TOTALS:
        findings.append(problems.totals_row(table.where(number, "tag"), name))
        return False
    if not name:
        seen = cell_text(cells.get("tag", cells.get("eid")))
        findings.append(problems.tag_missing(table.where(number, "tag"), number, seen))
    return True


def _dates(
    table: Table, name: str, rows: list[int], cells: list[Cell], facts: SessionFacts, findings: list[Finding]
) -> list[object]:
    dates: list[object] = []
    for row, cell in zip(rows, cells, strict=True):
        moment = None
        if cell is not None:
            try:
                moment = read_moment(cell, facts.time_zone, facts.date_order).at
            except CellError as error:
                findings.append(
                    problems.date_unreadable(table.where(row, name), row, name, cell_text(cell), str(error))
                )
        dates.append(moment)
    return dates


def _weight_unit(table: Table, facts: SessionFacts) -> str:
    """Unit of the weight column: from its heading, else the session; empty if neither says."""
    written = table.units.get("weight", "")
    if written:
        try:
            return unit_named(written, BODYWEIGHT).removesuffix("_bw")
        except UnknownUnitError:
            raise UnusableInputError(
                table.where(table.header_row, "weight"), f'The unit "{written}" of the weights is not known.',
                "Write kg or lb in the heading: Weight (kg).",
            ) from None  # fmt: skip
    return facts.weight_unit


def _weights(table: Table, mobs: dict[int, str], cells: list[Cell], unit: str, findings: list[Finding]) -> list[int]:
    """Weights in whole nanograms, 0 where there is none; each of those is a finding that holds the animal."""
    weights: list[int] = []
    missing: list[int] = []
    unitless: list[int] = []
    for row, cell in zip(mobs, cells, strict=True):
        ng = 0
        if cell is None:
            missing.append(row)
        else:
            try:
                ng = weight_ng(cell, _shown_unit(table, row) or unit)
            except NoUnitError:
                unitless.append(row)
            except CellError as error:
                findings.append(
                    problems.weight_unreadable(table.where(row, "weight"), row, cell_text(cell), str(error))
                )
        weights.append(ng)
    by_mob: dict[str, list[int]] = {}
    for row in missing:
        by_mob.setdefault(mobs[row], []).append(row)
    findings.extend(problems.weight_missing(table.where(of[0], "weight"), of, mob) for mob, of in by_mob.items())
    if unitless:
        findings.append(problems.weight_unit_missing(table.where(table.header_row, "weight"), unitless))
    return weights


def _shown_unit(table: Table, row: int) -> str:
    """The unit that the format of a weight cell shows beside the number; a percentage is no weight."""
    code = table.sheet.facts.formats.get((row - 1, table.columns["weight"]), "")
    if "%" in code:
        raise CellError("its format shows a percentage")
    shown = re.search(r'"\s*([^"]*?)\s*"', code)
    return shown[1] if shown else ""


def with_unit(text: str, unit: str) -> str:
    """A number as typed, with the unit that its heading gives it."""
    return f"{text} {unit}" if text[-1:].isdigit() and unit else text
