"""Single packs while product is taken from them: usable until expiry, in-use life or the last puncture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from batchdose.model import LeftOver, Pack


@dataclass(eq=False)
class Bottle:
    """One pack while product is taken from it; `left` in whole steps of the scale, `opened` once it is.

    `taken` counts what is drawn here, `punctures` also those before that the record knows of.
    """

    pack: Pack
    left: int
    opened: date | None
    used: bool = False
    bought: bool = False
    taken: int = 0
    punctures: int = 0

    def usable(self, day: date) -> bool:
        """Not past its expiry, and not past its in-use life (counted in whole days from its opening)."""
        if self.left <= 0 or (self.pack.expiry is not None and self.pack.expiry < day):
            return False
        within = self.pack.use_within_hours
        return self.opened is None or within is None or (day - self.opened).days * 24 < within or day == self.opened

    def take(self, amount: int, day: date) -> int:
        """Take as much of an amount as there is; return what was taken."""
        taken = min(self.left, amount)
        if taken:
            self.left, self.used, self.opened = self.left - taken, True, self.opened or day
            self.taken += taken
            self.punctures += 1
        return taken

    @property
    def use_by(self) -> date | None:
        """Last day on which an opened bottle may be used; None where its in-use life is not stated.

        A life that is not stated is never assumed: not all products have one (NOAH, in-use shelf life).
        """
        within = self.pack.use_within_hours
        if self.opened is None or within is None:
            return self.pack.expiry if self.opened is None else None
        last = self.opened + timedelta(days=max(math.ceil(within / 24) - 1, 0))
        return last if self.pack.expiry is None else min(last, self.pack.expiry)


def bottles_of(packs: Sequence[Pack], scale: int) -> list[Bottle]:
    """Single packs, earliest expiry first, opened ones before full ones of the same expiry."""
    order = sorted(packs, key=lambda p: (p.expiry or date.max, p.opened_on is None))
    bottles = []
    for pack in order:
        for number in range(pack.packs):
            opened = pack.opened_on if number == 0 else None
            unknown = Fraction(0) if opened else pack.size  # opened, and nobody wrote what is left: not counted on
            size = pack.left if number == 0 and pack.left is not None else unknown
            entered = pack.punctures if number == 0 else 0
            bottles.append(Bottle(pack, int(size * scale), opened, punctures=entered))
    return bottles


def left_over(bottles: Sequence[Bottle], scale: int) -> tuple[LeftOver, ...]:
    """Opened bottles that still hold something."""
    return tuple(
        LeftOver(b.pack.size, b.pack.batch_no, Fraction(b.left, scale), b.opened, b.use_by, b.punctures, b.bought)
        for b in bottles if b.opened and b.left
    )  # fmt: skip


def cost_of_drawn(bottles: Sequence[Bottle], scale: int) -> Fraction | None:
    """Cost of what is drawn, each pack's price by the share drawn of it; None where one has no price."""
    shares = [(Fraction(b.taken, scale) / b.pack.size, b.pack.price) for b in bottles if b.taken]
    known = [share * price for share, price in shares if price is not None]
    return sum(known, Fraction(0)) if shares and len(known) == len(shares) else None


def take_in_order(bottles: Sequence[Bottle], amount: int, day: date) -> int:
    """Take an amount from the bottles in order; return what is missing."""
    for bottle in bottles:
        amount -= bottle.take(amount, day)
    return amount
