"""What is looked for in a heading row, and what is said of the headings that were found there."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches

from batchdose.findings import Finding, column_letter
from batchdose.model import OWN_HEADING
from batchdose.read import table_problems
from batchdose.read.book import NoValue
from batchdose.read.fields import Field, fields_by_heading, normal, withdrawal_fields
from batchdose.read.table import Table, heading_of

#: The header row is looked for in this many rows from the top.
HEADER_WITHIN = 40
_USUAL_WITHDRAWALS = {"meatwithdrawal": ("withdrawal:meat",), "milkwithdrawal": ("withdrawal:milk",)}


@dataclass(frozen=True)
class Headings:
    """What is looked for on a sheet: the fields, headings with a product in their name, columns named by a person."""

    fields: Sequence[Field]
    withdrawals: bool = False
    #: Field -> the heading or letter of its column, as the sheet `Session` names it.
    named: Mapping[str, str] = field(default_factory=dict)

    @property
    def known(self) -> dict[str, tuple[str, ...]]:
        """Normal form of each accepted heading -> the fields that it could mean."""
        return fields_by_heading(self.fields)

    def fields_of(self, text: str, known: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
        """Fields that a heading could mean, none for a stranger."""
        return known.get(normal(text)) or (withdrawal_fields(text) if self.withdrawals else ())


def noted(table: Table, wanted: Headings, known: Mapping[str, tuple[str, ...]]) -> Table:
    """The table with what is to be said of its headings."""
    used = {*table.columns.values(), *(at for at, *_ in table.unclear)}
    row = table.sheet.rows[table.header_row - 1]
    strangers = [
        (at, cell) for at, cell in enumerate(row)
        if isinstance(cell, str) and at not in used and not cell.startswith(OWN_HEADING)
        and not wanted.fields_of(cell, known)
    ]  # fmt: skip
    found = [
        table_problems.heading_unreadable(table.cell(table.header_row, at), cell.shows)
        for at, cell in enumerate(row)
        if isinstance(cell, NoValue)
    ]
    found += _other_weights(table, strangers)
    found += [*_near_misses(table, strangers, {**known, **(_USUAL_WITHDRAWALS if wanted.withdrawals else {})})]
    for at, heading, names in table.unclear:
        meanings = [heading_of(name) for name in names]
        of_animals = "weight" in known.get("weight", ()) and "tag" in known.get("tag", ())
        where = table.cell(table.header_row, at)
        found.append(table_problems.heading_unclear(where, heading, meanings, on_session=of_animals))
    return replace(table, findings=tuple(found), doubles=table.doubles or _merged_heading(table))


def _merged_heading(table: Table) -> tuple[str, int, int] | None:
    """A field whose heading is merged over a second column that is filled too: only a person knows which counts."""
    below = table.sheet.rows[table.header_row : table.header_row + HEADER_WITHIN]
    for top, left, bottom, right in table.sheet.facts.merged:
        name = next((field for field, at in table.columns.items() if at == left), "")
        if name in ("tag", "eid", "weight") and bottom == top == table.header_row - 1:
            filled = [at for at in range(left + 1, right + 1) if any(at < len(r) and r[at] is not None for r in below)]
            if filled and filled[0] not in table.columns.values():
                return name, left, filled[0]
    return None


#: Words beside `weight` that say it is not the one to dose by.
_NOT_TODAYS = re.compile(
    r"last|prev|before|gain|target|birth|change|diff|adg|carcas|sale|old|aver|mean|unit", re.IGNORECASE
)


def _other_weights(table: Table, strangers: list[tuple[int, str]]) -> Iterator[Finding]:
    """Further columns that seem to be weights, beside the one that is used."""
    if "weight" not in table.columns or ("medicine" in table.columns and "strength" in table.columns):
        return
    for at, heading in strangers:
        if re.search(r"weight|\bwt\b", heading, re.IGNORECASE) and not _NOT_TODAYS.search(heading):
            used = column_letter(table.columns["weight"])
            yield table_problems.weight_column_unused(table.cell(table.header_row, at), heading, used)


def _near_misses(
    table: Table, strangers: list[tuple[int, str]], known: Mapping[str, tuple[str, ...]]
) -> Iterator[Finding]:
    """Headings that are nearly one of ours: offered, never assumed."""
    free = [heading for heading, names in known.items() if not set(names) & table.columns.keys()]
    for at, heading in strangers:
        if close := get_close_matches(normal(heading), free, n=1, cutoff=0.8):
            wanted = heading_of(known[close[0]][0])
            yield table_problems.heading_near_miss(table.cell(table.header_row, at), heading, wanted)
