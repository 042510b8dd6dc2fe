"""Mobs of which only some are weighed: the weight that the others are dosed to, or why they cannot be.

The heaviest that the sheet states serves; without it the sample speaks, as `sampling` says, if the session states
which share may be under-dosed and how sure that must be.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

import pandas as pd

from batchdose.amounts import weight_text
from batchdose.calculate import problems
from batchdose.calculate.sampling import in_words, normal_bound, order_bound
from batchdose.findings import Finding, Hold
from batchdose.model import NG_PER_KG, SessionFacts, WeighingSession
from batchdose.texts import say
from batchdose.words import first_of_each, same_name


def others_of(animals: pd.DataFrame) -> Iterator[tuple[int, pd.DataFrame]]:
    """Rows (below zero) that stand for the unweighed of a mob, each with those of its mob that are weighed."""
    wholes = animals[animals.index < 0]
    for row in wholes.index:
        mob = same_name(str(wholes.at[row, "mob"]))
        of_mob = animals[(animals.index > 0) & (animals["mob"].map(same_name) == mob)]
        of_mob = of_mob[first_of_each(of_mob["tag"], of_mob["eid"])]
        if len(of_mob):
            yield int(row), of_mob


def with_unweighed(session: WeighingSession, holds: Iterable[Hold]) -> tuple[WeighingSession, list[Finding]]:
    """The session with a weight for the unweighed of each mob where one can be told, and what is said of it.

    Animals that are held set no dose: those held for their weight are not of the sample, and none that is held counts
    beside a heaviest that the sheet states.
    """
    every = [hold for hold in holds if hold.animals is not None]
    doubtful = {row for hold in every if hold.needs_weight for row in hold.animals or ()}
    held = {row for hold in every for row in hold.animals or ()}
    findings: list[Finding] = []
    animals = session.animals
    changed: dict[int, tuple[int, int]] = {}
    for row, of_mob in others_of(animals):
        weighed = of_mob[(of_mob["weight_ng"] > 0) & ~of_mob.index.isin(doubtful)]
        free = weighed[~weighed.index.isin(held)]
        stated, lightest, others = (int(animals[name].loc[row]) for name in ("weight_ng", "lightest_ng", "head"))
        sample = [Fraction(int(ng), NG_PER_KG) for ng in weighed["weight_ng"]]
        head = others + len(of_mob)
        heaviest, said = _heaviest(stated, sample, head, session.facts, session.weight_unit)
        if stated and len(free) and int(free["weight_ng"].max()) > stated:
            heaviest = int(free["weight_ng"].max())
            said = say("The others are dosed to the heaviest that is weighed.")
        if sample and heaviest:
            lightest = lightest or int(weighed["weight_ng"].min())
        changed[row] = (heaviest, lightest)
        where = session.cell(row, "heaviest")
        mob = str(animals.at[row, "mob"])
        findings.append(problems.mob_weighed_in_part(where, mob, head, len(weighed), said, None if heaviest else row))
    if not changed:
        return session, findings
    animals = animals.copy()
    for row, (heaviest, lightest) in changed.items():
        animals.loc[row, ["weight_ng", "lightest_ng"]] = [heaviest, lightest]
    return replace(session, animals=animals), findings


def _heaviest(
    stated: int, sample: list[Fraction], head: int, facts: SessionFacts, unit: str
) -> tuple[int, str]:  # fmt: skip
    """Weight to dose the unweighed to [ng], 0 where none can be told; and what is said of it."""
    if stated:
        return stated, say("The others are dosed to the heaviest that the sheet states.")
    if facts.under_dosed_share is None or facts.confidence is None:
        return 0, say(
            'State the heaviest on the sheet Mobs, or "Under-dosed share" and "Confidence" on the sheet Session: then '
            "the sample says what to dose to, or how many more to weigh."
        )
    if not sample:
        return 0, say("None is weighed.")
    share, confidence = facts.under_dosed_share, facts.confidence
    kilograms = [float(kg) for kg in sample]
    bound = order_bound(kilograms, share, confidence, head)
    said = in_words(bound, share, confidence, head, unit)
    if bound.weight_kg is not None:
        exact = sorted(sample, reverse=True)[bound.rank - 1]
        return int(exact * NG_PER_KG), said
    if len(kilograms) > 1 and share > 0 and confidence < 1:
        normal = normal_bound(kilograms, share, confidence, head)
        if not normal.why_not:
            return int(Fraction(normal.weight_kg) * NG_PER_KG) + 1, say(
                "Dosed to {weight}, from mean and spread of the sample, which looks normal. {more}",
                weight=weight_text(normal.weight_kg, unit, 1), more=said,
            )  # fmt: skip
    return 0, said
