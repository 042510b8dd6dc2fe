"""Numbers and dates as people read them: doses written the safe way, dates that cannot be misread.

Source of the dose forms: the safe-dose-writing lists of medication-safety bodies (ISMP list of
error-prone abbreviations): a zero before the point, none after it, a space before the unit, `mL`,
`mcg`, and `units` in full.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

# Full-width characters and typographic apostrophes; raised digits stay what they are (10⁶ is not 106).
_PLAIN = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)} | {0x2019: "'"}
UNIT_WORDS = {"IU": "units", "ug": "mcg", "g_product": "g", "dose_unit": "dose"}
COUNTED = frozenset({"tablet", "bolus", "capsule", "sachet", "pellet", "implant", "tube", "dose"})


def clean(text: str) -> str:
    r"""Text in plain characters: full-width digits, no-break spaces and the like made ordinary.

    >>> clean(" 62\u00a0kg ")
    '62 kg'
    """
    if text.isascii():
        # Most cells are one plain word, which is quick to see.
        return text if " " not in text and text.isprintable() else " ".join(text.split())
    return " ".join(text.translate(_PLAIN).split())


@lru_cache(maxsize=65536)
def number_text(value: Fraction | float, places: int = 3) -> str:
    """A number with at most `places` decimals, none of them a trailing zero; commas from 1,000 up.

    Numbers under one keep `places` significant digits, so that a small dose never prints as 0.

    >>> number_text(5.0), number_text(Fraction(1, 2)), number_text(1250), number_text(0.00042)
    ('5', '0.5', '1,250', '0.00042')
    """
    exact = Fraction(Decimal(repr(float(value)))) if isinstance(value, float) else Fraction(value)
    if exact and abs(exact) < 1:
        places -= math.floor(math.log10(abs(exact))) + 1
    scaled = round(exact * 10**places)
    text = f"{Decimal(scaled).scaleb(-places):,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def unit_word(unit: str, value: Fraction | float = 1) -> str:
    """How a unit is written on paper: `units` for IU, `mcg`, plurals of counted forms.

    >>> unit_word("IU"), unit_word("bolus", 2), unit_word("mL", 2)
    ('units', 'boluses', 'mL')
    """
    word = UNIT_WORDS.get(unit, unit)
    if word in COUNTED and value > 1:
        return f"{word}es" if word.endswith("s") else f"{word}s"
    return word


def amount_text(value: Fraction | float, unit: str, places: int = 3) -> str:
    """An amount with its unit, written the safe way.

    >>> amount_text(0.5, "mL"), amount_text(Fraction(5), "mL"), amount_text(300000, "IU")
    ('0.5 mL', '5 mL', '300,000 units')
    """
    return f"{number_text(value, places)} {unit_word(unit, value)}"


def date_text(day: date) -> str:
    """A date with weekday and the month's name, which no one can read two ways.

    >>> from datetime import date
    >>> date_text(date(2026, 4, 15))
    'Wednesday 15 April 2026'
    """
    return f"{day:%A} {day.day} {day:%B %Y}"


def days_text(days: Iterable[date]) -> str:
    """Days of a course beside a dose, short, with the month's name.

    >>> from datetime import date
    >>> days_text([date(2026, 3, 14), date(2026, 3, 16)])
    '14 Mar, 16 Mar'
    """
    return ", ".join(f"{day.day} {day:%b}" for day in days)
