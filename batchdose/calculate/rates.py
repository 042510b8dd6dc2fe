"""Label figures to limits in units of product: what an animal of one kilogram may get."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from batchdose.model import DoseRate, Medicine, Strength
from batchdose.texts import Text, say

#: Label figures that state the same thing twice must agree within this share (design rule 2).
AGREE_WITHIN = Fraction(2, 100)
#: With rounding to nearest, and where highest and label rate are one, this share under the label is allowed.
NEAREST_LOWEST = Fraction(95, 100)
#: Without a highest rate: over this, a warning; the limit of a medicine with a narrow margin.
WARN_OVER = Fraction(110, 100)
#: Without a highest rate: over this, held. Published limit for dosing a group to its heaviest: Hybu Cig
#: Cymru, "Correct dosage essential when treating sheep": split where the lightest would get more than twice.
HOLD_OVER = Fraction(2)


class RatesDisagreeError(ValueError):
    """Label figures contradict each other, or do not fit together; the message says which."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Product per kilogram (or per head): the label's rate and the ends within which a dose may lie."""

    label: Fraction
    lowest: Fraction
    highest: Fraction
    highest_stated: bool
    per_head: bool
    #: The least and the most that an animal gets at a time, whatever its weight [units of product].
    least_dose: Fraction | None = None
    largest_dose: Fraction | None = None


def product_per_unit(rate: DoseRate, strength: Strength | None, unit: str, *, end: str = "low") -> Fraction:
    """Product per kilogram bodyweight (or per head) that carries the rate, in `unit` of product.

    Rate divided by strength; a rate already in units of product needs no strength. With two actives
    the quotients must agree within 2 %, and the larger counts, so that neither is under its rate.

    Source: 21 CFR 522.1193(e)(1): 1 mL of ivermectin 10 mg/mL for 50 kg is 200 mcg/kg.
    """
    amounts = rate.low if end == "low" else rate.high
    if rate.unit == unit:
        return amounts[0]
    quotients = _quotients(rate, amounts, strength, unit)
    if len(quotients) > 1 and not agree(min(quotients), max(quotients)):
        shown = strength.text if strength else ""
        raise RatesDisagreeError(
            say('the rates in "{rate}" do not agree with the strengths "{strength}"', rate=rate.text, strength=shown)
        )
    return max(quotients)


def limit_per_unit(limit: DoseRate, strength: Strength | None, unit: str, *, end: str) -> Fraction:
    """Product per kilogram (or per head) at a lowest (`end` low) or highest (`end` high) rate of the sheet.

    Each of two actives has a limit of its own: the product is not under the lowest of either, nor over the highest.
    """
    amounts = limit.low if end == "low" else limit.high
    if limit.unit == unit:
        return amounts[0]
    quotients = _quotients(limit, amounts, strength, unit)
    return max(quotients) if end == "low" else min(quotients)


def _quotients(
    rate: DoseRate, amounts: Sequence[Fraction], strength: Strength | None, unit: str
) -> list[Fraction]:  # fmt: skip
    """Product for each active. Raises RatesDisagreeError where rate and strength do not go together."""
    if strength is None:
        raise RatesDisagreeError(say('the rate "{rate}" needs a strength, and none is stated', rate=rate.text))
    if strength.unit != rate.unit or strength.per != unit:
        raise RatesDisagreeError(
            say('the rate "{rate}" and the strength "{strength}" do not go together', rate=rate.text,
                strength=strength.text)
        )  # fmt: skip
    if len(amounts) > len(strength.amounts):
        raise RatesDisagreeError(
            say('the rate "{rate}" has more actives than the strength "{strength}"', rate=rate.text,
                strength=strength.text)
        )  # fmt: skip
    return [amount / active for amount, active in zip(amounts, strength.amounts, strict=False)]


def agree(one: Fraction, other: Fraction) -> bool:
    """Whether two label figures state the same amount, within 2 %."""
    return abs(one - other) <= AGREE_WITHIN * max(one, other)


def limits(medicine: Medicine, chosen: DoseRate | None) -> Limits:
    """Limits of a dose, from the medicine's row and the rate the prescriber chose.

    Raises RatesDisagreeError where the figures contradict each other or a choice is still open.
    """
    rate = chosen or medicine.rate
    if rate is None:
        raise RatesDisagreeError(say("no dose rate is stated"))
    if rate.range_given or (rate.also is not None and rate.also.range_given):
        raise RatesDisagreeError(
            say('the dose rate "{rate}" is a range; the prescriber must choose one', rate=rate.text)
        )
    per_day_ok = not rate.daily or medicine.doses == 1 or medicine.every_hours == 24
    if not per_day_ok:
        raise RatesDisagreeError(say('the rate "{rate}" is for a day, but doses are not 24 h apart', rate=rate.text))
    label = _in_product(rate, medicine)
    if rate.also is not None and not agree(label, _in_product(rate.also, medicine)):
        raise RatesDisagreeError(
            say('the two rates in "{rate}" do not agree with the strength within 2 %', rate=rate.text)
        )
    if chosen is not None and medicine.rate is not None:
        _choice_is_on_label(medicine, medicine.rate, chosen, label)
    lowest, highest = _stated_ends(medicine, rate, label)
    return _with_defaults(medicine, rate, label, lowest, highest)


def _choice_is_on_label(medicine: Medicine, stated: DoseRate, chosen: DoseRate, label: Fraction) -> None:
    """A chosen rate is of the label's kind and, where the label has one rate only, that rate.

    Another rate is use off the label, which the row must say, with the prescriber's withdrawal period.
    """
    if chosen.per != stated.per:
        raise RatesDisagreeError(_of_two_kinds(chosen, stated))
    if medicine.off_label or stated.range_given:
        return
    own = _in_product(stated, medicine)
    over = medicine.highest is None and label > own * (1 + AGREE_WITHIN)
    under = medicine.lowest is None and label < own * (1 - AGREE_WITHIN)
    if over or under:
        raise RatesDisagreeError(
            say('the chosen rate "{chosen}" is not the label rate "{rate}": off label', chosen=chosen.text,
                rate=stated.text)
        )  # fmt: skip


def _of_two_kinds(one: DoseRate, other: DoseRate) -> Text:
    return say('"{one}" and "{other}" are not both for bodyweight or both for a head', one=one.text, other=other.text)


def bands_agree(medicine: Medicine) -> None:
    """All dose bands of a medicine are in one unit. Raises RatesDisagreeError otherwise."""
    if len({band.unit for band in medicine.bands}) > 1:
        raise RatesDisagreeError(say("the dose bands are in different units"))


def _in_product(rate: DoseRate, medicine: Medicine) -> Fraction:
    return product_per_unit(rate, medicine.strength, medicine.unit)


def _stated_ends(medicine: Medicine, rate: DoseRate, label: Fraction) -> tuple[Fraction | None, Fraction | None]:
    """Lowest and highest on the sheet, from their columns or from the ends of a range."""
    whole = medicine.rate if medicine.rate is not None and medicine.rate.range_given else None
    low_rate, high_rate = medicine.lowest or whole, medicine.highest or whole
    ends = [(low_rate, "low"), (high_rate, "high")]
    for end, _ in ends:
        if end is not None and end.per != rate.per:
            raise RatesDisagreeError(_of_two_kinds(end, rate))
    lowest, highest = (
        None if end is None else limit_per_unit(end, medicine.strength, medicine.unit, end=which) for end, which in ends
    )
    if lowest is not None and lowest > label * (1 + AGREE_WITHIN):
        raise RatesDisagreeError(
            say('the rate "{rate}" is below the lowest rate "{lowest}"', rate=rate.text,
                lowest=low_rate and low_rate.text)
        )  # fmt: skip
    if highest is not None and highest < label * (1 - AGREE_WITHIN):
        raise RatesDisagreeError(
            say('the rate "{rate}" is above the highest rate "{highest}"', rate=rate.text,
                highest=high_rate and high_rate.text)
        )  # fmt: skip
    return lowest, highest


def _with_defaults(
    medicine: Medicine, rate: DoseRate, label: Fraction, lowest: Fraction | None, highest: Fraction | None
) -> Limits:
    """Fill in the ends that the sheet leaves open; they are the program's limits, not the label's."""
    stated = highest is not None or medicine.narrow_margin
    if medicine.narrow_margin:
        highest = min(highest or label * WARN_OVER, label * WARN_OVER)
    if lowest is None:
        near = medicine.rounding == "nearest" or (highest is not None and agree(highest, label))
        lowest = label * NEAREST_LOWEST if near else label
    highest = label * HOLD_OVER if highest is None else highest
    return Limits(
        label, min(lowest, label), highest, stated, rate.per == "head", medicine.least_dose, medicine.largest_dose
    )
