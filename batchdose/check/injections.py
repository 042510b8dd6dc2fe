"""Rules about injecting: two medicines at one place, needles."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations

from batchdose.calculate.needles import gauges_in
from batchdose.check.context import Context
from batchdose.findings import Finding, Level
from batchdose.model import Course, Medicine
from batchdose.texts import joined, listed, mark, say, say_many
from batchdose.words import INJECTED, words

#: Parts of the body that a site may name.
PLACES = (
    mark("neck"), mark("shoulder"), mark("elbow"), mark("armpit"), mark("axilla"), mark("brisket"), mark("chest"),
    mark("flank"), mark("loin"), mark("rump"), mark("thigh"), mark("leg"), mark("ear"), mark("tail"), mark("back"),
)  # fmt: skip
#: Thick medicines need at least this gauge (a lower number is wider): common practice, no source.
FINEST_FOR_THICK = 18


def same_site(context: Context) -> Iterator[Finding]:
    """Two medicines injected into an animal on one day go into different places.

    Passes: left neck and right neck; neck and shoulder. Fails: "neck" and "side of the neck". Nobody is held. Matters
    because medicines that meet under the skin irritate it and may not be taken up.
    """
    groups = [
        (course, medicine, set(map(int, animals.index))) for course, medicine, animals in context.each()
        if medicine.site and INJECTED & set(words(medicine.route))
    ]  # fmt: skip
    for (one, first, of_one), (other, second, of_other) in combinations(groups, 2):
        both = sorted(of_one & of_other)
        if both and _on_one_day(one, other) and (place := _shared_place(first, second)):
            yield Finding(
                Level.WARNING, "same-site", context.cell(first, "site"), joined("; ", [first.site, second.site]),
                say_many("{medicines} are both injected into the {place} of {n} animal on one day.",
                         "{medicines} are both injected into the {place} of {n} animals on one day.", len(both),
                         medicines=listed([first.name, second.name]), place=say(place), n=len(both)),
                say("Use the left side for one and the right side for the other, and write so under Site."),
            )  # fmt: skip


def _on_one_day(one: Course, other: Course) -> bool:
    days = {moment.at.date() for moment in one.moments}
    return any(moment.at.date() in days for moment in other.moments)


def _shared_place(one: Medicine, other: Medicine) -> str:
    """The part of the body that both sites name, unless one says left and the other right."""
    said = [set(re.findall(r"[a-z]+", medicine.site.casefold())) for medicine in (one, other)]
    sides = [found & {"left", "right"} for found in said]
    apart = len(sides[0]) == len(sides[1]) == 1 and sides[0] != sides[1]
    return "" if apart else next((place for place in PLACES if place in said[0] & said[1]), "")


def needle_too_fine(context: Context) -> Iterator[Finding]:
    """The needle of a thick medicine is wide enough: 18 gauge or a lower number (common practice, no source).

    Passes: viscous yes, 16 G. Fails: viscous yes, 21 G. Nobody is held. Matters because a thick medicine goes in
    slowly through a fine needle, the animal moves, and some of the dose leaks.
    """
    for index in context.used:
        medicine = context.medicines[index]
        gauges = gauges_in(medicine.needle)
        if medicine.viscous and gauges and min(gauges) > FINEST_FOR_THICK:
            yield Finding(
                Level.WARNING, "needle-too-fine", context.cell(medicine, "needle"), medicine.needle,
                say("{medicine} is thick, and its needle is finer than {gauge} gauge.", medicine=medicine.name,
                    gauge=FINEST_FOR_THICK),
                say("Take a wider needle (a lower gauge number) if the label allows it. This is common practice, "
                    "not the label's word."),
            )  # fmt: skip
