"""The result columns beside the animals, as headings and values by sheet row."""

from __future__ import annotations

from typing import Any

import pandas as pd

from batchdose.amounts import days_text, unit_word
from batchdose.model import OWN_HEADING, Result
from batchdose.words import same_name

__all__ = ["OWN_HEADING", "animal_columns"]


def animal_columns(result: Result) -> list[tuple[str, dict[int, Any]]]:
    """Columns for the weighing sheet: the tag again, each medicine's results, then clear-from.

    With one medicine its columns are plain (`Job: dose`); with several each carries the medicine's name, in the
    spelling that comes first: names differ neither by case nor by spaces.
    Every animal's row is in every column, with None where there is nothing, so that nothing old remains.
    """
    animals = result.session.animals
    rows = [int(row) for row in animals.index if row > 0]
    table = result.treatments[result.treatments["animal"] > 0]
    spelt = [result.medicines[i].name for i in table["medicine"]]
    keys = [same_name(name) for name in spelt]
    names: dict[str, str] = {}
    for key, name in zip(keys, spelt, strict=True):
        names.setdefault(key, name)
    columns: list[tuple[str, dict[int, Any]]] = [
        (f"{OWN_HEADING}tag", {row: animals.at[row, "tag"] or None for row in rows})
    ]
    for key, name in names.items():
        # Courses that are given stand before held ones, so that a dose and its working are of one course.
        group = table[[of == key for of in keys]].sort_values("held", kind="stable")
        prefix = f"{OWN_HEADING}{name}: " if len(names) > 1 else OWN_HEADING
        if len(names) == 1:
            columns.append((f"{OWN_HEADING}medicine", _values(rows, group, [name] * len(group))))
        columns += [(f"{prefix}{heading}", _values(rows, group, values)) for heading, values in _of_medicine(group)]
    for product in result.products_clear:
        columns.append(
            (
                f"{OWN_HEADING}{product} clear from (expected)",
                _values(rows, table, table[f"clear:{product}"].tolist()),
            )
        )
    return columns


def _of_medicine(group: pd.DataFrame) -> list[tuple[str, list[Any]]]:
    """Headings and values of one medicine's columns."""
    held = group["held"].tolist()
    return [
        ("dose", [None if h else dose for h, dose in zip(held, group["dose"].tolist(), strict=True)]),
        ("unit", [unit_word(unit) for unit in group["unit"]]),
        ("draft", [draft or None for draft in group["draft"]]),
        ("sites", [None if h else sites for h, sites in zip(held, group["sites"].tolist(), strict=True)]),
        ("held and why", _held(group)),
        ("working", [text or None for text in group["working"]]),
    ]


def _held(group: pd.DataFrame) -> list[str | None]:
    """Why not to dose; with the days where the same animal gets the medicine on others."""
    given = set(group["animal"][~group["held"]])
    found: list[str | None] = []
    for animal, why, moments in zip(group["animal"], group["why"], group["planned_for"], strict=True):
        days = f" on {days_text(m.at for m in moments)}" if animal in given else ""
        found.append(f"DO NOT DOSE{days}: {'; '.join(why)}" if why else None)
    return found


def _values(rows: list[int], group: pd.DataFrame, values: list[Any]) -> dict[int, Any]:
    """Values by sheet row; where an animal gets the medicine twice, the first course that says anything."""
    found: dict[int, Any] = {}
    for row, value in zip(group["animal"].tolist(), values, strict=True):
        if found.get(row) is None:
            found[row] = value
    return {row: found.get(row) for row in rows}
