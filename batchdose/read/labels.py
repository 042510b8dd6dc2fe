"""The closed grammar of label figures: strengths, dose rates, volumes, periods.

    strength   = amounts active "/" [number] product      10 mg/mL, 5 g/100 mL, 300 + 20 mg/mL
               | number "%" ["w/v" | "w/w"]               1 %
    dose rate  = amounts (active | product) ("/" | "per") [number] (weight | head) ["/day"]
                                                          0.2 mg/kg, 1 mL per 22 lb, 10-20 mg/kg
    amounts    = number { "+" number } | number ("-" | "to") number
    period     = number (hours | days | weeks | milkings) { "and" ... } | "nil" | "not permitted"

What the grammar does not know raises `LabelError`, whose message shows the accepted spellings;
nothing is ever guessed. Units are those of `batchdose.units`.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

from batchdose.amounts import clean, written_number
from batchdose.model import NOT_PERMITTED, DoseRate, Period, Strength
from batchdose.read.numbers import NotANumberError, parse_number
from batchdose.texts import Text, joined, mark, say
from batchdose.units import (
    ACTIVE,
    BODYWEIGHT,
    DURATION,
    HEAD,
    MILKING,
    PRODUCT,
    UnknownUnitError,
    convert,
    same_kind,
    unit_named,
)

STRENGTH_HELP = mark("Write it as on the label: 10 mg/mL, 1 %, 300 000 IU/mL, 5 g/100 mL or 600 mg/tablet.")
RATE_HELP = mark(
    "Write it as on the label: 0.2 mg/kg, 200 mcg/kg, 5 mg/lb, 10 000 IU/kg, 1 mL/50 kg, 1 mL per 22 lb, "
    "2 mL/head, 1 bolus/200 lb or 10-20 mg/kg."
)
PERIOD_HELP = mark("Write it as 28 days, 72 h, 6 milkings, 0 days or not permitted; leave it empty if not stated.")
#: No period or interval is longer than a hundred years [h].
LONGEST_HOURS = 100 * 366 * 24
SEVERAL_HELP = mark("Ask which holds for this use (dose, route, time before calving), and write that one alone.")
AMOUNT_HELP = mark("Write it with its unit: 0.1 mL, 20 mL or 1 tablet.")
INTERVAL_HELP = mark("Write it as 24 h or 2 days.")

_NUMBER = r"(?:\d(?:[\d .,']*\d)?|\.\d+)"
_LEFT = re.compile(rf"(?P<amounts>{_NUMBER}(?:(?:\s*\+\s*|\s*[-–—]\s*|\s+to\s+){_NUMBER})*)\s*(?P<unit>\D.*)")
_RIGHT = re.compile(rf"(?P<number>{_NUMBER})?\s*(?P<unit>\D.*)")
_PERCENT = re.compile(rf"(?P<number>{_NUMBER})\s*%\s*(?P<basis>w/v|w/w)?", re.IGNORECASE)
_STROKE = re.compile(r"\s*/\s*|\s+per\s+", re.IGNORECASE)
_HALF = re.compile(r"^(half|quarter)(?:\s+(?:of\s+)?an?)?\s+", re.IGNORECASE)
_PARTS = re.compile(r"^(?:(\d+)\s+)?(?<!\d)([13])/([24])\s*(?=[a-z])", re.IGNORECASE)
_DAILY = re.compile(r"(?:\s*/\s*day|\s+per day|\s+a day|(?:\s+once)?\s+daily)$", re.IGNORECASE)
_BODYWEIGHT_WORDS = re.compile(r"\s+(?:of\s+)?(?:body\s?weight|live\s?weight|bw|lw)$", re.IGNORECASE)
_TWICE = re.compile(r"([^=()]+?)\s*(?:=\s*|\(\s*)([^=()]+?)\)?")
_NOT_PERMITTED = {"not permitted", "not allowed", "never", "do not use"}
_SEVERAL = re.compile(r"\d\s*[a-z]+.*(?:\bor\b|,|/|;|\bif\b|\().*\d")
_NIL = {"nil", "zero days", "zero hours"}
_NOT_STATED = {"", "-", "–", "—", "not stated", "n/a"}


#: What reading a part of a figure may raise.
_NOT_UNDERSTOOD = (NotANumberError, UnknownUnitError, ValueError)


class LabelError(ValueError):
    """A label figure that the grammar does not know; the message shows the accepted spellings."""


def _wrong(problem: Text, hint: str) -> LabelError:
    """The error with what is wrong, and how to write it."""
    return LabelError(joined(" ", [problem, say(hint)]))


def parse_strength(text: str) -> Strength:
    """Strength of a product, from its label.

    `1 %` is 1 g in 100 mL, so 10 mg/mL; `% w/w` is per gram of product (10 mg/g).

    >>> parse_strength("1 %").amounts, parse_strength("5 g/100 mL").amounts
    ((Fraction(10, 1),), (Fraction(50, 1),))
    """
    plain = clean(text)
    try:
        if percent := _PERCENT.fullmatch(plain):
            product = "g_product" if (percent["basis"] or "").lower() == "w/w" else "mL"
            share = (parse_number(percent["number"]) * 10,)
            return Strength(_positive(share, plain, STRENGTH_HELP), "mg", product, plain)
        left, right = _STROKE.split(plain)
        amounts, unit = _amounts(left, ACTIVE)
        number, product = _per(right, PRODUCT | {"g": "g_product"})
    except _NOT_UNDERSTOOD as error:
        raise _wrong(say('The strength "{typed}" is not understood.', typed=plain), STRENGTH_HELP) from error
    if isinstance(amounts, _Range):
        raise _wrong(say('"{typed}" gives two strengths.', typed=plain), STRENGTH_HELP)
    base, per = _base(unit), "mL" if product == "L" else product
    scale = number * convert(Fraction(1), product, per)
    values = tuple(convert(a, unit, base) / scale for a in amounts)
    return Strength(_positive(values, plain, STRENGTH_HELP), base, per, plain)


def parse_dose_rate(text: str) -> DoseRate:
    """Dose rate from a label, per kilogram bodyweight or per head; a range keeps both ends.

    A rate stated twice, as in `1 mL/50 kg (0.2 mg/kg)`, keeps both; whether they agree is checked later.

    >>> rate = parse_dose_rate("1 mL per 50 kg")
    >>> rate.low, rate.unit, rate.per
    ((Fraction(1, 50),), 'mL', 'kg')
    """
    plain = clean(text)
    if twice := _TWICE.fullmatch(plain):
        first, second = (parse_dose_rate(part) for part in twice.groups())
        return replace(first, text=plain, also=second)
    short = _DAILY.sub("", plain)
    try:
        left, right = _STROKE.split(_BODYWEIGHT_WORDS.sub("", _without_fractions(short)))
        amounts, unit = _amounts(left, ACTIVE | PRODUCT)
        number, per = _per(right, BODYWEIGHT | HEAD)
    except _NOT_UNDERSTOOD as error:
        raise _wrong(say('The dose rate "{typed}" is not understood.', typed=plain), RATE_HELP) from error
    base = _base(unit)
    scale = number if per == "head" else convert(number, per, "kg_bw")
    low, high = (amounts.low, amounts.high) if isinstance(amounts, _Range) else (amounts, amounts)
    ends = [_positive(tuple(convert(a, unit, base) / scale for a in end), plain, RATE_HELP) for end in (low, high)]
    if ends[0] > ends[1]:
        raise _wrong(say('The range "{typed}" runs from high to low.', typed=plain), RATE_HELP)
    return DoseRate(
        ends[0], ends[1], base, "head" if per == "head" else "kg", plain, daily=short != plain,
        range_given=isinstance(amounts, _Range),
    )  # fmt: skip


def _without_fractions(text: str) -> str:
    """Halves and quarters of a tablet or bolus as decimals.

    >>> _without_fractions("1/2 tablet"), _without_fractions("1 1/2 tablets"), _without_fractions("half a bolus")
    ('0.5 tablet', '1.5 tablets', '0.5 bolus')
    """
    for sign, part in (("½", " 1/2 "), ("¼", " 1/4 "), ("¾", " 3/4 ")):
        text = " ".join(text.replace(sign, part).split())
    text = _HALF.sub(lambda match: "0.5 " if match[1].lower() == "half" else "0.25 ", text)
    return _PARTS.sub(lambda match: f"{float(int(match[1] or 0) + Fraction(int(match[2]), int(match[3]))):g} ", text)


def parse_amount(text: str) -> tuple[Fraction, str]:
    """Amount of product with its unit: a graduation, a pack, a limit per site.

    >>> parse_amount("0,1 mL"), parse_amount("½ tablet")
    ((Fraction(1, 10), 'mL'), (Fraction(1, 2), 'tablet'))
    """
    plain = clean(text)
    try:
        number, unit = _per(_without_fractions(plain), PRODUCT | {"g": "g_product"}, numbered=True)
    except _NOT_UNDERSTOOD as error:
        raise _wrong(say('The amount "{typed}" is not understood.', typed=plain), AMOUNT_HELP) from error
    return (convert(number, "L", "mL"), "mL") if unit == "L" else (number, unit)


def amount_in(text: str, unit: str) -> tuple[Fraction, str]:
    """An amount whose bare number is in the product's own unit.

    >>> amount_in("0.1", "mL"), amount_in("5 g", "g_product")
    ((Fraction(1, 10), 'mL'), (Fraction(5, 1), 'g_product'))
    """
    return parse_amount(f"{text} {unit}".replace("g_product", "g") if text[-1:].isdigit() else text)


def parse_period(text: str, unit: str | None = None) -> Period | None:
    """Withdrawal period; None where none is stated, which is never the same as zero.

    `unit` (days, hours) comes from the column's heading and serves a bare number.
    Source for nil, zero days, dash: NOAH Compendium, Withdrawal periods: guide to using the tables.

    >>> parse_period("nil").days, parse_period("-"), parse_period("72 h and 6 milkings").milkings
    (Fraction(0, 1), None, Fraction(6, 1))
    """
    plain = clean(text)
    folded = plain.casefold()
    if folded in _NOT_STATED:
        return None
    if folded in _NOT_PERMITTED:
        return NOT_PERMITTED
    if folded in _NIL:
        return Period(days=Fraction(0), text=plain)
    bare = unit is not None and folded[-1].isdigit()
    written = f"{folded} {unit}" if bare else folded
    totals: dict[str, Any] = {}
    try:
        for part in re.split(r"\s+and\s+|\s*;\s*|\s*\(\s*", written.removesuffix(")")):
            number, kind = _per(part, DURATION | MILKING, numbered=True)
            name = {"hour": "hours", "milking": "milkings"}.get(kind, "days")
            if name in totals or {name, *totals} >= {"days", "hours"}:
                raise NotANumberError(part)
            totals[name] = convert(number, kind, "day") if name == "days" else number
    except _NOT_UNDERSTOOD as error:
        if _SEVERAL.search(folded):
            raise _wrong(say('"{typed}" gives more than one period.', typed=plain), SEVERAL_HELP) from error
        raise _wrong(say('The withdrawal period "{typed}" is not understood.', typed=plain), PERIOD_HELP) from error
    most = max(totals.get("days", 0) * 24, totals.get("hours", 0), totals.get("milkings", 0) * 12)
    if most > LONGEST_HOURS:
        raise _wrong(_too_long(plain), PERIOD_HELP)
    return Period(**totals, text=f"{plain} {unit}" if bare else plain)


def parse_hours(text: str) -> Fraction:
    """Length of an interval in hours.

    >>> parse_hours("2 days")
    Fraction(48, 1)
    """
    plain = clean(text)
    try:
        number, unit = _per(plain, DURATION, numbered=True)
    except _NOT_UNDERSTOOD as error:
        raise _wrong(say('"{typed}" is not understood.', typed=plain), INTERVAL_HELP) from error
    hours = convert(number, unit, "hour")
    if hours > LONGEST_HOURS:
        raise _wrong(_too_long(plain), INTERVAL_HELP)
    return hours


def _too_long(typed: str) -> Text:
    return say('"{typed}" is more than a hundred years.', typed=typed)


def _figure(text: str, unit: str) -> Fraction:
    """A label figure; a point before three digits that may part thousands is refused.

    `300.000 IU` could be 300 or 300 000: units of activity have no thousandths, and no label ends on a nought there.
    """
    match = re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", clean(text))
    if match and (unit == "IU" or match[0].endswith("0")):
        raise NotANumberError(
            say('"{typed}" could be {one} or {other}', typed=text, one=written_number(f"{float(text):g}"),
                other=text.replace(".", ""))
        )  # fmt: skip
    return parse_number(text)


class _Range:
    """Two ends of a range of amounts."""

    def __init__(self, low: tuple[Fraction, ...], high: tuple[Fraction, ...]) -> None:
        self.low, self.high = low, high


def _amounts(left: str, *tables: dict[str, str]) -> tuple[tuple[Fraction, ...] | _Range, str]:
    """Numbers and unit of the left side: one, several actives joined by +, or a range."""
    match = _LEFT.fullmatch(left)
    if match is None:
        raise NotANumberError(left)
    unit = unit_named(match["unit"], *tables)
    if "+" in match["amounts"]:
        return tuple(_figure(part, unit) for part in match["amounts"].split("+")), unit
    ends = [_figure(part, unit) for part in re.split(r"\s*[-–—]\s*|\s+to\s+", match["amounts"])]
    if len(ends) > 2:
        raise NotANumberError(left)
    return (_Range((ends[0],), (ends[1],)) if len(ends) == 2 else (ends[0],)), unit


def _per(right: str, *tables: dict[str, str], numbered: bool = False) -> tuple[Fraction, str]:
    """Number and unit. Without `numbered` it stands right of a stroke: one if left out, and never zero."""
    match = _RIGHT.fullmatch(right)
    if match is None or (numbered and not match["number"]):
        raise NotANumberError(right)
    unit = unit_named(match["unit"], *tables)
    number = _figure(match["number"], unit) if match["number"] else Fraction(1)
    if not numbered and number == 0:
        raise NotANumberError(right)
    return number, unit


def _base(unit: str) -> str:
    """The unit in which we keep an amount: mg for mass, mL for volume, itself otherwise."""
    return next((base for base in ("mg", "mL") if same_kind(unit, base)), unit)


def _positive(values: tuple[Fraction, ...], text: str, hint: str) -> tuple[Fraction, ...]:
    if min(values) <= 0:
        raise _wrong(say('"{typed}" is zero.', typed=text), hint)
    return values
