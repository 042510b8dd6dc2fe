"""Numbers and dates as people read them: doses written the safe way, dates that cannot be misread.

Source of the dose forms: the safe-dose-writing lists of medication-safety bodies (ISMP list of
error-prone abbreviations): a zero before the point, none after it, a space before the unit, `mL`,
`mcg`, and `units` in full.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from batchdose.texts import ENGLISH, Text, joined, mark_many, say, say_many, tell

# Full-width characters and typographic apostrophes; raised digits stay what they are (10⁶ is not 106).
_PLAIN = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)} | {0x2019: "'"}
UNIT_WORDS = {"IU": "units", "ug": "mcg", "g_product": "g", "dose_unit": "dose"}
#: Forms of medicine that are counted, for one and for several.
_FORMS = {
    "tablet": mark_many("tablet", "tablets"), "bolus": mark_many("bolus", "boluses"),
    "capsule": mark_many("capsule", "capsules"), "sachet": mark_many("sachet", "sachets"),
    "pellet": mark_many("pellet", "pellets"), "implant": mark_many("implant", "implants"),
    "tube": mark_many("tube", "tubes"), "dose": mark_many("dose", "doses"),
}  # fmt: skip
COUNTED = tuple(_FORMS)


def clean(text: str) -> str:
    r"""Text in plain characters: full-width digits, no-break spaces and the like made ordinary.

    >>> clean(" 62\u00a0kg ")
    '62 kg'
    """
    if text.isascii():
        # Most cells are one plain word, which is quick to see.
        return text if " " not in text and text.isprintable() else " ".join(text.split())
    return " ".join(text.translate(_PLAIN).split())


class Number(Text):
    """A number as text; in a language with a decimal comma, in groups of three with a no-break space between.

    Neither a point nor a comma ever parts the groups there, so that no dose is read a thousand times too small or too
    large. Source: SI Brochure, 9th edition, 5.4.4: the decimal marker is the point or the comma, and groups of three
    may be parted by a space, never by either; with four digits only, Spanish leaves the space out.
    """

    __slots__ = ()

    def told(self, language: str) -> str:
        """The number in a language."""
        mark = _decimal_mark(language)
        if mark == ".":
            return self.message
        whole, point, decimals = self.message.partition(".")
        groups = whole.replace(",", "") if language == "es" and len(whole.strip("-")) <= 5 else whole
        return groups.replace(",", "\u00a0") + (mark + decimals if point else "")


class Day(Text):
    """A date as text; `message` is the pattern of it in English, by the field symbols of Unicode (CLDR)."""

    __slots__ = ()

    def told(self, language: str) -> str:
        """The date in a language."""
        if language == ENGLISH:
            return _english_day(self.values["day"], self.message)
        from babel.dates import format_date

        long = "EEEE " in self.message
        pattern = self.message if not (long and language == "es") else "EEEE d 'de' MMMM 'de' y"
        return str(format_date(self.values["day"], pattern, language))


#: Field symbols of Unicode for days, as Python has them.
_FIELDS = {"EEEE": "%A", "EEE": "%a", "MMMM": "%B", "MMM": "%b", "y": "%Y"}


def _english_day(day: date, pattern: str) -> str:
    return " ".join(f"{day.day}" if field == "d" else f"{day:{_FIELDS[field]}}" for field in pattern.split(" "))


def _day(day: date, pattern: str) -> Day:
    return Day(_english_day(day, pattern), pattern, day=day)


@lru_cache(maxsize=16)
def _decimal_mark(language: str) -> str:
    if language == "en":
        return "."
    from babel.numbers import get_decimal_symbol

    return str(get_decimal_symbol(language))


def number_text(value: Fraction | float, places: int = 3) -> str:
    r"""A number with at most `places` decimals, none of them a trailing zero; commas from 1,000 up.

    Numbers under one keep `places` significant digits, so that a small dose never prints as 0.

    >>> number_text(5.0), number_text(Fraction(1, 2)), number_text(1250), number_text(0.00042)
    ('5', '0.5', '1,250', '0.00042')
    >>> from batchdose.texts import speaking
    >>> with speaking("fr"): number_text(0.5), number_text(1250)
    ('0,5', '1\xa0250')
    """
    return tell(_number(value, places))


@lru_cache(maxsize=65536)
def _number(value: Fraction | float, places: int) -> Number:
    exact = Fraction(Decimal(repr(float(value)))) if isinstance(value, float) else Fraction(value)
    if exact and abs(exact) < 1:
        places -= math.floor(math.log10(abs(exact))) + 1
    scaled = round(exact * 10**places)
    text = f"{Decimal(scaled).scaleb(-places):,f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return Number(text, text)


def shown_value(value: Fraction | float, places: int = 3) -> Fraction:
    """The number that `number_text` shows, exact.

    >>> shown_value(Fraction(1, 3)), shown_value(1250)
    (Fraction(333, 1000), Fraction(1250, 1))
    """
    return Fraction(_number(value, places).message.replace(",", ""))


def written_number(text: str) -> str:
    """A number that is already written the English way, in the form of the language.

    >>> from batchdose.texts import speaking
    >>> with speaking("es"): written_number("1.25")
    '1,25'
    """
    return tell(Number(text, text))


def percent_text(share: Fraction) -> str:
    """A share as the number of a percentage.

    >>> percent_text(Fraction(1, 40))
    '2.5'
    """
    return written_number(f"{float(share * 100):g}")


def unit_word(unit: str, value: Fraction | float = 1) -> str:
    """How a unit is written on paper: `units` for IU, `mcg`, plurals of counted forms.

    >>> unit_word("IU"), unit_word("bolus", 2), unit_word("mL", 2)
    ('units', 'boluses', 'mL')
    """
    if unit == "IU":
        return say("units")
    word = UNIT_WORDS.get(unit, unit)
    return say_many(*_FORMS[word], math.ceil(value)) if word in _FORMS else word


def amount_text(value: Fraction | float, unit: str, places: int = 3) -> str:
    """An amount with its unit, written the safe way.

    >>> amount_text(0.5, "mL"), amount_text(Fraction(5), "mL"), amount_text(300000, "IU")
    ('0.5 mL', '5 mL', '300,000 units')
    """
    return joined(" ", (_number(value, places), unit_word(unit, value)))


def plain_amount(value: float, unit: str) -> str:
    """An amount for programs, in one form whatever the language: a point, no groups, the unit of one.

    >>> plain_amount(1250.5, "mL"), plain_amount(300000.0, "IU"), plain_amount(2.0, "tablet")
    ('1250.5 mL', '300000 units', '2 tablet')
    """
    return f"{value:.12g} {'units' if unit == 'IU' else UNIT_WORDS.get(unit, unit)}"


KG_PER_LB = Fraction("0.45359237")  # exact (international pound, NIST SP 811)


def weight_text(kilograms: Fraction | float, unit: str = "kg", places: int = 3) -> str:
    """A bodyweight in the unit of the session; what comes of conversion alone is rounded away.

    >>> weight_text(45.359237, "lb"), weight_text(Fraction("45.5"))
    ('100 lb', '45.5 kg')
    """
    return amount_text(Fraction(kilograms) / KG_PER_LB if unit == "lb" else kilograms, unit, places)


def label_weight_text(kilograms: Fraction, unit: str = "kg") -> str:
    """A weight that a label states in kilograms, in the unit of the session beside it where that is another.

    >>> label_weight_text(Fraction(20), "lb"), label_weight_text(Fraction(20))
    ('44.092 lb (20 kg)', '20 kg')
    """
    own = amount_text(kilograms, "kg")
    return own if unit == "kg" else say("{weight} ({own})", weight=weight_text(kilograms, unit), own=own)


def date_text(day: date) -> str:
    """A date with weekday and the month's name, which no one can read two ways.

    >>> from datetime import date
    >>> date_text(date(2026, 4, 15))
    'Wednesday 15 April 2026'
    """
    return tell(_day(day, "EEEE d MMMM y"))


def weekday_text(day: date) -> str:
    """The day of the week of a date.

    >>> from datetime import date
    >>> weekday_text(date(2026, 4, 15))
    'Wednesday'
    """
    return tell(_day(day, "EEEE"))


def short_date_text(day: date, *, year: bool = False, weekday: bool = False) -> str:
    """A date in few letters, with the month's name.

    >>> from datetime import date
    >>> short_date_text(date(2026, 4, 15)), short_date_text(date(2026, 4, 15), year=True, weekday=True)
    ('15 Apr', 'Wed 15 Apr 2026')
    """
    pattern = f"{'EEE ' if weekday else ''}d MMM{' y' if year else ''}"
    return tell(_day(day, pattern))


def days_text(days: Iterable[date]) -> str:
    """Days of a course beside a dose, short, with the month's name.

    >>> from datetime import date
    >>> days_text([date(2026, 3, 14), date(2026, 3, 16)])
    '14 Mar, 16 Mar'
    """
    return joined(", ", [short_date_text(day) for day in days])
