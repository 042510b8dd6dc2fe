"""The cheapest packs, found again by trying every combination."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import product
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchdose.calculate.purchase import Offer, cheapest_purchase

sizes = st.builds(Fraction, st.integers(1, 9), st.sampled_from([1, 2]))
prices = st.builds(Fraction, st.integers(0, 30), st.sampled_from([1, 2, 4]))
offers = st.lists(st.tuples(sizes, prices), min_size=1, max_size=3, unique_by=lambda offer: offer[0])


def every_list(missing, of_each):
    """Cost, what it holds, packs: of every combination with no pack to spare in any size."""
    most = [math.ceil(missing / size) for size, _ in of_each]
    for packs in product(*(range(count + 1) for count in most)):
        held = sum(count * size for count, (size, _) in zip(packs, of_each, strict=True))
        if held >= missing:
            cost = sum(count * (price or 0) for count, (_, price) in zip(packs, of_each, strict=True))
            yield cost, held, sum(packs)


def found(purchase):
    return purchase.cost, purchase.amount, sum(packs for _, packs in purchase.packs)


@settings(max_examples=400)
@given(st.fractions(Fraction(1, 4), 30, max_denominator=4), offers)
def test_the_cheapest_of_all_lists_is_found_then_the_least_left_over_then_the_fewest(missing, of_each):
    purchase = cheapest_purchase(missing, [Offer(size, price) for size, price in of_each])
    assert found(purchase) == min(every_list(missing, of_each))
    assert purchase.amount == sum(size * packs for size, packs in purchase.packs)
    assert purchase.left_over == purchase.amount - missing >= 0
    price = dict(of_each)
    assert purchase.cost == sum(price[size] * packs for size, packs in purchase.packs)


@settings(max_examples=200)
@given(st.fractions(Fraction(1, 4), 30, max_denominator=4), st.lists(sizes, min_size=1, max_size=3, unique=True))
def test_without_prices_the_fewest_packs_are_bought_then_the_least_left_over(missing, of_each):
    purchase = cheapest_purchase(missing, [Offer(size) for size in of_each])
    fewest = min((packs, held) for _, held, packs in every_list(missing, [(size, None) for size in of_each]))
    assert (found(purchase)[2], purchase.amount, purchase.cost) == (*fewest, None)


def test_a_large_amount_is_bought_in_the_pack_that_is_cheapest_by_volume_and_only_the_rest_is_searched():
    packs = [Offer(Fraction(250), Fraction(21)), Offer(Fraction(1000), Fraction(70)), Offer(Fraction(30), Fraction(3))]
    started = perf_counter()
    purchase = cheapest_purchase(Fraction(10_000_240), packs)
    assert perf_counter() - started < 1
    assert purchase.packs == ((1000, 10_000), (250, 1))
    assert (purchase.cost, purchase.left_over) == (700_021, 10)


@settings(max_examples=60)
@given(st.integers(200, 400), st.lists(st.integers(2, 9), min_size=2, max_size=3, unique=True), st.data())
def test_what_is_bought_at_once_leaves_the_list_as_cheap_as_a_search_of_all(missing, of_each, data):
    costs = [data.draw(st.integers(1, 40)) for _ in of_each]
    best = [0] * (missing + 1)
    for amount in range(1, missing + 1):
        best[amount] = min(best[max(0, amount - s)] + c for s, c in zip(of_each, costs, strict=True))
    offered = [Offer(Fraction(s), Fraction(c)) for s, c in zip(of_each, costs, strict=True)]
    assert cheapest_purchase(Fraction(missing), offered).cost == best[missing]


def test_a_larger_pack_is_bought_where_it_is_cheaper_than_what_is_just_enough():
    purchase = cheapest_purchase(Fraction(60), [Offer(Fraction(50), Fraction(30)), Offer(Fraction(500), Fraction(55))])
    assert (purchase.packs, purchase.left_over) == (((500, 1),), 440)


def test_packs_without_a_price_are_left_out_where_others_have_one():
    purchase = cheapest_purchase(Fraction(60), [Offer(Fraction(50), Fraction(30)), Offer(Fraction(100))])
    assert (purchase.packs, purchase.cost) == (((50, 2),), 60)


def test_two_prices_of_one_size_are_the_lower():
    purchase = cheapest_purchase(Fraction(60), [Offer(Fraction(50), Fraction(30)), Offer(Fraction(50), Fraction(20))])
    assert purchase.cost == 40


@pytest.mark.parametrize("missing", [Fraction(0), Fraction(-5)])
def test_nothing_is_bought_where_nothing_is_missing(missing):
    purchase = cheapest_purchase(missing, [])
    assert (purchase.packs, purchase.amount, purchase.left_over) == ((), 0, 0)


@pytest.mark.parametrize("wrong", [[], [Offer(Fraction(0))], [Offer(Fraction(1), Fraction(-1))]])
def test_packs_that_make_no_sense_are_refused(wrong):
    with pytest.raises(ValueError, match="pack"):
        cheapest_purchase(Fraction(5), wrong)
