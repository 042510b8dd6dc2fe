"""Forms of dose: halves of tablets, paste, bands, rows by age, a least and a largest dose, two actives."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given as examples
from hypothesis import strategies as st
from sheets import given, held, medicine_cell, told

from batchdose.calculate.doses import doses_by_rate
from batchdose.calculate.rates import Limits
from batchdose.model import NG_PER_KG

TABLET = {"Strength": "400 mg/tablet", "Dose rate": "10 mg/kg", "Milk withdrawal": None}


@pytest.mark.parametrize(
    ("graduation", "kilograms", "dose"),
    [("0.5 tablet", 41.5, 1.5), ("1/2 tablet", 20, 0.5), ("½ tablet", 21, 1.0), ("1/4 tablet", 21, 0.75),
     ("a tablet", 41.5, None), ("1 tablet", 41.5, 2.0), ("half a tablet", 41.5, 1.5)],
)  # fmt: skip
def test_tablets_in_halves_and_quarters(job, graduation, kilograms, dose):
    medicines = ({**TABLET, "Graduation": graduation}, {"Medicine": "wormer B"})
    result = job(f"Tag | Weight (kg)\n0412 | {kilograms}", *medicines, Treatments="Medicine\nwormer A\nwormer B")
    assert given(result).get(("0412", "wormer A")) == dose


@pytest.mark.parametrize(
    ("rate", "kilograms", "dose"),
    [
        ("1/2 tablet/20 kg", 41.5, 1.5), ("1 tablet per 50 kg", 41.5, 1.0), ("half a tablet per 10 kg", 30, 1.5),
        ("2 tablets/head", 41.5, 2.0), ("1½ tablets/head", 41.5, 1.5),
    ],
)  # fmt: skip
def test_rates_in_tablets(job, rate, kilograms, dose):
    medicine = {"Strength": None, "Dose rate": rate, "Graduation": "1/2 tablet"}
    assert given(job(f"Tag | Weight (kg)\n0412 | {kilograms}", medicine)) == {("0412", "wormer A"): dose}


def test_paste_in_grams(job):
    sheets = {
        "Session": "Species | horse\nTime zone | UTC",
        "Medicines": """
        Medicine | Species | Route | Strength  | Dose rate  | Graduation | Meat withdrawal
        wormer A | horse   | oral  | 18.7 mg/g | 200 mcg/kg | 0.5 g      | 14 days
        """,
    }
    # 500 kg x 0.2 mg/kg is 100 mg, in 5.35 g.
    assert given(job("Tag | Weight (kg)\n0412 | 500", **sheets)) == {("0412", "wormer A"): 5.5}


# A least and a largest dose, whatever the weight.


@pytest.mark.parametrize(
    ("weights", "bounds", "doses"),
    [
        ("10 | 41.5 | 90", {}, [0.2, 0.9, 1.8]),
        ("10 | 41.5 | 90", {"Minimum dose": "0.5 mL"}, [0.5, 0.9, 1.8]),
        ("10 | 41.5 | 90", {"Maximum dose": "1 mL"}, [0.2, 0.9, 1.0]),
        ("10 | 41.5 | 90", {"Minimum dose": "1 mL", "Maximum dose": "1.25 mL"}, [1.0, 1.0, 1.2]),
    ],
)
def test_a_least_and_a_largest_dose_hold_whatever_the_weight(job, weights, bounds, doses):
    rows = [["Tag", "Weight (kg)"], *([f"{n}", float(kg)] for n, kg in enumerate(weights.split("|"), 1))]
    assert list(given(job(rows, bounds)).values()) == doses


def test_the_working_tells_the_bound(job):
    result = job("Tag | Weight (kg)\n0411 | 10\n0412 | 90", {"Minimum dose": "0.5 mL", "Maximum dose": "1 mL"})
    assert list(result.treatments["working"]) == [
        "10 kg x 0.2 mg/kg / 10 mg/mL = 0.2, at least 0.5 mL -> 0.5 mL",
        "90 kg x 0.2 mg/kg / 10 mg/mL = 1.8, at most 1 mL -> 1 mL",
    ]


@pytest.mark.parametrize(
    ("weight", "label", "dose"),
    [
        # 1.9 mL at most, and no mark between 1 mL and 2 mL: 1 mL would be half of it.
        (90, {"Graduation": "1 mL", "Maximum dose": "1.9 mL"}, None),
        # 58 kg x 0.18 mg/kg are 1.044 mL, and the mark above 1 mL is 1.25 mL: 1 mL is under the lowest rate.
        (58, {"Graduation": "0.25 mL", "Maximum dose": "1.2 mL", "Lowest rate": "0.18 mg/kg"}, None),
        (58, {"Graduation": "0.1 mL", "Maximum dose": "1.2 mL", "Lowest rate": "0.18 mg/kg"}, 1.2),
        (50, {"Graduation": "0.25 mL", "Maximum dose": "1.2 mL", "Lowest rate": "0.18 mg/kg"}, 1.0),
    ],
)
def test_a_largest_dose_between_two_marks_leaves_nobody_far_under_it(job, weight, label, dose):
    result = job(f"Tag | Weight (kg)\n0411 | {weight}", label)
    assert given(result) == ({} if dose is None else {("0411", "wormer A"): dose})
    assert held(result) == ([("0411", "wormer A")] if dose is None else [])
    if dose is None:
        [why] = [finding for finding in result.findings if finding.rule == "no-mark-allowed"]
        assert "would do" in str(why.message)


def test_a_least_dose_never_passes_a_highest_rate_of_the_sheet(job):
    result = job("Tag | Weight (kg)\n0411 | 10\n0412 | 41.5", {"Minimum dose": "0.5 mL", "Highest rate": "0.3 mg/kg"})
    assert held(result) == [("0411", "wormer A")]


@examples(
    st.lists(st.integers(1, 200 * 1000), min_size=1, max_size=20), st.integers(1, 40), st.integers(1, 40),
    st.integers(0, 60), st.booleans(),
)  # fmt: skip
def test_a_dose_lies_within_its_bounds_or_is_not_allowed(grams, marks_per_10_kg, least, more, up):
    """Against plain fractions: the mark is within both bounds, and one is found whenever there is one."""
    graduation, rate = Fraction(1, 10), Fraction(marks_per_10_kg, 100)
    limits = Limits(rate, rate, 2 * rate, False, False, Fraction(least, 20), Fraction(least + more, 20))
    weights = np.array(grams, np.int64) * (NG_PER_KG // 1000)
    found = doses_by_rate(weights, limits, graduation, up=up)
    for gram, mark, allowed in zip(grams, found.marks.tolist(), found.allowed.tolist(), strict=True):
        dose, target = mark * graduation, Fraction(gram, 1000) * rate
        low, high = Fraction(least, 20), Fraction(least + more, 20)
        # Where the largest dose is on no mark, one is enough that is not less than 95 % of it.
        enough = max(low, min(target, high * Fraction("0.95")))
        possible = -(-enough // graduation) <= high // graduation and high >= graduation
        if allowed:
            assert low <= dose <= high
            assert dose >= min(target, high // graduation * graduation)
            assert dose >= enough
            assert dose <= max(2 * target, -(-low // graduation) * graduation)
        else:
            assert not possible or min(-(-target // graduation), high // graduation) * graduation > 2 * target


# Dose bands that do not meet.


@pytest.mark.parametrize(
    ("bands", "words"),
    [
        ("wormer A | | 25 kg | 1 mL\nwormer A | 25 kg | | 2 mL", None),
        ("wormer A | | 25 kg | 1 mL\nwormer A | 26 kg | | 2 mL", "in none"),
        ("wormer A | | 30 kg | 1 mL\nwormer A | 25 kg | | 2 mL", "in two bands"),
        ("wormer A | | | 1 mL\nwormer A | 25 kg | | 2 mL", "in two bands"),
    ],
)
def test_bands_that_leave_a_gap_or_lie_over_each_other_are_told(job, bands, words):
    result = job(
        "Tag | Weight (kg)\n0411 | 20\n0412 | 41.5", {"Dose rate": None, "Strength": None},
        Dose_bands=f"Medicine | From | To | Dose\n{bands}",
    )  # fmt: skip
    found = [finding for finding in result.findings if finding.rule == "dose-bands-apart"]
    assert [f"{finding.where.sheet}!{finding.where.cell}" for finding in found] == (["Dose bands!B3"] if words else [])
    assert not words or words in found[0].message


# Rows by age: the animal's day of birth chooses; without one it is held.


def test_rows_of_a_medicine_are_told_apart_by_age(job):
    young, old = {"Maximum age": "12 weeks"}, {"Minimum age": "85 days", "Dose rate": "0.3 mg/kg"}
    rows = "Tag | Weight (kg) | Born\n0411 | 20 | 2026-05-01\n0412 | 41.5 | 2025-05-01\n0413 | 30 |"
    result = job(rows, young, old)
    assert given(result) == {("0411", "wormer A"): 0.4, ("0412", "wormer A"): 1.3}
    assert held(result) == [("0413", "wormer A")]
    assert ("medicine-row-unclear", "error", "Weights!A4") in told(result)


@pytest.mark.parametrize(
    ("born", "reason"),
    [("2026-03-09", None), ("2026-03-08", "over the label's age"), ("", "age not known, and the label asks for one")],
)
def test_an_animal_over_the_label_s_age_is_held(job, born, reason):
    rows = f"Tag | Weight (kg) | Born\n0411 | 20 | {born}\n0412 | 20 | 2026-05-01"
    result = job(rows, {"Maximum age": "12 weeks"})
    assert held(result) == ([("0411", "wormer A")] if reason else [])
    assert [finding.rule for finding in result.findings] == (["over-age"] if reason else [])


def test_two_actives_are_both_shown_and_both_under_their_limits(job):
    # 13.6 mg/lb sulfadoxine + 0.9 ... are invented here: 20 + 4 mg/kg at 200 + 40 mg/mL, so 1 mL for 10 kg.
    medicine = {"Strength": "200 + 40 mg/mL", "Dose rate": "20 + 4 mg/kg", "Active substance": "active A + active B",
                "Highest rate": "24 + 4.8 mg/kg"}  # fmt: skip
    result = job("Tag | Weight (kg)\n0412 | 41.5", medicine)
    assert given(result) == {("0412", "wormer A"): 4.2}
    # 4.2 mL of 200 + 40 mg/mL in 41.5 kg.
    assert result.treatments["working"].iloc[0] == (
        "41.5 kg x 20 + 4 mg/kg / 200 + 40 mg/mL = 4.15 -> 4.2 mL (20.241 + 4.048 mg/kg)"
    )
    wrong = medicine | {"Dose rate": "20 + 5 mg/kg"}
    result = job("Tag | Weight (kg)\n0412 | 41.5", wrong, {"Medicine": "wormer B"}, Treatments="Medicine\nwormer A\n"
                 "wormer B")  # fmt: skip
    assert ("rates-disagree", "error", medicine_cell("Dose rate", wrong)) in told(result)
