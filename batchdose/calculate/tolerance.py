"""Tolerance limits: what a random sample says of all, by order statistics (exact) and for normal figures.

Order statistics need no assumption but a random sample, and are computed in whole numbers. For the normal
factor the non-central t distribution is integrated here rather than taken from a large library: one function
is needed, it agrees with that library to ten digits (tested), and loading takes no second more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cache
from itertools import islice, repeat
from statistics import NormalDist, fmean, stdev

import numpy as np

_STANDARD = NormalDist()


def over_allowed(share: Fraction, head: int) -> int:
    """Head that may be under-dosed: the share of all, rounded down."""
    return int(share * head)


def confidence_of_rank(weighed: int, rank: int, share: Fraction, head: int | None = None) -> Fraction:
    """Confidence that at most `share` of the mob is heavier than the `rank`-th heaviest of `weighed`.

    In a mob of `head`, with K = `over_allowed`, more than K are heavier only if fewer than `rank` of the K + 1
    heaviest are in the sample; their number is hypergeometric, so 1 - P(X < rank) is exact for any weights.
    Without `head` the mob counts as endless and X is binomial (Wilks 1941, "Determination of sample sizes for
    setting tolerance limits"; ISO 16269-6, distribution-free one-sided limits; both from memory).

    >>> round(float(confidence_of_rank(59, 1, Fraction(5, 100))), 4)
    0.9515
    >>> confidence_of_rank(3, 1, Fraction(0), head=4)
    Fraction(3, 4)
    """
    every, ways = _ways(weighed, share, head)
    return 1 - Fraction(sum(islice(ways, rank)), every)


def lowest_rank(weighed: int, share: Fraction, confidence: Fraction, head: int | None = None) -> int:
    """Largest rank, counted from the heaviest, that serves: the lightest weight of the sample to dose to.

    0 where not even the heaviest of the sample gives the confidence.

    >>> lowest_rank(58, Fraction(5, 100), Fraction(95, 100)), lowest_rank(93, Fraction(5, 100), Fraction(95, 100))
    (0, 2)
    """
    every, ways = _ways(weighed, share, head)
    most, failing = int((1 - confidence) * every), 0
    for rank, of_rank in enumerate(islice(ways, weighed)):
        failing += of_rank
        if failing > most:
            return rank
    return weighed


def number_to_weigh(share: Fraction, confidence: Fraction, head: int | None = None, rank: int = 1) -> int | None:
    """Fewest to weigh for the `rank`-th heaviest of them to serve; None where no number does.

    >>> number_to_weigh(Fraction(5, 100), Fraction(95, 100)), number_to_weigh(Fraction(5, 100), Fraction(95, 100), 100)
    (59, 39)
    """
    if (head is None and (share <= 0 or confidence >= 1)) or (
        head is not None and over_allowed(share, head) < rank - 1
    ):
        return None
    low, high = rank - 1, rank
    while (head is None or high < head) and confidence_of_rank(high, rank, share, head) < confidence:
        low, high = high, 2 * high if head is None else min(2 * high, head)
    while low + 1 < high:
        middle = (low + high) // 2
        serves = confidence_of_rank(middle, rank, share, head) >= confidence
        low, high = (low, middle) if serves else (middle, high)
    return high


def _ways(weighed: int, share: Fraction, head: int | None) -> tuple[int, Iterator[int]]:
    """Ways to weigh so many, and those in which exactly 0, 1, ... of the animals above the limit are among them."""
    if head is None:
        heavy, light = share.numerator, share.denominator - share.numerator
        terms = (math.comb(weighed, n) * heavy**n * light ** (weighed - n) for n in range(weighed + 1))
        return share.denominator**weighed, terms
    heavy = min(over_allowed(share, head) + 1, head)
    return math.comb(head, weighed), _ways_of_mob(weighed, heavy, head - heavy)


def _ways_of_mob(weighed: int, heavy: int, light: int) -> Iterator[int]:
    """C(heavy, n) x C(light, weighed - n) for n = 0, 1, ... up to all that are weighed, each from the one before."""
    least = max(0, weighed - light)
    yield from repeat(0, least)
    ways = math.comb(heavy, least) * math.comb(light, weighed - least)
    for n in range(least, weighed + 1):
        yield ways
        ways = ways * (heavy - n) * (weighed - n) // ((n + 1) * (light - weighed + n + 1))


@cache
def _nodes() -> tuple[list[float], list[float]]:
    """Nodes and weights of a Gauss-Legendre rule on -1 .. 1."""
    nodes, weights = np.polynomial.legendre.leggauss(300)
    return nodes.tolist(), weights.tolist()


def noncentral_t_cdf(t: float, freedom: int, shift: float) -> float:
    """Chance that (Z + shift) / U is at most t, Z standard normal and U² chi-square over its degrees of freedom.

    Integrates Phi(t u - shift) over the density of U, within twelve of its standard deviations (1 / sqrt(2 f)).
    """
    reach = 12 / math.sqrt(2 * freedom)
    low, high = max(0.0, 1 - reach), 1 + reach
    scale = math.log(2) + freedom / 2 * math.log(freedom / 2) - math.lgamma(freedom / 2)
    total = 0.0
    for node, weight in zip(*_nodes(), strict=True):
        u = (low + high) / 2 + (high - low) / 2 * node
        density = math.exp(scale + (freedom - 1) * math.log(u) - freedom * u * u / 2)
        total += weight * density * math.erfc((shift - t * u) / math.sqrt(2)) / 2
    return total * (high - low) / 2


def noncentral_t_quantile(chance: float, freedom: int, shift: float) -> float:
    """The t that `noncentral_t_cdf` gives `chance`."""
    low, high = -1.0, 1.0
    while noncentral_t_cdf(low, freedom, shift) > chance:
        low *= 2
    while noncentral_t_cdf(high, freedom, shift) < chance:
        high *= 2
    while high - low > 1e-13 * max(1.0, abs(high)):
        middle = (low + high) / 2
        low, high = (middle, high) if noncentral_t_cdf(middle, freedom, shift) < chance else (low, middle)
    return high


@cache
def tolerance_factor(weighed: int, share: Fraction, confidence: Fraction) -> float:
    """Factor k: mean + k standard deviations is above all but `share` of a normal mob, with this confidence.

    k = t / sqrt(n), t the quantile `confidence` of the non-central t with n - 1 degrees of freedom and shift
    z sqrt(n), z the standard normal quantile 1 - `share` (NIST/SEMATECH e-Handbook 7.2.6.3; from memory).

    >>> round(tolerance_factor(43, Fraction(10, 100), Fraction(99, 100)), 4)
    1.874
    """
    root = math.sqrt(weighed)
    shift = _STANDARD.inv_cdf(1 - float(share)) * root
    return noncentral_t_quantile(float(confidence), weighed - 1, shift) / root


def normal_prediction_factor(weighed: int, others: int, confidence: Fraction) -> float:
    """Factor r: mean + r standard deviations is above all of `others` more of a normal mob, with this confidence.

    r = t sqrt(1 + 1/n), t the quantile 1 - (1 - confidence) / others of Student's t: the chances of the others are
    added (Bonferroni), so r is a little too large, never too small (Hahn and Meeker 1991, "Statistical intervals",
    section 4.8; from memory).
    """
    chance = 1 - (1 - float(confidence)) / others
    return noncentral_t_quantile(chance, weighed - 1, 0.0) * math.sqrt(1 + 1 / weighed)


def anderson_darling(values: Sequence[float]) -> float:
    """Adjusted Anderson-Darling statistic A*² of the values against a normal distribution of their mean and spread.

    A² (1 + 0.75/n + 2.25/n²), D'Agostino and Stephens 1986, "Goodness-of-fit techniques", table 4.7; the statistic
    itself as in NIST/SEMATECH e-Handbook 1.3.5.14 (both from memory). Infinite where all values are alike.
    """
    n = len(values)
    mean, spread = fmean(values), stdev(values)
    if spread == 0:
        return math.inf
    z = sorted((value - mean) / spread for value in values)
    below = [_log_phi(x) for x in z]
    above = [_log_phi(-x) for x in z]
    total = sum((2 * i + 1) * (below[i] + above[n - 1 - i]) for i in range(n))
    return (-n - total / n) * (1 + 0.75 / n + 2.25 / n**2)


def _log_phi(x: float) -> float:
    """Logarithm of the chance that a standard normal figure is at most x."""
    return math.log(max(math.erfc(-x / math.sqrt(2)) / 2, 5e-324))
