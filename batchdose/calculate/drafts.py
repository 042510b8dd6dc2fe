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
from typing import Literal

import numpy as np

from batchdose.calculate.draft_search import (
    Paths,
    Places,
    Stretch,
    best_paths,
    cut_places,
    fewest_drafts,
    paths_within,
    stretch_of,
)
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
    by_drafts = _LeastMultiples(mob, paths).searches() if objective == "overdose" else [paths] * most_drafts
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

    def paths_within(self, stretch: Stretch, limits: Ints, drafts: int) -> Paths:
        """The same, of the splits in which none gets more than `limits`."""
        return paths_within(self.places, stretch, limits, self.head, self.least_head, drafts)

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


class _LeastMultiples:
    """For each largest number of drafts the search whose split has the smallest largest multiple.

    A limit R on the multiple only lowers what the animals may get, so a split with no more animals over than
    before keeps it. Two multiples differ by 1/B² at least, B being the largest need, so halving on whole parts
    of 2B² finds the smallest.
    """

    def __init__(self, mob: _Mob, by_product: Paths) -> None:
        self.mob, self.by_product, self.parts = mob, by_product, 2 * int(mob.needs[-1]) ** 2
        numbers = range(1, mob.most_drafts + 1)
        self.over = {drafts: by_product.over(drafts) for drafts in numbers}
        self.highest = {drafts: self._in_parts(by_product, drafts) for drafts in numbers}
        # Whole numbers of any size where the product would pass 64 bits.
        small = max(self.highest.values()) * int(mob.needs[-1]) < 2**62
        self.needs = mob.needs if small else mob.needs.astype(object)
        self._stretch = _stretches(mob, self.needs, self.parts)
        self._fewest: dict[int, int] = {}
        self._kept: dict[int, dict[int, int]] = {}

    def searches(self) -> list[Paths]:
        """The search for at most 1, 2, ... drafts."""
        return [self.by_product if drafts == 1 else self._best(drafts) for drafts in self.over]

    def _best(self, drafts: int) -> Paths:
        tried = self._smallest(drafts)
        if tried == self.highest[drafts]:
            return self.by_product
        if self.over[drafts]:
            return self.mob.paths(self._limits(tried), drafts)
        return self.mob.paths_within(self._stretch(tried), self._limits(tried), drafts)

    def _smallest(self, drafts: int) -> int:
        low, high = self.parts - 1, self.highest[drafts]
        tried = high - 1  # first, whether it is the smallest already: mostly so where limits are tight
        while low + 1 < high:
            does = self._found(tried, drafts)
            low, high = (tried, high) if does is None else (low, does)
            tried = (low + high) // 2
        return high

    def _found(self, tried: int, drafts: int) -> int | None:
        """A multiple that does, at most the tried one; None where that does not."""
        if self.over[drafts]:
            if tried not in self._kept:
                self._kept[tried] = self._keeping(tried)
            return self._kept[tried].get(drafts)
        if tried not in self._fewest:
            self._fewest[tried] = fewest_drafts(self._stretch(tried), self.mob.most_drafts)
        return tried if self._fewest[tried] <= drafts else None

    def _keeping(self, tried: int) -> dict[int, int]:
        """Numbers of drafts, of those with animals over, for which a multiple does: it, or one below it that does."""
        hard = sum(map(bool, self.over.values()))
        paths = self.mob.paths(self._limits(tried), hard)
        doing = [drafts for drafts in range(1, hard + 1) if paths.over(drafts) == self.over[drafts]]
        return {drafts: self._in_parts(paths, drafts) for drafts in doing}

    def _limits(self, tried: int) -> Ints:
        return np.minimum(self.mob.most, (self.needs * tried // self.parts).astype(np.int64))

    def _in_parts(self, paths: Paths, drafts: int) -> int:
        return math.ceil(self.mob.multiple(paths, drafts) * self.parts)


def _stretches(mob: _Mob, needs: Ints, parts: int) -> Callable[[int], Stretch]:
    """Where drafts may end in which no animal gets more than a tried multiple of its dose (in `parts` of one)."""
    first, setting = mob.places.animals[:-1], mob.places.setting
    own = stretch_of(mob.places, np.searchsorted(setting, mob.most[first], side="right"), mob.least_head)
    # Many places lie below animals of the same need, and what those may get is looked up once.
    distinct, which = np.unique(needs[first], return_inverse=True)

    def stretch(tried: int) -> Stretch:
        after = np.searchsorted(setting, (distinct * tried // parts).astype(np.int64), side="right")[which]
        return Stretch(own.first_end, np.maximum(np.minimum(own.after_end, after), own.first_end))

    return stretch
