"""Product in full: doses, priming, dead space, loss and spare; fills and bottles; what to buy, what is left, the cost.

Where no stock is listed and nothing is said of the handling, `product.plan_product` has a shorter way.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from batchdose.amounts import percent_text
from batchdose.calculate.bottles import Bottle, bottles_of, cost_of_drawn, left_over, take_in_order
from batchdose.calculate.fills import Drawn, Handling, draw_fills, needle_changes, parts_of_doses
from batchdose.calculate.marks import Ints
from batchdose.calculate.purchase import Offer, Purchase, cheapest_purchase
from batchdose.model import LeftOver, Moment, Pack, PackUse, ProductPlan
from batchdose.texts import Text, say

if TYPE_CHECKING:
    from batchdose.calculate.product import Event

NO_STOCK = say("No stock is listed for it.")


@dataclass(frozen=True, slots=True)
class Fill:
    """One fill of the device, from which batches; `drawn` counts its priming.

    `animals` are those whose dose it ends.
    """

    moment: Moment
    animals: int
    drawn: Fraction
    batch_nos: tuple[str, ...]


@dataclass(frozen=True)
class Supply:
    """Product of one name in full; the parts `for_...` add up to `plan.to_draw`.

    `batches` are those of each row of the treatments table, `purchase` what to buy for all that is missing.
    `cost` is that of the product drawn, by the price of each pack it comes from; None where one has no price.
    """

    plan: ProductPlan
    batches: dict[int, list[str]]
    fills: tuple[Fill, ...]
    needles: int
    for_doses: Fraction
    for_loss: Fraction
    for_priming: Fraction
    for_needles: Fraction
    for_spare: Fraction
    left_over: tuple[LeftOver, ...]
    purchase: Purchase | None
    cost: Fraction | None

    def cost_per_animal(self, animals: int) -> Fraction | None:
        """Cost for each of so many animals over the whole course."""
        return None if self.cost is None else self.cost / animals

    def cost_per_kg(self, total_kg: Fraction) -> Fraction | None:
        """Cost for each kilogram bodyweight treated, of so many in all."""
        return None if self.cost is None else self.cost / total_kg


@dataclass(frozen=True)
class _Work:
    """What is to be given, what there is, and how; `scale` is the number of whole steps in a unit of product."""

    events: tuple[Event, ...]
    packs: tuple[Pack, ...]
    spare: Fraction
    handling: Handling
    scale: int


@dataclass
class _Run:
    """All moments gone through once, with the bottles as they are afterwards; amounts in steps of the scale."""

    bottles: list[Bottle]
    batches: dict[int, list[str]] = field(default_factory=dict)
    fills: list[Fill] = field(default_factory=list)
    missing: Counter[date] = field(default_factory=Counter)
    total: int = 0
    priming: int = 0

    def short(self, scale: int) -> dict[date, Fraction]:
        """What is missing on each day, in units of product."""
        return {day: Fraction(amount, scale) for day, amount in self.missing.items() if amount}


def plan_supply(
    name: str, unit: str, events: Sequence[Event], stock: Sequence[Pack], spare: Fraction, handling: Handling
) -> Supply:
    """Product of one name: what is drawn and lost, which fill and bottle serves whom, what to buy, what is left.

    Packs go by earliest expiry, opened ones first, within expiry, in-use life and punctures; those made before
    the job are not known and not counted. What is missing is bought as the cheapest packs (see `purchase`), apart
    for each stretch of days that an opened pack may be used; that is then tried with all its rules, and more is
    bought until nothing is short. Packs bought together count as one batch.
    """
    packs = tuple(pack for pack in stock if pack.size > 0)
    exact = [
        *(e.step * (1 + handling.loss) for e in events), *handling.amounts,
        *(p.size for p in packs), *(p.left for p in packs if p.left is not None),
    ]  # fmt: skip
    scale = math.lcm(*(amount.denominator for amount in exact)) * spare.denominator
    work = _Work(tuple(events), packs, spare, handling, scale)
    run = final = _go_through(work, bottles_of(packs, scale))
    bought = _purchases(run.short(scale), packs) if packs else Counter[Fraction]()
    while packs and any(final.missing.values()):
        final = _go_through(work, _with_bought(work, bought))
        still = sum(final.short(scale).values(), Fraction(0))
        bought.update(dict(cheapest_purchase(still, _offers(packs)).packs))
    plan = _plan(name, unit, work, run, bought)
    doses = sum((int(event.amounts.sum()) * event.step for event in events), Fraction(0))
    needles = sum(handling.needles(event.doses) for event in events)
    return Supply(
        plan=plan, batches=final.batches, fills=tuple(final.fills), needles=needles,
        for_doses=doses, for_loss=doses * handling.loss, for_priming=Fraction(run.priming, scale),
        for_needles=needles * (handling.dead_space + handling.needle_loss),
        for_spare=Fraction(run.total, scale) * spare,
        left_over=left_over(final.bottles, scale),
        purchase=_purchase(bought, plan.short, packs) if bought else None,
        cost=cost_of_drawn(final.bottles, scale) if packs else None,
    )  # fmt: skip


def _plan(name: str, unit: str, work: _Work, run: _Run, bought: Counter[Fraction]) -> ProductPlan:
    """The plan as the short way gives it, with every size that is to be bought."""
    used = Counter((b.pack.size, b.pack.batch_no, b.pack.expiry) for b in run.bottles if b.used)
    take = [PackUse(size, count, batch, expiry) for (size, batch, expiry), count in used.items()]
    take += [PackUse(size, count, "", to_buy=True) for size, count in sorted(bought.items(), reverse=True)]
    remarks = [spare_text(work.spare)] if work.spare else []
    remarks += [] if work.packs else [NO_STOCK]
    return ProductPlan(
        medicine=name, doses=sum(event.doses for event in work.events),
        to_draw=Fraction(run.total, work.scale) * (1 + work.spare), unit=unit, packs=tuple(take),
        short=sum(run.short(work.scale).values(), Fraction(0)), remarks=tuple(remarks),
        stock_known=bool(work.packs),
    )  # fmt: skip


def spare_text(spare: Fraction) -> Text:
    """That some spare is in the amount.

    >>> spare_text(Fraction(1, 20))
    '5 % spare is included.'
    """
    return say("{share} % spare is included.", share=percent_text(spare))


def _go_through(work: _Work, bottles: list[Bottle]) -> _Run:
    """Draw every dose of every moment in order, then the spare on the last day."""
    run, handling = _Run(bottles), work.handling
    none: list[str] = []  # the same list for all: lists of batches are replaced, never added to
    for event in work.events:
        amounts, dose, rows = _of_each_animal(event, handling, work.scale)
        ends, done = np.cumsum(amounts, dtype=np.int64), np.append(dose[1:] != dose[:-1], True)
        for row in event.rows.tolist():
            run.batches.setdefault(row, none)
        day = event.moment.at.date()
        for drawn in draw_fills(amounts, bottles, day, handling, work.scale):
            before = int(ends[drawn.first - 1]) if drawn.first else 0
            need = ends[drawn.first : drawn.last] - before
            _note_batches(run.batches, rows[drawn.first : drawn.last], need, drawn, whole=handling.fill is not None)
            whole = drawn.priming + int(ends[drawn.last - 1]) - before
            animals = int(done[drawn.first : drawn.last].sum())
            names = _batch_nos([bottle for bottle, _ in drawn.sources])
            run.fills.append(Fill(event.moment, animals, Fraction(whole, work.scale), names))
            run.missing[day] += drawn.missing
            run.total, run.priming = run.total + whole, run.priming + drawn.priming
    if work.events:
        day = work.events[-1].moment.at.date()
        usable = [bottle for bottle in bottles if bottle.usable(day) and handling.may_enter(bottle.punctures)]
        run.missing[day] += take_in_order(usable, int(run.total * work.spare), day)
    return run


def _of_each_animal(event: Event, handling: Handling, scale: int) -> tuple[Ints, Ints, Ints]:
    """Steps drawn for each animal, losses included, in parts that a fill holds; for each part its dose and row.

    A row of several head is so many animals.
    """
    head = np.ones(len(event.rows), np.int64) if event.head is None else event.head
    rows = np.repeat(event.rows, head)
    amounts = np.repeat(event.amounts // head, head) * int(event.step * (1 + handling.loss) * scale)
    amounts[needle_changes(len(rows), handling)] += int((handling.dead_space + handling.needle_loss) * scale)
    parts, dose = parts_of_doses(amounts, handling, scale)
    return parts, dose, rows[dose]


def _note_batches(batches: dict[int, list[str]], rows: Ints, need: Ints, drawn: Drawn, *, whole: bool) -> None:
    """Add the batches to the rows of a fill: all of them where it is filled as a whole, else those of each dose.

    `need` is the running amount of its doses.
    """
    bottles = [bottle for bottle, _ in drawn.sources]
    if whole:
        names = _batch_nos(bottles)
        for row in dict.fromkeys(rows.tolist()):
            batches[row] = list(dict.fromkeys([*batches[row], *names]))
        return
    held = np.cumsum([taken for _, taken in drawn.sources], dtype=np.int64) - drawn.priming
    first = np.searchsorted(held, np.concatenate(([0], need[:-1])), side="right").tolist()
    last = np.searchsorted(held, need, side="left").tolist()
    # Many rows are served by the same bottles, so the same list of names serves them.
    names_of: dict[tuple[tuple[str, ...], int, int], list[str]] = {}
    for row, one, other in zip(rows.tolist(), first, last, strict=True):
        served = tuple(batches[row]), one, other
        if served not in names_of:
            names_of[served] = list(dict.fromkeys([*served[0], *_batch_nos(bottles[one : other + 1])]))
        batches[row] = names_of[served]


def _batch_nos(bottles: Sequence[Bottle]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(bottle.pack.batch_no for bottle in bottles if bottle.pack.batch_no))


def _offers(packs: Sequence[Pack]) -> list[Offer]:
    return [Offer(pack.size, pack.price) for pack in packs]


def _purchases(missing: dict[date, Fraction], packs: Sequence[Pack]) -> Counter[Fraction]:
    """Packs by size for what is missing, apart for each stretch within the shortest in-use life stated."""
    lives = [pack.use_within_hours for pack in packs if pack.use_within_hours is not None]
    stretches: list[tuple[date, Fraction]] = []
    for day, amount in missing.items():
        within = stretches and (not lives or (day - stretches[-1][0]).days * 24 < max(min(lives), Fraction(1)))
        if within:
            stretches[-1] = (stretches[-1][0], stretches[-1][1] + amount)
        else:
            stretches.append((day, amount))
    bought: Counter[Fraction] = Counter()
    for _, amount in stretches:
        bought.update(dict(cheapest_purchase(amount, _offers(packs)).packs))
    return bought


def _with_bought(work: _Work, bought: Counter[Fraction]) -> list[Bottle]:
    """Bottles of the stock, then those bought: new, with the in-use life and the price of their size."""
    bottles, scale = bottles_of(work.packs, work.scale), work.scale
    for size, count in bought.items():
        like = min((pack for pack in work.packs if pack.size == size), key=_price_order)
        new = replace(like, batch_no="", expiry=None, opened_on=None, left=None, packs=1)
        bottles += [Bottle(new, int(size * scale), None, bought=True) for _ in range(count)]
    return bottles


def _price_order(pack: Pack) -> tuple[bool, Fraction]:
    return pack.price is None, pack.price or Fraction(0)


def _purchase(bought: Counter[Fraction], short: Fraction, packs: Sequence[Pack]) -> Purchase:
    prices = {size: min((p for p in packs if p.size == size), key=_price_order).price for size in bought}
    known = [price * bought[size] for size, price in prices.items() if price is not None]
    amount = sum((size * count for size, count in bought.items()), Fraction(0))
    cost = sum(known, Fraction(0)) if len(known) == len(prices) else None
    return Purchase(tuple(sorted(bought.items(), reverse=True)), amount, cost, amount - short)
