"""Rounding to the marks is exact over the whole range of devices and animals."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_jobs import many, medicine, mob_of, ng, per_head, planned

from batchdose.calculate.marks import (
    USUAL_STEPS,
    amount_of,
    ceil_marks,
    coarsest_step,
    floor_marks,
    nearest_marks,
    share_over_sites,
)
from batchdose.model import NG_PER_KG
from batchdose.read.cells import weight_ng

#: Kilograms in a pound, exact since 1959 (NIST SP 811, appendix B.8).
KG_PER_LB = Fraction(45359237, 10**8)


def decimals(low: str, high: str, places: int) -> st.SearchStrategy[Decimal]:
    return st.decimals(Decimal(low), Decimal(high), places=places, allow_nan=False)


def up_to_four_places(low: str, high: str) -> st.SearchStrategy[Decimal]:
    return st.integers(1, 4).flatmap(lambda places: decimals(low, high, places))


kilograms = up_to_four_places("0.1", "1500")
pounds = up_to_four_places("0.3", "3306.9")
bodyweights = st.one_of(kilograms.map(Fraction), pounds.map(lambda lb: Fraction(lb) * KG_PER_LB))
graduations = st.one_of(
    st.sampled_from([step for step in USUAL_STEPS if Fraction("0.01") <= step <= 5]),
    decimals("0.01", "5", 2).map(Fraction), decimals("0.01", "5", 4).map(Fraction),
)  # fmt: skip
ml_per_kg = st.fractions(Fraction(1, 2000), 2, max_denominator=10**6)


@given(kilograms)
def test_kilograms_with_four_decimals_are_kept_exactly(kg):
    assert weight_ng(f"{kg} kg", "") == weight_ng(str(kg), "kg") == Fraction(kg) * NG_PER_KG


@given(pounds)
def test_pounds_with_four_decimals_are_kept_exactly(lb):
    assert weight_ng(f"{lb} lb", "") == weight_ng(str(lb), "lb") == Fraction(lb) * KG_PER_LB * NG_PER_KG


@many
@given(st.lists(bodyweights, min_size=1, max_size=5), ml_per_kg, graduations)
def test_marks_are_those_of_exact_arithmetic(weights, rate, graduation):
    exact = [kg * rate / graduation for kg in weights]
    weight, marks_per_ng = np.array([ng(kg) for kg in weights]), rate / graduation / NG_PER_KG
    assert ceil_marks(weight, marks_per_ng).tolist() == [math.ceil(marks) for marks in exact]
    assert floor_marks(weight, marks_per_ng).tolist() == [math.floor(marks) for marks in exact]
    assert nearest_marks(weight, marks_per_ng).tolist() == [math.floor(marks + Fraction(1, 2)) for marks in exact]


@many
@given(bodyweights, st.integers(1, 5000), graduations)
def test_a_target_on_a_mark_is_that_mark_and_a_trifle_more_is_the_next(kg, marks, graduation):
    weight, per_ng = np.array([ng(kg)]), Fraction(marks, ng(kg))
    for rounded in (ceil_marks, floor_marks, nearest_marks):
        assert rounded(weight, per_ng).tolist() == [marks]
    a_trifle = Fraction(1, 10**30)
    assert ceil_marks(weight, per_ng * (1 + a_trifle)).tolist() == [marks + 1]
    assert floor_marks(weight, per_ng * (1 - a_trifle)).tolist() == [marks - 1]
    assert amount_of(np.array([marks]), graduation).tolist() == [float(marks * graduation)]


@pytest.mark.parametrize(
    ("kg", "rate", "graduation", "marks"),
    [
        ("6", "0.05", "0.1", 3),  # 3.0000000000000004 in floats: four marks
        ("15", "0.02", "0.1", 3),  # 2.9999999999999996 in floats: two marks, rounding down
        ("29", "0.1", "0.1", 29),  # 29.000000000000004
        ("24", "0.1", "0.05", 48),  # 48.00000000000001
    ],
)
def test_marks_where_floats_go_wrong(kg, rate, graduation, marks):
    weight, per_ng = np.array([ng(kg)]), Fraction(rate) / Fraction(graduation) / NG_PER_KG
    assert ceil_marks(weight, per_ng) == floor_marks(weight, per_ng) == nearest_marks(weight, per_ng) == marks


@many
@given(st.integers(0, 200_000), graduations)
def test_amount_is_the_float_nearest_to_the_exact_one(marks, graduation):
    assert amount_of(np.array([marks]), graduation).tolist() == [float(marks * graduation)]


@many
@given(st.integers(1, 5000), st.integers(1, 300))
def test_a_dose_is_shared_over_the_fewest_sites_in_nearly_equal_parts(marks, most):
    parts = share_over_sites(marks, most)
    assert sum(parts) == marks
    assert max(parts) <= most
    assert max(parts) - min(parts) <= 1
    assert (len(parts) - 1) * most < marks, "one site fewer could not take it"


@given(st.integers(1, 400), graduations, decimals("0.01", "20", 2).map(Fraction))
def test_no_site_gets_more_than_the_sheet_allows(marks, graduation, limit):
    limit = max(limit, graduation)
    volume = medicine(rate=per_head(marks * graduation), graduation=graduation, max_per_site=limit)
    row = planned(volume, mob_of(40)).table.iloc[0]
    parts = [round(part / float(graduation)) for part in row["per_site"]]
    assert sum(parts) == marks
    assert max(parts) * graduation <= limit
    assert row["sites"] == len(parts) == math.ceil(Fraction(marks, limit // graduation))


def test_a_site_limit_under_one_mark_is_held():
    volume = medicine(rate="2 mL/head", graduation=Fraction(1), max_per_site=Fraction(1, 2))
    assert planned(volume, mob_of(40)).table["held"].all(), "two sites of 1 mL pass the limit of 0.5 mL"


@many
@given(st.tuples(st.fractions(Fraction(1, 200), 20), st.fractions(Fraction(1, 200), 20)).map(sorted))
def test_the_coarsest_step_that_would_do(ends):
    lowest, highest = ends

    def would_do(step: Fraction) -> bool:
        largest_mark = math.floor(highest / step) * step
        return largest_mark > 0 and largest_mark >= lowest

    assert coarsest_step(lowest, highest) == next(filter(would_do, USUAL_STEPS), None)
