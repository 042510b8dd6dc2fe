"""What to buy for a missing amount: the cheapest packs together, or the fewest where no price is known. Exact.

Amounts are whole numbers of the largest step that all pack sizes are multiples of. For an amount a the best
packs are the best for a - size and one pack more, over all sizes, so one pass over the amounts finds them.
The pass is short however much is missing: let b be the size of the pack that is cheapest by the step. Among
any b other packs some have together a multiple of b (sums of 1, 2, ... packs fall into b classes), and packs
of size b in their place cost no more. So fewer than b other packs are ever needed, and what is missing beyond
them is bought in packs of size b at once.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Offer:
    """A pack that can be bought: its size in units of product, and its price, None where it is not known."""

    size: Fraction
    price: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Purchase:
    """Packs to buy as (size, packs), largest first; what they hold, what they cost, what is left over.

    `cost` is None where no price is known: then they are the fewest packs.
    """

    packs: tuple[tuple[Fraction, int], ...]
    amount: Fraction
    cost: Fraction | None
    left_over: Fraction


def cheapest_purchase(missing: Fraction, offers: Sequence[Offer]) -> Purchase:
    """Packs that together hold the missing amount: the cheapest, then the least left over, then the fewest.

    Where some prices are known, only packs with a price are bought; where none is, the fewest packs, then the
    least left over. ValueError where packs are needed and none is offered, or a size or price makes no sense.

    >>> found = cheapest_purchase(Fraction(120), [Offer(Fraction(50), Fraction(9)), Offer(Fraction(100), Fraction(16))])
    >>> [(int(size), packs) for size, packs in found.packs], int(found.cost), int(found.left_over)
    ([(100, 1), (50, 1)], 25, 30)
    """
    if any(offer.size <= 0 or (offer.price is not None and offer.price < 0) for offer in offers):
        raise ValueError("A pack holds more than nothing, and its price is not below nothing.")
    priced = [offer for offer in offers if offer.price is not None]
    of_each = _cheapest_of_each_size(priced or offers)
    if missing > 0 and not of_each:
        raise ValueError("No pack is offered.")
    counts = _best_counts(missing, of_each) if missing > 0 else Counter[Fraction]()
    amount = sum((size * packs for size, packs in counts.items()), Fraction(0))
    cost = sum((of_each[size] * packs for size, packs in counts.items()), Fraction(0))
    packs = tuple(sorted(counts.items(), reverse=True))
    return Purchase(packs, amount, cost if priced else None, amount - max(missing, Fraction(0)))


def _cheapest_of_each_size(offers: Sequence[Offer]) -> dict[Fraction, Fraction]:
    """Price by size; where no price is known each pack counts one, so that the cheapest are the fewest."""
    found: dict[Fraction, Fraction] = {}
    for offer in offers:
        price = Fraction(1) if offer.price is None else offer.price
        found[offer.size] = min(price, found.get(offer.size, price))
    return found


def _best_counts(missing: Fraction, prices: dict[Fraction, Fraction]) -> Counter[Fraction]:
    """Packs of each size, in whole steps of the amount."""
    scale = math.lcm(*(size.denominator for size in prices))
    step = Fraction(math.gcd(*(int(size * scale) for size in prices)), scale)
    sizes = {size: int(size / step) for size in prices}
    need = math.ceil(missing / step)
    bulk = min(prices, key=lambda size: (prices[size] / size, -size))
    others = (sizes[bulk] - 1) * max((steps for size, steps in sizes.items() if size != bulk), default=0)
    at_once = max(0, -(-(need - others) // sizes[bulk]))
    counts = Counter({bulk: at_once}) if at_once else Counter[Fraction]()
    counts.update(_one_pass(max(0, need - at_once * sizes[bulk]), sizes, prices))
    return counts


def _one_pass(need: int, sizes: dict[Fraction, int], prices: dict[Fraction, Fraction]) -> list[Fraction]:
    """Sizes of the best packs that hold `need` steps: cost, then what they hold, then their number.

    The three are kept in one whole number, each in its own places, so that comparing it compares them in turn.
    """
    whole = math.lcm(*(price.denominator for price in prices.values()))
    places = 2 * (need + max(sizes.values()) + 1)
    worth = {size: (int(price * whole) * places + sizes[size]) * places + 1 for size, price in prices.items()}
    steps = [(sizes[size], worth[size], size) for size in sorted(prices)]
    best, chosen = [0] * (need + 1), [Fraction(0)] * (need + 1)
    for amount in range(1, need + 1):
        best[amount], chosen[amount] = min(
            (best[amount - held if amount > held else 0] + value, size) for held, value, size in steps
        )
    found: list[Fraction] = []
    while need > 0:
        found.append(chosen[need])
        need -= sizes[chosen[need]]
    return found
