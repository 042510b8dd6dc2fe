"""Bodyweights as the session reads them: in its own unit, kg or lb."""

from __future__ import annotations

from batchdose.amounts import KG_PER_LB, number_text
from batchdose.model import NG_PER_KG


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
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def kilograms(weight_ng: int) -> float:
    """A weight [kg] from whole nanograms."""
    return weight_ng / NG_PER_KG
