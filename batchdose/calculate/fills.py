"""Filling the device: which doses come from which fill and bottle, and what is lost on the way.

A fill holds its priming and as many whole doses as fit; a dose above it is parted over several. At each change of
needle the dead space of syringe and needle and what is spilt are lost with the dose that follows. Each fill
enters the stopper of every bottle it is drawn from once. Amounts are whole steps of one scale.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

import numpy as np

from batchdose.calculate.bottles import Bottle
from batchdose.calculate.marks import Ints


@dataclass(frozen=True, slots=True)
class Handling:
    """How product is drawn and given, in units of product. Nothing given changes nothing.

    `fill` is what the device holds; without it, it is fed from the bottle and filled once a moment. `loss` is a
    share of the doses (Sappo, Optimising water medication: 10-20 % for medicine in water). `animals_per_needle`
    None is one needle a moment. Without `mixing`, no fill is drawn from two batches.
    """

    fill: Fraction | None = None
    priming: Fraction = Fraction(0)
    dead_space: Fraction = Fraction(0)
    needle_loss: Fraction = Fraction(0)
    animals_per_needle: int | None = None
    loss: Fraction = Fraction(0)
    most_punctures: int | None = None
    mixing: bool = True

    def __post_init__(self) -> None:
        """ValueError where nothing could ever be drawn."""
        if self.fill is not None and self.fill <= self.priming:
            raise ValueError("The device must hold more than its priming.")
        if any(count is not None and count < 1 for count in (self.animals_per_needle, self.most_punctures)):
            raise ValueError("A needle serves at least one animal, and a stopper at least one puncture.")

    @property
    def amounts(self) -> tuple[Fraction, ...]:
        """Every amount in it, for the scale of whole steps."""
        return (self.fill or Fraction(0), self.priming, self.dead_space, self.needle_loss)

    def may_enter(self, punctures: int) -> bool:
        """Whether a stopper that was entered so often may be entered once more."""
        return self.most_punctures is None or punctures < self.most_punctures

    def needles(self, head: int) -> int:
        """Needles for so many head at one moment."""
        return -(-head // self.animals_per_needle) if self.animals_per_needle else min(head, 1)


#: Nothing given: product as by doses and spare alone.
NO_HANDLING = Handling()


@dataclass(frozen=True, slots=True)
class Drawn:
    """One fill: its parts (places `first` .. `last` - 1), priming, what is missing, and from which bottles how much."""

    first: int
    last: int
    priming: int
    missing: int
    sources: tuple[tuple[Bottle, int], ...]


def needle_changes(head: int, handling: Handling) -> Ints:
    """Places of the animals before which the needle is new."""
    return np.arange(0, head, handling.animals_per_needle or max(head, 1))


def parts_of_doses(amounts: Ints, handling: Handling, scale: int) -> tuple[Ints, Ints]:
    """Doses in parts that a fill can hold, and for each part the place of its dose.

    >>> handling = Handling(fill=Fraction(10), priming=Fraction(1))
    >>> [found.tolist() for found in parts_of_doses(np.array([4, 20]), handling, scale=1)]
    [[4, 9, 9, 2], [0, 1, 1, 1]]
    """
    if handling.fill is None:
        return amounts, np.arange(len(amounts))
    most = int((handling.fill - handling.priming) * scale)
    parts = np.maximum(-(-amounts // most), 1)
    dose = np.repeat(np.arange(len(amounts)), parts)
    last = np.cumsum(parts) - 1
    found = np.full(len(dose), most, dtype=np.int64)
    found[last] = amounts - (parts - 1) * most
    return found, dose


def draw_fills(amounts: Ints, bottles: Sequence[Bottle], day: date, handling: Handling, scale: int) -> Iterator[Drawn]:
    """Fills for the doses of one moment, in order; `amounts` are doses or their parts, losses included.

    What no bottle holds is `missing`: it is drawn from a pack to be bought, in the same fills. Without mixing, a
    batch that no longer holds a whole dose is put aside for that moment.
    """
    yard = _Yard(amounts, list(bottles), day, handling, scale)
    while yard.at < len(amounts):
        drawn = yard.next_fill()
        if drawn is not None:
            yield drawn


class _Yard:
    """One moment: how far the doses are drawn, and the bottles that still serve."""

    def __init__(self, amounts: Ints, bottles: list[Bottle], day: date, handling: Handling, scale: int) -> None:
        self.ends = np.cumsum(amounts, dtype=np.int64)
        self.bottles = [bottle for bottle in bottles if bottle.usable(day)]
        self.day, self.handling, self.at, self.base = day, handling, 0, 0
        self.priming = int(handling.priming * scale)
        self.most = None if handling.fill is None else int(handling.fill * scale) - self.priming

    def next_fill(self) -> Drawn | None:
        """The next fill; None where only a batch was put aside."""
        upto = len(self.ends) if self.most is None else self._fitting(self.most)
        bottles = self._serving()
        if not self.handling.mixing and bottles:
            held = sum(bottle.left for bottle in bottles)
            if held < self._needed(upto):
                upto = self._fitting(held - self.priming)
                if upto <= self.at:
                    self.bottles = [bottle for bottle in self.bottles if _batch(bottle) != _batch(bottles[0])]
                    return None
        return self._draw(bottles, upto)

    def _draw(self, bottles: Sequence[Bottle], upto: int) -> Drawn:
        sources: list[tuple[Bottle, int]] = []
        missing = self._needed(upto)
        for bottle in bottles:
            if not missing:
                break
            taken = bottle.take(missing, self.day)
            missing -= taken
            sources.append((bottle, taken))
        drawn = Drawn(self.at, upto, self.priming, missing, tuple(sources))
        self.at, self.base = upto, int(self.ends[upto - 1])
        return drawn

    def _open(self, bottle: Bottle) -> bool:
        return bottle.left > 0 and self.handling.may_enter(bottle.punctures)

    def _serving(self) -> list[Bottle]:
        """Bottles that the next fill may come from: of one batch where batches are not mixed."""
        self.bottles = [bottle for bottle in self.bottles if self._open(bottle)]
        if self.handling.mixing or not self.bottles:
            return self.bottles
        return [bottle for bottle in self.bottles if _batch(bottle) == _batch(self.bottles[0])]

    def _fitting(self, held: int) -> int:
        """End of the doses that so much product holds."""
        return int(np.searchsorted(self.ends, self.base + held, side="right"))

    def _needed(self, upto: int) -> int:
        return int(self.ends[upto - 1]) - self.base + self.priming


def _batch(bottle: Bottle) -> object:
    """The batch, or the line of stock where its number is not written; what is bought counts as one batch."""
    return "to buy" if bottle.bought else bottle.pack.batch_no or bottle.pack.where
