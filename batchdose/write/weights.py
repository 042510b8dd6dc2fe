"""Bodyweights as the session reads them: in its own unit, kg or lb."""

from __future__ import annotations

from batchdose.amounts import KG_PER_LB, amount_text, number_text
from batchdose.model import NG_PER_KG
from batchdose.texts import ENGLISH, language_spoken, say


def in_unit(weight_kg: float, unit: str) -> float:
    """A weight [kg] in a unit, as the scale shows it: what comes of conversion alone is rounded away.

    >>> in_unit(41.957294225, "lb"), in_unit(45.5, "kg")
    (92.5, 45.5)
    """
    return round(weight_kg / float(KG_PER_LB), 4) if unit == "lb" else weight_kg


def span_text(from_kg: float, to_kg: float, unit: str) -> str:
    """Weights of a group in the session's unit.

    >>> span_text(41.957294225, 46.039625555, "lb"), span_text(45, 45, "kg")
    ('92.5 to 101.5 lb', '45 kg')
    """
    low, high = (number_text(in_unit(end, unit), 2) for end in (from_kg, to_kg))
    return f"{low} {unit}" if low == high else say("{low} to {high} {unit}", low=low, high=high, unit=unit)


def weight_words(typed: str, weight_ng: int) -> str:
    """The weight of an animal as it was typed; in another language than English its number in the form of that.

    >>> weight_words("137 1/2 lb", 62368950837500), weight_words("", 0)
    ('137 1/2 lb', '')
    """
    unit = typed[-2:]
    if language_spoken() == ENGLISH or weight_ng <= 0 or unit not in ("kg", "lb"):
        return typed
    return amount_text(in_unit(kilograms(weight_ng), unit), unit, 4)


def kilograms(weight_ng: int) -> float:
    """A weight [kg] from whole nanograms."""
    return weight_ng / NG_PER_KG
