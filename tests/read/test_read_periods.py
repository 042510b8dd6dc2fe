"""Withdrawal periods as labels print them. Blank is not zero, and what is not understood is refused."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchdose import parse_period
from batchdose.model import NOT_PERMITTED, Period
from batchdose.read.labels import PERIOD_HELP, LabelError

PERIODS = [
    # as written, days, hours, milkings
    ("28 days", 28, None, None),
    ("28 d", 28, None, None),
    ("1 day", 1, None, None),
    ("28 DAYS", 28, None, None),
    ("4 weeks", 28, None, None),
    ("1 wk", 7, None, None),
    ("72 h", None, 72, None),
    ("72 hours", None, 72, None),
    ("36 hrs", None, 36, None),
    ("6 milkings", None, None, 6),
    ("1 milking", None, None, 1),
    ("72 h and 6 milkings", None, 72, 6),
    ("72 hours (6 milkings)", None, 72, 6),
    ("72 h; 6 milkings", None, 72, 6),
    ("3.5 days", Fraction("3.5"), None, None),
    ("3,5 days", Fraction("3.5"), None, None),
    ("0 days", 0, None, None),
    ("0 h", None, 0, None),
    ("nil", 0, None, None),
    ("Nil", 0, None, None),
    ("zero days", 0, None, None),
]


@pytest.mark.parametrize(("text", "days", "hours", "milkings"), PERIODS, ids=[row[0] for row in PERIODS])
def test_period(text, days, hours, milkings):
    assert parse_period(text) == Period(days, hours, milkings, text=text)


@pytest.mark.parametrize("text", ["", " ", "-", "–", "—", "not stated", "Not stated", "n/a"])
def test_blank_and_dash_are_not_stated_and_never_zero(text):
    assert parse_period(text) is None


@pytest.mark.parametrize("text", ["not permitted", "Not Permitted", "not allowed", "never", "do not use"])
def test_not_permitted(text):
    assert parse_period(text) == NOT_PERMITTED


@pytest.mark.parametrize(
    "text",
    [
        "28", "0", "28 months", "28 dys", "28-30 days", "1,250 days", "-3 days", "about 28 days", "28 days?", "#N/A",
        "28 kg", "28 days and", "none", "withdrawal", "see label", "O days", "28 days meat",

    ],
)  # fmt: skip
def test_anything_else_is_refused_with_the_accepted_spellings(text):
    with pytest.raises(LabelError, match=re.escape(PERIOD_HELP)):
        parse_period(text)


@pytest.mark.parametrize("text", ["days", "h", "week", "milkings", "day and 6 milkings"])
def test_a_unit_without_its_number_is_refused_not_taken_for_one(text):
    with pytest.raises(LabelError, match=re.escape(PERIOD_HELP)):
        parse_period(text)


@pytest.mark.parametrize("text", ["()", ";", "( )", "; ;"])
def test_marks_with_nothing_between_them_are_refused(text):
    for unit in (None, "days"):
        with pytest.raises(LabelError):
            parse_period(text, unit)


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("4 weeks and 2 days", 30),
        ("28 days and 14 days", 28),
        ("14 days and 28 days", 28),
        ("1 day and 12 h", Fraction(3, 2)),
    ],
)
def test_two_lengths_of_time_are_never_read_as_the_shorter(text, days):
    try:
        period = parse_period(text)
    except LabelError:
        return
    assert max(period.days or 0, (period.hours or Fraction(0)) / 24) >= days


@pytest.mark.parametrize(
    ("text", "unit", "days", "hours", "milkings"),
    [
        ("28", "days", 28, None, None), ("28.5", "days", Fraction("28.5"), None, None), ("0", "days", 0, None, None),
        ("72", "h", None, 72, None), ("72", "hours", None, 72, None), ("6", "milkings", None, None, 6),
        ("4", "weeks", 28, None, None),
    ],
)  # fmt: skip
def test_a_bare_number_takes_the_unit_of_its_heading(text, unit, days, hours, milkings):
    assert parse_period(text, unit) == Period(days, hours, milkings, text=f"{text} {unit}")


def test_a_unit_in_the_cell_stands_above_that_of_the_heading():
    assert parse_period("72 h", "days") == Period(hours=Fraction(72), text="72 h")
    assert parse_period("72 h and 6 milkings", "days").hours == 72


def test_a_heading_unit_that_is_no_time_is_refused():
    with pytest.raises(LabelError):
        parse_period("28", "kg")


def test_blank_under_a_unit_is_still_not_stated():
    assert parse_period("", "days") is None
    assert parse_period("-", "days") is None


@given(st.integers(0, 400), st.sampled_from(["days", "h", "milkings"]))
def test_number_and_unit_come_back(number, unit):
    part = {"days": "days", "h": "hours", "milkings": "milkings"}[unit]
    assert getattr(parse_period(f"{number} {unit}"), part) == number
    assert parse_period(str(number), unit) == parse_period(f"{number} {unit}")


PIECES = st.lists(
    st.sampled_from(["0", "28", "1,250", "days", "h", "week", "milkings", "and", "nil", "-", ";", "(", ")"])
)


@given(PIECES.map(" ".join) | st.text(max_size=8), st.sampled_from([None, "days"]))
def test_any_text_is_understood_or_refused(text, unit):
    try:
        period = parse_period(text, unit)
    except LabelError:
        return
    assert period is None or not period.permitted or (period.days, period.hours, period.milkings) != (None,) * 3
