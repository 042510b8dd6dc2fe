"""Marks on a syringe or gun: the only place where a dose is rounded, and it is exact.

Weights are whole nanograms and factors are fractions, so a target that lies on a mark is found on it:
0.3 mL on a 0.1 mL device is three marks, never four.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]

#: Steps that devices of the trade are marked in (common practice, no source), coarsest first.
USUAL_STEPS = tuple(
    Fraction(step) for step in ("10", "5", "2", "1", "0.5", "0.25", "0.2", "0.1", "0.05", "0.02", "0.01", "0.005")
)


def ceil_marks(weight_ng: Ints, marks_per_ng: Fraction) -> Ints:
    """Smallest whole number of marks not below weight x factor.

    >>> ceil_marks(np.array([3, 4]), Fraction(1, 3))
    array([1, 2])
    """
    n, d = marks_per_ng.numerator, marks_per_ng.denominator
    return _by_weight(weight_ng, lambda weights: -((-weights * n) // d))


def floor_marks(weight_ng: Ints, marks_per_ng: Fraction) -> Ints:
    """Largest whole number of marks not above weight x factor.

    >>> floor_marks(np.array([3, 5]), Fraction(1, 3))
    array([1, 1])
    """
    n, d = marks_per_ng.numerator, marks_per_ng.denominator
    return _by_weight(weight_ng, lambda weights: (weights * n) // d)


def nearest_marks(weight_ng: Ints, marks_per_ng: Fraction) -> Ints:
    """Nearest whole number of marks; a half goes up.

    >>> nearest_marks(np.array([1, 2]), Fraction(1, 2))
    array([1, 1])
    """
    n, d = marks_per_ng.numerator, marks_per_ng.denominator
    return _by_weight(weight_ng, lambda weights: (2 * n * weights + d) // (2 * d))


def _by_weight(weight_ng: Ints, marks: Callable[[npt.NDArray[Any]], npt.NDArray[Any]]) -> Ints:
    """Marks of each weight; those of a mob repeat, so each distinct one is worked out once, in whole numbers."""
    weights, where = np.unique(weight_ng, return_inverse=True)
    return marks(weights.astype(object)).astype(np.int64)[where]


def amount_of(marks: Ints, graduation: Fraction) -> npt.NDArray[np.float64]:
    """Amount that the marks stand for, as the nearest float (one division of whole numbers).

    >>> amount_of(np.array([13, 3]), Fraction(1, 10)).tolist()
    [1.3, 0.3]
    """
    return marks * graduation.numerator / graduation.denominator


def coarsest_step(lowest: Fraction, highest: Fraction) -> Fraction | None:
    """Coarsest usual step between marks that has a mark from `lowest` to `highest`; None if none has.

    >>> coarsest_step(Fraction("0.33"), Fraction("0.36"))
    Fraction(1, 20)
    """
    for step in USUAL_STEPS:
        if -(-lowest // step) <= highest // step and highest >= step:
            return step
    return None


def share_over_sites(marks: int, most_per_site: int) -> tuple[int, ...]:
    """Marks for each site: the fewest sites, parts as equal as whole marks allow, their sum the dose.

    >>> share_over_sites(15, 10), share_over_sites(30, 10)
    ((8, 7), (10, 10, 10))
    """
    sites = max(1, -(-marks // most_per_site))
    part, rest = divmod(marks, sites)
    return (part + 1,) * rest + (part,) * (sites - rest)
