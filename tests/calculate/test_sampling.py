"""Weights from a sample: exact chances found again by counting, factors as published and as scipy has them."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import combinations
from time import perf_counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published_sheets import checked
from scipy import stats
from small_jobs import many

from batchdose.calculate.sampling import (
    LEAST_FOR_NORMAL,
    heaviest_unweighed,
    in_words,
    normal_bound,
    order_bound,
)
from batchdose.calculate.tolerance import (
    anderson_darling,
    confidence_of_rank,
    lowest_rank,
    noncentral_t_cdf,
    noncentral_t_quantile,
    normal_prediction_factor,
    number_to_weigh,
    over_allowed,
    tolerance_factor,
)

FIVE, NINETY_FIVE = Fraction(5, 100), Fraction(95, 100)
shares = st.fractions(Fraction(0), Fraction(1, 2), max_denominator=40)
confidences = st.sampled_from([Fraction(n, 100) for n in (50, 80, 90, 95, 99)])


@pytest.mark.parametrize("row", checked("tolerance.csv"), ids=lambda row: f"{row['id']} [{row['source']}]")
def test_tolerance_limits_are_those_published(row):
    share, confidence = (Fraction(row[name]) / 100 for name in ("share %", "confidence %"))
    found = {
        "factor": lambda: tolerance_factor(int(row["n"]), share, confidence),
        "t": lambda: tolerance_factor(int(row["n"]), share, confidence) * math.sqrt(int(row["n"])),
        "to weigh": lambda: number_to_weigh(share, confidence, rank=int(row["rank"])),
    }[row["kind"]]()
    assert found == pytest.approx(float(row["printed"]), rel=0, abs=float(row["tolerance"])), row["why"]


# Order statistics.


@settings(max_examples=80)
@given(st.integers(1, 8), st.data(), shares)
def test_the_chances_of_a_mob_are_those_counted_over_all_its_samples(head, data, share):
    weighed, mob = data.draw(st.integers(1, head)), range(head)
    rank = data.draw(st.integers(1, weighed))
    samples = list(combinations(mob, weighed))
    under = [sum(animal > sorted(sample)[-rank] for animal in mob) for sample in samples]
    kept = sum(heavier <= share * head for heavier in under)
    assert confidence_of_rank(weighed, rank, share, head) == Fraction(kept, len(samples))


@settings(max_examples=60)
@given(st.lists(st.integers(1, 4), min_size=2, max_size=8), st.data(), shares, confidences)
def test_the_weight_found_keeps_its_promise_in_any_mob_also_with_equal_weights(mob, data, share, confidence):
    weighed = data.draw(st.integers(1, len(mob)))
    bounds = [order_bound(sample, share, confidence, len(mob)) for sample in combinations(mob, weighed)]
    if bounds[0].rank:
        kept = sum(sum(animal > bound.weight_kg for animal in mob) <= share * len(mob) for bound in bounds)
        assert Fraction(kept, len(bounds)) >= confidence


@many
@given(st.integers(1, 120), shares, confidences, st.one_of(st.none(), st.integers(0, 300)))
def test_the_lightest_weight_that_serves_is_taken_and_the_number_to_weigh_is_the_fewest(weighed, share, conf, others):
    head = None if others is None else weighed + others
    rank = lowest_rank(weighed, share, conf, head)
    if rank:
        assert confidence_of_rank(weighed, rank, share, head) >= conf
    if rank < weighed:
        assert confidence_of_rank(weighed, rank + 1, share, head) < conf
    needed = number_to_weigh(share, conf, head)
    assert (rank > 0) == (needed is not None and weighed >= needed)
    if needed is not None:
        assert confidence_of_rank(needed, 1, share, head) >= conf
        assert needed == 1 or confidence_of_rank(needed - 1, 1, share, head) < conf


@many
@given(st.integers(1, 400), st.integers(0, 400), shares, st.integers(1, 5))
def test_exact_chances_agree_with_scipy(weighed, others, share, rank):
    head = weighed + others
    heavy = over_allowed(share, head) + 1
    endless = stats.binom.sf(rank - 1, weighed, float(share))
    assert float(confidence_of_rank(weighed, rank, share)) == pytest.approx(endless, abs=1e-12)
    of_mob = stats.hypergeom.sf(rank - 1, head, min(heavy, head), weighed)
    assert float(confidence_of_rank(weighed, rank, share, head)) == pytest.approx(of_mob, abs=1e-9)


def test_the_whole_mob_weighed_leaves_exactly_the_share():
    bound = order_bound(list(range(1, 101)), FIVE, Fraction(1), head=100)
    assert (bound.weight_kg, bound.rank, bound.confidence) == (95, 6, 1)


def test_a_large_mob_needs_hardly_more_than_an_endless_one_and_a_small_one_fewer():
    assert number_to_weigh(FIVE, NINETY_FIVE, head=100_000) == 59
    assert number_to_weigh(FIVE, NINETY_FIVE, head=100) == 39
    assert number_to_weigh(Fraction(0), NINETY_FIVE, head=100) == 95
    assert number_to_weigh(Fraction(0), NINETY_FIVE) is None
    assert number_to_weigh(FIVE, NINETY_FIVE, head=10, rank=3) is None


@pytest.mark.parametrize(
    ("weights", "head", "words"),
    [
        (10, 100, "Weigh 29 more (39 of 100 in all), chosen at random: then at most 5 % would be under-dosed"),
        (10, None, "Weigh 49 more (59 in all), chosen at random"),
        (59, None, "Dose to 59 kg, the heaviest of the 59 weighed: at most 5 %"),
        (124, 10_000, "Dose to 122 kg, number 3 from the heaviest of the 124 weighed of 10,000: at most 5 %"),
    ],
)
def test_it_says_plainly_how_many_more_to_weigh(weights, head, words):
    bound = order_bound(list(range(1, weights + 1)), FIVE, NINETY_FIVE, head)
    assert in_words(bound, FIVE, NINETY_FIVE, head).startswith(words)


def test_half_of_a_hundred_thousand_weighed_is_still_exact():
    started = perf_counter()
    assert lowest_rank(50_000, FIVE, NINETY_FIVE, 100_000) == pytest.approx(2500, abs=100)
    assert number_to_weigh(FIVE, NINETY_FIVE, 100_000) == 59
    assert perf_counter() - started < 2


def test_no_number_is_enough_where_no_animal_of_an_endless_mob_may_be_under_dosed():
    bound = order_bound([50.0], Fraction(0), NINETY_FIVE)
    assert (bound.to_weigh, bound.more, bound.weight_kg) == (None, None, None)
    assert in_words(bound, Fraction(0), NINETY_FIVE).startswith("No number weighed would be enough")


@pytest.mark.parametrize(
    ("weights", "share", "confidence", "head"),
    [
        ([], FIVE, NINETY_FIVE, 10),
        ([1, 2], FIVE, NINETY_FIVE, 1),
        ([1], Fraction(1), NINETY_FIVE, 9),
        ([1], FIVE, 0, 9),
    ],
)
def test_what_makes_no_sense_is_refused(weights, share, confidence, head):
    with pytest.raises(ValueError, match=r"\."):
        order_bound(weights, share, Fraction(confidence), head)


# Normal weights.


@settings(max_examples=40)
@given(st.integers(2, 2000), st.sampled_from([1, 2, 5, 10, 20]), st.sampled_from([50, 80, 90, 95, 99]))
def test_the_factor_agrees_with_scipy(weighed, share, confidence):
    root = math.sqrt(weighed)
    shift = stats.norm.isf(share / 100) * root
    expected = stats.nct.ppf(confidence / 100, weighed - 1, shift) / root
    found = tolerance_factor(weighed, Fraction(share, 100), Fraction(confidence, 100))
    assert found == pytest.approx(expected, rel=1e-10)
    # The equation itself, by a second integration over the other variable: P(mean + k s is above the quantile).
    assert noncentral_t_cdf(found * root, weighed - 1, shift) == pytest.approx(confidence / 100, abs=1e-11)


@settings(max_examples=40)
@given(st.integers(1, 500), st.floats(-8, 8))
def test_without_a_shift_it_is_student_s_t(freedom, t):
    assert noncentral_t_cdf(t, freedom, 0.0) == pytest.approx(stats.t.cdf(t, freedom), abs=1e-12)


@settings(max_examples=40)
@given(st.integers(1, 200), st.sampled_from([0.001, 0.1, 0.5, 0.9, 0.999, 1 - 1e-7]))
def test_quantiles_of_student_s_t_agree_with_scipy(freedom, chance):
    found = noncentral_t_quantile(chance, freedom, 0.0)
    assert found == pytest.approx(stats.t.ppf(chance, freedom), rel=1e-6, abs=1e-9)


@settings(max_examples=40)
@given(st.integers(0, 2**32), st.integers(8, 200))
def test_the_statistic_of_normality_agrees_with_scipy(seed, n):
    values = np.random.default_rng(seed).gamma(9, 5, n)
    plain = stats.anderson(values, method="interpolate").statistic
    assert anderson_darling(values.tolist()) == pytest.approx(plain * (1 + 0.75 / n + 2.25 / n**2), rel=1e-9)


def test_a_normal_sample_supports_the_normal_bound_and_a_mob_of_two_kinds_does_not():
    # Evenly spaced quantiles of a normal mob of 50 kg and 5 kg spread; then half the mob twice as heavy.
    quantiles = stats.norm.ppf((np.arange(40) + 0.5) / 40)
    normal = normal_bound((50 + 5 * quantiles).tolist(), FIVE, NINETY_FIVE, 400)
    assert normal.why_not == ""
    assert normal.weight_kg == pytest.approx(normal.mean_kg + 2.1254 * normal.spread_kg, abs=0.01)  # scipy: 2.12537
    mixed = normal_bound([*(40 + quantiles), *(80 + quantiles)], FIVE, NINETY_FIVE, 400)
    assert "do not look normal" in mixed.why_not
    few = normal_bound(list(range(LEAST_FOR_NORMAL - 1)), FIVE, NINETY_FIVE, 400)
    assert "fewer than 20" in few.why_not
    alike = normal_bound([50.0] * 30, FIVE, NINETY_FIVE, 400)
    assert (alike.statistic, "do not look normal" in alike.why_not) == (math.inf, True)


def test_a_sample_that_passes_its_own_bound_does_not_support_it():
    # A share of 40 % at a low confidence: the bound lies below more of those weighed than a mob of 20 may have over.
    quantiles = stats.norm.ppf((np.arange(40) + 0.5) / 40)
    bound = normal_bound(quantiles.tolist(), Fraction(40, 100), Fraction(1, 100), 40)
    assert bound.why_not == "more of those weighed are heavier than the share allows"


@pytest.mark.parametrize(("share", "confidence"), [(Fraction(0), NINETY_FIVE), (FIVE, Fraction(1))])
def test_a_normal_mob_has_no_heaviest_weight(share, confidence):
    with pytest.raises(ValueError, match="normal bound"):
        normal_bound([50.0, 51.0], share, confidence)


def test_normal_bounds_cover_as_often_as_they_say():
    # 4,000 samples of 25 from one normal mob: the bound is above the 95 % quantile in 90 % of them, within four
    # standard deviations of that count.
    samples = np.random.default_rng(11).normal(50, 5, (4000, 25))
    factor = tolerance_factor(25, FIVE, Fraction(90, 100))
    above = samples.mean(axis=1) + factor * samples.std(axis=1, ddof=1) >= 50 + 5 * stats.norm.ppf(0.95)
    assert above.mean() == pytest.approx(0.9, abs=4 * math.sqrt(0.9 * 0.1 / 4000))


def test_the_heaviest_unweighed():
    # n of N weighed hold the heaviest of all with the chance n/N. The factor for 80 others at 95 %, by scipy.
    found = heaviest_unweighed([48.0, 50.0, 52.0, 54.0] * 5, head=100, confidence=NINETY_FIVE)
    assert found.confidence_of_sample == Fraction(20, 100)
    factor = stats.t.isf(0.05 / 80, 19) * math.sqrt(1 + 1 / 20)
    assert normal_prediction_factor(20, 80, NINETY_FIVE) == pytest.approx(factor, rel=1e-9)
    assert found.normal_kg == pytest.approx(51 + factor * math.sqrt(100 / 19), rel=1e-9)
    with pytest.raises(ValueError, match="All are weighed"):
        heaviest_unweighed([50.0], head=1, confidence=NINETY_FIVE)
    assert heaviest_unweighed([50.0], head=2, confidence=NINETY_FIVE).normal_kg is None
