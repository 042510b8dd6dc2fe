"""What is left in which bottle: the lines of the sheet Stock, less what was given since, as the record has it.

A line that stands on the sheet as it stood at an earlier job is that stock still, so what was given is taken off it. A
line that was changed since is a new count, and the record begins from it. Amounts given are known; what was lost in
drawing is estimated, as much for each unit given as the plan had. So what is left is an estimate, never a promise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from zoneinfo import ZoneInfo

from batchdose.calculate.bottles import Bottle, bottles_of, take_in_order
from batchdose.findings import CellRef
from batchdose.kept import OfStock, of_stock
from batchdose.model import Pack
from batchdose.record.book import Record
from batchdose.record.draws import Draw, Draws, draws_of
from batchdose.words import same_name

#: A medicine and the unit in which it is given; a batch of it.
Product = tuple[str, str]


@dataclass(frozen=True)
class LeftInStock:
    """What is left of one product: packs by batch, opened ones apart, and the lines of stock they were counted from.

    `name` is the medicine as people write it. `drawn` is what was drawn in all, of it `lost` as estimated. `unnamed` is
    what was drawn from no bottle that the record names, `not_in_stock` what the stock did not hold, and `strange` are
    batches that no sheet Stock had.
    """

    name: str
    unit: str
    packs: Mapping[str, tuple[Pack, ...]]
    lines: Mapping[str, tuple[Pack, ...]]
    drawn: Fraction
    lost: Fraction
    unnamed: Fraction
    not_in_stock: Fraction
    strange: tuple[str, ...]
    where: Mapping[str, CellRef]


@dataclass(frozen=True)
class _Draw:
    """What was drawn together, with the lines of stock and the losses of its course; `number` is its first row."""

    of: Draw
    facts: OfStock | None
    given: Fraction
    number: int

    @property
    def day(self) -> date:
        """When it was drawn."""
        return self.of.day

    @property
    def batches(self) -> tuple[str, ...]:
        """Bottles that the entry names."""
        return tuple(filter(None, (batch.strip() for batch in self.of.batch_no.split(";"))))

    @property
    def drawn(self) -> Fraction:
        """What was given and, by the plan, lost."""
        return self.given * (self.facts.draw_share if self.facts else 1)


@dataclass
class _Store:
    """One product while the record is gone through."""

    name: str
    unit: str
    lines: dict[str, tuple[Pack, ...]] = field(default_factory=dict)
    bottles: dict[str, list[Bottle]] = field(default_factory=dict)
    where: dict[str, CellRef] = field(default_factory=dict)
    strange: dict[str, None] = field(default_factory=dict)
    drawn: Fraction = Fraction(0)
    lost: Fraction = Fraction(0)
    unnamed: Fraction = Fraction(0)
    not_in_stock: Fraction = Fraction(0)


def stock_after(record: Record, zone: ZoneInfo) -> dict[Product, LeftInStock]:
    """What is left of each product that a whole record has, in the order in which they were first given."""
    places = dict(zip((row.number for row in record.rows), record.places, strict=True))
    facts = {key: of_stock(known) for key, known in record.facts.items()}
    return left_of(draws_of(record.rows, zone), facts, lambda number: record.where(places[number], "batch_no"))


def left_of(
    drawn: Draws, facts: Mapping[str, OfStock], where: Callable[[int], CellRef] = lambda _: CellRef("")
) -> dict[Product, LeftInStock]:
    """What is left after these were drawn; `where` is the cell in which the row of a number names its bottle."""
    draws = [_Draw(draw, facts.get(draw.facts), each.given, each.numbers[0]) for draw, each in drawn.of.items()]
    scale = _scale(draws)
    stores: dict[Product, _Store] = {}
    jobs: set[tuple[str, Product]] = set()
    for draw in sorted(draws, key=lambda draw: (draw.day, draw.number)):
        product = _product(draw.of, stores)
        store = stores.setdefault(product, _Store(draw.of.medicine, product[1]))
        if draw.facts and (draw.of.job, product) not in jobs:
            jobs.add((draw.of.job, product))
            _restock(store, draw.facts.stock, scale)
        _take(store, draw, scale, where)
    return {product: _left(store, scale) for product, store in stores.items()}


def _product(draw: Draw, stores: Mapping[Product, _Store]) -> Product:
    """The product of what was drawn; without a unit it is the product of that name that there is."""
    name = same_name(draw.medicine)
    return (name, draw.unit) if draw.unit else next((known for known in stores if known[0] == name), (name, ""))


def same_lines(one: Iterable[Pack], other: Iterable[Pack]) -> bool:
    """Whether lines of stock of one batch say the same, wherever they stand and whatever they cost."""
    return sorted(map(_line, one)) == sorted(map(_line, other))


def by_batch(packs: Iterable[Pack]) -> dict[str, tuple[Pack, ...]]:
    """Lines of stock by their batch."""
    found: dict[str, list[Pack]] = {}
    for pack in packs:
        found.setdefault(same_name(pack.batch_no), []).append(pack)
    return {batch: tuple(lines) for batch, lines in found.items()}


def _line(pack: Pack) -> tuple[str, ...]:
    said = (pack.size, pack.unit, pack.packs, pack.expiry, pack.opened_on, pack.use_within_hours, pack.left)
    return tuple(map(str, said))


def _scale(draws: Sequence[_Draw]) -> int:
    """Whole steps in a unit of product that hold every amount exactly."""
    exact = [draw.drawn for draw in draws]
    packs = {pack for draw in draws if draw.facts for pack in draw.facts.stock}
    exact += [amount for pack in packs for amount in (pack.size, pack.left) if amount is not None]
    return math.lcm(*(amount.denominator for amount in exact)) if exact else 1


def _restock(store: _Store, stock: Iterable[Pack], scale: int) -> None:
    """At the beginning of a job: lines of the sheet that are new, or were changed since, are counted anew."""
    for batch, lines in by_batch(stock).items():
        if batch not in store.lines or not same_lines(store.lines[batch], lines):
            store.lines[batch] = lines
            store.bottles[batch] = bottles_of(lines, scale)


def _take(store: _Store, draw: _Draw, scale: int, where: Callable[[int], CellRef]) -> None:
    """Take what was drawn from its bottles, or from all in order where none is named."""
    whole = draw.drawn
    store.drawn, store.lost = store.drawn + whole, store.lost + whole - draw.given
    named = [same_name(batch) for batch in draw.batches]
    store.strange.update((batch, None) for batch in draw.batches if same_name(batch) not in store.bottles)
    bottles = [bottle for batch in named for bottle in store.bottles.get(batch, ())]
    if not named:
        store.unnamed += whole
        every = [bottle for of_batch in store.bottles.values() for bottle in of_batch]
        bottles = sorted(every, key=lambda b: (b.pack.expiry or date.max, b.opened is None))
    entered = {id(bottle): bottle.left for bottle in bottles}
    usable = [bottle for bottle in bottles if bottle.usable(draw.day)]
    missing = take_in_order(usable, int(whole * scale), draw.day)
    if not set(named) - store.bottles.keys():
        store.not_in_stock += Fraction(missing, scale)
    for bottle in bottles:
        taken = Fraction(entered[id(bottle)] - bottle.left, scale)
        if taken:
            store.where[same_name(bottle.pack.batch_no)] = where(draw.number)
            bottle.punctures += _fills(taken, draw.facts.fill if draw.facts else None) - 1


def _fills(taken: Fraction, fill: Fraction | None) -> int:
    """How often a stopper was entered for an amount: once for each fill, once where the device is fed from it."""
    return math.ceil(taken / fill) if fill else 1


def _left(store: _Store, scale: int) -> LeftInStock:
    packs = {batch: tuple(_packs(bottles, scale)) for batch, bottles in store.bottles.items()}
    return LeftInStock(
        store.name, store.unit, packs, store.lines, store.drawn, store.lost, store.unnamed, store.not_in_stock,
        tuple(store.strange), store.where,
    )  # fmt: skip


def _packs(bottles: Iterable[Bottle], scale: int) -> Iterator[Pack]:
    """Bottles that hold something, as lines of stock: each opened one, then the full ones of a line together."""
    full: dict[Pack, int] = {}
    for bottle in bottles:
        if bottle.opened and bottle.left:
            yield replace(bottle.pack, packs=1, opened_on=bottle.opened, left=Fraction(bottle.left, scale),
                          punctures=bottle.punctures)  # fmt: skip
        elif bottle.left:
            full[bottle.pack] = full.get(bottle.pack, 0) + 1
    for pack, count in full.items():
        yield replace(pack, packs=count, opened_on=None, left=None)


def last_day(pack: Pack) -> date | None:
    """Last day on which an opened pack may be used; None where that is not stated."""
    if pack.opened_on is None:
        return pack.expiry
    return Bottle(pack, 1, pack.opened_on).use_by
