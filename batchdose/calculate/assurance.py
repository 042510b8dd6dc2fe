"""Dose assurance: the lowest and the highest dose per kilogram that an animal may really get.

The dose is a mark, so its rounding is in it. What may be off besides: the scale, by its tolerance and half a
step (it shows whole steps); the device, by its tolerance and by how close a person sets it to a mark. Each is
taken as a half-width a to either side, in two ways:

* Interval: everything off at once, the worst way round. Nothing lies outside.
* Root-sum-square, after the Guide to the expression of uncertainty in measurement (JCGM 100:2008; clauses from
  memory): each half-width is a rectangular distribution with the standard uncertainty a / sqrt(3) (4.3.7, for a
  step F.2.2.1), the relative ones of volume and weight add as squares for a quotient (5.1.6), and twice the
  result covers about 95 % (6.3.3). It is never given wider than the interval, which it could be where one part
  outweighs the others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from batchdose.calculate.devices import Tolerance
from batchdose.calculate.marks import Ints
from batchdose.model import NG_PER_KG

Floats: TypeAlias = npt.NDArray[np.float64]
Bools: TypeAlias = npt.NDArray[np.bool_]

#: Coverage factor for about 95 % (JCGM 100:2008, 6.3.3; from memory).
COVERAGE = 2
#: How close a person sets a plunger to a mark, as a share of the step between two (common practice, no source).
READING = Fraction(1, 2)


@dataclass(frozen=True)
class Scale:
    """The scale: its step, and its tolerance to either side, one for all or one for each animal [ng]."""

    step_ng: int = 0
    tolerance_ng: int | Ints = 0


@dataclass(frozen=True)
class Device:
    """Syringe or gun: step between marks, its tolerance, and how close to a mark it is set (0 for fixed stops)."""

    graduation: Fraction
    tolerance: Tolerance
    reading: Fraction = READING


@dataclass(frozen=True)
class DraftRange:
    """Lowest and highest amount per kg of the animals of one draft, by interval and by root-sum-square."""

    draft: int
    low: float
    high: float
    rss_low: float
    rss_high: float


@dataclass(frozen=True)
class DoseRange:
    """For each animal the amount per kg as planned, and the lowest and highest it may really get, both ways.

    The exact ends are kept as whole numbers, so that comparing them with a rate has no rounding.
    """

    planned: Floats
    low: Floats
    high: Floats
    rss_low: Floats
    rss_high: Floats
    _least: list[Fraction]
    _most: list[Fraction]
    _where: Ints
    _heaviest: Ints
    _lightest: Ints

    def below(self, lowest_per_kg: Fraction) -> Bools:
        """Animals that may get less than this rate, by interval; exact."""
        # least / (heaviest / 2 ng) < rate, turned round: the whole number heaviest passes a fraction.
        limits = [math.floor(least * 2 * NG_PER_KG / lowest_per_kg) for least in self._least]
        return self._heaviest > np.array(limits, np.int64)[self._where]

    def above(self, highest_per_kg: Fraction) -> Bools:
        """Animals that may get more than this rate, by interval; exact."""
        limits = [math.ceil(most * 2 * NG_PER_KG / highest_per_kg) for most in self._most]
        return self._lightest < np.array(limits, np.int64)[self._where]

    def by_draft(self, draft: Ints) -> tuple[DraftRange, ...]:
        """The range of each draft, in the order of their numbers."""
        ends = ((self.low, np.min), (self.high, np.max), (self.rss_low, np.min), (self.rss_high, np.max))
        return tuple(
            DraftRange(int(label), *(float(end(values[draft == label])) for values, end in ends))
            for label in np.unique(draft)
        )


def dose_range(weight_ng: Ints, marks: Ints, per_unit: Fraction, scale: Scale, device: Device) -> DoseRange:
    """What animals may really get per kg that are given `marks`, each or as the setting of its draft.

    `per_unit` is the active in one unit of product (10 for 10 mg/mL; 1 for a rate in mL): the result is in its unit
    per kg. Weights are above 0. Where the scale may be off by the whole weight, the highest is infinite.

    >>> from batchdose.calculate.devices import of_share
    >>> scale = Scale(step_ng=NG_PER_KG)
    >>> gun = Device(Fraction(1, 10), of_share(Fraction(5, 100)), reading=Fraction(0))
    >>> found = dose_range(np.array([50 * NG_PER_KG]), np.array([10]), Fraction(10), scale, gun)
    >>> found.planned.tolist(), found.low.round(4).tolist(), found.high.round(4).tolist()
    ([0.2], [0.1881], [0.2121])
    """
    settings, where = np.unique(marks, return_inverse=True)
    amounts = [int(mark) * device.graduation for mark in settings]
    tolerance = [device.tolerance(amount) for amount in amounts]
    reading = device.reading * device.graduation
    ends = list(zip(amounts, tolerance, strict=True))
    least = [max(amount - off - reading, Fraction(0)) * per_unit for amount, off in ends]
    most = [(amount + off + reading) * per_unit for amount, off in ends]
    off_ng = 2 * np.asarray(scale.tolerance_ng, np.int64) + scale.step_ng  # twice the half-width
    heaviest, lightest = 2 * weight_ng + off_ng, 2 * weight_ng - off_ng

    planned = _floats([amount * per_unit for amount in amounts], where) * NG_PER_KG / weight_ng
    low = _floats(least, where) * 2 * NG_PER_KG / heaviest
    with np.errstate(divide="ignore"):
        high = np.where(lightest > 0, _floats(most, where) * 2 * NG_PER_KG / np.maximum(lightest, 1), np.inf)
    of_volume = np.array([float((off**2 + reading**2) / (3 * amount**2)) for amount, off in ends])[where]
    off_kg = np.asarray(scale.tolerance_ng, np.float64) ** 2 + (scale.step_ng / 2) ** 2
    wide = COVERAGE * np.sqrt(of_volume + off_kg / 3 / weight_ng.astype(np.float64) ** 2)
    rss_low, rss_high = np.maximum(planned * (1 - wide), low), np.minimum(planned * (1 + wide), high)
    return DoseRange(planned, low, high, rss_low, rss_high, least, most, where, heaviest, lightest)


def _floats(values: list[Fraction], where: Ints) -> Floats:
    return np.array([float(value) for value in values])[where]
