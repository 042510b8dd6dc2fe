"""Product in full: fills, priming, dead space, punctures, batches, purchases, what is left and what it costs.

Worked by hand, gone through dose by dose again, and the same as the short way where no handling is given.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from fractions import Fraction
from time import process_time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_jobs import MORNING

from batchdose.calculate.fills import NO_HANDLING, Handling
from batchdose.calculate.product import Event, plan_product
from batchdose.calculate.supply import plan_supply
from batchdose.findings import CellRef
from batchdose.model import Moment, Pack, SessionFacts

START = date(2026, 6, 1)
TENTH = Fraction(1, 10)
ROUTE = ("wormer A", "mL")


def pack(size, batch_no="B-1", packs=1, **facts):
    """A line of stock, without expiry, in-use life or price unless said."""
    plain = Pack(
        medicine="wormer a", size=Fraction(size), unit="mL", packs=packs, batch_no=batch_no, expiry=None,
        opened_on=None, use_within_hours=None, left=None, price=None,
        where=CellRef("medicines.xlsx", "Stock", f"A{batch_no}"),
    )  # fmt: skip
    return replace(plain, **facts)


def round_of(*tenths, day=0, head=None):
    """Doses of one morning, in tenths of a mL, one row each."""
    at = Moment(MORNING.at + timedelta(days=day), timed=True)
    heads = np.ones(len(tenths), np.int64) if head is None else np.array(head)
    amounts = np.array(tenths, np.int64) * heads
    return Event(at, np.arange(len(tenths)), amounts, TENTH, int(heads.sum()), heads)


def supply(events, stock, spare=Fraction(0), **handling):
    return plan_supply(*ROUTE, events, stock, spare, Handling(**{k: _exact(v) for k, v in handling.items()}))


def _exact(value):
    return Fraction(value) if isinstance(value, str) else value


# The same as the short way.


@st.composite
def stocks(draw):
    lines = []
    for number in range(draw(st.integers(0, 4))):
        opened = draw(st.one_of(st.none(), st.integers(-20, 0)))
        size = draw(st.integers(5, 200))
        lines.append(pack(
            Fraction(size, 10), f"B-{number}", draw(st.integers(1, 3)),
            opened_on=None if opened is None else START + timedelta(days=opened),
            left=None if opened is None else Fraction(draw(st.integers(1, size)), 10),
            expiry=draw(st.one_of(st.none(), st.integers(-1, 9).map(lambda d: START + timedelta(days=d)))),
            use_within_hours=draw(st.one_of(st.none(), st.sampled_from([24, 48, 120]).map(Fraction))),
        ))  # fmt: skip
    return lines


rounds = st.lists(st.lists(st.integers(1, 90), min_size=1, max_size=8), min_size=1, max_size=3)
spares = st.sampled_from([Fraction(0), Fraction(5, 100), Fraction(1, 10)])


def events_on(rounds_of_doses, every=2):
    return [round_of(*doses, day=every * number) for number, doses in enumerate(rounds_of_doses)]


@settings(max_examples=200)
@given(rounds, spares)
def test_without_stock_and_handling_it_is_what_the_short_way_gives(doses, spare):
    events = events_on(doses)
    short_way, batches = plan_product(*ROUTE, events, [], SessionFacts(spare=spare))
    found = supply(events, [], spare)
    assert (batches, set(map(tuple, found.batches.values()))) == ({}, {()})
    assert found.plan == short_way
    assert len(found.fills) == len(events)


# Dose by dose.


def by_hand(doses, fill, priming, animals_per_needle, lost):
    """Fills, priming, needles and all that is drawn of one moment: a person who fills when the next dose lacks."""
    fills, held, drawn, needles = 0, Fraction(0), Fraction(0), 0
    for number, dose in enumerate(doses):
        need = dose
        if number % (animals_per_needle or len(doses)) == 0:
            needles += 1
            need += lost
        drawn += need
        if need > held:
            parts = -(-need // (fill - priming))  # more than one for a dose above the device
            fills += parts
            drawn += parts * priming
            held = parts * (fill - priming)
        held -= need
    return fills, needles, drawn


tenths = st.integers(0, 20).map(lambda n: Fraction(n, 10))


@settings(max_examples=200)
@given(
    st.lists(st.integers(1, 90), min_size=1, max_size=25), st.integers(30, 300), tenths,
    st.one_of(st.none(), st.integers(1, 10)), tenths, tenths,
)  # fmt: skip
def test_fills_priming_and_needles_are_those_of_going_through_dose_by_dose(
    doses, fill, priming, per_needle, dead, spilt
):
    found = supply(
        [round_of(*doses)], [], fill=Fraction(fill, 10), priming=priming, animals_per_needle=per_needle,
        dead_space=dead, needle_loss=spilt,
    )  # fmt: skip
    amounts = [Fraction(dose, 10) for dose in doses]
    fills, needles, drawn = by_hand(amounts, Fraction(fill, 10), priming, per_needle, dead + spilt)
    assert found.needles == needles
    assert found.plan.to_draw == drawn
    assert found.for_priming == fills * priming
    assert found.for_needles == needles * (dead + spilt)


handlings = st.builds(
    Handling, fill=st.one_of(st.none(), st.integers(30, 200).map(lambda n: Fraction(n, 10))), priming=tenths,
    dead_space=tenths, animals_per_needle=st.just(3), most_punctures=st.one_of(st.none(), st.integers(1, 3)),
    mixing=st.booleans(), loss=st.sampled_from([Fraction(0), TENTH]),
)  # fmt: skip


@settings(max_examples=200)
@given(rounds, stocks(), spares, handlings)
def test_nothing_is_drawn_twice_or_lost_and_every_rule_is_kept(doses, stock, spare, handling):
    events = events_on(doses)
    found = plan_supply(*ROUTE, events, stock, spare, handling)
    parts = (found.for_doses, found.for_loss, found.for_priming, found.for_needles, found.for_spare)
    assert sum(parts) == found.plan.to_draw
    assert sum(f.drawn for f in found.fills) + found.for_spare == found.plan.to_draw
    assert sum(f.animals for f in found.fills) == found.plan.doses
    if handling.fill is not None:
        assert all(f.drawn <= handling.fill for f in found.fills)
    if not handling.mixing:
        assert all(len(f.batch_nos) <= 1 for f in found.fills)
    if handling.most_punctures:
        assert all(kept.punctures <= handling.most_punctures for kept in found.left_over)
    if stock:
        bought = sum(use.size * use.packs for use in found.plan.packs if use.to_buy)
        assert bought >= found.plan.short, "with what is bought there is enough"
        assert (bought > 0) == (found.plan.short > 0)
    for kept in found.left_over:
        assert 0 < kept.left <= kept.size


# By hand.


def test_a_gun_of_50_ml_is_filled_and_primed_and_its_needles_changed():
    # 25 animals of 4 mL from 50 mL fills with 1 mL priming; needles for 10 animals, 0.2 mL lost with each.
    # Fill 1: 1 + 0.2 + 10 x 4 + 0.2 + 2 x 4 = 49.4 (12 animals). Fill 2: 1 + 8 x 4 + 0.2 + 4 x 4 = 49.2 (12).
    # Fill 3: 1 + 4.
    found = supply(
        [round_of(*[40] * 25)], [pack(100, packs=2)], fill="50", priming="1", animals_per_needle=10,
        dead_space="0.15", needle_loss="0.05",
    )  # fmt: skip
    assert [(f.animals, float(f.drawn)) for f in found.fills] == [(12, 49.4), (12, 49.2), (1, 5.0)]
    assert (found.needles, found.for_priming, found.for_needles) == (3, 3, Fraction("0.6"))
    assert found.plan.to_draw == 100 + 3 + Fraction("0.6")
    # The third fill empties the first bottle and enters the second once.
    assert [(kept.left, kept.punctures) for kept in found.left_over] == [(Fraction("96.4"), 1)]


def test_the_default_mixes_two_batches_in_one_fill_and_without_mixing_each_fill_has_one():
    stock = [pack(10, "B-1", expiry=date(2026, 9, 1)), pack(50, "B-2", expiry=date(2027, 6, 1))]
    mixed = supply([round_of(*[40] * 5)], stock, fill="20")
    assert [(f.animals, f.batch_nos) for f in mixed.fills] == [(5, ("B-1", "B-2"))]
    assert mixed.batches == {row: ["B-1", "B-2"] for row in range(5)}
    apart = supply([round_of(*[40] * 5)], stock, fill="20", mixing=False)
    assert [(f.animals, f.batch_nos) for f in apart.fills] == [(2, ("B-1",)), (3, ("B-2",))]
    assert apart.batches == {0: ["B-1"], 1: ["B-1"], 2: ["B-2"], 3: ["B-2"], 4: ["B-2"]}
    assert [(kept.batch_no, kept.left) for kept in apart.left_over] == [("B-1", 2), ("B-2", 38)]


def test_two_bottles_of_one_batch_may_be_joined_in_a_fill():
    found = supply([round_of(*[40] * 5)], [pack(10, "B-1", packs=2)], fill="20", mixing=False)
    assert [(f.animals, f.batch_nos) for f in found.fills] == [(5, ("B-1",))]


def test_a_stopper_is_entered_no_more_often_than_it_may_be():
    # Twelve doses of 5 mL, two a fill: six fills. Two punctures a bottle of 50 mL serve four doses each: three bottles.
    found = supply([round_of(*[50] * 12)], [pack(50, packs=2)], fill="10", most_punctures=2)
    assert [kept.punctures for kept in found.left_over] == [2, 2, 2]
    assert (found.plan.short, found.purchase.packs) == (20, ((50, 1),))


def test_more_is_bought_where_the_punctures_do_not_let_a_bottle_be_emptied():
    found = supply([round_of(*[50] * 12)], [pack(50, packs=1)], fill="10", most_punctures=2)
    assert (found.plan.short, found.purchase.packs) == (40, ((50, 2),)), "40 mL are short, but a bottle gives 20"


def test_a_dose_above_the_device_takes_several_fills():
    found = supply([round_of(250)], [pack(100)], fill="10.5", priming="0.5")
    assert (found.plan.to_draw, found.for_priming) == (Fraction("26.5"), Fraction("1.5"))
    assert found.left_over[0].punctures == 3


def test_a_row_of_several_head_is_so_many_animals():
    found = supply([round_of(40, 20, head=[30, 1])], [pack(200)], fill="50", animals_per_needle=10)
    assert ([f.animals for f in found.fills], found.needles) == ([12, 12, 7], 4)


def test_loss_is_a_share_of_the_doses_and_spare_of_all_that_is_drawn():
    found = supply([round_of(*[50] * 4)], [pack(100)], Fraction(1, 10), loss="0.2", priming="1")
    assert (found.for_doses, found.for_loss, found.for_priming, found.for_spare) == (20, 4, 1, Fraction("2.5"))
    assert found.plan.remarks == ("10 % spare is included.",)


@pytest.mark.parametrize(
    ("within", "expiry", "use_by"),
    [
        (28 * 24, None, date(2026, 6, 28)),  # opened on 1 June is the first of 28 days
        (48, date(2027, 1, 1), date(2026, 6, 2)),
        (28 * 24, date(2026, 6, 10), date(2026, 6, 10)),
        (None, date(2027, 1, 1), None),  # not stated: never assumed to be 28 days (NOAH, in-use shelf life)
        (1, None, date(2026, 6, 1)),
    ],
)
def test_what_is_left_has_a_last_day(within, expiry, use_by):
    life = None if within is None else Fraction(within)
    found = supply([round_of(50)], [pack(100, use_within_hours=life, expiry=expiry)], priming="1")
    (kept,) = found.left_over
    assert (kept.left, kept.opened_on, kept.use_by) == (94, START, use_by)


def test_the_last_day_is_the_last_on_which_a_bottle_is_used():
    first = supply([round_of(50)], [pack(100, use_within_hours=Fraction(72))], priming="1").left_over[0]
    for ahead, short in ((2, 0), (3, 6)):
        rounds_of_doses = [round_of(50), round_of(50, day=ahead)]
        found = supply(rounds_of_doses, [pack(100, use_within_hours=Fraction(72))], priming="1")
        assert found.plan.short == short
        assert (START + timedelta(days=ahead) <= first.use_by) == (short == 0)


def test_the_cheapest_packs_are_bought_and_the_cost_is_that_of_the_product_drawn():
    stock = [pack(50, "B-1", price=Fraction(30)), pack(250, "B-2", packs=0, price=Fraction(100))]
    found = supply([round_of(*[50] * 20)], stock, fill="50", priming="0")
    assert (found.plan.short, found.purchase.packs, found.purchase.cost) == (50, ((50, 1),), 30)
    assert found.cost == 60
    assert found.cost_per_animal(20) == 3
    assert found.cost_per_kg(Fraction(1000)) == Fraction(60, 1000)
    large = supply([round_of(*[50] * 50)], stock, fill="50")
    assert (large.purchase.packs, large.purchase.left_over) == (((250, 1),), 50)
    assert large.cost == 30 + 200 * Fraction(100, 250)


def test_without_a_price_there_is_no_cost():
    found = supply([round_of(50)], [pack(50)], priming="1")
    assert (found.cost, found.cost_per_animal(1), found.cost_per_kg(Fraction(50))) == (None, None, None)
    assert supply([round_of(50)], [], priming="1").cost is None


def test_a_bought_pack_is_not_kept_past_the_in_use_life_of_its_size():
    stock = [pack(50, "B-1", packs=0, use_within_hours=Fraction(48))]
    found = supply([round_of(100), round_of(150, day=21)], stock, priming="1")
    assert (found.plan.short, found.purchase.packs) == (27, ((50, 2),))


def test_plan_product_takes_the_handling_and_gives_the_same_plan():
    events, stock = [round_of(*[40] * 25)], [pack(100)]
    handling = Handling(fill=Fraction(50), priming=Fraction(1))
    found = plan_supply(*ROUTE, events, stock, Fraction(0), handling)
    plan, batches = plan_product(*ROUTE, events, stock, SessionFacts(), handling)
    assert (replace(plan, remarks=found.plan.remarks, cost=None, left_over=()), batches) == (found.plan, found.batches)
    assert plan.cost == found.cost
    assert plan.remarks[-2:] == ("Included: 3 mL for priming at 3 fills.", "Left over in opened packs: 97 mL.")
    assert Handling() == NO_HANDLING


@pytest.mark.parametrize(
    "wrong", [{"fill": "1", "priming": "1"}, {"animals_per_needle": 0}, {"most_punctures": 0}]
)  # fmt: skip
def test_a_handling_that_could_never_draw_anything_is_refused(wrong):
    with pytest.raises(ValueError, match=r"must hold more|at least one"):
        supply([round_of(50)], [], **wrong)


def test_a_hundred_thousand_animals_are_filled_within_seconds():
    doses = np.random.default_rng(7).integers(20, 90, 100_000)
    event = Event(MORNING, np.arange(100_000), doses, TENTH, 100_000)
    stock = [pack(1000, f"B-{number}", packs=50) for number in range(12)]
    started = process_time()
    found = supply([event], stock, fill="50", priming="0.5", animals_per_needle=10, dead_space="0.1")
    assert process_time() - started < 5
    assert found.plan.short == 0


def test_a_night_that_is_not_a_whole_day_counts_by_its_dates():
    zone = ZoneInfo("UTC")
    evening = replace(round_of(50), moment=Moment(datetime(2026, 6, 1, 22, tzinfo=zone), timed=True))
    morning = replace(round_of(50), moment=Moment(datetime(2026, 6, 2, 6, tzinfo=zone), timed=True))
    found = supply([evening, morning], [pack(50, use_within_hours=Fraction(24))], priming="1")
    assert found.plan.short == 6, "a life of 24 h is the day of opening alone, as everywhere in the plan"
