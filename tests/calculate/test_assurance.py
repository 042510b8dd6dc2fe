"""What an animal may really get: by hand, by the `uncertainties` package, and never outside the worst case."""

from __future__ import annotations

import math
from fractions import Fraction
from time import perf_counter

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from small_jobs import many, ng
from uncertainties import ufloat

from batchdose.calculate.assurance import COVERAGE, Device, Scale, dose_range
from batchdose.calculate.devices import (
    of_share,
    of_syringe,
    scale_tolerance_ng,
    syringe_dead_space_ml,
    syringe_tolerance_ml,
)
from batchdose.model import NG_PER_KG

TENTH = Fraction(1, 10)


@pytest.mark.parametrize(
    ("size", "expelled", "tolerance"),
    [
        ("1", "0.1", "0.017"), ("1", "0.5", "0.025"), ("2", "0.5", "0.04"), ("2.5", "2", "0.1"), ("5", "2.5", "0.1"),
        ("10", "2", "0.17"),
        ("10", "4", "0.19"),  # the source's own worked example; the others are arithmetic by its rule
        ("10", "5", "0.2"), ("20", "5", "0.35"), ("30", "10", "0.55"), ("50", "10", "0.85"), ("60", "60", "2.4"),
    ],
)  # fmt: skip
def test_syringe_tolerances_are_those_of_iso_7886_1(size, expelled, tolerance):
    # ISO 7886-1:2017 clause 8, table 1, as given by SMTL, "Calculating ISO 7886 tolerance on graduated capacity".
    assert syringe_tolerance_ml(Fraction(size), Fraction(expelled)) == Fraction(tolerance)


def test_a_dose_above_the_syringe_is_given_in_equal_parts():
    assert syringe_tolerance_ml(Fraction(10), Fraction(12)) == 2 * syringe_tolerance_ml(Fraction(10), Fraction(6))


@pytest.mark.parametrize(("size", "dead_space"), [("1", "0.07"), ("5", "0.075"), ("20", "0.15"), ("60", "0.2")])
def test_dead_space_is_that_of_iso_7886_1(size, dead_space):
    assert syringe_dead_space_ml(Fraction(size)) == Fraction(dead_space)  # ISO 7886-1 table 1, from memory


@pytest.mark.parametrize(("size", "expelled"), [(0, 1), (-1, 1), (1, 0)])
def test_a_syringe_or_a_dose_of_nothing_is_refused(size, expelled):
    with pytest.raises(ValueError, match="more than nothing"):
        syringe_tolerance_ml(Fraction(size), Fraction(expelled))


@pytest.mark.parametrize(
    ("kg", "step", "scale_class", "tolerance"),
    [
        ("60", "0.5", "III", "0.5"), ("620", "1", "III", "2"),  # arithmetic by the rule: 2 x 0.5 e, 2 x 1 e
        ("250", "0.5", "III", "0.5"), ("250.5", "0.5", "III", "1"), ("1500", "0.5", "III", "1.5"),
        ("40", "1", "IIII", "1"), ("60", "1", "IIII", "2"), ("5000.5", "0.5", "III", None),
    ],
)  # fmt: skip
def test_scale_tolerances_are_those_of_oiml_r_76_in_service(kg, step, scale_class, tolerance):
    found = scale_tolerance_ng(ng(kg), ng(step), scale_class)
    assert found == (None if tolerance is None else ng(tolerance))  # OIML R 76-1, from memory


def test_an_unknown_class_of_scale_is_refused():
    with pytest.raises(ValueError, match="class II "):
        scale_tolerance_ng(ng(60), ng(1), "II")


def test_a_sheep_of_60_kg_worked_by_hand():
    # 0.2 mg/kg of 10 mg/mL: 1.2 mL from a 2 mL syringe, 5 % or 0.06 mL, set within half of a 0.1 mL step: 0.11 mL.
    # Scale: 0.5 kg tolerance and half a step of 0.5 kg: 0.75 kg.
    scale = Scale(step_ng=ng("0.5"), tolerance_ng=ng("0.5"))
    found = dose_range(np.array([ng(60)]), np.array([12]), Fraction(10), scale, Device(TENTH, of_syringe(Fraction(2))))
    assert found.planned[0] == 0.2
    assert found.low[0] == pytest.approx(10 * 1.09 / 60.75, rel=1e-15)
    assert found.high[0] == pytest.approx(10 * 1.31 / 59.25, rel=1e-15)
    # (0.06² + 0.05²) / 3 / 1.2² = 0.00141204; (0.5² + 0.25²) / 3 / 60² = 0.00002894; root of the sum 0.0379602.
    assert found.rss_low[0] == pytest.approx(0.2 * (1 - 2 * 0.0379602), abs=1e-7)
    assert found.rss_high[0] == pytest.approx(0.2 * (1 + 2 * 0.0379602), abs=1e-7)


volumes = st.integers(3, 300)
kilograms = st.integers(20, 12000).map(lambda tenths: Fraction(tenths, 10))
tolerances = st.fractions(0, Fraction(1, 10), max_denominator=100)
scale_errors = st.tuples(st.integers(0, 1000), st.integers(0, 1000)).map(lambda g: Scale(*(n * 10**9 for n in g)))
readings = st.sampled_from([Fraction(0), Fraction(1, 4), Fraction(1, 2)])


def errors(half_widths):
    """The sum of errors, each anywhere within its half-width alike: nought, with its standard uncertainty."""
    return sum(ufloat(0, off / math.sqrt(3)) for off in half_widths)


@many
@given(kilograms, volumes, tolerances, scale_errors, readings, st.integers(1, 300))
def test_root_sum_square_is_that_of_the_uncertainties_package(kg, marks, share, scale, reading, strength):
    device = Device(TENTH, of_share(share), reading)
    found = dose_range(np.array([ng(kg)]), np.array([marks]), Fraction(strength), scale, device)
    volume, weight = marks / 10, float(kg)
    of_device = [off for off in (volume * float(share), 0.1 * float(reading)) if off]
    of_scale = [off / NG_PER_KG for off in (scale.tolerance_ng, scale.step_ng / 2) if off]
    assume(of_device or of_scale)
    rate = strength * (volume + errors(of_device)) / (weight + errors(of_scale))
    low, high = rate.nominal_value - COVERAGE * rate.std_dev, rate.nominal_value + COVERAGE * rate.std_dev
    assert found.planned[0] == pytest.approx(rate.nominal_value, rel=1e-12)
    assert found.rss_low[0] == pytest.approx(max(low, found.low[0]), rel=1e-9, abs=1e-12)
    assert found.rss_high[0] == pytest.approx(min(high, found.high[0]), rel=1e-9)


signs = st.fractions(-1, 1, max_denominator=8)


@many
@given(kilograms, volumes, tolerances, scale_errors, readings, st.tuples(signs, signs, signs, signs))
def test_nothing_within_the_tolerances_lies_outside_the_interval(kg, marks, share, scale, reading, off):
    device = Device(TENTH, of_share(share), reading)
    found = dose_range(np.array([ng(kg)]), np.array([marks]), Fraction(10), scale, device)
    volume = marks * TENTH * (1 + off[0] * share) + off[1] * reading * TENTH
    weight = ng(kg) + off[2] * scale.tolerance_ng + off[3] * Fraction(scale.step_ng, 2)
    rate = float(max(volume, 0) * 10 * NG_PER_KG / weight)
    assert found.low[0] * (1 - 1e-12) <= rate <= found.high[0] * (1 + 1e-12)
    assert found.low[0] <= found.rss_low[0] <= found.planned[0] <= found.rss_high[0] <= found.high[0]


@many
@given(kilograms, volumes, tolerances, scale_errors, readings)
def test_the_ends_are_compared_with_a_rate_exactly(kg, marks, share, scale, reading):
    device = Device(TENTH, of_share(share), reading)
    found = dose_range(np.array([ng(kg)]), np.array([marks]), Fraction(10), scale, device)
    off = scale.tolerance_ng + Fraction(scale.step_ng, 2)
    trifle = 1 + Fraction(1, 10**30)
    lowest = (marks * TENTH * (1 - share) - reading * TENTH) * 10 * NG_PER_KG / (ng(kg) + off)
    highest = (marks * TENTH * (1 + share) + reading * TENTH) * 10 * NG_PER_KG / (ng(kg) - off)
    if lowest > 0:
        assert [found.below(lowest)[0], found.below(lowest * trifle)[0]] == [False, True]
    assert [found.above(highest)[0], found.above(highest / trifle)[0]] == [False, True]


def test_each_draft_has_its_own_range():
    weight = np.array([ng(kg) for kg in (38, 40, 58, 60)])
    device = Device(TENTH, of_share(Fraction(5, 100)), Fraction(0))
    found = dose_range(weight, np.array([8, 8, 12, 12]), Fraction(10), Scale(), device)
    lighter, heavier = found.by_draft(np.array([0, 0, 1, 1]))
    assert (lighter.draft, lighter.low, lighter.high) == (0, pytest.approx(7.6 / 40), pytest.approx(8.4 / 38))
    assert (heavier.draft, heavier.low, heavier.high) == (1, pytest.approx(11.4 / 60), pytest.approx(12.6 / 58))
    assert lighter.rss_low == found.rss_low[:2].min()
    assert heavier.rss_high == found.rss_high[2:].max()


def test_a_scale_that_may_be_off_by_the_whole_weight_leaves_the_highest_open():
    device = Device(TENTH, of_share(Fraction(0)))
    found = dose_range(np.array([ng(1)]), np.array([1]), Fraction(1), Scale(tolerance_ng=ng(1)), device)
    assert found.high[0] == math.inf
    assert found.above(Fraction(10**6))[0]


def test_a_tolerance_for_each_animal():
    scale = Scale(tolerance_ng=np.array([0, ng(1)]))
    found = dose_range(
        np.array([ng(50)] * 2), np.array([10, 10]), Fraction(1), scale, Device(TENTH, of_share(Fraction(0)))
    )
    assert found.low[1] < found.low[0]


def test_a_hundred_thousand_animals_take_a_fraction_of_a_second():
    weight = np.random.default_rng(7).integers(20_000, 90_000, 100_000) * (NG_PER_KG // 1000)
    marks = -(-weight // (NG_PER_KG * 5)) * 10
    started = perf_counter()
    found = dose_range(weight, marks, Fraction(10), Scale(ng(1), ng(1)), Device(TENTH, of_syringe(Fraction(20))))
    found.below(Fraction(1, 5))
    assert perf_counter() - started < 0.5
