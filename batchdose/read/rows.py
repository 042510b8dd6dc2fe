"""Which rows of the weighing sheet are animals: not blank, not totals, not headings, not of another table."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from batchdose.findings import Finding
from batchdose.read import problems, table_problems
from batchdose.read.book import Cell, NoValue
from batchdose.read.columns import heading_again
from batchdose.read.fields import WEIGHING, is_heading, normal
from batchdose.read.table import Table, cell_text
from batchdose.read.totals import may_be_a_name, names_a_total

#: Unit of a heading that stands again without the unit it had before: asked about, whatever the session says.
NO_UNIT = "?"


@dataclass
class AnimalRows:
    """Rows of animals in sheet order, with what was found about the others.

    `numbers` count from one. `units` are those of the headings from a row on: the headings may stand again.
    """

    table: Table
    numbers: list[int] = field(default_factory=list)
    cells: list[list[Cell]] = field(default_factory=list)
    units: list[tuple[int, Mapping[str, str]]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def column(self, name: str) -> list[Cell]:
        """Cells of a field, None where blank or where the sheet has no such column."""
        at = self.table.columns.get(name)
        return [None] * len(self.cells) if at is None else self.at(at)

    def at(self, column: int) -> list[Cell]:
        """Cells of a column counted from zero."""
        return [row[column] if column < len(row) else None for row in self.cells]

    def column_units(self, name: str) -> list[str]:
        """Unit that the heading of a field's column gives to each row, empty where it gives none."""
        steps = [number for number, _ in self.units]
        written = [units.get(name, "") for _, units in self.units]
        if len(steps) == 1:
            return written * len(self.numbers)
        return [written[bisect_right(steps, number) - 1] for number in self.numbers]


def animal_rows(table: Table) -> AnimalRows:
    """The rows of animals below the heading, down to the next table."""
    found = AnimalRows(table, units=[(table.header_row, table.units)])
    filled = table.filled()
    found.findings += _shared_weights(table)
    tag_at, eid_at, weight_at = (table.columns.get(name, -1) for name in ("tag", "eid", "weight"))
    others: list[int] = []
    for number, plain in enumerate(table.sheet.rows[table.header_row :], table.header_row + 1):
        row = filled.get(number, plain)
        size = len(row)
        tag = row[tag_at] if -1 < tag_at < size else None
        eid = row[eid_at] if -1 < eid_at < size else None
        weight = row[weight_at] if weight_at < size else None
        if (weight is None or (isinstance(weight, str) and weight.strip()[:1].isalpha())) and (
            again := heading_again(table, number, row, WEIGHING)
        ):
            if not _same_headings(table, row) or again.columns.keys() - table.columns.keys():
                found.findings.append(_second_table(table, again))
                break
            units = again.units if again.units.get("weight") or not table.units.get("weight") else {"weight": NO_UNIT}
            found.units.append((number, units))
        elif tag is None and eid is None and weight is None and not _beside(table, row):
            others += [number] if _has_any(table, row) else []
        elif not _is_total(table, number, row, (tag, eid), found.findings):
            found.numbers.append(number)
            found.cells.append(row)
            if isinstance(tag, NoValue) or (tag is None and (eid is None or isinstance(eid, NoValue))):
                seen = cell_text(eid if tag is None else tag)
                found.findings.append(problems.tag_missing(table.where(number, "tag"), number, seen))
    if others:
        found.findings.append(table_problems.row_without_animal(table.where(others[0], "tag"), others))
    if table.book.kind == ".csv":
        found.findings += _too_long(found)
    return found


def _second_table(table: Table, again: Table) -> Finding:
    """What is said of a heading row of another table: an error where animals seem to stand below it."""
    animals = "weight" in again.columns and bool({"tag", "eid"} & again.columns.keys())
    below = table.sheet.rows[again.header_row :]
    names, weight = [table.columns[n] for n in ("tag", "eid") if n in table.columns], table.columns["weight"]
    animals = animals or any(
        weight < len(row) and isinstance(row[weight], float)
        and any(at < len(row) and row[at] is not None and not isinstance(row[at], NoValue) for at in names)
        for row in below
    )  # fmt: skip
    return table_problems.second_table(table.cell(again.header_row, 0), animals=animals)


def _too_long(found: AnimalRows) -> Iterator[Finding]:
    """Rows of a .csv file with more cells than headings."""
    width = len(found.table.sheet.rows[found.table.header_row - 1])
    for number, row in zip(found.numbers, found.cells, strict=True):
        beyond = [cell for cell in row[width:] if cell is not None]
        if beyond:
            yield table_problems.row_too_long(found.table.cell(number, width), number, cell_text(beyond[0]))


def _has_any(table: Table, row: list[Cell]) -> bool:
    """Whether a row without tag and weight says anything of an animal: its mob, its status."""
    said = (row[at] for name, at in table.columns.items() if name != "note" and at < len(row))
    return any(cell is not None and not (isinstance(cell, str) and is_heading(cell)) for cell in said)


def _beside(table: Table, row: list[Cell]) -> bool:
    """Whether a row has a weight in the second column of weights only."""
    at = table.second_weight[0] if table.second_weight else len(row)
    return at < len(row) and row[at] is not None


def _same_headings(table: Table, row: list[Cell]) -> bool:
    """Whether a row holds the headings of the table again, each in its column."""
    first = table.sheet.rows[table.header_row - 1]
    return all(
        at < len(row) and isinstance(row[at], str) and at < len(first) and isinstance(first[at], str)
        and normal(str(row[at])) == normal(str(first[at]))
        for at in table.columns.values()
    )  # fmt: skip


def _is_total(
    table: Table, number: int, row: list[Cell], names: tuple[Cell, Cell], findings: list[Finding]
) -> bool:  # fmt: skip
    """Whether a row holds totals: a word such as Total for a tag, or left of the weight in a row without a tag.

    A word that may also be a name (Max) is a total only where nothing else is said of the animal.
    """
    tag, eid = names
    if eid is not None:
        return False
    left = [cell for cell in row[: table.columns["weight"]] if isinstance(cell, str)]
    words = [tag] if isinstance(tag, str) and not tag.strip().isdecimal() else left
    said = {n for n, at in table.columns.items() if at < len(row) and row[at] is not None} - {"tag", "weight", "note"}
    word = next((cell for cell in words if names_a_total(cell) and not (said and may_be_a_name(cell))), "")
    if word:
        findings.append(table_problems.totals_row(table.where(number, "tag"), word))
    return bool(word)


def _shared_weights(table: Table) -> Iterator[Finding]:
    """Findings for a weight merged over several rows; a tag merged so is found as repeated."""
    for top, left, last, value in table.merged_down():
        if left == table.columns.get("weight") and value is not None:
            yield problems.weight_shared(table.cell(top + 1, left), range(top + 1, last + 2))
