"""Single cells: weights, dates, times, yes and no. What can be read two ways is refused, never guessed."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchdose.model import NG_PER_KG
from batchdose.read.book import NoValue
from batchdose.read.cells import (
    CellError,
    read_count,
    read_expiry,
    read_first_day,
    read_moment,
    read_number,
    read_share,
    read_time_of_day,
    read_times,
    read_yes_no,
    weight_ng,
)

DUBLIN = ZoneInfo("Europe/Dublin")
UTC_ZONE = ZoneInfo("UTC")
ERROR = NoValue("#N/A", "shows an error")
FORMULA = NoValue("a formula", "holds a formula that was never calculated")

WEIGHTS = [
    ("137 1/2 lb", "", "62.368950875"),  # 137.5 x 0.45359237
    ("137½ lb", "", "62.368950875"),
    ("62½", "kg", "62.5"),
    # cell, unit of the column, kilograms
    (62.5, "kg", "62.5"),
    (62, "kg", "62"),
    ("62,5", "kg", "62.5"),
    ("62.5", "kg", "62.5"),
    (" 62.5 ", "kg", "62.5"),
    ("62.5 kg", "", "62.5"),
    ("62.5kg", "", "62.5"),
    ("62,5 KG", "", "62.5"),
    ("62.5 kilos", "", "62.5"),
    (100, "lb", "45.359237"),
    ("100 lb", "", "45.359237"),
    ("100 lbs", "", "45.359237"),
    ("100 pounds", "", "45.359237"),
    (137.5, "lb", "62.368950875"),
    ("62.5 kg", "lb", "62.5"),  # the cell's own unit stands above the column's
    ("100 lb", "kg", "45.359237"),
    (0.1, "kg", "0.1"),
    (30.000000000000004, "kg", "30"),  # what a sheet's own sum of 10.1 and 19.9 may hold
]

NO_WEIGHTS = [
    # cell, unit of the column, what is wrong
    ("1,250", "kg", "1,250"),
    ("4o", "kg", '"o" is not a unit of weight'),
    ("62.5.1", "kg", "not a number"),
    ("62.5 or 63", "kg", "not a number"),
    ("about 60", "kg", "not a number"),
    ("-5", "kg", "not a number"),
    (-5.0, "kg", "more than zero"),
    (0, "kg", "more than zero"),
    ("62²", "kg", "unit of weight"),
    ("137 1/3 lb", "kg", "not a number"),
    ("1/2 lb", "kg", "not a number"),
    (62.5, "", "kg or lb"),
    ("62.5", "", "kg or lb"),
    ("3 cwt", "kg", '"cwt" is not a unit of weight'),
    ("9 st", "kg", '"st" is not a unit of weight'),
    ("62500 g", "kg", '"g" is not a unit of weight'),
    (True, "kg", "not a weight"),
    (date(2026, 6, 1), "kg", "not a weight"),
    (ERROR, "kg", "shows an error"),
    (FORMULA, "kg", "never calculated"),
]


@pytest.mark.parametrize(("cell", "unit", "kilograms"), WEIGHTS)
def test_weight(cell, unit, kilograms):
    assert weight_ng(cell, unit) == Fraction(kilograms) * NG_PER_KG


@pytest.mark.parametrize(("cell", "unit", "problem"), NO_WEIGHTS)
def test_what_is_no_weight_is_refused_with_the_reason(cell, unit, problem):
    with pytest.raises(CellError, match=problem):
        weight_ng(cell, unit)


def test_a_tick_is_no_weight_even_after_one_kilogram_was_read():
    assert weight_ng(1.0, "kg") == NG_PER_KG
    with pytest.raises(CellError):
        weight_ng(True, "kg")


@given(st.integers(1, 10**8))
def test_weights_with_four_decimals_are_exact_in_both_units(tenths_of_grams):
    weight = f"{tenths_of_grams // 10000}.{tenths_of_grams % 10000:04d}"
    assert weight_ng(weight, "kg") == Fraction(tenths_of_grams, 10000) * NG_PER_KG
    assert weight_ng(float(weight), "kg") == weight_ng(weight, "kg")
    assert weight_ng(weight, "lb") == Fraction(tenths_of_grams, 10000) * 453592370000


@given(st.text(max_size=8))
def test_any_text_is_a_weight_or_refused(text):
    with suppress(CellError):
        assert weight_ng(text, "kg") > 0


DATES = [
    # as written, day, time or None
    ("2026-03-14", (2026, 3, 14), None),
    ("2026-3-4", (2026, 3, 4), None),
    ("2026-03-14 09:00", (2026, 3, 14), time(9)),
    ("2026-03-14T09:00", (2026, 3, 14), time(9)),
    ("2026-03-14 9:05", (2026, 3, 14), time(9, 5)),
    ("2026-03-14T09:00:00", (2026, 3, 14), time(9)),
    ("2026-03-14T00:00", (2026, 3, 14), time(0)),
    ("14 March 2026", (2026, 3, 14), None),
    ("14 Mar 2026", (2026, 3, 14), None),
    ("14. march 2026", (2026, 3, 14), None),
    ("4 Sept 2026", (2026, 9, 4), None),
    ("14 March 2026, 09:00", (2026, 3, 14), time(9)),
    ("14/03/2026", (2026, 3, 14), None),
    ("14.03.2026", (2026, 3, 14), None),
    ("03/14/2026", (2026, 3, 14), None),
    ("05/05/2026", (2026, 5, 5), None),
    ("14/03/2026 09:00", (2026, 3, 14), time(9)),
    ("2026-03-14T09:00:00+00:00", (2026, 3, 14), time(9)),
    ("2026-06-14T09:00:00Z", (2026, 6, 14), time(10)),  # summer time in Dublin
    (date(2026, 3, 14), (2026, 3, 14), None),
    (datetime(2026, 3, 14), (2026, 3, 14), None),  # noqa: DTZ001 - as a sheet keeps a date
    (datetime(2026, 3, 14, 9), (2026, 3, 14), time(9)),  # noqa: DTZ001 - the same
]


@pytest.mark.parametrize(("cell", "day", "at"), DATES, ids=str)
def test_date_or_date_and_time(cell, day, at):
    moment = read_moment(cell, DUBLIN)
    assert moment.at == datetime(*day, *((at.hour, at.minute) if at else ()), tzinfo=DUBLIN)
    assert moment.timed is (at is not None)


@pytest.mark.parametrize("text", ["03/04/2026", "3/4/2026", "12.01.2026", "01/02/2026 09:00"])
def test_a_date_that_could_be_two_is_refused(text):
    with pytest.raises(CellError, match="could be two dates, day first or month first"):
        read_moment(text, DUBLIN)


@pytest.mark.parametrize(
    "cell",
    [
        "", "soon", "31 February 2026", "2026-02-30", "2026-13-01", "32/01/2026", "13/13/2026", "14/03/26", "14 March",
        "14 Foo 2026", "46095", 46095.0, "2026-03-14T25:00", True, ERROR, FORMULA, None, timedelta(hours=9),
    ],
)  # fmt: skip
def test_what_is_no_date_is_refused(cell):
    with pytest.raises(CellError):
        read_moment(cell, DUBLIN)


@pytest.mark.parametrize("cell", ["20260314", 20260314.0, "2026-W11-6"])
def test_a_day_without_a_time_is_not_taken_for_its_midnight(cell):
    # Fourteen days counted from the midnight before would be clear one day too early.
    with suppress(CellError):
        assert not read_moment(cell, DUBLIN).timed


@given(st.datetimes(min_value=datetime(2000, 1, 1), max_value=datetime(2099, 12, 31)))  # noqa: DTZ001 - naive on purpose
def test_a_date_and_time_come_back(at):
    written = at.replace(second=0, microsecond=0)
    moment = read_moment(f"{written:%Y-%m-%d %H:%M}", ZoneInfo("UTC"))
    assert moment.at == written.replace(tzinfo=UTC)
    assert moment.timed


@given(st.text(alphabet="0123456789-/. :TZWadeMmrch+", max_size=18))
def test_any_text_is_a_date_or_refused(text):
    with suppress(CellError):
        read_moment(text, DUBLIN)


@pytest.mark.parametrize(
    ("cell", "last_day"),
    [
        ("2028-02", date(2028, 2, 29)), ("2027-02", date(2027, 2, 28)), ("02/2028", date(2028, 2, 29)),
        ("2028-12", date(2028, 12, 31)), ("2028-02-14", date(2028, 2, 14)), ("14 February 2028", date(2028, 2, 14)),
        (date(2028, 2, 14), date(2028, 2, 14)), (datetime(2028, 2, 14), date(2028, 2, 14)),  # noqa: DTZ001 - as in a sheet
    ],
)  # fmt: skip
def test_expiry_a_month_means_its_last_day(cell, last_day):
    assert read_expiry(cell) == last_day


@pytest.mark.parametrize(("order", "month"), [("day first", 4), ("month first", 3)])
def test_expiry_and_opening_follow_the_order_of_dates(order, month):
    assert read_expiry("03/04/2027", order).month == read_first_day("03/04/2027", order).month == month


@pytest.mark.parametrize("code", ["mm/yy", "mmm-yy", "mmm\\-yy", "mmmm yyyy", "[$-809]mm/yyyy;@"])
def test_expiry_of_a_date_that_is_shown_as_a_month_is_its_last_day(code):
    assert read_expiry(datetime(2028, 2, 1), code=code) == date(2028, 2, 29)  # noqa: DTZ001 - as in a sheet


@pytest.mark.parametrize("code", ["", "dd/mm/yy", "d mmm yyyy", "yyyy-mm-dd"])
def test_expiry_of_a_date_that_is_shown_with_its_day_is_that_day(code):
    assert read_expiry(datetime(2028, 2, 1), code=code) == date(2028, 2, 1)  # noqa: DTZ001 - as in a sheet


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("15th June 2026", (15, 0, 0)), ("Mon 15 June 2026", (15, 0, 0)), ("Monday, 15 June 2026", (15, 0, 0)),
        ("June 15th, 2026", (15, 0, 0)), ("1st June 2026", (1, 0, 0)), ("15 June 2026 9:00 am", (15, 9, 0)),
        ("15 June 2026, 5.30 pm", (15, 17, 30)), ("2026-06-15 9 am", (15, 9, 0)), ("Mon 2026-06-15", (15, 0, 0)),
        ("15 June 2026 12:10 am", (15, 0, 10)),
    ],
)  # fmt: skip
def test_dates_as_people_write_them(text, at):
    day, hour, minute = at
    assert read_moment(text, UTC_ZONE).at == datetime(2026, 6, day, hour, minute, tzinfo=UTC_ZONE)


@pytest.mark.parametrize("text", ["Tue 15 June 2026", "15 June 2026 13:00 pm", "15 June 2026 9", "Foo 15 June 2026"])
def test_dates_that_contradict_themselves_are_refused(text):
    with pytest.raises(CellError):
        read_moment(text, UTC_ZONE)


def test_a_year_of_two_digits_lies_not_far_ahead():
    assert read_moment("01/02/27", UTC_ZONE, "day first").at.year == 2027
    with pytest.raises(CellError, match="1999 or 2099"):
        read_moment("01/02/99", UTC_ZONE, "day first")


@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("62-1/2 kg", "62.5"),
        ("+62", "62"),
        ("137 lbs, 8 ounces", "62.3689508750"),
        ("137 pounds 8 oz", "62.3689508750"),
    ],
)
def test_weights_as_people_write_them(text, kilograms):
    # 137.5 lb of 0.45359237 kg (NIST SP 811, appendix B.8) is 62.368950875 kg.
    assert Fraction(weight_ng(text, "kg"), 10**12) == Fraction(kilograms)


@pytest.mark.parametrize("cell", ["2028-13", "2028-00", "13/2028", "02/28", "2028", "03/04/2028", ERROR, 2028.0])
def test_what_is_no_expiry_is_refused(cell):
    with pytest.raises(CellError):
        read_expiry(cell)


@pytest.mark.parametrize(
    ("cell", "times"),
    [
        ("06:00, 17:30", (time(6), time(17, 30))), ("17:30; 6:00", (time(6), time(17, 30))),
        ("6:00 and 17:30", (time(6), time(17, 30))), ("05:00, 13:00, 21:00", (time(5), time(13), time(21))),
        ("09.30", (time(9, 30),)), ("9:30 am", (time(9, 30),)), ("6 a.m. & 5.30 PM", (time(6), time(17, 30))),
        ("12:15 am / 12 pm", (time(0, 15), time(12))),
        ("06:00", (time(6),)), ("06:00, 06:00", (time(6),)), (time(6), (time(6),)),
    ],
)  # fmt: skip
def test_milking_times(cell, times):
    assert read_times(cell) == times


@pytest.mark.parametrize(
    "cell", ["", "six", "6", "25:00", "06:61", "06:00 17:30", "0600", "13 pm", ERROR, FORMULA, 6.0]
)
def test_what_are_no_times_is_refused(cell):
    with pytest.raises(CellError, match="06:00, 17:30"):
        read_times(cell)


@pytest.mark.parametrize("cell", ["09:30", time(9, 30), timedelta(hours=9, minutes=30), 9.5 / 24])
def test_time_of_day(cell):
    assert read_time_of_day(cell) == time(9, 30)


@pytest.mark.parametrize("cell", ["06:00, 17:30", "9.30 or so", 9.5, ERROR])
def test_what_is_no_one_time_is_refused(cell):
    with pytest.raises(CellError):
        read_time_of_day(cell)


@pytest.mark.parametrize("cell", ["yes", "Yes", "Y", "TRUE", "x", 1.0, True])
def test_yes(cell):
    assert read_yes_no(cell) is True


@pytest.mark.parametrize("cell", ["no", "No", "N", "FALSE", 0.0, False])
def test_no(cell):
    assert read_yes_no(cell) is False


@pytest.mark.parametrize("cell", ["", "maybe", "ys", "?", 2.0, "yes and no", ERROR, FORMULA])
def test_neither_yes_nor_no_is_refused(cell):
    with pytest.raises(CellError, match="neither yes nor no"):
        read_yes_no(cell)


@pytest.mark.parametrize(("cell", "count"), [(3.0, 3), ("3", 3), (120, 120), ("1 200", 1200)])
def test_count(cell, count):
    assert read_count(cell) == count


@pytest.mark.parametrize("cell", [0, -1.0, 2.5, "2,5", "1,250", "many", "", ERROR, True])
def test_what_is_no_count_is_refused(cell):
    with pytest.raises(CellError):
        read_count(cell)


@pytest.mark.parametrize(("cell", "problem"), [(ERROR, "shows an error"), (FORMULA, "never calculated"), ("4o", "4o")])
def test_a_number_that_is_none_says_why(cell, problem):
    with pytest.raises(CellError, match=problem):
        read_number(cell)


@pytest.mark.parametrize("cell", ["5 %", "5%", "5", 5.0, "5,0 %"])
def test_share_of_spare(cell):
    assert read_share(cell) == Fraction(1, 20)


@pytest.mark.parametrize("cell", [0.5, "0.5", "0,5", 0.05])
def test_a_share_that_could_be_a_percentage_or_not_is_asked_about(cell):
    with pytest.raises(CellError, match=r"could be .+ % or .+ %"):
        read_share(cell)


def test_a_share_of_nothing_is_nothing():
    assert read_share(0.0) == read_share("0 %") == 0


def test_no_share_is_below_nothing():
    with pytest.raises(CellError):
        read_share("-5 %")
    with pytest.raises(CellError):
        read_share(-5.0)
