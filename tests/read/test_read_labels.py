"""Label figures: every accepted spelling, and a refusal that shows them for everything else."""

from __future__ import annotations

import re
from contextlib import suppress
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchdose import parse_dose_rate, parse_strength
from batchdose.read.labels import (
    AMOUNT_HELP,
    INTERVAL_HELP,
    RATE_HELP,
    STRENGTH_HELP,
    LabelError,
    parse_amount,
    parse_hours,
)
from batchdose.units import convert, registry

LB = Fraction("0.45359237")  # kilograms, exact

RATES = [
    # as written, low, high, unit, per
    ("0.2 mg/kg", Fraction("0.2"), None, "mg", "kg"),
    ("0,2 mg/kg", Fraction("0.2"), None, "mg", "kg"),
    (".2 mg/kg", Fraction("0.2"), None, "mg", "kg"),
    ("0.2mg/kg", Fraction("0.2"), None, "mg", "kg"),
    ("0.2 MG / KG", Fraction("0.2"), None, "mg", "kg"),
    ("0.2 mg per kg", Fraction("0.2"), None, "mg", "kg"),
    ("0.2 mg/kg bodyweight", Fraction("0.2"), None, "mg", "kg"),
    ("0.2 mg/kg bw", Fraction("0.2"), None, "mg", "kg"),
    ("0.2 mg/kg of live weight", Fraction("0.2"), None, "mg", "kg"),
    ("200 \u00b5g/kg", Fraction("0.2"), None, "mg", "kg"),  # micro sign
    ("200 \u03bcg/kg", Fraction("0.2"), None, "mg", "kg"),  # Greek letter mu
    ("200 ug/kg", Fraction("0.2"), None, "mg", "kg"),
    ("200 mcg/kg", Fraction("0.2"), None, "mg", "kg"),
    ("200 micrograms per kg", Fraction("0.2"), None, "mg", "kg"),
    ("1 g/kg", Fraction(1000), None, "mg", "kg"),
    ("5 mg/lb", 5 / LB, None, "mg", "kg"),
    ("5 mg per lb", 5 / LB, None, "mg", "kg"),
    ("5 mg/10 lbs", Fraction("0.5") / LB, None, "mg", "kg"),
    ("10 000 IU/kg", Fraction(10000), None, "IU", "kg"),
    ("10 000 i.u./kg", Fraction(10000), None, "IU", "kg"),
    ("10 000 units/kg", Fraction(10000), None, "IU", "kg"),
    ("3000 units/lb", 3000 / LB, None, "IU", "kg"),
    ("1 mL/50 kg", Fraction(1, 50), None, "mL", "kg"),
    ("1mL/50kg", Fraction(1, 50), None, "mL", "kg"),
    ("1 ml/50 kg", Fraction(1, 50), None, "mL", "kg"),
    ("1 cc/50 kg", Fraction(1, 50), None, "mL", "kg"),
    ("1 mL per 50 kg", Fraction(1, 50), None, "mL", "kg"),
    ("0,5 mL/10 kg", Fraction(1, 20), None, "mL", "kg"),
    ("1 mL per 22 lb", 1 / (22 * LB), None, "mL", "kg"),
    ("4.5 mL/100 lb", Fraction("4.5") / (100 * LB), None, "mL", "kg"),
    ("0.01 L/kg", Fraction(10), None, "mL", "kg"),
    ("2 mL/head", Fraction(2), None, "mL", "head"),
    ("2 mL per head", Fraction(2), None, "mL", "head"),
    ("2 mL per animal", Fraction(2), None, "mL", "head"),
    ("2 mL/animal", Fraction(2), None, "mL", "head"),
    ("1 tube/head", Fraction(1), None, "tube", "head"),
    ("1 bolus/200 lb", 1 / (200 * LB), None, "bolus", "kg"),
    ("2 boluses per animal", Fraction(2), None, "bolus", "head"),
    ("1 tablet per 10 kg", Fraction(1, 10), None, "tablet", "kg"),
    ("10-20 mg/kg", Fraction(10), Fraction(20), "mg", "kg"),
    ("10 - 20 mg/kg", Fraction(10), Fraction(20), "mg", "kg"),
    ("10–20 mg/kg", Fraction(10), Fraction(20), "mg", "kg"),
    ("10 to 20 mg/kg", Fraction(10), Fraction(20), "mg", "kg"),
    ("0,5-1 mL/10 kg", Fraction(1, 20), Fraction(1, 10), "mL", "kg"),
]

REFUSED_RATES = [
    "", "2", "2 mL", "mg/kg", "/kg", "0.2 mg", "0.2 mg kg", "0.2 /kg", "0.2 mg/", "0.2 mg//kg", "0.2 mg/kg/h",
    "0.2 mg/kg/kg", "2 mL/sheep", "2 squirts/head", "0.2 mg/m2", "0.2 ng/kg", "0.2 %/kg", "1 kg/kg", "0.2 mg/cwt",
    "0.2 mg/stone", "1,250 mg/kg", "1.2.3 mg/kg", "0.2 mg/1,250 kg", "2 x 5 mg/kg", "-0.2 mg/kg", "about 0.2 mg/kg",
    "0.2-0.3-0.4 mg/kg", "as directed", "see label", "0.2 mg/kg (once)", "1 mL/50 kg (",
    "10 mg/mL", "1 %", "28 days",
]  # fmt: skip

STRENGTHS = [
    # as written, amount, unit, per
    ("10 mg/mL", Fraction(10), "mg", "mL"),
    ("10 mg/ml", Fraction(10), "mg", "mL"),
    ("10mg/mL", Fraction(10), "mg", "mL"),
    ("10 mg/cc", Fraction(10), "mg", "mL"),
    ("10 mg per mL", Fraction(10), "mg", "mL"),
    ("49,6 mg/mL", Fraction("49.6"), "mg", "mL"),
    ("1 %", Fraction(10), "mg", "mL"),
    ("1%", Fraction(10), "mg", "mL"),
    ("1 % w/v", Fraction(10), "mg", "mL"),
    ("2,5 %", Fraction(25), "mg", "mL"),
    ("1 % w/w", Fraction(10), "mg", "g_product"),
    ("5 g/100 mL", Fraction(50), "mg", "mL"),
    ("100 g/L", Fraction(100), "mg", "mL"),
    ("500 \u00b5g/mL", Fraction(1, 2), "mg", "mL"),
    ("500 \u03bcg/mL", Fraction(1, 2), "mg", "mL"),
    ("500 ug/mL", Fraction(1, 2), "mg", "mL"),
    ("500 mcg/mL", Fraction(1, 2), "mg", "mL"),
    ("300 000 IU/mL", Fraction(300000), "IU", "mL"),
    ("300000 units/mL", Fraction(300000), "IU", "mL"),
    ("600 mg/tablet", Fraction(600), "mg", "tablet"),
    ("10 g/bolus", Fraction(10000), "mg", "bolus"),
    ("18.7 mg/g", Fraction("18.7"), "mg", "g_product"),
]

REFUSED_STRENGTHS = [
    "", "10", "10 mg", "mg/mL", "10 mg/", "10 %%", "% 10", "1 % v/v", "10 mg/kg", "10 mg/lb", "10 mL/mL",
    "10 mg/mL/day", "300,000 IU/mL", "strong", "10 mg/spoon", "1:1000", "100 ppm", "-10 mg/mL", "10 mg/mL (1 %)",
]  # fmt: skip


@pytest.mark.parametrize(("text", "low", "high", "unit", "per"), RATES, ids=[row[0] for row in RATES])
def test_dose_rate(text, low, high, unit, per):
    rate = parse_dose_rate(text)
    assert (rate.low, rate.high) == ((low,), (high or low,))
    assert (rate.unit, rate.per, rate.range_given) == (unit, per, high is not None)


@pytest.mark.parametrize("text", REFUSED_RATES)
def test_other_dose_rates_are_refused_with_the_accepted_spellings(text):
    with pytest.raises(LabelError, match=re.escape(RATE_HELP)):
        parse_dose_rate(text)


@pytest.mark.parametrize("text", ["0 mg/kg", "0.0 mL/head", "5 mg/0 kg", "5 mg/0 lb", "1 mL/0 head"])
def test_a_rate_with_nothing_on_either_side_is_refused(text):
    with pytest.raises(LabelError, match=re.escape(RATE_HELP)):
        parse_dose_rate(text)


def test_a_range_from_high_to_low_is_refused():
    with pytest.raises(LabelError, match="runs from high to low"):
        parse_dose_rate("20-10 mg/kg")


@pytest.mark.parametrize("text", ["1 mL/50 kg (0.2 mg/kg)", "1 mL/50 kg = 0.2 mg/kg", "1 mL per 50 kg (200 mcg/kg)"])
def test_a_rate_stated_twice_keeps_both(text):
    rate = parse_dose_rate(text)
    assert (rate.low, rate.unit) == ((Fraction(1, 50),), "mL")
    assert rate.also is not None
    assert (rate.also.low, rate.also.unit) == ((Fraction("0.2"),), "mg")


@pytest.mark.parametrize("text", ["10 mg/kg/day", "10 mg/kg per day", "10 mg/kg daily", "10 mg/kg once daily"])
def test_a_rate_for_a_day_says_so(text):
    assert parse_dose_rate(text).daily
    assert not parse_dose_rate("10 mg/kg").daily


def test_two_actives_are_kept_apart():
    assert parse_strength("300 + 20 mg/mL").amounts == (300, 20)
    assert parse_dose_rate("7.5 + 0.5 mg/kg").low == (Fraction("7.5"), Fraction("0.5"))


@pytest.mark.parametrize(("text", "amount", "unit", "per"), STRENGTHS, ids=[row[0] for row in STRENGTHS])
def test_strength(text, amount, unit, per):
    strength = parse_strength(text)
    assert (strength.amounts, strength.unit, strength.per) == ((amount,), unit, per)


@pytest.mark.parametrize("text", REFUSED_STRENGTHS)
def test_other_strengths_are_refused_with_the_accepted_spellings(text):
    with pytest.raises(LabelError, match=re.escape(STRENGTH_HELP)):
        parse_strength(text)


@pytest.mark.parametrize("text", ["0 mg/mL", "0 %", "10 mg/0 mL"])
def test_a_strength_with_nothing_on_either_side_is_refused(text):
    with pytest.raises(LabelError, match=re.escape(STRENGTH_HELP)):
        parse_strength(text)


def test_a_strength_is_one_not_a_range():
    with pytest.raises(LabelError, match="gives two strengths"):
        parse_strength("10-20 mg/mL")


@pytest.mark.parametrize("parse", [parse_strength, parse_dose_rate])
@pytest.mark.parametrize("number", ["10⁶", "3x10⁵", "10^6"])
def test_powers_of_ten_are_refused_not_misread(parse, number):
    unit = "IU/mL" if parse is parse_strength else "IU/kg"
    with pytest.raises(LabelError):
        parse(f"{number} {unit}")


@given(st.decimals(min_value="0.01", max_value=100, places=2))
def test_one_per_cent_is_ten_milligrams_in_a_millilitre(percent):
    assert parse_strength(f"{percent} %").amounts == parse_strength(f"{percent * 10} mg/mL").amounts


@given(st.decimals(min_value="0.01", max_value=100, places=2), st.integers(1, 500))
def test_pounds_and_kilograms_state_the_same_rate(amount, weight):
    in_lb = parse_dose_rate(f"{amount} mL/{weight} lb").low[0]
    assert in_lb == parse_dose_rate(f"{amount} mL/{weight} kg").low[0] / LB


PIECES = st.lists(
    st.sampled_from([
        "0", "1", "0.2", "0,5", "1,250", "10⁶", "mg", "mL", "g", "IU", "kg", "lb", "head", "/", "per", "%", "+", "-",
        "to", "(", ")", "=", "day", "h",
    ])
)  # fmt: skip


@given(PIECES.map(" ".join) | PIECES.map("".join) | st.text(max_size=8))
def test_any_text_is_understood_or_refused(text):
    for parse in (parse_dose_rate, parse_strength, parse_amount, parse_hours):
        with suppress(LabelError):
            parse(text)


@pytest.mark.parametrize(
    ("text", "amount", "unit"),
    [
        ("0.1 mL", Fraction(1, 10), "mL"), ("0,1 ml", Fraction(1, 10), "mL"), ("20 cc", 20, "mL"), ("1 L", 1000, "mL"),
        ("2 tablets", 2, "tablet"), ("1 bolus", 1, "bolus"), ("50 doses", 50, "dose_unit"), ("5 g", 5, "g_product"),
    ],
)  # fmt: skip
def test_amount_of_product(text, amount, unit):
    assert parse_amount(text) == (amount, unit)


@pytest.mark.parametrize("text", ["", "0.1", "0.1 mg", "0.1 kg", "1,250 mL", "small", "mL", "tablet"])
def test_other_amounts_are_refused_with_the_accepted_spellings(text):
    with pytest.raises(LabelError, match=re.escape(AMOUNT_HELP)):
        parse_amount(text)


@pytest.mark.parametrize(("text", "hours"), [("24 h", 24), ("24 hours", 24), ("2 days", 48), ("1 week", 168)])
def test_interval(text, hours):
    assert parse_hours(text) == hours


@pytest.mark.parametrize("text", ["", "24", "twice", "2 months", "3 milkings", "1,250 h"])
def test_other_intervals_are_refused_with_the_accepted_spellings(text):
    with pytest.raises(LabelError, match=re.escape(INTERVAL_HELP)):
        parse_hours(text)


# What a general unit library makes of label figures, and ours must not.


def test_a_rate_is_no_percentage():
    with pytest.raises(pint.DimensionalityError):
        convert(Fraction(1), "mg / kg_bw", "mg / g")
    with pytest.raises(pint.DimensionalityError):
        convert(Fraction(1), "mg / kg_bw", "")


def test_a_millilitre_for_fifty_kilograms_is_divided_not_multiplied():
    assert parse_dose_rate("1 mL/50kg").low == parse_dose_rate("2 mL/100 kg").low == (Fraction(1, 50),)


def test_units_of_activity_are_no_mass():
    with pytest.raises(pint.DimensionalityError):
        convert(Fraction(1), "IU", "mg")


def test_a_pound_is_exact():
    assert convert(Fraction(1), "lb_bw", "kg_bw") == LB


@pytest.mark.parametrize("name", ["meter", "degC", "stone", "cwt", "ppm", "percent"])
def test_only_units_of_the_trade_are_known(name):
    with pytest.raises(pint.UndefinedUnitError):
        registry().Unit(name)
