"""Rows of totals: the words by which they are told from animals."""

from __future__ import annotations

import re

_OF = r"(?:(?:sub|grand|overall|mob|group|pen)\W?\s?)?"
#: Words that no animal is called by, whatever follows; and words that only alone, or before a figure, mean a total.
_SURE = re.compile(rf"{_OF}(?:totals?|sum|averages?|median)(?![a-z])(?!\s+\d)", re.IGNORECASE)
_UNSURE = re.compile(
    rf"{_OF}(?:mean|avg|ave|av|st\.?\s?dev|std|sd|heaviest|lightest|count|minimum|maximum|min|max|n|no)"
    r"(?:\s*[:=(.].*|\s+(?:weight|wt|kg|lb|head|animals?).*|\s*)",
    re.IGNORECASE,
)
_NAMES = frozenset({"min", "max", "sum", "av", "ave", "n", "no", "sd", "std", "count", "mean"})


def names_a_total(text: str) -> bool:
    """Whether a text is the name of a totals row.

    >>> [names_a_total(text) for text in ("Total:", "Average weight", "Sub-total (12)", "n = 2", "Max")]
    [True, True, True, True, True]
    >>> [names_a_total(text) for text in ("Max 12", "Totara", "Sum 14", "No horns", "0412")]
    [False, False, False, False, False]
    """
    text = text.strip()
    return bool(_SURE.match(text) or _UNSURE.fullmatch(text))


def may_be_a_name(text: str) -> bool:
    """Whether a word of totals may also be what an animal is called.

    >>> may_be_a_name("Max"), may_be_a_name("Total")
    (True, False)
    """
    return text.strip().casefold() in _NAMES
