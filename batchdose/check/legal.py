"""Rules of law that no date follows from: what they ask, and what of it the sheets do not say.

The figures are data (`batchdose/data/rules_told.csv`), each with its article and whether it was read or written from
memory. Periods that the law sets are worked out with the dates, in `calculate/minimums.py`.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import timedelta
from fractions import Fraction
from functools import cache
from importlib.resources import files

import pandas as pd

from batchdose.check.context import Context, by_mob, head_of, tags
from batchdose.findings import Finding, Level
from batchdose.model import Medicine
from batchdose.texts import Text, joined, say, say_many

#: Types of medicine that are not counted among the courses of an organic animal.
NOT_COUNTED = frozenset({"vaccine", "wormer"})
#: The most days that six months can have.
_SIX_MONTHS = 184


@cache
def rules_told() -> tuple[dict[str, str], ...]:
    """Rows of the table of rules."""
    text = (files("batchdose") / "data" / "rules_told.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def _rule(context: Context, case: str) -> dict[str, str] | None:
    facts = context.session.facts
    return next((row for row in rules_told() if (row["rules"], row["case"]) == (facts.rules, case)), None)


def _article(rule: dict[str, str]) -> Text:
    """Where a rule stands, and whether it was read there."""
    article, state = rule["article"], rule["state"]
    return joined(", ", (say(article), say(state)))


def organic_courses(context: Context) -> Iterator[Finding]:
    """An organic animal gets no more courses in twelve months than it may without losing its status.

    Passes: two earlier courses under "Courses in 12 months", and one in this job. Fails: three and one; one and
    one, where birth and slaughter on the sheet are less than a year apart. Noted: nothing is stated, so nothing is
    checked. Vaccines and wormers do not count. Nobody is held, for a sick animal is treated. Source: Regulation (EU)
    2018/848 Annex II Part II 1.5.2.4 (from memory). Matters because the animal could not be sold as organic.
    """
    usual, short = _rule(context, "organic_courses"), _rule(context, "organic_courses_short_life")
    if not context.session.facts.organic or usual is None or short is None:
        return
    here: dict[int, int] = {}
    for _, medicine, animals in context.each():
        for row in animals.index if medicine.type not in NOT_COUNTED else ():
            here[int(row)] = here.get(int(row), 0) + 1
    if not here:
        return
    animals = context.session.animals.loc[list(here)]
    earlier = pd.to_numeric(animals["courses_in_12_months"]).fillna(-1)
    known = animals[earlier >= 0]
    limits = pd.Series(int(usual["value"]), index=animals.index).where(~_short_lived(animals), int(short["value"]))
    total = earlier + pd.Series(here)
    for limit in sorted(set(limits[known.index])):
        over = known[(total[known.index] > limit) & (limits[known.index] == limit)]
        for mob, members, rows in by_mob(over):
            yield Finding(
                Level.WARNING, "organic-courses", context.session.cell(rows[0], "courses_in_12_months"), "",
                say_many("{animals} get more than {limit} courses in 12 months with this job ({tags}): they lose "
                         "organic status ({article}).",
                         "{animals} get more than {limit} courses in 12 months with this job ({tags}): they lose "
                         "organic status ({article}).", len(rows), animals=head_of(len(rows), mob), limit=limit,
                         tags=tags(members), article=_article(usual)),
                say("Speak to your organic body; vaccines and wormers are not counted."),
            )  # fmt: skip
    unknown = len(animals) - len(known)
    if unknown:
        where = context.session.cell(int(animals[earlier < 0].index[0]), "tag")
        yield Finding(
            Level.NOTE, "organic-courses", where, "",
            say("Of {n} the sheet does not say how many courses they had in the last 12 months, so it is not checked "
                "whether they keep organic status: at most {usual}, or {short} where the productive life is under a "
                "year ({article}).", n=unknown, usual=usual["value"], short=short["value"], article=_article(usual)),
            say('Add the column "Courses in 12 months", vaccines and wormers not counted.'),
        )  # fmt: skip


def _short_lived(animals: pd.DataFrame) -> pd.Series[bool]:
    """Animals that are slaughtered less than a year after their birth, by both dates on the sheet."""
    year = timedelta(days=365)
    dates = zip(animals["born"], animals["slaughter_on"], strict=True)
    short = [bool(pd.notna(born) and pd.notna(leaves) and leaves - born < year) for born, leaves in dates]
    return pd.Series(short, index=animals.index, dtype=bool)


def organic_antibiotic(context: Context) -> Iterator[Finding]:
    """An antibiotic goes to no organic animal that is still to be sold as organic, where the rules say never.

    Passes: rules EU. Fails: an antibiotic under the rules US, a warning. Nobody is held, for a sick animal is treated.
    Source: 7 CFR 205.238(c)(1).
    """
    rule = _rule(context, "organic_antibiotic")
    if not context.session.facts.organic or rule is None:
        return
    for index in context.used:
        medicine = context.medicines[index]
        if medicine.type == "antibiotic":
            yield Finding(
                Level.WARNING, "organic-antibiotic", context.cell(medicine, "type"), "antibiotic",
                say("{medicine}: an animal that is given an antibiotic is never sold as organic ({article}).",
                    medicine=medicine.name, article=_article(rule)),
                say("Mark the animals, and take them out of the organic herd."),
            )  # fmt: skip


def horse_essential(context: Context) -> Iterator[Finding]:
    """A horse or donkey that is given a medicine off the label waits six months where its active asks for that.

    Passes: a stated meat period of 184 days, or meat not permitted. Fails: 28 days off the label, a warning. Which
    actives are on the list of substances essential for horses is not known here. Source: Regulation (EU) 2019/6 Art.
    115(5) (from memory). Nobody is held. Matters because the period is the law's, whatever the prescriber states.
    """
    rule = _rule(context, "horse_essential")
    for _, medicine, animals in context.each() if rule else ():
        kinds = set(animals["species"]) & set(rule["species"].split("; ")) if rule else set()
        if rule and kinds and medicine.off_label and not _waits(medicine):
            yield Finding(
                Level.WARNING, "horse-essential", context.cell(medicine, "withdrawal:meat"), "",
                say("{medicine}: off the label, meat of horses waits {n} months if the active is on the list of "
                    "substances essential for them ({article}). Whether it is, is not known here.",
                    medicine=medicine.name, n=rule["value"], article=_article(rule)),
                say("Ask the prescriber, and write the period that holds."),
            )  # fmt: skip


def _waits(medicine: Medicine) -> bool:
    period = medicine.withdrawal.get("meat")
    if period is None or not period.permitted:
        return True  # no date is stated, so none is too early
    hours = Fraction(period.days or 0) * 24 + Fraction(period.hours or 0)
    return hours >= _SIX_MONTHS * 24
