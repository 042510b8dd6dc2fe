"""Numbers as people type them: read where they can mean one thing, refused where they cannot."""

from __future__ import annotations

from contextlib import suppress
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchdose.read.numbers import NotANumberError, exact, parse_number

ACCEPTED = [
    ("62", 62),
    ("62.5", Decimal("62.5")),
    ("62,5", Decimal("62.5")),
    (" 62.5 ", Decimal("62.5")),
    (".5", Decimal("0.5")),
    ("0.125", Decimal("0.125")),
    ("0,125", Decimal("0.125")),
    ("62,25", Decimal("62.25")),
    ("1,2345", Decimal("1.2345")),
    ("007", 7),
    ("300 000", 300000),
    ("300\u00a0000", 300000),  # no-break space
    ("300\u202f000", 300000),  # narrow no-break space
    ("300'000", 300000),
    ("300’000", 300000),
    ("1 250.5", Decimal("1250.5")),
    ("1 250,5", Decimal("1250.5")),
    ("1,250.5", Decimal("1250.5")),
    ("1.250,5", Decimal("1250.5")),
    ("1,250,000", 1250000),
    ("1.250.000", 1250000),
    ("\uff16\uff12\uff0e\uff15", Decimal("62.5")),  # full-width digits and stop
]

AMBIGUOUS = ["1,250", "10,000", "300,000", "999,999", "62,500"]

REFUSED = [
    "", " ", "4o", "l2", "62.5.1", "62,5,1", "1,25,000", "12,34.5", "1 25", "12 3456", "1' 250", "5.", "5,",
    "-5", "+5", "1e3", "1E3", "0x10", "1/2",
    "½", "62 1/3", "62 5/0", "5-6", "~60", "60?", ">60", "nan", "inf", "ten", "1.2 3",
    "1.250.00", "1.250,000.5",
]  # fmt: skip


@pytest.mark.parametrize(("text", "number"), ACCEPTED, ids=repr)
def test_one_meaning_is_read(text, number):
    assert parse_number(text) == Fraction(number)


@pytest.mark.parametrize("text", AMBIGUOUS)
def test_two_meanings_are_refused_and_both_named(text):
    plain, decimal = text.replace(",", ""), f"{float(text.replace(',', '.')):g}"
    with pytest.raises(NotANumberError, match=f'^"{text}" could be {decimal} or {plain}$'):
        parse_number(text)


@pytest.mark.parametrize("text", REFUSED)
def test_anything_else_is_no_number(text):
    with pytest.raises(NotANumberError, match="is not a number"):
        parse_number(text)


@pytest.mark.parametrize("text", ["62²", "10⁶", "6₂", "①", "1²½"])
def test_raised_lowered_and_ringed_digits_are_not_plain_ones(text):
    # 10⁶ IU/mL read as 106 IU/mL would give ten thousand times the dose.
    with pytest.raises(NotANumberError):
        parse_number(text)


@given(st.integers(min_value=0, max_value=10**12))
def test_whole_numbers_come_back(number):
    assert parse_number(str(number)) == number


@given(st.decimals(min_value=0, max_value=10**9, places=4))
def test_numbers_with_a_point_come_back(number):
    assert parse_number(f"{number:f}") == Fraction(number)


@given(st.integers(0, 10**9), st.integers(0, 99))
def test_a_decimal_comma_is_a_decimal_point(whole, hundredths):
    assert parse_number(f"{whole},{hundredths:02d}") == Fraction(whole * 100 + hundredths, 100)


@given(st.integers(1000, 10**12), st.sampled_from([" ", "'", "\u00a0", "\u202f"]))
def test_thousands_parted_by_a_space_or_apostrophe_come_back(number, mark):
    assert parse_number(f"{number:,}".replace(",", mark)) == number


@given(st.integers(10**6, 10**12), st.sampled_from([",", "."]))
def test_two_marks_alike_part_thousands(number, mark):
    assert parse_number(f"{number:,}".replace(",", mark)) == number


@given(st.text(alphabet="0123456789.,' -", max_size=12) | st.text(max_size=8))
def test_any_text_is_a_number_or_refused(text):
    with suppress(NotANumberError):
        assert parse_number(text) >= 0


@given(st.floats(min_value=0, allow_nan=False, allow_infinity=False))
def test_a_number_cell_is_the_decimal_that_it_shows(number):
    assert exact(number) == Fraction(Decimal(str(number)))
    assert float(exact(number)) == number
