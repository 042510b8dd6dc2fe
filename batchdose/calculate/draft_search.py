"""The search for the best cuts of a mob, exact: shortest paths over the places where a cut can be worth it.

Sorted by weight, both the marks an animal needs and the marks it may get at most grow with weight, so a
best split cuts the mob into runs. What one animal costs in a draft, c(animal, setting), is the setting
where it may get it and a penalty above every setting where it may not, so it never falls as the setting
rises. From that alone follows what makes the search quick:

* A cut is only worth it where the next animal needs another setting; moving a cut up to there makes no
  animal's setting higher. With least head M a draft, moving it up ends too where the draft above would
  fall below M, so those places count as well (`cut_places`).
* The cost of a run, w(i, j) = sum of c over its animals at the setting of its heaviest, is a Monge array:
  w(i, j) - w(i', j), for i < i', is the sum over the animals from i to i', and each term grows with j. So
  the best start of a run moves only upwards with its end, and halving the ends finds all starts in
  O(places x log places) for one draft more (Burkard, Klinz, Rudolf 1996, "Perspectives of Monge
  properties in optimization"; from memory). Runs that are too small are infinite above a limit
  that moves upwards with the end, which keeps the property.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batchdose.calculate.marks import Bools, Ints

#: More than any split costs, and so small that a cost can still be added to it.
_NEVER = np.iinfo(np.int64).max // 4


@dataclass(frozen=True)
class Places:
    """Places where a cut may stand, from 0 (before the lightest) up: the head below, and the setting up to there.

    `below` and `setting` start with place 0; `head` is the running head of the animals sorted by weight.
    """

    below: Ints
    setting: Ints
    animals: Ints

    @property
    def penalty(self) -> int:
        """More than all the product there could be: one animal over what it may get outweighs any saving."""
        return int(self.setting[-1]) * int(self.below[-1]) + 1


@dataclass(frozen=True)
class Paths:
    """Best splits of one search: for exactly 1, 2, ... drafts the cost up to each place, and where it came from."""

    cost: Ints
    came_from: Ints
    penalty: int

    def at_most(self, drafts: int) -> int:
        """Number of drafts of the best split into at most so many; the fewest of those that cost the same."""
        return int(np.argmin(self.cost[:drafts, -1])) + 1

    def total(self, drafts: int) -> int:
        """Marks given by the best split into at most so many drafts."""
        return int(self.cost[self.at_most(drafts) - 1, -1]) % self.penalty

    def over(self, drafts: int) -> int:
        """Head over what they may get in the best split into at most so many drafts."""
        return int(self.cost[self.at_most(drafts) - 1, -1]) // self.penalty

    def runs(self, drafts: int) -> list[tuple[int, int]]:
        """Places between which each draft lies, in the best split into at most so many, lightest first."""
        runs: list[tuple[int, int]] = []
        end = self.cost.shape[1] - 1
        for number in range(self.at_most(drafts) - 1, -1, -1):
            start = int(self.came_from[number, end])
            runs.append((start, end))
            end = start
        return runs[::-1]


def cut_places(keys: Ints, needs: Ints, head: Ints, least_head: int, most_drafts: int) -> Places:
    """Places worth a cut. Arrays run over the animals sorted by weight; a cut stands where `keys` changes.

    `keys` are weights, or multiples of the step that cuts stand on. With `least_head` above 1 come the
    places that leave a draft above with the least head it may have, and those below them in turn.
    """
    ends = np.flatnonzero(np.append(keys[1:] != keys[:-1], True)) + 1
    setting, below = np.maximum.accumulate(needs)[ends - 1], np.cumsum(head)[ends - 1]
    wanted = np.flatnonzero(np.append(setting[1:] != setting[:-1], True))
    chain = wanted
    for _ in range(most_drafts - 1 if least_head > 1 else 0):
        chain = np.searchsorted(below, below[chain] - least_head, side="right") - 1
        chain = np.unique(chain[chain >= 0])
        wanted = np.union1d(wanted, chain)
    first = np.zeros(1, np.int64)
    return Places(*(np.concatenate((first, kept[wanted])) for kept in (below, setting, ends)))


def best_paths(places: Places, limits: Ints, head: Ints, least_head: int, most_drafts: int) -> Paths:
    """Best splits into exactly 1 .. `most_drafts` drafts. `limits` are the most marks of the animals, sorted."""
    size, light = len(places.below), _too_light(places, limits, head)
    last_start = np.searchsorted(places.below, places.below - least_head, side="right") - 1
    every, last, none = np.arange(1, size), np.array([size - 1]), np.zeros(size, np.int64)
    rows = [every] * (most_drafts - 1) + [last]
    return _layers(places, light, none, last_start, rows)


def paths_within(
    places: Places, stretch: Stretch, limits: Ints, head: Ints, least_head: int, most_drafts: int
) -> Paths:
    """The same, of the splits in which no animal is over its limit; there must be one.

    Only places that a split can go through are looked at: those reached from below, from which the heaviest is
    reached in the drafts that are left. Where the limits leave little choice those are few.
    """
    below, above = _reached(stretch, most_drafts), _reaching(stretch, most_drafts)
    rows = [np.flatnonzero(below[k] & above[most_drafts - 1 - k]) for k in range(most_drafts)]
    last_start = np.searchsorted(places.below, places.below - least_head, side="right") - 1
    first_start = np.searchsorted(stretch.after_end, np.arange(len(places.below)), side="right")
    return _layers(places, _too_light(places, limits, head), first_start, last_start, rows)


def _too_light(places: Places, limits: Ints, head: Ints) -> Ints:
    """For each place the head below it that may not get its setting."""
    running = np.concatenate(([0], np.cumsum(head)))
    light = running[np.searchsorted(np.maximum.accumulate(limits), places.setting, side="left")]
    return np.minimum(light, places.below)


def _layers(places: Places, light: Ints, first_start: Ints, last_start: Ints, rows: list[Ints]) -> Paths:
    """One draft after the other: cost and start of the ends in `rows`, draft by draft."""
    cost = np.full((len(rows), len(places.below)), _NEVER, np.int64)
    came_from = np.zeros_like(cost)
    before = np.full(len(places.below), _NEVER, np.int64)
    before[0] = 0
    for number, ends in enumerate(rows):
        if len(ends):
            _extend(before, places, light, (ends, first_start, last_start), cost[number], came_from[number])
        before = cost[number]
    return Paths(cost, came_from, places.penalty)


@dataclass(frozen=True)
class Stretch:
    """Where a draft may end that starts at each place but the last: from `first_end` to before `after_end`.

    From a place a draft may end wherever it has its head and its first animal may get the setting. Both ends of the
    stretch grow with the place.
    """

    first_end: Ints
    after_end: Ints


def stretch_of(places: Places, after_end: Ints, least_head: int) -> Stretch:
    """The stretches of all places; `after_end` is where the setting is too much for the animal above each place."""
    first_end = np.searchsorted(places.below, places.below[:-1] + least_head, side="left")
    return Stretch(first_end, np.maximum(after_end, first_end))


def fewest_drafts(stretch: Stretch, most_drafts: int) -> int:
    """Fewest drafts in which no animal is over its limit; `most_drafts` + 1 where even so many do not do.

    The places that k drafts reach are known from those that k - 1 reach. They are kept as runs of places, which are
    few: a run of starts reaches a run of ends, but for the gaps between the stretches.
    """
    last, gaps = len(stretch.first_end), np.flatnonzero(stretch.first_end[1:] > stretch.after_end[:-1])
    low = high = np.zeros(1, np.int64)
    for drafts in range(1, most_drafts + 1):
        if len(gaps):
            run = np.searchsorted(low, gaps, side="right") - 1
            inside = gaps[(run >= 0) & (gaps < high[run])]
            low, high = np.sort(np.append(low, inside + 1)), np.sort(np.append(high, inside))
        low, high = stretch.first_end[low], stretch.after_end[high] - 1
        if high[-1] == last and low[-1] <= last:
            return drafts
        some = (high >= low) & (low < last)
        low, high = low[some], high[some]
        if not len(low):
            break
        apart = low[1:] > high[:-1] + 1
        low, high = low[np.append(True, apart)], high[np.append(apart, True)]
    return most_drafts + 1


def _reached(stretch: Stretch, most_drafts: int) -> list[Bools]:
    """Places that exactly 1, 2, ... drafts reach."""
    size = len(stretch.first_end) + 1
    reached = np.zeros(size, np.bool_)
    reached[0] = True
    found = []
    for _ in range(most_drafts):
        starts = reached[:-1]
        opened = np.bincount(stretch.first_end[starts], minlength=size + 1)
        closed = np.bincount(stretch.after_end[starts], minlength=size + 1)
        reached = np.cumsum(opened - closed)[:size] > 0
        found.append(reached)
    return found


def _reaching(stretch: Stretch, most_drafts: int) -> list[Bools]:
    """Places from which the last is reached in at most 0, 1, 2, ... drafts."""
    reaching = np.zeros(len(stretch.first_end) + 1, np.bool_)
    reaching[-1] = True
    found = [reaching]
    for _ in range(most_drafts - 1):
        count = np.concatenate(([0], np.cumsum(reaching)))
        some = count[np.minimum(stretch.after_end, len(reaching))] > count[stretch.first_end]
        reaching = reaching | np.append(some, False)
        found.append(reaching)
    return found


def _extend(
    before: Ints, places: Places, light: Ints, ends: tuple[Ints, Ints, Ints], cost: Ints, came_from: Ints
) -> None:
    """One draft more: for each end the cheapest start, written into `cost` and `came_from`.

    `ends` are the ends to look at, and for each place the first and the last start it may have. Level by level the
    middle row of every stretch of ends is solved at once; its start bounds the starts of the ends below and above it.
    """
    every, first_start, last_start = ends
    known = np.flatnonzero(before < _NEVER)
    if not len(known):
        return
    low, high = np.array([0]), np.array([len(every) - 1])
    left, right = known[:1], known[-1:]
    while len(low):
        middle = (low + high) // 2
        end = every[middle]
        since, until = np.maximum(left, first_start[end]), np.minimum(right, last_start[end])
        start = left.copy()
        open_ = np.flatnonzero(until >= since)
        if len(open_):
            rows = end[open_]
            best, at = _cheapest(before, places, light, rows, since[open_], until[open_])
            reached = best < _NEVER
            cost[rows[reached]], came_from[rows[reached]] = best[reached], at[reached]
            start[open_[reached]] = at[reached]
        solved = cost[end] < _NEVER
        # Below an end that no run can reach, none can be reached either.
        below, above = (low < middle) & solved, middle < high
        low, high, left, right = (
            np.concatenate((low[below], middle[above] + 1)),
            np.concatenate((middle[below] - 1, high[above])),
            np.concatenate((left[below], start[above])),
            np.concatenate((start[below], right[above])),
        )


def _cheapest(before: Ints, places: Places, light: Ints, rows: Ints, left: Ints, until: Ints) -> tuple[Ints, Ints]:
    """For each end in `rows` the least cost over the starts `left` .. `until`, and the first start that has it."""
    lengths = until - left + 1
    offsets = np.cumsum(lengths) - lengths
    starts = np.arange(int(lengths.sum())) - np.repeat(offsets - left, lengths)
    from_head = places.below[starts]
    too_light = np.repeat(light[rows], lengths)
    over = np.maximum(too_light - from_head, 0)
    given = np.repeat(places.below[rows], lengths) - np.maximum(from_head, too_light)
    values = before[starts] + np.repeat(places.setting[rows], lengths) * given + places.penalty * over
    least = np.minimum.reduceat(values, offsets)
    hits = np.flatnonzero(values == np.repeat(least, lengths))
    return least, starts[hits[np.searchsorted(hits, offsets)]]
