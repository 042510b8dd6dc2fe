"""Who gets what and when: lines of `Treatments`, rows of one medicine, dates of a course, clear-from over all."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheets import given as given_doses
from sheets import held
from small_jobs import MORNING, medicine

from batchdose.calculate.courses import course_moments
from batchdose.model import Moment

TWO_MOBS = """
    Tag  | EID             | Mob   | Weight (kg)
    0401 | 999000001000401 | Hill  | 40
    0402 | 999000001000402 | Hill  | 50
    0501 | 999000001000501 | River | 60
"""
B = {"Medicine": "vaccine V", "Dose rate": "2 mL/head", "Strength": None, "Graduation": "1 mL",
     "Meat withdrawal": "30 days", "Active substance": "clostridial toxoids", "Type": "vaccine"}  # fmt: skip


def who(result) -> set[tuple[str, str]]:
    """Tag and medicine of everything that is planned."""
    return set(given_doses(result))


@pytest.mark.parametrize(
    ("line", "tags"),
    [
        ("wormer A | |", {"0401", "0402", "0501"}),
        ("wormer A | hill |", {"0401", "0402"}),
        ("wormer A | | 0402", {"0402"}),
        ("wormer A | | 0401; 0501", {"0401", "0501"}),
        ('wormer A | | "999000001000501"', {"0501"}),
        ("wormer A | Hill | 0401", {"0401"}),
        ("WORMER A | River | \n    wormer A | | 0401", {"0401", "0501"}),
    ],
)
def test_a_line_is_for_all_for_a_mob_or_for_tags(job, line, tags):
    result = job(TWO_MOBS, {}, B, Treatments=f"Medicine | Mob | Tag\n{line}")
    assert who(result) == {(tag, "wormer A") for tag in tags}


def test_an_animal_twice_on_a_line_or_on_two_lines_gets_one_dose(job):
    result = job(TWO_MOBS, Treatments="Medicine | Mob | Tag\nwormer A | | \nwormer A | Hill | 0401; 0401")
    assert len(result.treatments) == 3


@pytest.mark.parametrize(("line", "rule"), [("| 0999", "animal-not-weighed"), ("Valley |", "mob-unknown")])
def test_a_line_for_nobody_on_the_sheet_is_a_finding(job, line, rule):
    result = job(TWO_MOBS, Treatments=f"Medicine | Mob | Tag\nwormer A | {line}\nwormer A | Hill |")
    assert [finding.rule for finding in result.findings if finding.level.word == "error"] == [rule]
    assert who(result) == {("0401", "wormer A"), ("0402", "wormer A")}


def test_the_medicine_column_gives_each_animal_its_own(job):
    result = job(
        "Tag | Weight (kg) | Medicine\n0401 | 40 | wormer A\n0402 | 50 | wormer A; vaccine V\n0403 | 60 |", {}, B
    )
    assert who(result) == {("0401", "wormer A"), ("0402", "wormer A"), ("0402", "vaccine V")}


def test_a_row_without_a_tag_never_gives_its_medicine_to_the_others(job):
    result = job("Tag | Weight (kg) | Medicine\n0401 | 40 | wormer A\n0402 | 50 |\n | 60 | vaccine V", {}, B)
    assert who(result) == {("0401", "wormer A")}


# Rows of one medicine: by species, class and weight.


def test_each_species_has_its_own_row_and_one_without_a_row_is_held(job):
    result = job(
        "Tag | Weight (kg) | Species\n0401 | 50 | sheep\n0501 | 50 | goats\n0601 | 500 | cattle",
        {"Species": "sheep"}, {"Species": "goats", "Dose rate": "0.4 mg/kg"}, give=["wormer A"],
    )  # fmt: skip
    assert given_doses(result) == {("0401", "wormer A"): 1.0, ("0501", "wormer A"): 2.0}
    assert held(result) == [("0601", "wormer A")]
    assert "species-not-on-label" in {finding.rule for finding in result.findings}
    clears = result.treatments.set_index("tag")["clear:meat"]
    assert clears["0601"].at is None


@pytest.mark.parametrize(
    ("column", "one", "other", "animals"),
    [
        ("Class", "lambs", "ewes", "0401 | 30 | lambs\n0402 | 60 | Ewes\n0403 | 60 | rams"),
        ("Minimum weight", "", "40 kg", "0401 | 30 |\n0402 | 60 |\n0403 | |"),
    ],
)
def test_rows_are_told_apart_by_class_or_weight_and_an_animal_of_neither_is_held(job, column, one, other, animals):
    low, high = ({column: one}, {column: other})
    if column == "Minimum weight":
        low |= {"Maximum weight": "39.9 kg"}
    result = job(f"Tag | Weight (kg) | Class\n{animals}", low, high | {"Dose rate": "0.4 mg/kg"}, give=["wormer A"])
    assert given_doses(result) == {("0401", "wormer A"): 0.6, ("0402", "wormer A"): 2.4}
    assert held(result) == [("0403", "wormer A")]


def test_two_rows_that_both_fit_are_held(job):
    result = job(
        "Tag | Weight (kg)\n0401 | 30\n0402 | 60", {"Maximum weight": "40 kg"}, {"Minimum weight": "30 kg"},
        give=["wormer A"],
    )  # fmt: skip
    assert given_doses(result).keys() == {("0402", "wormer A")}
    assert "medicine-row-unclear" in {finding.rule for finding in result.findings}


def test_the_class_on_the_only_row_of_a_medicine_counts_too(job):
    # The row is for lambs; a ewe is another kind of animal, and no row of the sheet is for her.
    result = job(
        "Tag | Weight (kg) | Class\n0401 | 30 | lambs\n0402 | 60 | ewes", {"Class": "lambs", "Species": "sheep"}
    )
    assert held(result) == [("0402", "wormer A")]


# Dates of a course.


@pytest.mark.parametrize(
    ("every", "first", "hours"),
    [
        (24, "2026-03-28T09:00", [(28, 9), (29, 9), (30, 9)]),  # the hour on the clock, over the change of the clocks
        (12, "2026-03-28T18:00", [(28, 18), (29, 7), (29, 19)]),  # twelve elapsed hours, an hour later on the clock
        (36, "2026-06-01T09:00", [(1, 9), (2, 21), (4, 9)]),
        (None, "2026-06-01T09:00", [(1, 9), (2, 9), (3, 9)]),
    ],
)
def test_doses_of_a_course_keep_their_interval(every, first, hours):
    start = Moment(datetime.fromisoformat(first).replace(tzinfo=ZoneInfo("Europe/London")), timed=True)
    course = medicine(doses=3, every_hours=every and Fraction(every))
    assert [(m.at.day, m.at.hour) for m in course_moments(course, start)] == hours


@given(st.integers(1, 6), st.integers(1, 96), st.booleans())
def test_no_dose_of_a_course_is_given_sooner_than_its_interval(doses, every, timed):
    moments = list(course_moments(medicine(doses=doses, every_hours=Fraction(every)), Moment(MORNING.at, timed)))
    assert len(moments) == doses
    for number, moment in enumerate(moments):
        ahead = moment.at - MORNING.at
        assert ahead >= timedelta(hours=every * number)
        assert moment.timed == timed
        assert ahead < timedelta(hours=every * number) + timedelta(days=0 if timed else 1, seconds=1)


def test_the_withdrawal_period_runs_from_the_last_dose(job):
    result = job("Tag | Weight (kg)\n0401 | 50", {"Doses": 3, "Every": "48 h"}, on="2026-06-01T09:00")
    row = result.treatments.iloc[0]
    assert [moment.at.day for moment in row["planned_for"]] == [1, 3, 5]
    assert row["clear:meat"].at == datetime(2026, 6, 19, 9, tzinfo=UTC)


def test_lines_on_two_days_are_two_courses_each_clear_by_the_later(job):
    result = job(
        TWO_MOBS, {}, B,
        Treatments="Medicine | Mob | On\nwormer A | Hill | 2026-06-01\nvaccine V | Hill | 2026-06-08\n"
        "vaccine V | River | 2026-06-02",
    )  # fmt: skip
    clears = result.treatments.set_index("tag")["clear:meat"].map(lambda clear: clear.at.date().isoformat())
    assert clears["0401"].tolist() == ["2026-07-09"] * 2
    assert clears["0501"] == "2026-07-03"


# Several medicines.


def test_of_several_medicines_the_latest_holds_product_by_product(job):
    result = job(
        "Tag | Weight (kg)\n0401 | 50",
        {"Meat withdrawal": "14 days", "Milk withdrawal": "6 days", "Eggs withdrawal": "1 day"},
        B | {"Meat withdrawal": "30 days", "Milk withdrawal": "2 days", "Eggs withdrawal": ""},
        give=["wormer A", "vaccine V"], on="2026-06-01T09:00",
    )  # fmt: skip
    for _, row in result.treatments.iterrows():
        assert row["clear:meat"].at == datetime(2026, 7, 1, 9, tzinfo=UTC)
        assert row["clear:milk"].at == datetime(2026, 6, 7, 9, tzinfo=UTC)
        assert row["clear:eggs"].state == "not_stated", "blank is not zero, whatever the other medicine says"
    assert result.products_clear == ("meat", "milk", "eggs")


def test_a_medicine_that_is_held_for_an_animal_leaves_no_period(job):
    result = job(
        "Tag | Weight (kg) | Status\n0401 | 50 | in milk\n0402 | 50 | dry",
        {"Meat withdrawal": "60 days", "Not for": "milk"}, B, give=["wormer A", "vaccine V"], on="2026-06-01T09:00",
    )  # fmt: skip
    clears = result.treatments.drop_duplicates("tag").set_index("tag")["clear:meat"]
    assert [clears[tag].at.date().isoformat() for tag in ("0401", "0402")] == ["2026-07-01", "2026-07-31"]


@pytest.mark.parametrize(
    ("actives", "states"),
    [
        (("ivermectin", "levamisole"), ["from", "from"]),
        (("ivermectin", "Ivermectin"), ["not_stated", "from"]),
        (("ivermectin + clorsulon", "ivermectin"), ["not_stated", "from"]),
        (("ivermectin; clorsulon", "clorsulon"), ["not_stated", "from"]),
    ],
)
def test_the_same_active_twice_is_not_stated_for_the_animals_that_get_both(job, actives, states):
    result = job(
        TWO_MOBS, {"Active substance": actives[0]}, {"Medicine": "wormer B", "Active substance": actives[1]},
        Treatments="Medicine | Mob\nwormer A | \nwormer B | Hill",
    )  # fmt: skip
    clears = result.treatments.drop_duplicates("tag").set_index("tag")["clear:meat"]
    assert [clears[tag].state for tag in ("0402", "0501")] == states


def test_the_same_medicine_again_on_another_day_is_the_same_active_twice(job):
    result = job(TWO_MOBS, Treatments="Medicine | Mob | On\nwormer A | | 2026-06-01\nwormer A | Hill | 2026-06-08")
    clears = result.treatments.drop_duplicates("tag").set_index("tag")["clear:meat"]
    assert [clears[tag].state for tag in ("0402", "0501")] == ["not_stated", "from"]


def test_what_is_held_back_is_not_counted_as_given_twice(job):
    result = job(
        "Tag | Weight (kg) | Status\n0401 | 50 | in milk", {"Active substance": "ivermectin", "Not for": "milk"},
        {"Medicine": "wormer B", "Active substance": "ivermectin"}, give=["wormer A", "wormer B"],
    )  # fmt: skip
    assert given_doses(result).keys() == {("0401", "wormer B")}
    assert result.treatments["clear:meat"].iloc[0].state == "from"


def test_a_male_has_no_milk_to_keep_back(job):
    result = job("Tag | Weight (kg) | Sex\n0401 | 50 | ram\n0402 | 50 | ewe")
    assert [clear.state for clear in result.treatments["clear:milk"]] == ["not_applicable", "from"]


# Mobs known only by head and heaviest.


def test_a_mob_given_as_a_whole_is_dosed_by_its_heaviest(job):
    result = job(
        "Tag | Mob | Weight (kg)\n0401 | Hill | 40", {"Dose by": "mob"},
        Mobs="Mob | Head | Heaviest (lb) | Lightest (lb)\nRiver | 120 | 110 | 66\nHill | 1 | 999 |",
    )  # fmt: skip
    rows = result.treatments.set_index("mob")
    assert rows.loc["River", ["tag", "head", "cell", "dose"]].tolist() == ["", 120, "Mobs!A2", 1.0]
    assert rows.at["River", "target"] == float(Fraction("49.8951607") / 50)
    assert rows.at["Hill", "dose"] == 0.8, "a mob whose animals are weighed is dosed by them"
    assert {mob.mob: (mob.head, mob.total) for mob in result.mobs} == {
        "River": (120, 120),
        "Hill": (1, Fraction("0.8")),
    }


def test_a_mob_without_its_heaviest_is_held_and_a_dose_by_head_is_not(job):
    result = job(
        "Tag | Mob | Weight (kg)\n0401 | Hill | 40", {}, B,
        Mobs="Mob | Head | Heaviest (kg)\nRiver | 120 |", give=["wormer A", "vaccine V"],
    )  # fmt: skip
    assert held(result) == [("River", "wormer A")]
    assert given_doses(result)["River", "vaccine V"] == 2.0


def test_a_mob_says_species_and_class_for_its_animals(job):
    result = job(
        "Tag | Mob | Weight (kg)\n0401 | Hill | 40\n0501 | River | 40",
        {"Species": "sheep"}, {"Species": "goats", "Dose rate": "0.4 mg/kg"},
        Mobs="Mob | Head | Species\nRiver | 1 | goats", give=["wormer A"],
    )  # fmt: skip
    assert given_doses(result) == {("0401", "wormer A"): 0.8, ("0501", "wormer A"): 1.6}
