"""The weighing sheet and the `Mobs` sheet to one table of animals, indexed by sheet row."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pandas as pd

from batchdose.findings import Finding, UnusableInputError
from batchdose.model import ANIMAL_COLUMNS, SessionFacts, column_letter
from batchdose.read import problems
from batchdose.read.book import Book, Cell
from batchdose.read.cells import CellError, read_count, read_moment, weight_ng
from batchdose.read.columns import Table, cell_text, find_table, missing_fields
from batchdose.read.fields import MOBS, WEIGHING
from batchdose.units import BODYWEIGHT, UnknownUnitError, unit_named
from batchdose.words import TOTALS, species_of, status_of

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

DATES = ("born", "slaughter_on", "sold_on", "first_milk_sold", "due", "gave_birth")


def find_weighing_table(book: Book, wanted: str) -> Table:
    """The one sheet that has tag (or EID) and weight; `wanted` names it where there are several.

    Raises UnusableInputError if there is none, or several and none is named.
    """
    tables = [table for sheet in book.sheets if (table := find_table(book, sheet, WEIGHING))]
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
        return whole[0]
    best = max(tables, key=lambda table: len(table.columns), default=None)
    if best is None:
        raise UnusableInputError(
            book.source.name, "No heading row with Tag and Weight was found on any sheet.",
            "Put the headings Tag and Weight (kg) above the animals.",
        )  # fmt: skip
    lacking = missing_fields(best, WEIGHING) + ([] if {"tag", "eid"} & best.columns.keys() else ["Tag"])
    offers = " ".join(f"{finding.where.cell}: {finding.fix}" for finding in best.findings)
    raise UnusableInputError(
        best.header, f"There is no column {' and no column '.join(lacking)}.",
        offers or f"Add the heading {lacking[0]} to the row of headings.",
    )  # fmt: skip


def read_animals(table: Table, facts: SessionFacts, zone: ZoneInfo) -> tuple[pd.DataFrame, list[Finding]]:
    """Animals with the columns of ANIMAL_COLUMNS, and a finding for each cell that cannot be read."""
    findings = list(table.findings)
    numbered = [(n, row) for n, row in enumerate(table.sheet.rows[table.header_row :], table.header_row + 1)]
    numbered = [(n, row) for n, row in numbered if _is_animal(table, n, row, findings)]
    rows = [n for n, _ in numbered]

    def column(name: str) -> list[Cell]:
        at = table.columns.get(name)
        return [None if at is None or at >= len(row) else row[at] for _, row in numbered]

    first = column_letter(table.columns.get("tag", table.columns.get("eid", 0)))
    data: dict[str, Any] = {name: [cell_text(cell) for cell in column(name)] for name in
                            ("tag", "eid", "mob", "kind", "sex", "medicine", "give_anyway")}  # fmt: skip
    data["tag"] = [tag or eid for tag, eid in zip(data["tag"], data["eid"], strict=True)]
    data["cell"] = [f"{table.sheet.name}!{first}{n}" for n in rows]
    data["species"] = ["; ".join(sorted(species_of(cell_text(cell)))) for cell in column("species")]
    data["status"] = ["; ".join(sorted(status_of(cell_text(cell)))) for cell in column("status")]
    for name in DATES:
        data[name] = _dates(table, name, rows, column(name), zone, findings)
    if "leaves_on" in table.columns:
        leaves = _dates(table, "leaves_on", rows, column("leaves_on"), zone, findings)
        data["slaughter_on"] = [own or leaving for own, leaving in zip(data["slaughter_on"], leaves, strict=True)]
    unit = _weight_unit(table, facts)
    data["weight_ng"] = _weights(table, rows, column("weight"), unit, findings)
    data["weight_text"] = [
        _with_unit(cell_text(cell), unit) if ng else ""
        for cell, ng in zip(column("weight"), data["weight_ng"], strict=True)
    ]
    data["lightest_ng"] = data["weight_ng"]
    data["head"] = [1] * len(rows)
    return pd.DataFrame(data, index=pd.Index(rows, dtype="int64"), columns=list(ANIMAL_COLUMNS)), findings


def _is_animal(table: Table, number: int, row: list[Cell], findings: list[Finding]) -> bool:
    """Whether a row holds an animal: not blank, not a total, not the heading once more."""
    cells = {name: row[at] for name, at in table.columns.items() if at < len(row) and row[at] is not None}
    if not cells.keys() & {"tag", "eid", "weight"}:
        return False
    name = cell_text(cells.get("tag", cells.get("eid")))
    if name.casefold().rstrip(":") in TOTALS:
        findings.append(problems.totals_row(table.where(number, "tag"), name))
        return False
    if not name:
        findings.append(problems.tag_missing(table.where(number, "tag"), number))
    return True


def _dates(
    table: Table, name: str, rows: list[int], cells: list[Cell], zone: ZoneInfo, findings: list[Finding]
) -> list[object]:
    dates: list[object] = []
    for row, cell in zip(rows, cells, strict=True):
        moment = None
        if cell is not None:
            try:
                moment = read_moment(cell, zone).at
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


def _weights(table: Table, rows: list[int], cells: list[Cell], unit: str, findings: list[Finding]) -> list[int]:
    """Weights in whole nanograms, 0 where there is none; each of those is a finding that holds the animal."""
    weights: list[int] = []
    missing: list[int] = []
    unitless: list[int] = []
    for row, cell in zip(rows, cells, strict=True):
        ng = 0
        if cell is None:
            missing.append(row)
        elif isinstance(cell, (int, float)) and not unit:
            unitless.append(row)
        else:
            try:
                ng = weight_ng(cell, unit)
            except CellError as error:
                findings.append(
                    problems.weight_unreadable(table.where(row, "weight"), row, cell_text(cell), str(error))
                )
        weights.append(ng)
    findings.extend(problems.weight_missing(table.where(row, "weight"), row) for row in missing)
    if unitless:
        findings.append(problems.weight_unit_missing(table.where(table.header_row, "weight"), unitless))
    return weights


def _with_unit(text: str, unit: str) -> str:
    return f"{text} {unit}" if text[-1:].isdigit() and unit else text


def read_mobs(book: Book, facts: SessionFacts, taken: set[str]) -> tuple[pd.DataFrame, list[Finding], dict[str, Any]]:
    """Mobs given only as head and heaviest, as rows of the animals table (index below zero), and mob facts.

    `taken` are the mobs that have animals on the weighing sheet; for those only species and class count.
    """
    sheet = book.sheet_named("Mobs")
    table = find_table(book, sheet, MOBS) if sheet else None
    empty = pd.DataFrame(columns=list(ANIMAL_COLUMNS))
    if table is None or missing_fields(table, MOBS):
        return empty, list(table.findings) if table else [], {}
    findings, records, facts_of = list(table.findings), [], {}
    for number, cells in table.rows():
        name = cell_text(cells["mob"])
        if not name or name.casefold().rstrip(":") in TOTALS:
            continue
        facts_of[name] = {key: cell_text(cells.get(key)) for key in ("species", "kind", "status")}
        if name not in taken:
            records.append(dict(_mob_row(table, number, cells, facts, findings)))
    frame = pd.DataFrame(records, columns=list(ANIMAL_COLUMNS)) if records else empty
    frame.index = pd.Index([-int(r["cell"].rsplit("A", 1)[1]) for r in records], dtype="int64")
    return frame, findings, facts_of


def _mob_row(
    table: Table, number: int, cells: dict[str, Cell], facts: SessionFacts, findings: list[Finding]
) -> Iterator[tuple[str, Any]]:
    """One mob as a row of the animals table: its weight is that of its heaviest animal."""
    yield from dict.fromkeys(ANIMAL_COLUMNS, "").items()
    yield from dict.fromkeys(DATES, None).items()
    yield "cell", f"{table.sheet.name}!A{number}"
    yield "mob", cell_text(cells["mob"])
    yield "species", "; ".join(sorted(species_of(cell_text(cells.get("species")))))
    yield "kind", cell_text(cells.get("kind"))
    yield "status", "; ".join(sorted(status_of(cell_text(cells.get("status")))))

    def attempt(name: str, reader: Callable[[Cell], Any], blank: object) -> Any:
        cell = cells.get(name)
        if cell is None and blank is not None:
            return blank
        try:
            return reader(cell)
        except CellError as error:
            where = table.where(number, name)
            findings.append(problems.mob_entry_unreadable(where, -number, name, cell_text(cell), str(error)))
            return 0

    def weigh(name: str) -> Any:
        return attempt(name, lambda cell: weight_ng(cell, table.units.get(name, facts.weight_unit)), 0)

    yield "head", attempt("head", read_count, None)
    heaviest = weigh("heaviest")
    yield "weight_ng", heaviest
    yield "lightest_ng", weigh("lightest")
    unit = table.units.get("heaviest", facts.weight_unit)
    yield "weight_text", _with_unit(cell_text(cells.get("heaviest")), unit)
    if not heaviest:
        findings.append(problems.weight_missing(table.where(number, "heaviest"), -number, whole_mob=True))
