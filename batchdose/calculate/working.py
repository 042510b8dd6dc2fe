"""The working of each dose in one line that a person can check by hand."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from batchdose.amounts import Number, amount_text, number_text, shown_value, unit_word
from batchdose.calculate.rates import Limits
from batchdose.model import NG_PER_KG, Band, DoseRate, Medicine, Strength
from batchdose.texts import Text, joined, retold, say

#: A number with a decimal point, or the word for units, in a label figure.
_TO_TELL = re.compile(r"((?<![\d.,])\d+\.\d+(?![\d.,])|\bunits\b)")


def label_text(text: str) -> str:
    """A label figure written the safe way: mcg for the micro sign, units for IU, `mL`, no trailing zero.

    >>> label_text("200 µg/kg"), label_text("0.5-1.0 mg/lb"), label_text("300 000 IU/mL")
    ('200 mcg/kg', '0.5-1 mg/lb', '300 000 units/mL')
    """
    text = re.sub(r"(\d+\.\d*?)0+(?!\d)", lambda number: number[1].rstrip("."), text)
    for sign in ("µg", "μg", " ug"):
        text = text.replace(sign, " mcg" if sign == " ug" else "mcg")
    text = re.sub(r"\bI\.?U\.?(?!\w)", "units", text)
    return _with_numbers(text.replace(" ml", " mL").replace("/ml", "/mL").replace(" cc", " mL"))


def _with_numbers(text: str) -> str:
    """The figure with what is told otherwise in other languages."""
    parts = _TO_TELL.split(text)
    told = [part if at % 2 == 0 else say("units") if part == "units" else Number(part, part)
            for at, part in enumerate(parts)]  # fmt: skip
    return joined("", told) if len(parts) > 1 else text


def weight_part(weight_ng: int, typed: str) -> str:
    """The weight as typed, and in kilograms if it was typed in another unit.

    >>> weight_part(45359237000000, "100 lb"), weight_part(62500000000000, "62.5 kg")
    ('100 lb = 45.359 kg', '62.5 kg')
    """
    kilograms = f"{number_text(Fraction(weight_ng, NG_PER_KG))} kg"
    if "kg" in typed or not typed:
        return kilograms
    return f"{_with_numbers(typed)} = {kilograms}"


def target_text(target: Fraction, marks: int, graduation: Fraction) -> str:
    """The target with three decimals, or six where three would hide on which side of a mark it lies."""
    text = number_text(target)
    shown = shown_value(target)
    hides = shown != target and -(-shown // graduation) != -(-target // graduation) and marks > 0
    return number_text(target, 6) if hides else text


def working(
    medicine: Medicine,
    rate: DoseRate | None,
    weight: tuple[int, str],
    target: Fraction,
    dose: tuple[int, Fraction] | None,
    limits: Limits | None = None,
) -> Text:
    """Weight x rate / strength = target -> dose; without a dose only as far as it goes.

    `rate` is the one used, `weight` is nanograms and text as typed, `dose` is marks and graduation; of the `limits`
    the least or the largest dose is told where it counts.
    """
    product = _Product(medicine.unit, medicine.strength, medicine.needs_weight)
    return retold(_working, product, rate, weight, target, dose, limits)


@dataclass(frozen=True, slots=True)
class _Product:
    """What of a medicine stands in a working, so that a text does not hold on to the whole of it."""

    unit: str
    strength: Strength | None
    needs_weight: bool


def _working(
    product: _Product, rate: DoseRate | None, weight: tuple[int, str], target: Fraction,
    dose: tuple[int, Fraction] | None, limits: Limits | None,
) -> str:  # fmt: skip
    unit, strength = product.unit, product.strength
    parts = [label_text(rate.text)] if rate else []
    if product.needs_weight:
        parts.insert(0, weight_part(*weight))
    text = " x ".join(parts)
    if rate is not None and strength is not None and rate.unit != unit:
        text += f" / {label_text(strength.text)}"
    if dose is None:
        return f"{text} = {amount_text(target, unit)}"
    given = f"{amount_text(dose[0] * dose[1], unit)}{_each_active(product, weight[0], dose)}"
    return f"{text} = {target_text(target, *dose)}{_bound(target, limits, unit)} -> {given}"


def _each_active(product: _Product, weight_ng: int, dose: tuple[int, Fraction]) -> str:
    """What a dose of several actives comes to for each of them, per kilogram."""
    strength = product.strength
    if strength is None or len(strength.amounts) < 2 or not product.needs_weight or weight_ng <= 0:
        return ""
    per_kg = [dose[0] * dose[1] * amount / Fraction(weight_ng, NG_PER_KG) for amount in strength.amounts]
    return f" ({' + '.join(number_text(amount) for amount in per_kg)} {unit_word(strength.unit)}/kg)"


def _bound(target: Fraction, limits: Limits | None, unit: str) -> str:
    """The least or largest dose of the sheet, where the target lies beyond it."""
    if limits is not None and limits.largest_dose is not None and target > limits.largest_dose:
        return say(", at most {dose}", dose=amount_text(limits.largest_dose, unit))
    if limits is not None and limits.least_dose is not None and target < limits.least_dose:
        return say(", at least {dose}", dose=amount_text(limits.least_dose, unit))
    return ""


def band_working(medicine: Medicine, band: Band, weight: tuple[int, str], dose: tuple[int, Fraction] | None) -> Text:
    """The band a weight lies in, and its dose."""
    return retold(_band_working, medicine.unit, band, weight, dose)


def _band_working(unit: str, band: Band, weight: tuple[int, str], dose: tuple[int, Fraction] | None) -> str:
    what = {"weight": weight_part(*weight), "low": number_text(band.from_kg)}
    text = (
        say("{weight} is in the band {low} kg and over", **what) if band.to_kg is None
        else say("{weight} is in the band {low} kg to {high} kg", **what, high=number_text(band.to_kg))
    )  # fmt: skip
    return text if dose is None else f"{text} -> {amount_text(dose[0] * dose[1], unit)}"
