"""Which rows of the weighing sheet are animals: not blank, not totals, not headings, not of another table."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field

from batchdose.findings import Finding
from batchdose.read import problems
from batchdose.read.book import Cell, NoValue
from batchdose.read.columns import Table, cell_text, heading_again
from batchdose.read.fields import WEIGHING, normal
from batchdose.words import TOTALS


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
    found = AnimalRows(table, units=[(0, table.units)])
    filled = _filled(table, found.findings)
    tag_at, eid_at, weight_at = (table.columns.get(name, -1) for name in ("tag", "eid", "weight"))
    for number, plain in enumerate(table.sheet.rows[table.header_row :], table.header_row + 1):
        row = filled.get(number, plain)
        size = len(row)
        tag = row[tag_at] if -1 < tag_at < size else None
        eid = row[eid_at] if -1 < eid_at < size else None
        weight = row[weight_at] if weight_at < size else None
        if (weight is None or (isinstance(weight, str) and weight.strip()[:1].isalpha())) and (
            again := heading_again(table, number, row, WEIGHING)
        ):
            if not _same_headings(table, row):
                whole = "weight" in again.columns and bool({"tag", "eid"} & again.columns.keys())
                found.findings.append(problems.second_table(table.cell(number, 0), animals=whole))
                break
            found.units.append((number, again.units))
        elif (tag is not None or eid is not None or weight is not None or _beside(table, row)) and not _is_total(
            table, number, row, (tag, eid), found.findings
        ):
            found.numbers.append(number)
            found.cells.append(row)
            if isinstance(tag, NoValue) or (tag is None and (eid is None or isinstance(eid, NoValue))):
                seen = cell_text(eid if tag is None else tag)
                found.findings.append(problems.tag_missing(table.where(number, "tag"), number, seen))
    return found


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
    """Whether a row holds totals: a word such as Total for a tag, or anywhere in a row without a tag."""
    tag, eid = names
    if eid is not None:
        return False
    words = [tag] if tag is not None else row
    word = next((str(cell) for cell in words if isinstance(cell, str) and names_a_total(cell)), "")
    if word:
        findings.append(problems.totals_row(table.where(number, "tag"), word))
    return bool(word)


def names_a_total(text: str) -> bool:
    """Whether a text is the name of a totals row.

    >>> names_a_total("Total:"), names_a_total("Average weight"), names_a_total("Max 12"), names_a_total("Totara")
    (True, True, False, False)
    """
    words = text.casefold().split()
    return bool(words) and words[0].rstrip(":") in TOTALS and not any(map(str.isdigit, text))


def _filled(table: Table, findings: list[Finding]) -> dict[int, list[Cell]]:
    """Rows below the heading that a merged cell reaches, with its value in each of them.

    A tag over two rows is that of both (then found as repeated); a weight over two rows is of neither.
    """
    filled: dict[int, list[Cell]] = {}
    rows = table.sheet.rows
    fields = {at: name for name, at in table.columns.items()}
    for top, left, bottom, _ in table.sheet.facts.merged:
        if left not in fields or top < table.header_row or bottom == top:
            continue
        last = min(bottom, len(rows) - 1)
        value = rows[top][left] if left < len(rows[top]) else None
        for at in range(top + 1, last + 1):
            cells = filled.setdefault(at + 1, list(rows[at]))
            cells.extend([None] * (left + 1 - len(cells)))
            cells[left] = value
        if fields[left] == "weight" and value is not None:
            findings.append(problems.weight_shared(table.cell(top + 1, left), range(top + 1, last + 2)))
    return filled
