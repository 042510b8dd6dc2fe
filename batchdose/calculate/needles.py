"""Needles: a proposal from published tables where the sheet names none, and gauges in millimetres with their colour.

The label and the vet come first; a proposal is printed as one, with its sources, and where they disagree the whole
range is given. What leans within the range is common practice, without a source: a thick medicine wants a wide
needle (a low gauge number), one that stains or leaks a long one.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files

from batchdose.amounts import number_text
from batchdose.texts import joined, say
from batchdose.words import ROUTES

MM_PER_INCH = Fraction("25.4")  # exact since 1959 (NIST SP 811, appendix B.8)
_ROUTE_LETTERS = {"under the skin": "SC", "into muscle": "IM"}
_GAUGE = re.compile(r"(\d{1,2})(?:\s*[-–]\s*(\d{1,2}))?\s*(?:g\b|ga\b|gauge)", re.IGNORECASE)
_INCHES = re.compile(r"(\d+)?\s*(?:(\d)/(\d{1,2}))?\s*(?:in\b|inch|\")", re.IGNORECASE)


@dataclass(frozen=True)
class Guidance:
    """One line of the published tables: gauges from widest to finest, lengths in inches."""

    species: str
    animals: frozenset[str]
    route: str
    gauges: tuple[int, int] | None
    inches: tuple[Fraction, Fraction]
    site: str
    most_ml: Fraction | None
    source: str
    url: str


@dataclass(frozen=True)
class Proposal:
    """What the tables say for these animals and this route, over all sources; `sites` and `sources` in their order.

    `most_ml` is the least that any of them allows in one place [mL].
    """

    gauges: tuple[int, int] | None
    inches: tuple[Fraction, Fraction]
    sites: tuple[str, ...]
    sources: tuple[str, ...]
    most_ml: Fraction | None = None


@cache
def guidance() -> tuple[Guidance, ...]:
    """The published tables (`batchdose/data/needle_guidance.csv`); texts are kept in English, to be said later."""
    return tuple(
        Guidance(
            row["species"], frozenset(part.strip() for part in row["animals"].split(";") if part.strip()), row["route"],
            (int(row["widest_gauge"]), int(row["finest_gauge"])) if row["widest_gauge"] else None,
            (_inches(row["shortest_in"]), _inches(row["longest_in"])), row["site"],
            Fraction(row["most_ml"]) if row["most_ml"] else None, row["source"], row["url"],
        )
        for row in _rows("needle_guidance.csv")
    )  # fmt: skip


@cache
def sizes() -> dict[int, tuple[Fraction, str]]:
    """Outside diameter [mm] (ISO 9626) and colour of the hub (ISO 6009), in English, by gauge."""
    return {int(row["gauge"]): (Fraction(row["outside_mm"]), row["colour"]) for row in _rows("needle_sizes.csv")}


def _rows(name: str) -> list[dict[str, str]]:
    text = (files("batchdose") / "data" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _inches(text: str) -> Fraction:
    return sum((Fraction(part) for part in text.split()), Fraction(0))


def propose(species: str, kinds: Iterable[str], route: str) -> Proposal | None:
    """A needle for animals of a species by a route, None where it is not by needle into skin or muscle.

    `kinds` are the animals' classes: lines for such a class count alone, else the lines for all. Where no table has
    the species, common practice stands in.

    >>> found = propose("sheep", (), "SC")
    >>> found.gauges, found.inches
    ((18, 20), (Fraction(1, 1), Fraction(1, 1)))
    """
    letters = _ROUTE_LETTERS.get(ROUTES.get(route.strip().casefold(), ""))
    if letters is None:
        return None
    lines = [line for line in guidance() if line.route == letters and line.species == species]
    of_class = [line for line in lines if line.animals & set(kinds)]
    of_all = [line for line in lines if not line.animals]
    chosen = (
        of_class or of_all or lines or [line for line in guidance() if line.route == letters and line.species == "any"]
    )
    gauges = [line.gauges for line in chosen if line.gauges]
    return Proposal(
        (min(wide for wide, _ in gauges), max(fine for _, fine in gauges)) if gauges else None,
        (min(line.inches[0] for line in chosen), max(line.inches[1] for line in chosen)),
        tuple(dict.fromkeys(line.site for line in chosen if line.site)),
        tuple(dict.fromkeys(line.source for line in chosen)),
        min((line.most_ml for line in chosen if line.most_ml), default=None),
    )


def proposal_text(found: Proposal, *, viscous: bool, stains: bool) -> str:
    """A proposal in words: gauge, length in inches and millimetres, and what leans within the range.

    >>> proposal_text(propose("cattle", (), "SC"), viscous=True, stains=False)
    '16 to 18 gauge, 1/4 to 1 inch (6 to 25 mm); thick: the lower number'
    """
    parts: list[str] = []
    if found.gauges:
        wide, fine = found.gauges
        one, several = say("{gauge} gauge", gauge=wide), say("{wide} to {fine} gauge", wide=wide, fine=fine)
        parts.append(one if wide == fine else several)
    short, long = found.inches
    inches, mm = [_inch_text(end) for end in (short, long)], [_mm(end) for end in (short, long)]
    parts.append(
        say("{inches} inch ({mm} mm)", inches=inches[0], mm=mm[0]) if short == long else
        say("{short} to {long} inch ({short_mm} to {long_mm} mm)", short=inches[0], long=inches[1], short_mm=mm[0],
            long_mm=mm[1])
    )  # fmt: skip
    clauses: list[str] = [joined(", ", parts)]
    if viscous and found.gauges and found.gauges[0] != found.gauges[1]:
        clauses.append(say("thick: the lower number"))
    if stains and short != long:
        clauses.append(say("stains or leaks: the longer"))
    return joined("; ", clauses)


def _mm(inches: Fraction) -> str:
    return number_text(round(inches * MM_PER_INCH))


def _inch_text(inches: Fraction) -> str:
    whole, part = divmod(inches, 1)
    return " ".join(text for text in (str(whole) if whole or not part else "", str(part) if part else "") if text)


def gauges_in(needle: str) -> list[int]:
    """Gauges that a text names.

    >>> gauges_in("18 G x 1 in"), gauges_in("16-18 gauge"), gauges_in("short")
    ([18], [16, 18], [])
    """
    return [int(gauge) for pair in _GAUGE.findall(needle) for gauge in pair if gauge]


def needle_text(needle: str) -> str:
    """A needle of the sheet with its diameter, colour and length in millimetres, where it names gauge and inches.

    >>> needle_text("18 G x 1 1/2 in"), needle_text("short")
    ('18 G x 1 1/2 in (1.2 mm wide, pink hub, 38 mm long)', 'short')
    """
    gauges = set(gauges_in(needle))
    parts = []
    if len(gauges) == 1 and (size := sizes().get(gauges.pop())):
        wide, colour = size
        parts.append(say("{mm} mm wide, {colour} hub", mm=number_text(wide), colour=say(colour)))
    lengths = lengths_in(needle)
    if len(lengths) == 1:
        parts.append(say("{mm} mm long", mm=_mm(lengths.pop())))
    return say("{needle} ({parts})", needle=needle, parts=joined(", ", parts)) if parts else needle


def lengths_in(needle: str) -> set[Fraction]:
    """Lengths [inch] that a text names.

    >>> lengths_in("18 G x 1 1/2 in")
    {Fraction(3, 2)}
    """
    return {_length(match) for match in _INCHES.finditer(needle)} - {Fraction(0)}


def _length(match: re.Match[str]) -> Fraction:
    whole, over, under = match.groups()
    part = Fraction(int(over), int(under)) if over and int(under) else Fraction(0)
    return Fraction(int(whole or 0)) + part
