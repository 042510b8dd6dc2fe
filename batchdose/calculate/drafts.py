"""Settings of a mob: one from the heaviest animal, or the best split into drafts by weight, with its whole curve.

The split is exact; `draft_search` says why it is also quick. Two objectives:

* `product`: first the fewest animals over what they may get, then the least product.
* `overdose`: first the fewest animals over what they may get, then the smallest largest multiple of its own
  dose that any animal gets (setting / marks it needs itself), then the least product. The largest multiple
  is taken, not a sum, because it is what limits and the rule of thumb below speak of, and it stays exact.

Both: then the fewest drafts. Those over what they may get are not given the setting: they count neither in
the product nor in the largest multiple.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Literal

import numpy as np

from batchdose.calculate.draft_search import Paths, Places, best_paths, cut_places, fewest_drafts
from batchdose.calculate.marks import Ints

Objective = Literal["product", "overdose"]

#: Split a group in which the lightest would get more than this multiple of its dose when all are dosed to the
#: heaviest. Source: Hybu Cig Cymru (Meat Promotion Wales), "Correct dosage essential when treating sheep".
RULE_OF_THUMB = Fraction(2)


@dataclass(frozen=True)
class Split:
    """For each animal its draft (0 the lightest) and setting in marks; the marks given; how many head are over."""

    draft: Ints
    setting: Ints
    total: int
    over: int


@dataclass(frozen=True)
class Step:
    """One point of the curve: with at most `drafts` settings, the marks given, head over, settings really used.

    `multiple` is the largest multiple of its own dose that any animal gets.
    """

    drafts: int
    used: int
    total: int
    over: int
    multiple: Fraction


@dataclass(frozen=True)
class DraftCurve:
    """Drafts against product: one step for each largest number of drafts 1, 2, ...; `split` gives any of them."""

    steps: tuple[Step, ...]
    _split: Callable[[int], Split]

    def split(self, drafts: int) -> Split:
        """Best split into at most so many drafts (no more than the curve was made for)."""
        return self._split(drafts)

    def recommended(self, *, least_share: Fraction = Fraction(0), least_marks: int = 0) -> Step:
        """Smallest number of drafts from which one more lets no further animal be dosed and saves too little.

        Too little is less than `least_share` of the product of that number, or less than `least_marks`, or
        nothing at all. Where even the last step of the curve saves enough, that last step.

        >>> curve = draft_curve(np.array([30, 31, 60]), np.array([3, 3, 6]), np.array([6, 6, 12]), 3)
        >>> [step.total for step in curve.steps], curve.recommended().drafts
        ([18, 12, 12], 2)
        """
        for step, more in zip(self.steps, self.steps[1:], strict=False):
            saved = step.total - more.total
            if more.over == step.over and (saved <= 0 or saved < least_marks or saved < least_share * step.total):
                return step
        return self.steps[-1]


def best_split(
    weight_ng: Ints, needs: Ints, most: Ints, most_drafts: int, cut_ng: int = 0, *,
    head: Ints | None = None, least_head: int = 1, objective: Objective = "product",
) -> Split:  # fmt: skip
    """Split into at most `most_drafts` settings, each set by its own heaviest animal; see `draft_curve`.

    >>> split = best_split(np.array([30, 31, 60]), np.array([3, 3, 6]), np.array([6, 6, 12]), 2)
    >>> split.setting.tolist(), split.total
    ([3, 3, 6], 12)
    """
    curve = draft_curve(
        weight_ng, needs, most, most_drafts, cut_ng, head=head, least_head=least_head, objective=objective
    )
    return curve.split(most_drafts)


def draft_curve(
    weight_ng: Ints, needs: Ints, most: Ints, most_drafts: int, cut_ng: int = 0, *,
    head: Ints | None = None, least_head: int = 1, objective: Objective = "product",
) -> DraftCurve:  # fmt: skip
    """Best splits into at most 1, 2, ... `most_drafts` settings, from one search.

    `needs` and `most` are marks for each animal, and grow with weight. Animals of one weight stay together;
    with `cut_ng`, cuts stand on multiples of that weight. `head` counts the animals that each row stands for
    (default 1). Every draft has at least `least_head` head, a mob of fewer is one draft.
    """
    count = np.ones(len(weight_ng), np.int64) if head is None else head
    mob = _Mob(weight_ng, needs, most, count, cut_ng, min(least_head, int(count.sum())), most_drafts)
    paths = mob.paths(mob.most, most_drafts)
    by_drafts = _least_multiples(mob, paths) if objective == "overdose" else [paths] * most_drafts
    steps = tuple(mob.step(by_drafts[drafts - 1], drafts) for drafts in range(1, most_drafts + 1))
    return DraftCurve(steps, lambda drafts: mob.split(by_drafts[drafts - 1], drafts))


def multiple_of_lightest(weight_ng: Ints) -> Fraction:
    """How many times its dose the lightest gets when all are dosed to the heaviest, by a rate per weight.

    >>> multiple_of_lightest(np.array([20, 50]))
    Fraction(5, 2)
    """
    return Fraction(int(weight_ng.max()), int(weight_ng.min()))


def too_wide_for_one_setting(weight_ng: Ints, most_times: Fraction = RULE_OF_THUMB) -> bool:
    """Whether the rule of thumb asks for a split: the lightest would get more than `most_times` its dose.

    >>> too_wide_for_one_setting(np.array([25, 50])), too_wide_for_one_setting(np.array([24, 50]))
    (False, True)
    """
    return multiple_of_lightest(weight_ng) > most_times


class _Mob:
    """The animals sorted by weight, the places where cuts may stand, and splits put back in the given order."""

    def __init__(
        self, weight_ng: Ints, needs: Ints, most: Ints, head: Ints, cut_ng: int, least_head: int, most_drafts: int
    ) -> None:
        self.order = np.lexsort((needs, weight_ng))
        weight, self.needs = weight_ng[self.order], np.maximum.accumulate(needs[self.order])
        self.most, self.head = np.maximum.accumulate(most[self.order]), head[self.order]
        self.least_head, self.most_drafts = least_head, most_drafts
        keys = weight if cut_ng <= 0 else -(-weight // cut_ng)
        self.places: Places = cut_places(keys, self.needs, self.head, least_head, most_drafts)

    def paths(self, limits: Ints, drafts: int) -> Paths:
        """Best splits by product into at most so many drafts, where the animals may get `limits` at most."""
        return best_paths(self.places, limits, self.head, self.least_head, drafts)

    def step(self, paths: Paths, drafts: int) -> Step:
        """The point of the curve for at most so many drafts."""
        return Step(
            drafts, paths.at_most(drafts), paths.total(drafts), paths.over(drafts), self.multiple(paths, drafts)
        )

    def multiple(self, paths: Paths, drafts: int) -> Fraction:
        """Largest multiple of its own dose that any animal gets which is given the setting of its draft."""
        found = [Fraction(1)]
        for start, end in paths.runs(drafts):
            setting = int(self.places.setting[end])
            first = max(int(np.searchsorted(self.most, setting, side="left")), int(self.places.animals[start]))
            if first < self.places.animals[end]:
                found.append(Fraction(setting, int(self.needs[first])))
        return max(found)

    def split(self, paths: Paths, drafts: int) -> Split:
        """The split itself, in the order in which the animals were given."""
        draft, setting = np.empty(len(self.order), np.int64), np.empty(len(self.order), np.int64)
        for label, (start, end) in enumerate(paths.runs(drafts)):
            members = self.order[self.places.animals[start] : self.places.animals[end]]
            draft[members], setting[members] = label, self.places.setting[end]
        return Split(draft, setting, paths.total(drafts), paths.over(drafts))


def _least_multiples(mob: _Mob, by_product: Paths) -> list[Paths]:
    """For each largest number of drafts the search whose split has the smallest largest multiple.

    A limit R on the multiple only lowers what the animals may get, so a split with no more animals over than
    before keeps it. Two multiples differ by 1/B² at least, B being the largest need, so halving on whole parts
    of 2B² finds the smallest.
    """
    parts = 2 * int(mob.needs[-1]) ** 2
    numbers = range(1, mob.most_drafts + 1)
    highest = {drafts: math.ceil(mob.multiple(by_product, drafts) * parts) for drafts in numbers}
    # Whole numbers of any size where the product would pass 64 bits.
    needs = mob.needs if max(highest.values()) * int(mob.needs[-1]) < 2**62 else mob.needs.astype(object)
    first, all_of_them = mob.places.animals[:-1], slice(None)

    def limits(tried: int, of: Ints | slice) -> Ints:
        return np.minimum(mob.most[of], (needs[of] * tried // parts).astype(np.int64))

    @cache
    def fewest(tried: int) -> int:
        return fewest_drafts(mob.places, limits(tried, first), mob.least_head, mob.most_drafts)

    def keeps(tried: int, drafts: int) -> bool:
        over = by_product.over(drafts)
        if over:
            return mob.paths(limits(tried, all_of_them), drafts).over(drafts) == over
        return fewest(tried) <= drafts

    found = []
    for drafts in numbers:
        low, high = parts - 1, highest[drafts]
        while drafts > 1 and low + 1 < high:
            middle = (low + high) // 2
            low, high = (low, middle) if keeps(middle, drafts) else (middle, high)
        found.append(mob.paths(limits(high, all_of_them), drafts))
    return found
