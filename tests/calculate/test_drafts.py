"""Rule 4: one setting from the heaviest, or the best split there is, found again by trying them all."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import combinations, pairwise
from time import perf_counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_jobs import many, medicine, mob_of, ng, planned

from batchdose.calculate.drafts import best_split
from batchdose.findings import Hold
from batchdose.model import NG_PER_KG, SessionFacts

HALF_KG = NG_PER_KG // 2


@st.composite
def small_mobs(draw):
    """Weights on half kilograms, the marks each animal needs, and the most it may get."""
    halves = draw(st.lists(st.integers(4, 60), min_size=1, max_size=7))
    per_half = draw(st.fractions(Fraction(1, 20), 1, max_denominator=40))
    room = draw(st.fractions(1, 2, max_denominator=20))
    needs = [math.ceil(half * per_half) for half in halves]
    most = [max(math.floor(half * per_half * room), need) for half, need in zip(halves, needs, strict=True)]
    return np.array(halves, np.int64) * HALF_KG, np.array(needs), np.array(most)


def every_split(weight, cut):
    """All ways to part a mob by weight: between two weights, or on multiples of `cut`."""
    places = sorted(set(-(-weight // (cut or 1))))
    for parts in range(len(places)):
        for ends in combinations(places[:-1], parts):
            yield np.searchsorted(np.array(ends, np.int64), -(-weight // (cut or 1)), side="left")


def cost(draft, needs, most):
    """Animals over what they may get, product given, settings."""
    setting = np.array([needs[draft == own].max() for own in draft])
    given = setting <= most
    return int((~given).sum()), int(setting[given].sum()), len(set(draft.tolist()))


@many
@given(small_mobs(), st.integers(1, 4), st.sampled_from([0, NG_PER_KG, 5 * NG_PER_KG]))
def test_the_split_is_the_best_of_all(mob, most_drafts, cut):
    weight, needs, most = mob
    split = best_split(weight, needs, most, most_drafts, cut)
    costs = [cost(draft, needs, most) for draft in every_split(weight, cut)]
    assert (split.over, split.total, len(set(split.draft.tolist()))) == min(
        tried for tried in costs if tried[2] <= most_drafts
    )


@many
@given(small_mobs(), st.integers(1, 4), st.sampled_from([0, NG_PER_KG, 5 * NG_PER_KG]))
def test_each_draft_is_set_by_its_own_heaviest_and_parted_from_the_next_by_weight(mob, most_drafts, cut):
    weight, needs, most = mob
    split = best_split(weight, needs, most, most_drafts, cut)
    labels = range(int(split.draft.max()) + 1)
    assert len(labels) <= most_drafts
    assert len(split.draft) == len(weight), "every animal is in a draft"
    for label in labels:
        inside = split.draft == label
        assert set(split.setting[inside]) == {needs[weight == weight[inside].max()].max()}
    for lower, upper in pairwise(labels):
        lightest_above, heaviest_below = weight[split.draft == upper].min(), weight[split.draft == lower].max()
        assert heaviest_below < lightest_above
        if cut:
            assert -(-heaviest_below // cut) * cut < lightest_above, "a multiple of the step lies between"
    assert (split.setting >= needs).all(), "no animal is under its dose"
    assert (split.over, split.total) == cost(split.draft, needs, most)[:2]


@pytest.mark.parametrize("most_drafts", [1, 3, 8])
def test_two_thousand_animals_are_split_within_a_second(most_drafts):
    weight = np.random.default_rng(7).integers(20_000, 90_000, 2000) * (NG_PER_KG // 1000)
    needs = -(-weight // NG_PER_KG * 10)
    started = perf_counter()
    split = best_split(weight, needs, 2 * needs, most_drafts)
    assert perf_counter() - started < 1
    assert len(set(split.draft)) == most_drafts


# The settings of a mob in a plan.

LAMBS = ("20", "24.5", "31", "33", "38", "39.5", "44")


@pytest.mark.parametrize("dose_by", ["mob", "drafts"])
def test_no_animal_in_a_plan_is_under_its_target_or_over_twice_the_label_rate(dose_by):
    given = medicine(rate="1 mL/10 kg", dose_by=dose_by)
    course = planned(given, mob_of(*LAMBS, facts=SessionFacts(max_drafts=3)))
    rows = course.table[~course.table["held"]]
    assert (rows["dose"] >= rows["target"]).all()
    assert (rows["dose"] <= 2 * rows["target"]).all()
    held = course.table[course.table["held"]]
    assert held["tag"].tolist() == (["0401"] if dose_by == "mob" else [])
    assert all("is too much for it: use more drafts" in why[0] for why in held["why"])


def test_the_plan_of_a_mob_counts_its_animals_and_its_product():
    given = medicine(rate="1 mL/10 kg", dose_by="drafts", doses=2)
    course = planned(given, mob_of(*LAMBS, facts=SessionFacts(max_drafts=3)))
    (mob,) = course.mobs
    assert [(d.label, d.from_kg, d.to_kg, float(d.setting), d.head) for d in mob.drafts] == [
        ("A", 20.0, 24.5, 2.5, 2), ("B", 31.0, 33.0, 3.3, 2), ("C", 38.0, 44.0, 4.4, 3),
    ]  # fmt: skip
    assert mob.head == 7
    assert mob.total == Fraction("2.5") * 2 + Fraction("3.3") * 2 + Fraction("4.4") * 3
    assert mob.remarks == ("One draft more would save 0.8 mL a round.",)


def test_one_draft_more_saves_what_it_says_and_nothing_where_all_are_alike():
    one, two = (
        planned(medicine(rate="1 mL/10 kg", dose_by="drafts"), mob_of(*LAMBS, facts=SessionFacts(max_drafts=n)))
        for n in (3, 4)
    )
    assert one.mobs[0].total - two.mobs[0].total == Fraction("0.8")
    alike = planned(medicine(rate="1 mL/10 kg", dose_by="drafts"), mob_of(40, 40, 40))
    assert alike.mobs[0].remarks == ("One draft more would save nothing.",)
    assert len(alike.mobs[0].drafts) == 1


def test_one_draft_more_that_lets_a_held_animal_be_dosed_is_not_said_to_bring_nothing():
    one, two = (
        planned(medicine(rate="1 mL/10 kg", dose_by="drafts"), mob_of(*LAMBS, facts=SessionFacts(max_drafts=n)))
        for n in (1, 2)
    )
    assert (one.table["held"].sum(), two.table["held"].sum()) == (1, 0)
    assert "nothing" not in one.mobs[0].remarks[0]


def test_a_held_animal_never_sets_the_dose_of_its_mob():
    outlier = Hold("weight out of line with its mob", animals=(8,), soft=True, needs_weight=True)
    course = planned(medicine(rate="1 mL/10 kg", dose_by="mob"), mob_of(*LAMBS[1:], 70), outlier)
    assert course.table["held"].tolist() == [False] * 6 + [True]
    assert [float(draft.setting) for draft in course.mobs[0].drafts] == [4.4]


def test_mobs_are_set_apart():
    mob = mob_of("30", "31", "60", "61", mob=["Hill", "Hill", "River", "River"])
    course = planned(medicine(rate="1 mL/10 kg", dose_by="mob"), mob)
    assert course.table["dose"].tolist() == [3.1, 3.1, 6.1, 6.1]
    assert [(mob.mob, mob.head) for mob in course.mobs] == [("Hill", 2), ("River", 2)]


@pytest.mark.parametrize(("cut_step", "heads"), [("", [2, 1, 3]), ("Cut step | 1 kg", [3, 2, 1])])
def test_cuts_stand_on_whole_kilograms_where_the_session_says_so(job, cut_step, heads):
    result = job(
        """
        Tag  | Weight (kg)
        0401 | 31.2
        0402 | 31.3
        0403 | 31.9
        0404 | 44.2
        0405 | 44.9
        0406 | 45.1
        """,
        {"Dose rate": "1 mL/kg", "Strength": None, "Dose by": "drafts"},
        Session=f"Species | sheep\nTime zone | UTC\nLargest number of drafts | 3\n{cut_step}",
    )
    drafts = result.mobs[0].drafts
    assert [draft.head for draft in drafts] == heads
    if cut_step:
        assert all(math.ceil(lower.to_kg) < upper.from_kg for lower, upper in pairwise(drafts))


def test_a_whole_mob_is_one_draft_of_all_its_head():
    mob = mob_of(50, head=120, tag="", lightest_ng=ng(30))
    (plan_of_mob,) = planned(medicine(rate="1 mL/50 kg", dose_by="mob"), mob).mobs
    (draft,) = plan_of_mob.drafts
    assert (plan_of_mob.head, plan_of_mob.total) == (120, 120)
    assert (draft.head, draft.from_kg, draft.to_kg) == (120, 30.0, 50.0)
