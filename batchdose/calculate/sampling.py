"""The weight to dose a mob to of which only some are weighed: at most a share under-dosed, with a confidence.

Everything here holds for a sample drawn at random from the whole mob, not for those that come up the race
first. Two ways:

* Order statistics: one of the weights of the sample itself. Holds for mobs of any kind. With the head count the
  exact (hypergeometric) chances of that very mob are used, since a mob is finite and weighed without putting back;
  without it the binomial ones of an endless mob, which ask for a few more.
* The mean and the spread of the sample, where the weights look normal: `normal_bound` says whether they do. The
  mob counts as endless there, which is on the safe side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import fmean, stdev

from batchdose.amounts import number_text, weight_text
from batchdose.calculate.tolerance import (
    anderson_darling,
    confidence_of_rank,
    lowest_rank,
    normal_prediction_factor,
    number_to_weigh,
    over_allowed,
    tolerance_factor,
)
from batchdose.texts import say

#: Fewest weights for the normal bound (the program's own, cautious choice: a smaller sample shows no skewness), and
#: the largest Anderson-Darling statistic: rejected at 10 % (D'Agostino and Stephens 1986, table 4.7; from memory).
LEAST_FOR_NORMAL = 20
MOST_ANDERSON_DARLING = 0.631


@dataclass(frozen=True)
class OrderBound:
    """The weight of the sample to dose to [kg], its `rank` from the heaviest, and the confidence it gives.

    `weight_kg` is None and `rank` 0 where not enough are weighed: then `confidence` is that of the heaviest.
    `to_weigh` is how many must be weighed for the heaviest of them to serve, `more` how many are still to be
    weighed; both None where no number would do.
    """

    weight_kg: float | None
    rank: int
    confidence: Fraction
    weighed: int
    to_weigh: int | None
    more: int | None


@dataclass(frozen=True)
class NormalBound:
    """Mean + k standard deviations [kg], and why the sample does not support it (empty where it does)."""

    weight_kg: float
    mean_kg: float
    spread_kg: float
    factor: float
    statistic: float
    why_not: str


@dataclass(frozen=True)
class HeaviestUnweighed:
    """What the heaviest of the animals not weighed is likely to be.

    `confidence_of_sample` is the exact chance that none of them is heavier than the heaviest weighed;
    `normal_kg` is a weight that none of them passes with the confidence asked for, if the mob is normal.
    """

    confidence_of_sample: Fraction
    normal_kg: float | None


def order_bound(
    weights_kg: Sequence[float], share: Fraction, confidence: Fraction, head: int | None = None
) -> OrderBound:
    """The lightest weight of the sample that leaves at most `share` of the mob heavier, with `confidence`.

    ValueError where nothing is weighed, more are weighed than the mob has head, or a share is not one.

    >>> order_bound([50.0, 52.5, 55.0], Fraction(5, 100), Fraction(95, 100), head=40).more
    22
    """
    _check(weights_kg, share, confidence, head)
    weighed = len(weights_kg)
    rank = lowest_rank(weighed, share, confidence, head)
    needed = number_to_weigh(share, confidence, head)
    return OrderBound(
        weight_kg=sorted(weights_kg, reverse=True)[rank - 1] if rank else None,
        rank=rank,
        confidence=confidence_of_rank(weighed, max(rank, 1), share, head),
        weighed=weighed,
        to_weigh=needed,
        more=None if needed is None else max(0, needed - weighed),
    )


def normal_bound(
    weights_kg: Sequence[float], share: Fraction, confidence: Fraction, head: int | None = None
) -> NormalBound:
    """Weight that at most `share` of a normal mob passes, with `confidence`; and whether the sample supports it.

    It does not where fewer than LEAST_FOR_NORMAL are weighed, where the Anderson-Darling test rejects a normal
    distribution at 10 %, or where more of the sample than the share allows are heavier than the weight found.
    ValueError as in `order_bound`, with fewer than two weights, or for a share of 0.
    """
    _check(weights_kg, share, confidence, head)
    if len(weights_kg) < 2 or share <= 0 or confidence >= 1:
        raise ValueError("A normal bound needs two weights, a share above 0 and a confidence below 1.")
    mean, spread = fmean(weights_kg), stdev(weights_kg)
    factor = tolerance_factor(len(weights_kg), share, confidence)
    bound = mean + factor * spread
    statistic = anderson_darling(weights_kg)
    allowed = over_allowed(share, head or len(weights_kg))
    why = ""
    if len(weights_kg) < LEAST_FOR_NORMAL:
        why = say("fewer than {n} are weighed", n=LEAST_FOR_NORMAL)
    elif statistic > MOST_ANDERSON_DARLING:
        why = say("the weights do not look normal (Anderson-Darling test, 10 %)")
    elif sum(weight > bound for weight in weights_kg) > allowed:
        why = say("more of those weighed are heavier than the share allows")
    return NormalBound(bound, mean, spread, factor, statistic, why)


def heaviest_unweighed(weights_kg: Sequence[float], head: int, confidence: Fraction) -> HeaviestUnweighed:
    """What the heaviest of the `head` - n animals that are not weighed is likely to be.

    The heaviest of all is among n weighed out of N with the chance n/N, whatever the weights. ValueError as in
    `order_bound`, and where all are weighed.
    """
    _check(weights_kg, Fraction(0), confidence, head)
    others = head - len(weights_kg)
    if others == 0:
        raise ValueError("All are weighed.")
    of_sample = confidence_of_rank(len(weights_kg), 1, Fraction(0), head)
    if len(weights_kg) < 2 or confidence >= 1:
        return HeaviestUnweighed(of_sample, None)
    factor = normal_prediction_factor(len(weights_kg), others, confidence)
    return HeaviestUnweighed(of_sample, fmean(weights_kg) + factor * stdev(weights_kg))


def in_words(
    bound: OrderBound, share: Fraction, confidence: Fraction, head: int | None = None, unit: str = "kg"
) -> str:
    """What the order statistics say, as to a farmer; weights in the session's unit.

    >>> share, confidence = Fraction(5, 100), Fraction(95, 100)
    >>> in_words(order_bound([50.0] * 10, share, confidence, 100), share, confidence, 100)
    'Weigh 29 more (39 of 100 in all), chosen at random: then at most 5 % would be under-dosed, with 95 % confidence.'
    """
    promise = say(
        "at most {share} % would be under-dosed, with {confidence} % confidence.",
        share=number_text(share * 100), confidence=number_text(confidence * 100),
    )  # fmt: skip
    of_mob = "" if head is None else say(" of {head}", head=number_text(head))
    if bound.weight_kg is not None:
        dose_to = weight_text(bound.weight_kg, unit)
        what = {"weight": dose_to, "n": bound.weighed, "of_mob": of_mob, "promise": promise}
        if bound.rank == 1:
            return say("Dose to {weight}, the heaviest of the {n} weighed{of_mob}: {promise}", **what)
        return say("Dose to {weight}, number {rank} from the heaviest of the {n} weighed{of_mob}: {promise}",
                   rank=bound.rank, **what)  # fmt: skip
    if bound.more is None:
        return say("No number weighed would be enough for that: allow a larger share, or a lower confidence.")
    return say("Weigh {more} more ({n}{of_mob} in all), chosen at random: then {promise}", more=bound.more,
               n=bound.to_weigh, of_mob=of_mob, promise=promise)  # fmt: skip


def _check(weights_kg: Sequence[float], share: Fraction, confidence: Fraction, head: int | None) -> None:
    if not len(weights_kg):
        raise ValueError("No animal is weighed.")
    if head is not None and len(weights_kg) > head:
        raise ValueError(f"{len(weights_kg)} are weighed, but the mob has {head} head.")
    if not (0 <= share < 1 and 0 < confidence <= 1):
        raise ValueError("The share is from 0 up to but not 1, the confidence above 0 and at most 1.")
