"""Needles to take along: how many, and which single needles a text or a proposal means."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from fractions import Fraction
from functools import cache
from importlib.resources import files

from batchdose.calculate.needles import Proposal, gauges_in, lengths_in, sizes


@cache
def animals_per_needle(species: str) -> tuple[int, str]:
    """After how many animals a needle is changed where nothing says it, and the source of that figure, in English.

    >>> animals_per_needle("cattle")[0], animals_per_needle("sheep")
    (10, (10, 'common practice, no source'))
    """
    text = (files("batchdose") / "data" / "needle_changes.csv").read_text(encoding="utf-8")
    rows = {row["species"]: row for row in csv.DictReader(text.splitlines())}
    row = rows.get(species, rows["any"])
    return int(row["animals_per_needle"]), row["source"]


def needles_for(injections: Iterable[int], per_needle: int) -> int:
    """Needles for rounds of so many animals each: a new one for each `per_needle`, and a fresh start every round.

    >>> needles_for([64, 54], 10), needles_for([3], 10), needles_for([], 10)
    (13, 1, 0)
    """
    return sum(-(-head // per_needle) for head in injections)


def single_needle(needle: str) -> tuple[int, Fraction] | None:
    """The one needle that a text names, as gauge and length [inch]; None where it names none, or several.

    >>> single_needle("18 G x 1 1/2 in"), single_needle("16-18 gauge"), single_needle("short")
    ((18, Fraction(3, 2)), None, None)
    """
    gauges = set(gauges_in(needle))
    lengths = lengths_in(needle)
    if len(gauges) != 1 or len(lengths) != 1 or not gauges <= sizes().keys():
        return None
    return gauges.pop(), lengths.pop()


def ends_of(found: Proposal) -> list[tuple[int, Fraction]]:
    """The ends of a proposed range: the widest and shortest needle, and the finest and longest."""
    if found.gauges is None or not set(found.gauges) <= sizes().keys():
        return []
    return list(dict.fromkeys(zip(found.gauges, found.inches, strict=True)))
