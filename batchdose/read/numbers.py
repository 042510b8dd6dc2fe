"""Numbers as people type them, read only where they can mean one thing."""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from fractions import Fraction

from batchdose.amounts import clean, written_number
from batchdose.texts import say

_FORMS = (
    (re.compile(r"\d+"), ""),
    (re.compile(r"\d*\.\d+"), ""),
    (re.compile(r"0,\d+"), ","),
    (re.compile(r"\d+,(?:\d{1,2}|\d{4,})"), ","),
    (re.compile(r"\d{1,3}(?:[ ']\d{3})+(?:\.\d+)?"), ""),
    (re.compile(r"\d{1,3}(?:[ ']\d{3})+,\d+"), ","),
    (re.compile(r"\d{1,3}(?:,\d{3})+\.\d+"), "."),
    (re.compile(r"\d{1,3}(?:,\d{3}){2,}"), "."),
    (re.compile(r"\d{1,3}(?:\.\d{3})+,\d+"), ","),
    (re.compile(r"\d{1,3}(?:\.\d{3}){2,}"), ","),
)
_FRACTION = re.compile(r"(\d+) ?(?:([½¼¾⅛⅜⅝⅞])|(?<= )(\d{1,2})/(2|4|8|16))")
_AMBIGUOUS = re.compile(r"\d{1,3},\d{3}")


class NotANumberError(ValueError):
    """The text is not a number, or could be two different ones; the message says which."""


def parse_number(text: str) -> Fraction:
    """The one number that `text` can mean. Raises NotANumberError otherwise.

    >>> parse_number("62,5"), parse_number("300 000"), parse_number("1.250,5")
    (Fraction(125, 2), Fraction(300000, 1), Fraction(2501, 2))
    >>> parse_number("137 1/2"), parse_number("62½")
    (Fraction(275, 2), Fraction(125, 2))
    >>> parse_number("1,250")
    Traceback (most recent call last):
    batchdose.read.numbers.NotANumberError: "1,250" could be 1.25 or 1250
    """
    text = clean(text)
    for form, decimal_mark in _FORMS:
        if form.fullmatch(text):
            digits = text.replace(" ", "").replace("'", "")
            if decimal_mark == ",":
                digits = digits.replace(".", "").replace(",", ".")
            return Fraction(digits.replace(",", ""))
    if part := _FRACTION.fullmatch(text):
        rest = unicodedata.numeric(part[2]) if part[2] else Fraction(int(part[3]), int(part[4]))
        return int(part[1]) + Fraction(rest)
    if _AMBIGUOUS.fullmatch(text):
        plain = text.replace(",", "")
        small = written_number(f"{float(text.replace(',', '.')):g}")
        raise NotANumberError(say('"{typed}" could be {one} or {other}', typed=text, one=small, other=plain))
    raise NotANumberError(say('"{typed}" is not a number', typed=text))


def exact(value: float) -> Fraction:
    """A number cell as the decimal that the sheet shows, not as its binary neighbour.

    >>> exact(0.1)
    Fraction(1, 10)
    """
    return Fraction(Decimal(repr(value)))
