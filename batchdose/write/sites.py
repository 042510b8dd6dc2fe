"""Drawings of the animal with the proposed place marked and the places to avoid crossed.

The label and the vet come first. Places and places to avoid are common practice, no source, except where the needle
tables name a place (`data/needle_guidance.csv`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from html import escape

from batchdose.texts import mark, say
from batchdose.words import ROUTES
from batchdose.write.templates import template_folder
from batchdose.write.words import word

DRAWN = ("sheep", "goat", "cattle", "pig")
_PLACE = re.compile(r'<g class="place (\w+)"[^>]*>.*?</g>\n?', re.DOTALL)

#: Where not to inject (common practice, no source).
NEVER = mark("cheek and jaw, the shoulder itself, loin, rump, hind leg")
_TENT = mark("Lift a tent of skin and put the needle in at its foot.")
_ELBOW = mark("Behind the elbow with the leg standing, never in the pit of a leg pulled forward.")
_MUSCLE = mark("Into the thick of the neck, in front of the shoulder, away from the spine and the throat.")
_PIG_MUSCLE = mark("Into the neck just behind and below the ear.")
_PLACES = {"neck": mark("side of the neck, in front of the shoulder"), "elbow": mark("behind the elbow")}


@dataclass(frozen=True)
class Place:
    """A drawing with what its marks mean."""

    drawing: str
    legend: str


def place_to_inject(species: str, route: str, site: str) -> Place | None:
    """The drawing for a species, a route and the place that the sheet names; None where none is drawn for it.

    A place that the sheet names and the drawings do not know is never replaced by another.
    """
    letters = ROUTES.get(route.strip().casefold(), "")
    where = _where(letters, site.casefold())
    if species not in DRAWN or not where:
        return None
    if where == "back":
        says = say("Drawing ({species}) with a line along the back", species=word(species))
        return Place(_drawing(species, frozenset({"back"}), says), say("Dashed line: pour here, along the back."))
    says = say(
        "Drawing ({species}) with the place marked: {place}. Crossed: {never}",
        species=word(species), place=say(_PLACES[where]), never=say(NEVER),
    )  # fmt: skip
    return Place(_drawing(species, frozenset({where, "avoid"}), says), _legend(species, letters, where))


def _where(route: str, site: str) -> str:
    """Which mark of the drawings a place is, empty where it is none of them."""
    if route == "poured along the back":
        return "back" if not site or "back" in site or "spine" in site else ""
    if route not in ("under the skin", "into muscle"):
        return ""
    if not site or "neck" in site or "in front of the shoulder" in site or "ahead of the shoulder" in site:
        return "neck"
    return "elbow" if "behind the elbow" in site and route == "under the skin" else ""


def _legend(species: str, route: str, where: str) -> str:
    if route == "under the skin":
        how = [_TENT, _ELBOW] if where == "elbow" else [_TENT]
    else:
        how = [_PIG_MUSCLE if species == "pig" else _MUSCLE]
    return say(
        "Black dot: here, {place}. {how} Crosses, never: {never}.",
        place=say(_PLACES[where]), how=" ".join(map(say, how)), never=say(NEVER),
    )  # fmt: skip


@cache
def _drawing(species: str, marks: frozenset[str], says: str) -> str:
    """The drawing with some of its marks, ready to stand in a page."""
    svg = (template_folder() / f"{species}.svg").read_text(encoding="utf-8")
    svg = svg.replace(' xmlns="http://www.w3.org/2000/svg"', "").strip()
    svg = _PLACE.sub(lambda found: found[0] if found[1] in marks else "", svg)
    return svg.replace("<svg ", f'<svg width="63mm" height="42mm" role="img" aria-label="{escape(says)}" ', 1)
