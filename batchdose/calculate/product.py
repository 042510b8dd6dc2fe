"""Product to draw and to take along: totals, spare, packs from stock by earliest expiry, which bottle for whom."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import pandas as pd

from batchdose.amounts import amount_text, date_text
from batchdose.calculate.fills import NO_HANDLING, Handling
from batchdose.calculate.marks import Ints
from batchdose.calculate.supply import NO_STOCK, Supply, plan_supply, spare_text
from batchdose.model import LeftOver, Medicine, Moment, Pack, ProductPlan, SessionFacts
from batchdose.texts import Text, joined, say, say_many


@dataclass(frozen=True)
class Event:
    """Doses of one medicine at one moment: rows of the treatments table in working order, and their amounts.

    `amounts` are whole numbers of `step` (units of product), so that sums are exact; `doses` counts heads, and
    `head` those of each row (None: one each).
    """

    moment: Moment
    rows: Ints
    amounts: Ints
    step: Fraction
    doses: int
    head: Ints | None = None


def working_order(treatments: pd.DataFrame) -> Ints:
    """The place of each row in the order in which animals are worked: mobs as in the sheet, in each by tag.

    That is the order of the lists on the job sheet.
    """
    _, first, of_row = np.unique(treatments["animal"].to_numpy(np.int64), return_index=True, return_inverse=True)
    mob = pd.factorize(treatments["mob"])[0][first]
    place = np.empty(len(first), np.int64)
    place[np.lexsort((treatments["tag"].to_numpy()[first].astype(str), mob))] = np.arange(len(first))
    return place[of_row]


def events_of(
    treatments: pd.DataFrame, medicines: Sequence[Medicine], of_name: Sequence[int], order: Ints
) -> list[Event]:
    """All doses of the rows of one product, in the order in which they are given (then in `working_order`)."""
    step = Fraction(1, math.lcm(*(medicines[i].graduation.denominator for i in of_name)))
    steps = {i: int(medicines[i].graduation / step) for i in of_name}
    mine = np.flatnonzero(treatments["medicine"].isin(of_name) & ~treatments["held"])
    mine = mine[np.argsort(order[mine], kind="stable")]
    course, heads = (treatments[name].to_numpy(np.int64)[mine] for name in ("course", "head"))
    amounts = treatments["marks"].to_numpy(np.int64)[mine] * heads
    amounts *= treatments["medicine"].map(steps).fillna(0).to_numpy(np.int64)[mine]
    courses, first = np.unique(course, return_index=True)
    moments_of = dict(zip(courses.tolist(), treatments["planned_for"].to_numpy()[mine[first]], strict=True))
    # Two doses on one day of which no hour is known are two events: each moment with its place among its equals.
    turns = {c: [(m, moments[:at].count(m)) for at, m in enumerate(moments)] for c, moments in moments_of.items()}
    events = []
    for moment, turn in sorted({t for of_course in turns.values() for t in of_course}, key=lambda t: (t[0].at, t[1])):
        now = np.isin(course, [number for number, of_course in turns.items() if (moment, turn) in of_course])
        rows, head = treatments.index.to_numpy(np.int64)[mine[now]], heads[now]
        events.append(Event(moment, rows, amounts[now], step, int(head.sum()), head))
    return events


def plan_product(
    name: str, unit: str, events: Sequence[Event], stock: Sequence[Pack], facts: SessionFacts,
    handling: Handling = NO_HANDLING,
) -> tuple[ProductPlan, dict[int, list[str]]]:  # fmt: skip
    """Product of one name, and the batch numbers for each row of the treatments table.

    Where stock is listed or the handling says anything, all is gone through dose by dose: see `supply.plan_supply`.
    """
    if stock or handling != NO_HANDLING:
        supply = plan_supply(name, unit, events, stock, facts.spare, handling)
        said = (*supply.plan.remarks, *_in_full(supply, unit))
        return replace(supply.plan, remarks=said, cost=supply.cost, left_over=supply.left_over), supply.batches
    total = sum((int(event.amounts.sum()) * event.step for event in events), Fraction(0))
    to_draw = total * (1 + facts.spare)
    remarks = (*([spare_text(facts.spare)] if facts.spare else []), NO_STOCK)
    doses = sum(event.doses for event in events)
    return ProductPlan(name, doses, to_draw, unit, (), to_draw, remarks, stock_known=False), {}


def handling_of(medicine: Medicine) -> Handling:
    """How a medicine's row says it is drawn and given; NO_HANDLING where it says nothing.

    The device is filled only where something of a fill is stated; else it may be fed from the bottle.
    """
    practice, size = medicine.practice, medicine.device_size
    priming = practice.priming or Fraction(0)
    filled = practice.priming is not None or practice.most_punctures is not None or not practice.mixing
    return Handling(
        fill=size if filled and size is not None and size > priming else None, priming=priming,
        dead_space=practice.dead_space or Fraction(0), animals_per_needle=practice.animals_per_needle,
        loss=practice.loss or Fraction(0), most_punctures=practice.most_punctures, mixing=practice.mixing,
    )  # fmt: skip


def _in_full(supply: Supply, unit: str) -> Iterator[str]:
    """What is in the amount besides the doses, how often the device is filled, and what is left over, in words."""
    fills, needles = len(supply.fills), supply.needles
    parts = [
        (supply.for_priming, say_many("{amount} for priming at {n} fills", "{amount} for priming at {n} fills", fills,
                                      amount=amount_text(supply.for_priming, unit, 1), n=fills)),
        (supply.for_needles, say_many("{amount} for {n} needles", "{amount} for {n} needles", needles,
                                      amount=amount_text(supply.for_needles, unit, 1), n=needles)),
        (supply.for_loss, say("{amount} for loss", amount=amount_text(supply.for_loss, unit, 1))),
    ]  # fmt: skip
    if included := [said for amount, said in parts if amount]:
        yield say("Included: {parts}.", parts=joined(", ", included))
    if supply.left_over:
        left = joined("; ", [_left_text(over, unit) for over in supply.left_over])
        yield say("Left over in opened packs: {packs}.", packs=left)


def _left_text(over: LeftOver, unit: str) -> Text:
    """What is left in an opened pack: of which batch, and until when."""
    what = {"amount": amount_text(over.left, unit, 1), "batch": over.batch_no}
    day = date_text(over.use_by) if over.use_by else ""
    if over.batch_no:
        return say("{amount} of {batch}, use by {day}", **what, day=day) if day else say("{amount} of {batch}", **what)
    return say("{amount}, use by {day}", **what, day=day) if day else joined("", [what["amount"]])
