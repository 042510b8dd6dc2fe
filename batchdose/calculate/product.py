"""Product to draw and to take along: totals, spare, packs from stock by earliest expiry, which bottle for whom."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

import numpy as np
import pandas as pd

from batchdose.amounts import amount_text, date_text, percent_text
from batchdose.calculate.bottles import Bottle, bottles_of, cost_of_drawn, take_in_order
from batchdose.calculate.fills import NO_HANDLING, Handling
from batchdose.calculate.marks import Ints
from batchdose.calculate.supply import LeftOver, Supply, plan_supply
from batchdose.model import Medicine, Moment, Pack, PackUse, ProductPlan, SessionFacts
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


def events_of(treatments: pd.DataFrame, medicines: Sequence[Medicine], of_name: Sequence[int]) -> list[Event]:
    """All doses of the rows of one product, in the order in which they are given (then by mob and tag)."""
    step = Fraction(1, math.lcm(*(medicines[i].graduation.denominator for i in of_name)))
    steps = {i: int(medicines[i].graduation / step) for i in of_name}
    columns = ["medicine", "course", "mob", "tag", "marks", "head", "planned_for"]
    mine = treatments.loc[treatments["medicine"].isin(of_name) & ~treatments["held"], columns]
    table = mine.take(np.lexsort((mine["tag"].to_numpy(str), mine["mob"].to_numpy(str))))
    amounts = table["marks"] * table["head"] * table["medicine"].map(steps)
    moments_of = {int(c): moments for c, moments in zip(table["course"], table["planned_for"], strict=True)}
    # Two doses on one day of which no hour is known are two events: each moment with its place among its equals.
    turns = {c: [(m, moments[:at].count(m)) for at, m in enumerate(moments)] for c, moments in moments_of.items()}
    events = []
    for moment, turn in sorted({t for of_course in turns.values() for t in of_course}, key=lambda t: (t[0].at, t[1])):
        now = table["course"].isin([course for course, of_course in turns.items() if (moment, turn) in of_course])
        rows, given = table.index[now].to_numpy(np.int64), amounts[now].to_numpy(np.int64)
        head = table["head"][now].to_numpy(np.int64)
        events.append(Event(moment, rows, given, step, int(head.sum()), head))
    return events


def plan_product(
    name: str, unit: str, events: Sequence[Event], stock: Sequence[Pack], facts: SessionFacts,
    handling: Handling = NO_HANDLING,
) -> tuple[ProductPlan, dict[int, list[str]]]:  # fmt: skip
    """Product of one name, and the batch numbers for each row of the treatments table.

    With a handling other than none, everything is counted in full: see `supply.plan_supply`, which tells more.
    """
    if handling != NO_HANDLING:
        supply = plan_supply(name, unit, events, stock, facts.spare, handling)
        said = (*supply.plan.remarks, *_in_full(supply, unit))
        return replace(supply.plan, remarks=said, cost=supply.cost), supply.batches
    packs = [pack for pack in stock if pack.size > 0]
    total = sum((int(event.amounts.sum()) * event.step for event in events), Fraction(0))
    to_draw = total * (1 + facts.spare)
    exact = [
        to_draw,
        *(e.step for e in events),
        *(p.size for p in packs),
        *(p.left for p in packs if p.left is not None),
    ]
    scale = math.lcm(*(amount.denominator for amount in exact))
    bottles = bottles_of(packs, scale)
    batches: dict[int, list[str]] = {}
    missing = [(event.moment.at.date(), _take(bottles, event, scale, batches)) for event in events]
    if events:
        last = events[-1].moment.at.date()
        usable = [bottle for bottle in bottles if bottle.usable(last)]
        missing.append((last, take_in_order(usable, int((to_draw - total) * scale), last)))
    short = Fraction(sum(amount for _, amount in missing), scale)
    used = Counter((b.pack.size, b.pack.batch_no, b.pack.expiry) for b in bottles if b.used)
    take = [PackUse(size, count, batch, expiry) for (size, batch, expiry), count in used.items()]
    if short and packs:
        take.append(_purchase([(day, Fraction(amount, scale)) for day, amount in missing if amount], packs))
    remarks = [spare_text(facts.spare)] if facts.spare else []
    if not packs:
        remarks.append(say("No stock is listed for it."))
    plan = ProductPlan(
        name,
        sum(event.doses for event in events),
        to_draw,
        unit,
        tuple(take),
        short,
        tuple(remarks),
        stock_known=bool(packs),
        cost=None if short else cost_of_drawn(bottles, scale),
    )
    return plan, batches


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
                                      amount=amount_text(supply.for_priming, unit), n=fills)),
        (supply.for_needles, say_many("{amount} for {n} needles", "{amount} for {n} needles", needles,
                                      amount=amount_text(supply.for_needles, unit), n=needles)),
        (supply.for_loss, say("{amount} for loss", amount=amount_text(supply.for_loss, unit))),
    ]  # fmt: skip
    if included := [said for amount, said in parts if amount]:
        yield say("Included: {parts}.", parts=joined(", ", included))
    if supply.left_over:
        left = joined("; ", [_left_text(over, unit) for over in supply.left_over])
        yield say("Left over in opened packs: {packs}.", packs=left)


def _left_text(over: LeftOver, unit: str) -> Text:
    """What is left in an opened pack: of which batch, and until when."""
    what = {"amount": amount_text(over.left, unit), "batch": over.batch_no}
    day = date_text(over.use_by) if over.use_by else ""
    if over.batch_no:
        return say("{amount} of {batch}, use by {day}", **what, day=day) if day else say("{amount} of {batch}", **what)
    return say("{amount}, use by {day}", **what, day=day) if day else joined("", [what["amount"]])


def spare_text(spare: Fraction) -> Text:
    """That some spare is in the amount.

    >>> spare_text(Fraction(1, 20))
    '5 % spare is included.'
    """
    return say("{share} % spare is included.", share=percent_text(spare))


def _take(bottles: list[Bottle], event: Event, scale: int, batches: dict[int, list[str]]) -> int:
    """Draw one event's doses in order; note each row's batches; return what is missing, in steps."""
    day = event.moment.at.date()
    usable = [bottle for bottle in bottles if bottle.usable(day)]
    ends = np.cumsum([bottle.left for bottle in usable], dtype=np.int64)
    need = np.cumsum(event.amounts * int(event.step * scale), dtype=np.int64)
    start = np.concatenate(([0], need[:-1]))
    first = np.searchsorted(ends, start, side="right")
    last = np.searchsorted(ends, need, side="left")
    # Many rows are served by the same bottles, so the same list of names serves them.
    names_of: dict[tuple[tuple[str, ...], int, int], list[str]] = {}
    for row, one, other in zip(event.rows.tolist(), first.tolist(), last.tolist(), strict=True):
        before = tuple(batches[row]) if row in batches else ()
        if (before, one, other) not in names_of:
            names = [bottle.pack.batch_no for bottle in usable[one : other + 1] if bottle.pack.batch_no]
            names_of[before, one, other] = list(dict.fromkeys([*before, *names]))
        batches[row] = names_of[before, one, other]
    return take_in_order(usable, int(need[-1]) if len(need) else 0, day)


def _purchase(missing: Sequence[tuple[date, Fraction]], packs: Sequence[Pack]) -> PackUse:
    """Packs of one size to buy: the least product over what is missing, then the fewest packs.

    A bought pack is not kept past the in-use life stated for any pack of its size: later doses need another.
    """
    counts: list[tuple[int, Fraction]] = []
    for size in sorted({pack.size for pack in packs}):
        lives = [p.use_within_hours for p in packs if p.size == size and p.use_within_hours is not None]
        needs: list[tuple[date, Fraction]] = []
        for day, amount in missing:
            if needs and (not lives or day == needs[-1][0] or (day - needs[-1][0]).days * 24 < min(lives)):
                needs[-1] = (needs[-1][0], needs[-1][1] + amount)
            else:
                needs.append((day, amount))
        counts.append((sum(math.ceil(amount / size) for _, amount in needs), size))
    count, size = min(counts, key=lambda c: (c[0] * c[1], c[0]))
    return PackUse(size, count, "", to_buy=True)
