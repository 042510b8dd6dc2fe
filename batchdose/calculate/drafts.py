"""Settings of a mob: one from the heaviest animal, or the best split into drafts by weight.

The split is exact. Sorted by weight, both the marks an animal needs and the marks it may get at most
grow with weight, so a best split cuts the mob into runs; animals that need the same marks are never
worth parting. The search runs over those groups, not over the animals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batchdose.calculate.marks import Ints


@dataclass(frozen=True)
class Split:
    """For each animal its draft (0 the lightest) and setting in marks; the cost in marks; how many are over."""

    draft: Ints
    setting: Ints
    total: int
    over: int


def best_split(weight_ng: Ints, needs: Ints, most: Ints, most_drafts: int, cut_ng: int = 0) -> Split:
    """Split into at most `most_drafts` settings, each set by its own heaviest animal.

    First the fewest animals over what they may get, then the least product, then the fewest drafts.
    `needs` and `most` are marks for each animal. With `cut_ng`, cuts stand on multiples of that weight.
    Those over (`setting > most`) are not counted in the product, since they are not given it.

    >>> split = best_split(np.array([30, 31, 60]), np.array([3, 3, 6]), np.array([6, 6, 12]), 2)
    >>> split.setting.tolist(), split.total
    ([3, 3, 6], 12)
    """
    order = np.argsort(weight_ng, kind="stable")
    key = needs[order] if cut_ng <= 0 else -(-weight_ng[order] // cut_ng)
    ends = np.flatnonzero(np.append(key[1:] != key[:-1], True)) + 1
    starts = np.concatenate(([0], ends[:-1]))
    settings = np.maximum.accumulate(needs[order])[ends - 1]
    too_light = np.searchsorted(np.maximum.accumulate(most[order]), settings, side="left")
    penalty = int(settings[-1]) * len(order) + 1
    cuts = _best_cuts(starts, ends, settings, too_light, penalty, min(most_drafts, len(ends)))
    draft, setting = np.empty(len(order), np.int64), np.empty(len(order), np.int64)
    for label, (first, last) in enumerate(cuts):
        members = order[starts[first] : ends[last]]
        draft[members], setting[members] = label, settings[last]
    over = setting > most
    return Split(draft, setting, int(setting[~over].sum()), int(over.sum()))


def _best_cuts(
    starts: Ints, ends: Ints, settings: Ints, too_light: Ints, penalty: int, most_drafts: int
) -> list[tuple[int, int]]:
    """First and last group of each draft in the best split, by dynamic programming over the groups."""
    groups = len(ends)
    best = np.full((most_drafts + 1, groups + 1), np.iinfo(np.int64).max // 4, dtype=np.int64)
    came_from = np.zeros((most_drafts + 1, groups + 1), dtype=np.int64)
    best[:, 0] = 0
    for last in range(groups):
        over = np.maximum(too_light[last] - starts[: last + 1], 0)
        cost = settings[last] * (ends[last] - starts[: last + 1] - over) + penalty * over
        for drafts in range(1, most_drafts + 1):
            candidates = best[drafts - 1, : last + 1] + cost
            first = int(np.argmin(candidates))
            best[drafts, last + 1], came_from[drafts, last + 1] = candidates[first], first
    drafts = int(np.argmin(best[1:, groups])) + 1
    cuts: list[tuple[int, int]] = []
    end = groups
    while end:
        first = int(came_from[drafts, end])
        cuts.append((first, end - 1))
        end, drafts = first, drafts - 1
    return cuts[::-1]
