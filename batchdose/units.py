"""Units: the only module that knows pint. Text and pint quantities meet here, and nowhere else.

Three traps of a general registry are closed by one of our own, with only the units of the trade:
bodyweight has a dimension of its own (else `mg/kg` is a bare number, like a percentage), activity
(`IU`) is a unit, and every spelling is in a closed list (a general parser reads `1 mL/50 kg` as
0.02 mL*kg). All magnitudes are exact fractions.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pint

# 0.45359237 kg per pound: exact since the agreement of 1959 (NIST SP 811, appendix B.8).
DEFINITIONS = """
mg = [active]
ug = 0.001 mg
g = 1000 mg
kg_active = 1000000 mg
IU = [activity]
mL = [volume]
L = 1000 mL
g_product = [product_mass]
kg_bw = [bodyweight]
lb_bw = 0.45359237 kg_bw
tonne_bw = 1000 kg_bw
hour = [time]
day = 24 hour
week = 7 day
head = [head]
tablet = [tablet]
bolus = [bolus]
capsule = [capsule]
sachet = [sachet]
pellet = [pellet]
implant = [implant]
tube = [tube]
dose_unit = [dose_unit]
milking = [milking]
"""

#: What may be written for an active amount (left of the stroke) -> our unit.
ACTIVE = {
    "mg": "mg", "g": "g", "µg": "ug", "μg": "ug", "ug": "ug", "mcg": "ug", "microgram": "ug",
    "micrograms": "ug", "milligram": "mg", "milligrams": "mg", "gram": "g", "grams": "g",
    "iu": "IU", "i.u.": "IU", "unit": "IU", "units": "IU", "international units": "IU",
}  # fmt: skip

#: What may be written for an amount of product -> our unit.
PRODUCT = {
    "ml": "mL", "cc": "mL", "millilitre": "mL", "millilitres": "mL", "milliliter": "mL",
    "milliliters": "mL", "l": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L",
    "tablet": "tablet", "tablets": "tablet", "bolus": "bolus", "boluses": "bolus", "boli": "bolus",
    "capsule": "capsule", "capsules": "capsule", "sachet": "sachet", "sachets": "sachet",
    "packet": "sachet", "packets": "sachet", "pellet": "pellet", "pellets": "pellet",
    "implant": "implant", "implants": "implant", "tube": "tube", "tubes": "tube",
    "dose": "dose_unit", "doses": "dose_unit",
    "g product": "g_product", "g paste": "g_product", "g powder": "g_product",
}  # fmt: skip

#: What may stand right of the stroke in a dose rate -> our unit.
BODYWEIGHT = {
    "kg": "kg_bw", "kgs": "kg_bw", "kilogram": "kg_bw", "kilograms": "kg_bw", "kilo": "kg_bw",
    "kilos": "kg_bw", "lb": "lb_bw", "lbs": "lb_bw", "pound": "lb_bw", "pounds": "lb_bw",
    "tonne": "tonne_bw", "tonnes": "tonne_bw",
}  # fmt: skip

HEAD = {"head": "head", "animal": "head"}

DURATION = {
    "h": "hour", "hr": "hour", "hrs": "hour", "hour": "hour", "hours": "hour",
    "d": "day", "day": "day", "days": "day", "week": "week", "weeks": "week", "wk": "week", "wks": "week",
}  # fmt: skip

MILKING = {"milking": "milking", "milkings": "milking"}


class UnknownUnitError(ValueError):
    """A unit whose spelling is not in the closed list."""


@cache
def registry() -> pint.UnitRegistry[Any]:
    """The registry with only the units above, exact in fractions."""
    import pint

    ureg: pint.UnitRegistry[Any] = pint.UnitRegistry(None, non_int_type=Fraction)
    for line in DEFINITIONS.strip().splitlines():
        ureg.define(line)
    return ureg


def unit_named(spelling: str, *tables: dict[str, str]) -> str:
    """Our name of the unit that `spelling` means, looked up in the given tables.

    >>> unit_named("cc", PRODUCT), unit_named("LBS", BODYWEIGHT)
    ('mL', 'lb_bw')
    """
    key = " ".join(spelling.strip().rstrip(".").casefold().split())
    for table in tables:
        for candidate in (key, f"{key}."):
            if candidate in table:
                return table[candidate]
    raise UnknownUnitError(spelling)


def convert(amount: Fraction, unit: str, to: str) -> Fraction:
    """Amount in `unit` as an exact amount in `to`. Raises pint.DimensionalityError if they do not agree.

    >>> convert(Fraction(110), "lb_bw", "kg_bw")
    Fraction(498951607, 10000000)
    >>> convert(Fraction(1), "mg / lb_bw", "mg / kg_bw")
    Fraction(100000000, 45359237)
    """
    value = registry().Quantity(amount, unit).m_as(to)
    return value if isinstance(value, Fraction) else Fraction(value)


def same_kind(unit: str, other: str) -> bool:
    """Whether two units measure the same thing (mg and g do; mg and mL do not)."""
    return bool(registry().Unit(unit).is_compatible_with(other))
