"""Numbers and dates on paper: what is printed is what is meant, and cannot be read as anything else.

The forms to avoid are those of the ISMP list of error-prone abbreviations: no naked point, no trailing zero.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchdose.amounts import amount_text, clean, date_text, number_text, unit_word

numbers = st.one_of(
    st.fractions(0, 10**7, max_denominator=10**6),
    st.decimals(0, 2000, places=4, allow_nan=False).map(Fraction),
    st.floats(0, 10**7, allow_nan=False),
)


def value(text: str) -> Fraction:
    return Fraction(text.replace(",", ""))


@given(numbers)
def test_a_number_is_written_the_safe_way(number):
    assert re.fullmatch(r"(0|[1-9]\d{0,2}(,\d{3})*)(\.\d*[1-9])?", number_text(number))


@given(numbers)
def test_what_is_printed_is_the_number_to_its_last_printed_place(number):
    exact = Fraction(str(number)) if isinstance(number, float) else number
    off = abs(value(number_text(number)) - exact)
    assert off <= (Fraction(1, 2000) if exact >= 1 else exact / 200), "three decimals, or three digits under one"


@given(st.decimals("0.001", "2000", places=3, allow_nan=False))
def test_three_decimals_are_printed_whole(number):
    assert value(number_text(Fraction(number))) == value(number_text(float(number))) == Fraction(number)


@given(st.integers(1, 20_000), st.sampled_from(["0.01", "0.02", "0.05", "0.1", "0.2", "0.25", "0.5", "1", "2", "5"]))
def test_every_mark_of_a_usual_device_is_printed_exactly(marks, step):
    dose = marks * Fraction(step)
    assert value(amount_text(dose, "mL").removesuffix(" mL")) == dose == value(number_text(float(dose)))


@pytest.mark.parametrize(
    ("number", "unit", "text"),
    [
        (0.5, "mL", "0.5 mL"),
        (Fraction(5), "mL", "5 mL"),
        (0.0004, "mg", "0.0004 mg"),
        (1250, "mL", "1,250 mL"),
        (300_000, "IU", "300,000 units"),
        (200, "ug", "200 mcg"),
        (1, "tablet", "1 tablet"),
        (Fraction(1, 2), "tablet", "0.5 tablet"),
        (Fraction(3, 2), "tablet", "1.5 tablets"),
        (2, "bolus", "2 boluses"),
        (2, "dose_unit", "2 doses"),
        (2, "g_product", "2 g"),
        (0, "mL", "0 mL"),
    ],
)
def test_amounts_on_paper(number, unit, text):
    assert amount_text(number, unit) == text


def test_units_have_one_word_each():
    assert [unit_word(unit, 2) for unit in ("mL", "IU", "ug", "capsule", "sachet", "tube")] == [
        "mL", "units", "mcg", "capsules", "sachets", "tubes",
    ]  # fmt: skip


@given(st.integers(0, 20_000))
def test_a_date_names_its_weekday_and_month(ahead):
    day = date(2000, 1, 1) + timedelta(days=ahead)
    weekday, number, month, year = date_text(day).split()
    assert (weekday, month) == (day.strftime("%A"), day.strftime("%B"))
    assert (int(number), int(year)) == (day.day, day.year)
    assert not number.startswith("0")


@pytest.mark.parametrize(
    ("typed", "plain"),
    [(" 62\u00a0kg ", "62 kg"), ("\uff16\uff12", "62"), ("\u30006  2\t", "6 2"), ("1\u2019000", "1'000")],
)
def test_text_is_made_plain(typed, plain):
    assert clean(typed) == plain
