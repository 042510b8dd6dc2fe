"""Which withdrawal periods hold: the sheet's, the legal minimum off label, the organic rule. The longest counts.

The figures are data (`batchdose/data/withdrawal_minimums.csv`), each with its article and whether it
was read in a source or written from memory. Nothing here ever shortens what the sheet says.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from importlib.resources import files

from batchdose.amounts import number_text
from batchdose.calculate.withdrawal import in_whole_days, scaled
from batchdose.model import Medicine, Period, SessionFacts
from batchdose.texts import Text, say
from batchdose.words import said, words


@cache
def minimums() -> tuple[dict[str, str], ...]:
    """Rows of the table of minimums."""
    text = (files("batchdose") / "data" / "withdrawal_minimums.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def _rows(rules: str, product: str, case: str) -> Iterator[dict[str, str]]:
    return (row for row in minimums() if (row["rules"], row["product"], row["case"]) == (rules, product, case))


def periods_in_force(
    medicine: Medicine, product: str, facts: SessionFacts, species: frozenset[str]
) -> tuple[list[Period], str]:
    """Every period that counts for a product, each with its origin in its text; and why clear is not stated.

    The second value is empty, or says why a stated period is only a floor: the legal minimum or the
    organic rule cannot be worked out from the sheet.
    """
    stated = medicine.withdrawal.get(product)
    if stated is None or not stated.permitted:
        return ([stated] if stated else []), ""
    periods, missing = [stated], ""
    if "organic" in facts.unknown or ("rules" in facts.unknown and (medicine.off_label or facts.organic)):
        return periods, say("the rules in force are not known, since the sheet Session cannot be read there")
    if medicine.off_label:
        legal, missing = _legal(medicine, product, facts.rules, species)
        periods += legal
    if facts.organic and medicine.type != "vaccine":
        organic = _organic(periods, product, facts.rules)
        organic = organic or _organic_of_actives(periods, medicine, product, facts.rules, species)
        periods += organic
        if not organic:
            missing = missing or say("no organic rule is known here for the rules {rules}", rules=facts.rules or "none")
    return periods, missing


def _legal(medicine: Medicine, product: str, rules: str, species: frozenset[str]) -> tuple[list[Period], str]:
    """Legal minimums for use off the label, and why none could be worked out where the rules ask for one."""
    if medicine.for_food_animals is False:
        return [_fixed(row) for row in _rows(rules, product, "not_for_food")], ""
    label = medicine.longest_label.get(product)
    periods: list[Period] = []
    if label is not None and label.permitted:
        zero = not any((label.days, label.hours, label.milkings))
        for row in _rows(rules, product, "zero_period" if zero else "label_period"):
            text = _times(row, label)
            periods.append(_fixed(row) if zero else in_whole_days(scaled(label, Fraction(row["value"]), text), text))
        return periods, ""
    of_species = list(_rows(rules, product, "no_data"))
    no_data = [row for row in of_species if species & set(row["species"].split("; "))]
    if no_data and all(any(_is_for(row, kind) for row in no_data) for kind in species):
        return [_fixed(row) for row in no_data], ""
    if of_species:
        return [_fixed(row) for row in no_data], say(
            "no legal minimum is known here for {product} of all these species", product=said(product)
        )
    if any(_rows(rules, product, "not_for_food")):
        return [], say("the longest label period for {product} is not on the sheet, so the legal minimum is not known",
                       product=said(product))  # fmt: skip
    return [], ""


def _article(row: dict[str, str]) -> Text:
    article = row["article"]
    return say(article)


def _times(row: dict[str, str], period: Period) -> Text:
    """A multiple of a period, with the article that asks for it."""
    times = number_text(Fraction(row["value"]))
    return say("{times} x {period} ({article})", times=times, period=period.text, article=_article(row))


def _fixed(row: dict[str, str]) -> Period:
    value, article = number_text(Fraction(row["value"])), _article(row)
    text = (
        say("{n} days ({article})", n=value, article=article) if row["unit"] == "days"
        else say("{n} hours ({article})", n=value, article=article)
    )  # fmt: skip
    return Period(days=Fraction(row["value"]), text=text) if row["unit"] == "days" else Period(
        hours=Fraction(row["value"]), text=text
    )  # fmt: skip


def _organic(periods: list[Period], product: str, rules: str) -> list[Period]:
    """The organic rule: a multiple of every period in force, and a floor where the rules have one."""
    found = [
        scaled(period, Fraction(row["value"]), _times(row, period))
        for row in _rows(rules, product, "organic")
        for period in periods
    ]
    return found + [_fixed(row) for row in _rows(rules, product, "organic_floor")] if found else []


def _organic_of_actives(
    periods: list[Period], medicine: Medicine, product: str, rules: str, species: frozenset[str]
) -> list[Period]:
    """Organic rules that list actives, each with a period or a multiple: none unless every active is listed."""
    found: list[Period] = []
    for active in words(medicine.active):
        rows = [row for row in _rows(rules, product, "organic_active") if row["active"] in active.split()]
        if not all(any(_is_for(row, kind) for row in rows) for kind in species):
            return []
        for row in rows:
            if not any(_is_for(row, kind) for kind in species):
                continue
            multiples = [scaled(period, Fraction(row["value"]), _times(row, period)) for period in periods]
            found += multiples if row["unit"] == "x" else [_fixed(row)]
    return found


def _is_for(row: dict[str, str], kind: str) -> bool:
    return not row["species"] or kind in row["species"].split("; ")
