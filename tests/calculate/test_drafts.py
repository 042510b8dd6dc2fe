"""Rule 4: one setting from the heaviest, or the best split there is, found again by trying them all."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import combinations, pairwise
from time import perf_counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_jobs import many, medicine, mob_of, ng, planned

from batchdose.calculate.draft_search import best_paths, cut_places, fewest_drafts, paths_within, stretch_of
from batchdose.calculate.drafts import best_split, draft_curve, multiple_of_lightest, too_wide_for_one_setting
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


def cost(draft, needs, most, head=None):
    """Head over what they may get, product given, settings."""
    head = np.ones_like(needs) if head is None else head
    setting = np.array([needs[draft == own].max() for own in draft])
    given = setting <= most
    return int(head[~given].sum()), int((setting * head)[given].sum()), len(set(draft.tolist()))


def largest_multiple(draft, needs, most):
    """Largest multiple of its own dose that any animal gets which is given the setting of its draft."""
    setting = [needs[draft == own].max() for own in draft]
    given = [Fraction(int(s), int(need)) for s, need, top in zip(setting, needs, most, strict=True) if s <= top]
    return max(given, default=Fraction(1))


steps_of_cuts = st.sampled_from([0, NG_PER_KG, 5 * NG_PER_KG])


@many
@given(small_mobs(), st.integers(1, 4), steps_of_cuts)
def test_the_split_is_the_best_of_all(mob, most_drafts, cut):
    weight, needs, most = mob
    split = best_split(weight, needs, most, most_drafts, cut)
    costs = [cost(draft, needs, most) for draft in every_split(weight, cut)]
    assert (split.over, split.total, len(set(split.draft.tolist()))) == min(
        tried for tried in costs if tried[2] <= most_drafts
    )


@settings(max_examples=600)
@given(
    small_mobs(), st.lists(st.integers(1, 4), min_size=7, max_size=7), st.integers(1, 9), steps_of_cuts,
    st.sampled_from(["product", "overdose"]),
)  # fmt: skip
def test_every_step_of_the_curve_is_the_best_of_all_with_head_and_either_objective(mob, head, least, cut, objective):
    weight, needs, most = mob
    head = np.array(head[: len(weight)])
    least_head = min(least, int(head.sum()))
    tried = []
    for draft in every_split(weight, cut):
        if min(head[draft == label].sum() for label in set(draft.tolist())) >= least_head:
            over, total, used = cost(draft, needs, most, head)
            multiple = largest_multiple(draft, needs, most)
            tried.append((used, (over, multiple, total, used) if objective == "overdose" else (over, total, used)))
    curve = draft_curve(weight, needs, most, 5, cut, head=head, least_head=least, objective=objective)
    for step in curve.steps:
        best = min(goal for used, goal in tried if used <= step.drafts)
        own = (step.over, step.multiple, step.total, step.used)
        assert (own if objective == "overdose" else (step.over, step.total, step.used)) == best
        split = curve.split(step.drafts)
        assert (split.over, split.total, len(set(split.draft.tolist()))) == (step.over, step.total, step.used)
        assert cost(split.draft, needs, most, head) == (step.over, step.total, step.used)
        assert largest_multiple(split.draft, needs, most) == step.multiple
        assert min(head[split.draft == label].sum() for label in range(step.used)) >= least_head


@settings(max_examples=120)
@given(st.integers(0, 2**32), st.integers(2, 60), st.integers(1, 9), st.fractions(1, 3, max_denominator=20))
def test_looking_only_where_nobody_is_over_finds_what_looking_everywhere_finds(seed, head, least_head, times):
    rng, drafts = np.random.default_rng(seed), 6
    weight, count = np.sort(rng.integers(20, 90, head)), rng.integers(1, 4, head)
    needs = -(-weight * 7 // 20)
    most = np.maximum(at_most(needs, times), needs)
    least_head = min(least_head, int(count.sum()))
    places = cut_places(weight, needs, count, least_head, drafts)
    after = np.searchsorted(places.setting, most[places.animals[:-1]], side="right")
    stretch = stretch_of(places, after, least_head)
    every = best_paths(places, most, count, least_head, drafts)
    overs = [every.over(number) for number in range(1, drafts + 1)]
    assert fewest_drafts(stretch, drafts) == (overs.index(0) + 1 if 0 in overs else drafts + 1)
    for number in range(1, drafts + 1):
        if not overs[number - 1]:
            within = paths_within(places, stretch, most, count, least_head, number)
            assert (within.over(number), within.total(number)) == (0, every.total(number))
            assert within.at_most(number) == every.at_most(number)


def plain_search(weight, needs, most, most_drafts, least_head):
    """Head over and marks of the best split into exactly 1, 2, ... drafts, trying every cut for every draft."""
    ends = np.flatnonzero(np.append(weight[1:] != weight[:-1], True)) + 1
    best = {0: (0, 0)}
    for _ in range(most_drafts):
        longer = {}
        for end in ends.tolist():
            for start, (over, total) in best.items():
                if end - start >= least_head:
                    given = most[start:end] >= needs[end - 1]
                    tried = (over + int((~given).sum()), total + int(needs[end - 1] * given.sum()))
                    longer[end] = min(longer.get(end, tried), tried)
        best = longer
        yield best.get(len(weight), (len(weight) + 1, 0))


@settings(max_examples=40)
@given(st.integers(0, 2**32), st.integers(20, 90), st.integers(1, 12), st.sampled_from(["1.1", "1.4", "2", "9"]))
def test_larger_mobs_with_any_limit_are_split_as_by_trying_every_cut(seed, head, least_head, times):
    weight = np.sort(np.random.default_rng(seed).integers(20, 120, head))
    needs = -(-weight * 7 // 5)
    most = np.maximum(np.array([math.floor(w * Fraction(times) * 7 / 5) for w in weight.tolist()]), needs)
    exact = list(plain_search(weight, needs, most, 6, least_head))
    curve = draft_curve(weight, needs, most, 6, least_head=least_head)
    assert [(step.over, step.total) for step in curve.steps] == [min(exact[: n + 1]) for n in range(6)]


@settings(max_examples=25)
@given(
    st.integers(0, 2**32), st.integers(10, 40), st.integers(1, 8), st.fractions(Fraction(11, 10), 3, max_denominator=10)
)
def test_the_smallest_largest_multiple_of_larger_mobs_is_that_of_trying_every_multiple(seed, head, least_head, times):
    weight = np.sort(np.random.default_rng(seed).integers(20, 60, head))
    needs = -(-weight * 7 // 20)
    most = np.maximum(at_most(needs, times), needs)

    def steps(limits):
        exact = list(plain_search(weight, needs, limits, 4, least_head))
        return [min(exact[: n + 1]) for n in range(4)]

    fewest_over, found = [over for over, _ in steps(most)], {}
    every = {Fraction(setting, need) for setting in needs.tolist() for need in needs.tolist() if setting >= need}
    for multiple in sorted(every):
        for n, (over, total) in enumerate(steps(np.minimum(most, at_most(needs, multiple)))):
            if over == fewest_over[n]:
                found.setdefault(n, (over, multiple, total))
    curve = draft_curve(weight, needs, most, 4, least_head=least_head, objective="overdose")
    assert [(step.over, step.multiple, step.total) for step in curve.steps] == [found[n] for n in range(4)]


def at_most(needs, times):
    """Marks that are no more than so many times what each animal needs."""
    return np.array([math.floor(need * times) for need in needs.tolist()])


def test_animals_of_one_setting_may_be_parted_to_bring_a_draft_to_its_least_head():
    # Three head need 3 marks, one needs 6: two head a draft leave one light animal with the heavy one.
    weight, needs = np.array([30, 31, 32, 60]), np.array([3, 3, 3, 6])
    split = best_split(weight, needs, 2 * needs, 2, least_head=2)
    assert (split.setting.tolist(), split.total) == ([3, 3, 6, 6], 18)


def test_a_mob_of_fewer_than_the_least_head_is_one_draft():
    weight, needs = np.array([30, 60]), np.array([3, 6])
    assert best_split(weight, needs, 2 * needs, 2, least_head=10).setting.tolist() == [6, 6]


def test_least_overdose_and_least_product_may_part_a_mob_differently():
    # One light animal and nine heavy ones: to save product the heavy are parted, to spare the light one it is.
    weight = np.array([20, 40, *[50] * 8, 60])
    needs = weight // 10
    most = 10 * needs
    product, overdose = (best_split(weight, needs, most, 2, objective=goal) for goal in ("product", "overdose"))
    assert (product.setting.tolist(), product.total) == ([5] * 10 + [6], 56)
    assert (overdose.setting.tolist(), overdose.total) == ([2] + [6] * 10, 62)


@many
@given(small_mobs(), st.fractions(0, 1, max_denominator=20), st.integers(0, 10))
def test_the_number_recommended_is_the_first_from_which_one_more_saves_too_little(mob, share, marks):
    curve = draft_curve(*mob, 6)
    chosen = curve.recommended(least_share=share, least_marks=marks)
    for step, more in pairwise(curve.steps[: chosen.drafts]):
        saved = step.total - more.total
        assert more.over < step.over or saved >= max(1, marks, share * step.total)
    if chosen.drafts < len(curve.steps):
        more = curve.steps[chosen.drafts]
        assert more.over == chosen.over
        assert chosen.total - more.total < max(1, marks, share * chosen.total)


@pytest.mark.parametrize(("heaviest", "split"), [(49, False), (50, False), (51, True)])
def test_the_rule_of_thumb_asks_for_a_split_above_twice_the_dose_of_the_lightest(heaviest, split):
    # Hybu Cig Cymru, "Correct dosage essential when treating sheep": two groups if the lightest would get more
    # than twice its dose when all are dosed to the heaviest.
    weight = np.array([25, 30, heaviest]) * NG_PER_KG
    assert too_wide_for_one_setting(weight) == split
    assert multiple_of_lightest(weight) == Fraction(heaviest, 25)


def test_settings_beyond_64_bits_of_the_halving_are_still_exact():
    weight = np.array([20, 30, 40, 60])
    needs = weight * 10**6
    curve = draft_curve(weight, needs, 2 * needs, 2, objective="overdose")
    assert [step.multiple for step in curve.steps] == [2, Fraction(3, 2)]


@many
@given(small_mobs(), st.integers(1, 4), steps_of_cuts)
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
    assert all("is too much for it: use more weight groups" in why[0] for why in held["why"])


def test_the_plan_of_a_mob_counts_its_animals_and_its_product():
    given = medicine(rate="1 mL/10 kg", dose_by="drafts", doses=2)
    course = planned(given, mob_of(*LAMBS, facts=SessionFacts(max_drafts=3)))
    (mob,) = course.mobs
    assert [(d.label, d.from_kg, d.to_kg, float(d.setting), d.head) for d in mob.drafts] == [
        ("A", 20.0, 24.5, 2.5, 2), ("B", 31.0, 33.0, 3.3, 2), ("C", 38.0, 44.0, 4.4, 3),
    ]  # fmt: skip
    assert mob.head == 7
    assert mob.total == Fraction("2.5") * 2 + Fraction("3.3") * 2 + Fraction("4.4") * 3
    assert mob.remarks == (
        "One weight group more would save 0.8 mL a round.",
        "Product of a round by the number of weight groups: 1: 26.4 mL (1 left out); 2: 26.4 mL; 3: 24.8 mL; 4: 24 mL.",
    )


def test_one_draft_more_saves_what_it_says_and_nothing_where_all_are_alike():
    one, two = (
        planned(medicine(rate="1 mL/10 kg", dose_by="drafts"), mob_of(*LAMBS, facts=SessionFacts(max_drafts=n)))
        for n in (3, 4)
    )
    assert one.mobs[0].total - two.mobs[0].total == Fraction("0.8")
    alike = planned(medicine(rate="1 mL/10 kg", dose_by="drafts"), mob_of(40, 40, 40))
    assert alike.mobs[0].remarks == ("One weight group more would save nothing.",)
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
