"""Doses of one medicine for many animals: target, mark, and why no mark is allowed. Vectorised and exact."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from batchdose.calculate.marks import Ints, ceil_marks, coarsest_step, floor_marks, nearest_marks
from batchdose.calculate.rates import NEAREST_LOWEST, WARN_OVER, Limits
from batchdose.model import NG_PER_KG, Band

Bools: TypeAlias = npt.NDArray[np.bool_]
#: More marks than any device has.
NO_END = 2**63 - 1


@dataclass(frozen=True)
class Doses:
    """For each animal: `marks` to give, `most` marks allowed, whether a mark is `allowed`, the exact target.

    `target` is in units of product; arrays run over the animals. `over` marks doses that are more than
    10 % over the label where the sheet states no highest rate.
    """

    marks: Ints
    most: Ints
    allowed: Bools
    over: Bools
    target: npt.NDArray[np.float64]


def doses_by_rate(basis_ng: Ints, limits: Limits, graduation: Fraction, *, up: bool) -> Doses:
    """Doses from a rate. `basis_ng` is bodyweight in nanograms (one kilogram each for a rate per head).

    With `up`, the smallest mark not below the target; if that passes the highest rate, the largest mark
    within lowest and highest. Otherwise the nearest mark that is not below the lowest rate. A least and a
    largest dose of the sheet hold whatever the weight; a mark far below the largest dose does not stand for it.

    >>> from batchdose.model import NG_PER_KG
    >>> rate = Limits(Fraction(1, 50), Fraction(1, 50), Fraction(1, 25), False, False)
    >>> doses_by_rate(np.array([62]) * NG_PER_KG + NG_PER_KG // 2, rate, Fraction(1, 10), up=True).marks
    array([13])
    """

    def per_ng(rate: Fraction) -> Fraction:
        return rate / graduation / NG_PER_KG

    most = most_marks(basis_ng, limits, graduation)
    fewest, _ = bounds_in_marks(limits, graduation)
    nearly_largest = NO_END if limits.largest_dose is None else math.ceil(_least_at_largest(limits) / graduation)
    least = np.maximum(np.minimum(ceil_marks(basis_ng, per_ng(limits.lowest)), nearly_largest), fewest)
    wanted = ceil_marks(basis_ng, per_ng(limits.label)) if up else nearest_marks(basis_ng, per_ng(limits.label))
    wanted = np.maximum(wanted, least)
    marks = np.where(wanted <= most, wanted, most)
    allowed = (marks >= least) & (basis_ng > 0)
    over = over_label(basis_ng, marks, limits, graduation)
    shown = np.where(allowed, marks, np.maximum(wanted, 1))
    return Doses(shown, most, allowed, over & allowed, exact_targets(basis_ng, limits.label))


def _least_at_largest(limits: Limits) -> Fraction:
    """The least that an animal may get to which the largest dose applies, where this is on no mark.

    It is the share of the largest dose that the lowest rate is of the label rate, or 95 % of it, whichever is less.
    """
    return (limits.largest_dose or Fraction(0)) * min(limits.lowest / limits.label, NEAREST_LOWEST)


def bounds_in_marks(limits: Limits, graduation: Fraction) -> tuple[int, int]:
    """Fewest and most marks whatever the weight: those of the least and the largest dose, where the sheet has them.

    >>> bounds_in_marks(Limits(Fraction(1), Fraction(1), Fraction(2), False, False, Fraction(2), None), Fraction(1, 2))
    (4, 9223372036854775807)
    """
    fewest = 1 if limits.least_dose is None else max(1, math.ceil(limits.least_dose / graduation))
    largest = NO_END if limits.largest_dose is None else math.floor(limits.largest_dose / graduation)
    return fewest, largest


def most_marks(basis_ng: Ints, limits: Limits, graduation: Fraction) -> Ints:
    """Most marks that each animal may get: by its highest rate, and by the largest dose of the sheet.

    A stated least dose may pass the program's own limit of twice the label rate, never a highest rate of the sheet.
    """
    fewest, largest = bounds_in_marks(limits, graduation)
    most = floor_marks(basis_ng, limits.highest / graduation / NG_PER_KG)
    if not limits.highest_stated and limits.least_dose is not None:
        most = np.maximum(most, fewest)
    return np.minimum(most, largest)


def over_label(basis_ng: Ints, marks: Ints, limits: Limits, graduation: Fraction) -> Bools:
    """Doses more than 10 % over the label rate where the sheet has no highest rate, and no least dose asks for them."""
    if limits.highest_stated:
        return np.zeros(len(marks), np.bool_)
    near = floor_marks(basis_ng, limits.label * WARN_OVER / graduation / NG_PER_KG)
    if limits.least_dose is not None:
        near = np.maximum(near, bounds_in_marks(limits, graduation)[0])
    return (marks > near) & (basis_ng > 0)


def exact_targets(basis_ng: Ints, per_kg: Fraction) -> npt.NDArray[np.float64]:
    """Targets in units of product, each the float nearest to the exact value.

    >>> exact_targets(np.array([41500000000000]), Fraction(1, 50)).tolist()
    [0.83]
    """
    n, d = per_kg.numerator, per_kg.denominator * NG_PER_KG
    weights, where = np.unique(basis_ng, return_inverse=True)
    values = np.array([int(w) * n / d for w in weights.tolist()], dtype=np.float64)
    return values[where]


def doses_by_band(weight_ng: Ints, bands: tuple[Band, ...], graduation: Fraction) -> tuple[Doses, Ints]:
    """Doses from weight bands, and the position of each animal's band (-1 where it is in none or in two).

    A band reaches up to and including its upper weight; where the next begins at the same weight, the
    animal on the edge is in the lower band.
    """
    band = np.full(len(weight_ng), -1, dtype=np.int64)
    for position, row in enumerate(bands):
        low, high = row.from_kg * NG_PER_KG, None if row.to_kg is None else row.to_kg * NG_PER_KG
        edge = any(other.to_kg == row.from_kg for other in bands if other is not row)
        inside = (weight_ng > int(low)) | ((weight_ng == int(low)) & (not edge))
        if high is not None:
            inside &= weight_ng <= int(high)
        inside &= weight_ng > 0
        band = np.where(inside, np.where(band == -1, position, -2), band)
    found = band >= 0
    amounts = [row.dose / graduation for row in bands]
    on_mark = np.array([a.denominator == 1 for a in amounts])[np.where(found, band, 0)]
    marks = np.array([int(-(-a // 1)) for a in amounts], dtype=np.int64)[np.where(found, band, 0)]
    target = np.array([float(row.dose) for row in bands])[np.where(found, band, 0)]
    none = np.zeros(len(weight_ng), dtype=np.bool_)
    doses = Doses(np.where(found, marks, 0), marks, found & on_mark, none, np.where(found, target, np.nan))
    return doses, np.maximum(band, -1)


def step_that_would_do(basis_ng: int, limits: Limits) -> Fraction | None:
    """Coarsest usual graduation with a mark between the lowest and the highest dose of this weight."""
    kilograms = Fraction(int(basis_ng), NG_PER_KG)
    low, high = limits.lowest * kilograms, limits.highest * kilograms
    if limits.largest_dose is not None:
        low, high = min(low, _least_at_largest(limits)), min(high, limits.largest_dose)
    return coarsest_step(low, high)
