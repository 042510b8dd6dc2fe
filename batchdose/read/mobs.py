"""The `Mobs` sheet: mobs given only as head and weights, and what it says of the others."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pandas as pd

from batchdose.findings import Finding
from batchdose.model import ANIMAL_COLUMNS, SessionFacts
from batchdose.read import label_problems, problems
from batchdose.read.animals import DATES, WEIGHING_DATES
from batchdose.read.book import Book, Cell, NoValue
from batchdose.read.cells import CellError, read_count, weight_ng
from batchdose.read.columns import named_table
from batchdose.read.fields import MOBS
from batchdose.read.table import Table, cell_text
from batchdose.read.totals import names_a_total
from batchdose.read.weights import with_unit
from batchdose.texts import of_error
from batchdose.words import same_name, species_of_animals, status_of


def read_mobs(
    book: Book, facts: SessionFacts, weighed: Mapping[str, int]
) -> tuple[pd.DataFrame, list[Finding], dict[str, Any]]:
    """Mobs given only as head and heaviest, as rows of the animals table (index below zero), and mob facts.

    `weighed` has the mobs (in small letters) with so many animals on the weighing sheet; where the sheet counts more
    head, the others are a row too, without a weight unless the sheet has that of the heaviest. The facts are by mob
    in small letters.
    """
    empty = pd.DataFrame(columns=list(ANIMAL_COLUMNS))
    table = named_table(book, "Mobs", MOBS)
    if table is None:
        return empty, [], {}
    findings, records, facts_of = list(table.findings), [], {}
    for number, cells in table.rows():
        name = "" if isinstance(cells["mob"], NoValue) else cell_text(cells["mob"])
        if names_a_total(name):
            continue
        if not name or same_name(name) in facts_of:
            where = table.where(number, "mob")
            findings.append(problems.mob_repeated(where, name) if name else label_problems.name_missing(where, "mob"))
            continue
        facts_of[same_name(name)] = {
            "species": "; ".join(sorted(species_of_animals(cell_text(cells.get("species"))))),
            "kind": cell_text(cells.get("kind")),
            "status": "; ".join(sorted(status_of(cell_text(cells.get("status"))))),
        }
        on_sheet = weighed.get(same_name(name), 0)
        if on_sheet and cells.get("head") is None:
            continue
        row = dict(_mob_row(table, number, cells, facts, findings, weighed=on_sheet))
        if row["head"] > 0 or not on_sheet:
            records.append(row)
    frame = pd.DataFrame(records, columns=list(ANIMAL_COLUMNS)) if records else empty
    frame.index = pd.Index([-int(r["cell"].rsplit("A", 1)[1]) for r in records], dtype="int64")
    return frame, findings, facts_of


def _mob_row(
    table: Table, number: int, cells: dict[str, Cell], facts: SessionFacts, findings: list[Finding], *, weighed: int
) -> Iterator[tuple[str, Any]]:
    """One mob, or those of it that are not on the weighing sheet, as a row: its weight is that of its heaviest."""
    yield from dict.fromkeys(ANIMAL_COLUMNS, "").items()
    yield from dict.fromkeys((*DATES, *WEIGHING_DATES), None).items()
    yield "last_weight_ng", 0
    yield "courses_in_12_months", -1
    yield "cell", f"{table.sheet.name}!A{number}"
    yield "mob", cell_text(cells["mob"])
    yield "species", "; ".join(sorted(species_of_animals(cell_text(cells.get("species")))))
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
            findings.append(problems.mob_entry_unreadable(where, -number, name, cell_text(cell), of_error(error)))
            return 0

    def weigh(name: str) -> Any:
        unit = cell_text(cells.get("weight_unit")) or table.units.get(name, facts.weight_unit)
        return attempt(name, lambda cell: weight_ng(cell, unit), 0)

    head = attempt("head", read_count, None)
    yield "head", head - weighed if head else head
    heaviest = weigh("heaviest")
    yield "weight_ng", heaviest
    yield "lightest_ng", weigh("lightest")
    unit = cell_text(cells.get("weight_unit")) or table.units.get("heaviest", facts.weight_unit)
    yield "weight_text", with_unit(cell_text(cells.get("heaviest")), unit)
    if not heaviest and not weighed:
        findings.append(problems.weight_missing(table.where(number, "heaviest"), [-number], whole_mob=True))
