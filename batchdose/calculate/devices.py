"""How far syringes and scales may be off, by the standards they are made to.

The figures are data that a person can read and correct (`batchdose/data/syringe_tolerances.csv`,
`scale_tolerances.csv`), each with its source and whether it was read there or written from memory. All
tolerances are to either side.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import TypeAlias

#: How far an amount may be off, from that amount: both in units of product.
Tolerance: TypeAlias = Callable[[Fraction], Fraction]


@cache
def _table(name: str) -> tuple[dict[str, str], ...]:
    text = (files("batchdose") / "data" / name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def _of_size(size_ml: Fraction) -> dict[str, str]:
    """Row of the syringe table for a graduated capacity."""
    rows = [row for row in _table("syringe_tolerances.csv") if Fraction(row["from_ml"]) <= size_ml]
    if size_ml <= 0:
        raise ValueError("A syringe holds more than nothing.")
    return rows[-1]


def syringe_tolerance_ml(size_ml: Fraction, expelled_ml: Fraction) -> Fraction:
    """Tolerance of a volume from a syringe of `size_ml` to ISO 7886-1 [mL].

    Under half of the size: a percentage of the size and one of what is expelled; from half up: one of what is
    expelled. A volume above the size is expelled in equal parts, and their tolerances are added. ValueError where
    a size or volume is not positive.

    >>> syringe_tolerance_ml(Fraction(10), Fraction(4))
    Fraction(19, 100)
    """
    row = _of_size(size_ml)
    if expelled_ml <= 0:
        raise ValueError("A dose is more than nothing.")
    parts = math.ceil(expelled_ml / size_ml)
    part = expelled_ml / parts
    if part < size_ml / 2:
        percent = Fraction(row["percent_of_size"]) * size_ml + Fraction(row["percent_of_expelled"]) * part
    else:
        percent = Fraction(row["percent_from_half"]) * part
    return parts * percent / 100


def syringe_dead_space_ml(size_ml: Fraction) -> Fraction:
    """Most that a syringe of this size to ISO 7886-1 may keep after a full stroke, without its needle [mL].

    >>> syringe_dead_space_ml(Fraction(20))
    Fraction(3, 20)
    """
    return Fraction(_of_size(size_ml)["dead_space_ml"])


def of_syringe(size_ml: Fraction) -> Tolerance:
    """Tolerance of a syringe of this size to ISO 7886-1, for any volume."""
    return lambda amount: syringe_tolerance_ml(size_ml, amount)


def of_share(share: Fraction) -> Tolerance:
    """Tolerance of a device that is said to be off by at most a share of what it gives (0.05 for 5 %)."""
    return lambda amount: share * amount


def scale_tolerance_ng(weight_ng: int, step_ng: int, scale_class: str = "III") -> int | None:
    """Tolerance in service of a verified scale of this class [ng]: twice that of its first verification, OIML R 76-1.

    None above the most steps the class may have. ValueError for a class that is not in the table.

    >>> scale_tolerance_ng(60_000, 500)
    500
    """
    rows = [row for row in _table("scale_tolerances.csv") if row["class"] == scale_class]
    if not rows:
        raise ValueError(f"The scale class {scale_class} is not in the table of tolerances.")
    for row in rows:
        if weight_ng <= int(row["up_to_steps"]) * step_ng:
            return int(2 * Fraction(row["tolerance_steps"]) * step_ng)
    return None
