"""Clear-from: never before the last dose and its whole periods, by whatever clock, and the longest period wins.

Legal minimums and the organic rule are those of `batchdose/data/withdrawal_minimums.csv`; the checks below
repeat each figure with its article, so that a slip in the table is found.
"""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_jobs import MORNING, many, medicine

from batchdose import parse_period
from batchdose.calculate.courses import course_clear
from batchdose.calculate.minimums import minimums
from batchdose.calculate.withdrawal import clear_after_birth, clear_from, in_whole_days, latest, scaled
from batchdose.model import NOT_PERMITTED, STATES, Clear, Course, Moment, Period, SessionFacts

# Clocks go forward on 29 March and back on 25 October 2026 in London, on 8 March and 1 November in Chicago.
ZONES = tuple(ZoneInfo(name) for name in ("Europe/London", "America/Chicago"))
CHANGES = tuple(date.fromisoformat(day) for day in ("2026-03-08", "2026-03-29", "2026-10-25", "2026-11-01"))

days_near_a_change = st.builds(
    lambda day, ahead: day + timedelta(days=ahead), st.sampled_from(CHANGES), st.integers(-6, 2)
)
hours_of_a_day = st.builds(time, st.integers(0, 23), st.integers(0, 59))


@st.composite
def moments(draw, *, timed: bool = True):
    """A moment of treatment that the clocks of its zone can show, near a change of the clocks or far from it."""
    day = draw(st.one_of(days_near_a_change, st.dates(date(2026, 1, 1), date(2027, 12, 31))))
    zone = draw(st.sampled_from(ZONES))
    at = datetime.combine(day, draw(hours_of_a_day) if timed else time(0), zone)
    return Moment(at.astimezone(UTC).astimezone(zone), timed=timed)


amounts = st.one_of(st.integers(0, 60).map(Fraction), st.fractions(0, 60, max_denominator=24))
days = st.builds(lambda n: Period(days=n, text=f"{n} days"), amounts)
hours = st.builds(lambda n: Period(hours=n, text=f"{n} h"), amounts)
once, twice, thrice = (time(7),), (time(6), time(17, 30)), (time(5), time(13), time(21))
milking_times = st.sampled_from([once, twice, thrice, (time(6), time(18)), (time(5, 30), time(12), time(20))])


def elapsed(start: datetime, end: datetime) -> timedelta:
    """Time that has passed, whatever the clocks did between."""
    return end.astimezone(UTC) - start.astimezone(UTC)


@many
@given(moments(), amounts)
def test_days_after_a_known_hour_are_whole_periods_of_24_elapsed_hours(last, number):
    clear = clear_from(last, Period(days=number))
    assert elapsed(last.at, clear.at) == timedelta(hours=24 * math.ceil(number))


@many
@given(moments(), amounts)
def test_hours_stay_hours_and_are_never_cut(last, number):
    over = elapsed(last.at, clear_from(last, Period(hours=number)).at) - timedelta(seconds=float(number * 3600))
    assert timedelta(0) <= over <= timedelta(seconds=1)


@many
@given(moments(timed=False), st.integers(0, 60))
def test_days_after_a_day_run_from_midnight_to_midnight(last, number):
    clear = clear_from(last, Period(days=Fraction(number)))
    assert clear.at.date() == last.at.date() + timedelta(days=number + 1)
    assert clear.at.time() == time(0)


@many
@given(moments(timed=False), st.one_of(days, hours), hours_of_a_day)
def test_a_day_without_its_hour_is_clear_no_earlier_than_with_any_hour_of_it(last, period, hour):
    # By calendar midnights; where the clocks go forward between, an hour late in the evening may be a little later.
    known = Moment(datetime.combine(last.at.date(), hour, last.at.tzinfo), timed=True)
    of_day, of_hour = clear_from(last, period).at, clear_from(known, period).at
    forward = max(of_day.utcoffset() - last.at.utcoffset(), timedelta(0))
    assert elapsed(of_hour, of_day) > -forward
    assert of_day.date() >= of_hour.date()


@many
@given(moments(), st.booleans(), amounts, amounts, st.sampled_from(["days", "hours", "milkings"]), milking_times)
def test_a_longer_period_is_never_clear_earlier(last, timed, one, other, kind, milkings):
    last = Moment(last.at, timed=timed)
    shorter, longer = (
        clear_from(last, Period(**{kind: number}), milking_times=milkings, milk=True) for number in sorted((one, other))
    )
    assert elapsed(shorter.at, longer.at) >= timedelta(0)


@many
@given(moments(), st.booleans(), st.fractions(0, 12, max_denominator=4), milking_times)
def test_milkings_never_end_before_as_many_milkings_nor_before_12_hours_for_each(last, timed, number, milkings):
    # 21 CFR 526.820(d)(3) and its neighbours print 36 h as 3 milkings, 48 h as 4: twelve hours for each at least.
    last, count = Moment(last.at, timed=timed), math.ceil(number)
    start = last.at if timed else datetime.combine(last.at.date() + timedelta(days=1), time(0), last.at.tzinfo)
    clear = clear_from(last, Period(milkings=number), milking_times=milkings, milk=True)
    assert elapsed(start, clear.at) >= timedelta(hours=12 * count)
    assert clear.at.time() in milkings, "usable from a milking on"
    every = (
        datetime.combine(start.date() + timedelta(days=ahead), at, start.tzinfo)
        for ahead in range(2 * count + 3)
        for at in milkings
    )
    kept_back = [at for at in every if elapsed(start, at) > timedelta(0) and elapsed(at, clear.at) > timedelta(0)]
    assert len(kept_back) >= count


@many
@given(moments(), hours, milking_times)
def test_milk_is_clear_at_the_first_milking_at_or_after_the_end_and_no_later(last, period, milkings):
    end = clear_from(last, period).at
    clear = clear_from(last, period, milking_times=milkings, milk=True).at
    assert clear.time() in milkings
    assert timedelta(0) <= elapsed(end, clear) <= timedelta(hours=25), "one milking a day, clocks going back"
    before = [at for at in milkings if at < clear.time()]
    if before and end.date() == clear.date():
        assert elapsed(datetime.combine(clear.date(), max(before), clear.tzinfo), end) > timedelta(0)


@given(moments(), st.lists(st.one_of(days, hours), min_size=1, max_size=4))
def test_of_several_periods_the_latest_end_holds(last, periods):
    each = [clear_from(last, period) for period in periods]
    together = latest(each)
    assert together in each
    assert all(elapsed(clear.at, together.at) >= timedelta(0) for clear in each)
    parts = Period(days=periods[0].days or Fraction(0), hours=periods[-1].hours or Fraction(0))
    ends = [clear_from(last, Period(days=parts.days)), clear_from(last, Period(hours=parts.hours))]
    assert clear_from(last, parts).at == latest(ends).at


@given(moments(), st.booleans(), st.lists(st.one_of(days, hours), max_size=3), milking_times)
def test_blank_is_never_from_and_never_shortens_or_hides_behind_another(last, timed, others, milkings):
    last = Moment(last.at, timed=timed)
    blank = clear_from(last, None, milking_times=milkings, milk=True)
    assert (blank.at, blank.state) == (None, "not_stated")
    assert latest([*(clear_from(last, period) for period in others), blank]).state == "not_stated"


def test_the_strongest_state_holds():
    each = [Clear(MORNING.at if state == "from" else None, state) for state in STATES]
    for at in range(len(STATES)):
        assert latest(each[: at + 1]).state == STATES[at]
    assert latest([]).state == "not_applicable"


def test_milkings_without_milking_times_cannot_be_counted():
    assert clear_from(MORNING, Period(milkings=Fraction(6)), milk=True).state == "not_stated"
    assert clear_from(MORNING, NOT_PERMITTED).state == "not_permitted"


@given(st.one_of(days, hours, st.builds(lambda n: Period(milkings=n), amounts)), st.fractions(1, 3))
def test_a_legal_minimum_is_in_whole_days_and_never_shorter_than_the_scaled_period(period, factor):
    longer = scaled(period, factor, "")
    whole = in_whole_days(longer, "")
    needed = max((longer.days or 0) * 24, longer.hours or 0, (longer.milkings or 0) * 12)
    assert whole.days.denominator == 1
    assert 0 <= whole.days * 24 - needed < 24


# Legal minimums and the organic rule.


def minimum(figures, product, rules, species, **session) -> Clear:
    """Clear-from after one dose on 1 June 2026 at 9 in the morning."""
    course = Course(0, None, (MORNING,), ())
    return course_clear(course, figures, product, SessionFacts(rules=rules, **session), frozenset({species}))


def days_of(clear: Clear) -> Fraction:
    return Fraction(elapsed(MORNING.at, clear.at) // timedelta(hours=1), 24)


EU, GB = "Regulation (EU) 2019/6 Art. 115(1)", "Veterinary Medicines Regulations 2013 Sch. 4 para 2(3)"
NZ, ORGANIC = "MPI default withholding periods", "Regulation (EU) 2018/848 Annex II Part II 1.5.2.5"
FOOD, NOT_FOOD = {"for_food_animals": True}, {"for_food_animals": False}
#: Rules, product, what the label says (its longest period, or whom it is for), days, article.
MINIMUMS = [
    ("EU", "meat", "28 days", 42, f"{EU}(a)(i)"),
    ("EU", "meat", "9 days", 14, f"{EU}(a)(i)"),  # 13.5 days go up
    ("EU", "meat", "0 days", 1, f"{EU}(a)(iii)"),
    ("EU", "meat", NOT_FOOD, 28, f"{EU}(a)(ii)"),
    ("EU", "milk", "60 h", 4, f"{EU}(b)(i)"),  # 90 h are 3.75 days
    ("EU", "milk", "108 h", 7, f"{EU}(b)(i)"),  # 162 h
    ("EU", "milk", "6 milkings", 5, f"{EU}(b)(i)"),  # 9 milkings of 12 h are 4.5 days
    ("EU", "milk", "nil", 1, f"{EU}(b)(iii)"),
    ("EU", "milk", NOT_FOOD, 7, f"{EU}(b)(ii)"),
    ("EU", "eggs", "7 days", 11, f"{EU}(c)(i)"),  # 10.5 days
    ("EU", "eggs", NOT_FOOD, 10, f"{EU}(c)(ii)"),
    ("GB", "meat", "28 days", 42, f"{GB}(c)(i)"),
    ("GB", "meat", "0 days", 1, f"{GB}(c)(iii)"),
    ("GB", "meat", NOT_FOOD, 28, f"{GB}(c)(ii)"),
    ("GB", "milk", "72 h", 5, f"{GB}(b)(i)"),  # 108 h are 4.5 days
    ("GB", "milk", "0 days", 1, f"{GB}(b)(iii)"),
    ("GB", "milk", NOT_FOOD, 7, f"{GB}(b)(ii)"),
    ("GB", "eggs", "7 days", 11, f"{GB}(a)(i)"),
    ("GB", "eggs", NOT_FOOD, 14, f"{GB}(a)(ii)"),
    *(("NZ", "meat", kind, 91, NZ) for kind in ("cattle", "sheep", "goat", "deer")),
    *(("NZ", "milk", kind, 35, NZ) for kind in ("cattle", "sheep", "goat", "deer")),
    *(("NZ", "meat", kind, 63, NZ) for kind in ("alpaca", "llama", "pig", "horse", "donkey")),
    *(("NZ", "meat", kind, 63, NZ) for kind in ("chicken", "turkey", "rabbit", "hare")),
    ("NZ", "eggs", "hen", 10, NZ),
    ("NZ", "meat", "fish", 35, NZ),
]


@pytest.mark.parametrize(("rules", "product", "label", "number", "article"), MINIMUMS, ids=str)
def test_the_legal_minimum_holds_where_the_prescriber_gave_less(rules, product, label, number, article):
    species = label if rules == "NZ" else "sheep"
    longest = {} if rules == "NZ" or label is NOT_FOOD else {product: parse_period(label)}
    figures = medicine(
        off_label=True, longest_label=longest, withdrawal={product: parse_period("0 days")},
        **(NOT_FOOD if label is NOT_FOOD else FOOD),
    )  # fmt: skip
    clear = minimum(figures, product, rules, species)
    assert (clear.state, days_of(clear)) == ("from", number)
    assert article in clear.why, "the source of what holds is named"


@pytest.mark.parametrize("product", ["meat", "milk", "eggs"])
@pytest.mark.parametrize(("stated", "number"), [("0 days", 2), ("12 h", 2), ("30 h", Fraction(5, 2)), ("28 days", 56)])
def test_organic_is_twice_the_period_and_48_hours_at_least(product, stated, number):
    clear = minimum(medicine(withdrawal={product: parse_period(stated)}), product, "EU", "sheep", organic=True)
    assert days_of(clear) == number
    assert ORGANIC in clear.why


def test_organic_in_gb_is_twice_the_period():
    # Regulation (EC) 889/2008 Art. 24(5) as retained, from memory.
    for product in ("meat", "milk"):
        clear = minimum(medicine(withdrawal={product: parse_period("14 days")}), product, "GB", "sheep", organic=True)
        assert days_of(clear) == 28
        assert "889/2008 Art. 24(5)" in clear.why


def test_every_row_of_the_table_is_checked_here():
    of_cases = {"(i)": "label_period", "(ii)": "not_for_food", "(iii)": "zero_period"}
    checked = {
        (rules, product, "no_data" if rules == "NZ" else of_cases["(" + article.rpartition("(")[2]])
        for rules, product, _, _, article in MINIMUMS
    } | {("EU", product, case) for product in ("meat", "milk", "eggs") for case in ("organic", "organic_floor")}
    checked |= {("GB", "meat", "organic"), ("GB", "milk", "organic")}
    # Those by active are in tests/published/minimums.csv.
    checked |= {("US", product, "organic_active") for product in ("meat", "milk")}
    assert {(row["rules"], row["product"], row["case"]) for row in minimums()} == checked
    assert all(row["article"] and row["state"] for row in minimums())


def test_a_vaccine_is_not_doubled_and_unknown_organic_rules_leave_clear_not_stated():
    stated = {"meat": parse_period("21 days")}
    assert days_of(minimum(medicine(type="vaccine", withdrawal=stated), "meat", "EU", "sheep", organic=True)) == 21
    assert minimum(medicine(withdrawal=stated), "meat", "NZ", "sheep", organic=True).state == "not_stated"


@pytest.mark.parametrize("rules", ["EU", "GB"])
@pytest.mark.parametrize("product", ["meat", "milk", "eggs"])
def test_off_label_without_the_longest_label_period_is_not_stated(rules, product):
    # All three products have a minimum of 1.5 times the label period in Art. 115(1) and in Sch. 4 para 2(3).
    figures = medicine(off_label=True, withdrawal={product: parse_period("7 days")})
    assert minimum(figures, product, rules, "sheep").state == "not_stated"


@given(
    st.one_of(days, hours), st.one_of(st.none(), days, hours), st.sampled_from(["EU", "GB", "US", "AU", "NZ", ""]),
    st.sampled_from(["meat", "milk"]), st.booleans(), st.booleans(), st.sampled_from([None, True, False]),
)  # fmt: skip
def test_nothing_is_ever_shorter_than_the_sheet_says(stated, longest, rules, product, off_label, organic, food):
    figures = medicine(
        withdrawal={product: stated}, longest_label={product: longest}, off_label=off_label, for_food_animals=food
    )
    clear = minimum(figures, product, rules, "sheep", organic=organic)
    assert clear.state in ("from", "not_stated")
    if clear.state == "from":
        assert elapsed(clear_from(MORNING, stated).at, clear.at) >= timedelta(0)


@given(st.sampled_from(["EU", "GB", "NZ", ""]), st.booleans(), st.booleans(), st.sampled_from([None, True, False]))
def test_no_rule_makes_a_date_where_the_sheet_states_none(rules, off_label, organic, food):
    figures = medicine(off_label=off_label, for_food_animals=food, longest_label={"meat": parse_period("7 days")})
    assert minimum(figures, "meat", rules, "sheep", organic=organic).state == "not_stated"


# Worked figures with legal minimums, from sheet to clear-from. The figures are those of the project's
# reference on counting withdrawal periods ("arithmetic ours"), the rules those named in each row.


@pytest.mark.parametrize(
    ("session", "figures", "on", "product", "clear", "why"),
    [
        pytest.param(
            "Rules | EU\nMilking times | 06:00, 18:00",
            {"Meat withdrawal": "28 days", "Milk withdrawal": "60 h", "Off label": "yes", "Longest label milk": "60 h",
             "Longest label meat": "1 day"},
            "2026-06-01T09:00", "milk", "2026-06-05T18:00", f"{EU}(b)(i)",
            id="label 60 h, EU cascade: 90 h are 4 days, 5 June 09:00, then the next milking",
        ),
        pytest.param(
            "Rules | EU",
            {"Milk withdrawal": "60 h", "Off label": "yes", "Longest label milk": "60 h"},
            "2026-06-01T09:00", "milk", "2026-06-05T09:00", f"{EU}(b)(i)",
            id="the same where no milking times are known",
        ),
        pytest.param(
            "Rules | EU",
            {"Meat withdrawal": "9 days", "Off label": "yes", "Longest label meat": "9 days"},
            "2026-06-01T09:00", "meat", "2026-06-15T09:00", f"{EU}(a)(i)", id="meat 9 days, EU cascade: 14 days",
        ),
        pytest.param(
            "Rules | EU",
            {"Meat withdrawal": "9 days", "Off label": "yes", "Longest label meat": "9 days"},
            "2026-06-01", "meat", "2026-06-16T00:00", f"{EU}(a)(i)", id="the same where only the day is known",
        ),
        pytest.param(
            "Rules | EU\nOrganic | yes", {"Meat withdrawal": "0 days"},
            "2026-06-01T09:00", "meat", "2026-06-03T09:00", ORGANIC, id="meat 0 days, EU organic: 48 h",
        ),
        pytest.param(
            "Rules | EU\nOrganic | yes",
            {"Meat withdrawal": "9 days", "Off label": "yes", "Longest label meat": "9 days"},
            "2026-06-01T09:00", "meat", "2026-06-29T09:00", ORGANIC,
            id="meat 9 days, EU cascade and organic: 2 x 14 days (order of steps not verified)",
        ),
        pytest.param(
            "Rules | NZ", {"Meat withdrawal": "0 days", "Off label": "yes"},
            "2026-06-01T09:00", "meat", "2026-08-31T09:00", NZ, id="NZ, no data, sheep: 91 days",
        ),
        pytest.param(
            "Rules | GB", {"Meat withdrawal": "7 days", "Off label": "yes", "For food animals": "no"},
            "2026-06-01T09:00", "meat", "2026-06-29T09:00", f"{GB}(c)(ii)", id="GB, not for food animals: 28 days",
        ),
        pytest.param(
            "Rules | EU", {"Meat withdrawal": "60 days", "Off label": "yes", "Longest label meat": "9 days"},
            "2026-06-01T09:00", "meat", "2026-07-31T09:00", "60 days", id="the prescriber's 60 days are longer",
        ),
    ],
)  # fmt: skip
def test_worked_figures_with_legal_minimums(job, session, figures, on, product, clear, why):
    result = job(
        "Tag | Weight (kg) | Status\n0401 | 50 | dry", {"Prescriber": "Vet 1"} | figures, on=on,
        Session=f"Species | sheep\nTime zone | UTC\n{session}",
    )  # fmt: skip
    found = result.treatments.iloc[0][f"clear:{product}"]
    assert found.at.strftime("%Y-%m-%dT%H:%M") == clear
    assert why in found.why


# Milk before and after birth.


@pytest.mark.parametrize(
    ("gave_birth", "after_birth", "clear"),
    [
        ("", "4 days", None),  # nothing is known before the birth
        ("2026-07-20", "4 days", "2026-07-25T06:00"),
        ("2026-06-15", "4 days", "2026-07-06T18:00"),  # the 35 days after the dose end later
        ("2026-07-20", "8 milkings", "2026-07-25T06:00"),
        ("2026-07-20", "9 milkings", "2026-07-25T18:00"),
    ],
)
def test_milk_is_clear_at_the_first_milking_after_the_later_of_dose_and_birth(job, gave_birth, after_birth, clear):
    result = job(
        f"Tag | Weight (kg) | Status | Gave birth\n0401 | 50 | dry | {gave_birth}",
        {"Milk withdrawal": "35 days", "Milk after birth": after_birth}, on="2026-06-01T09:00",
        Session="Species | sheep\nTime zone | UTC\nMilking times | 06:00, 18:00",
    )  # fmt: skip
    found = result.treatments.iloc[0]["clear:milk"]
    assert (found.at and found.at.strftime("%Y-%m-%dT%H:%M")) == clear
    assert found.state == ("from" if clear else "not_stated")


def test_a_dry_time_shorter_than_the_label_asks_leaves_milk_not_stated():
    figures = medicine(milk_after_birth=parse_period("4 days"), shortest_dry_days=Fraction(42))
    stated = Clear(MORNING.at, "from")
    too_soon, in_time = (clear_after_birth(stated, figures, MORNING.at + timedelta(days=n), MORNING) for n in (41, 42))
    assert (too_soon.state, in_time.state) == ("not_stated", "from")
