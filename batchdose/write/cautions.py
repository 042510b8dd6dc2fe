"""Cautions for people, from the published list, where they apply to a medicine of the job."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from functools import cache
from importlib.resources import files

from batchdose.model import Medicine
from batchdose.texts import say
from batchdose.write.words import NEEDLE_ROUTES, routes


def by_needle(medicine: Medicine) -> bool:
    """Whether a medicine is given with a needle."""
    named = routes(medicine.route) or [medicine.route]
    return any(route in said for said in named for route in NEEDLE_ROUTES)


@cache
def _rows() -> tuple[tuple[tuple[str, ...], str, str], ...]:
    text = (files("batchdose") / "data" / "cautions.csv").read_text(encoding="utf-8")
    return tuple(
        (tuple(word.strip() for word in row["matches"].split(";")), row["caution"], row["first_aid"])
        for row in csv.DictReader(text.splitlines())
    )


def cautions(medicines: Sequence[Medicine]) -> Iterator[tuple[str, str]]:
    """Cautions, each with what to do after an accident, that match a medicine by name, active, form, type or route."""
    about = " ".join(f"{m.name} {m.active} {m.form} {m.type} {m.route}" for m in medicines).casefold()
    about += " injection" if any(by_needle(m) for m in medicines) else ""
    for matches, caution, first_aid in _rows():
        if any(word in about for word in matches):
            yield say(caution), say(first_aid)
