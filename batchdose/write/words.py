"""Words on paper that differ from place to place, and how routes, places and the trade's other words are said."""

from __future__ import annotations

from typing import Any

from batchdose.texts import ENGLISH, Text, language_spoken, mark, say, say_many, tell
from batchdose.words import ROUTES, said

_LOCAL = {
    "withdrawal": {"AU": "withholding", "NZ": "withholding"},
    "off label": {"GB": "under the cascade", "US": "extra-label"},
    "batch": {"US": "lot"},
}

#: Where not to inject animals kept for meat (common practice, no source; the label and the vet come first).
PLACES_TO_AVOID = mark("never the rump, loin or hind leg of an animal kept for meat, never the shoulder itself")

#: Medicines given with a needle.
NEEDLE_ROUTES = (mark("under the skin"), mark("into muscle"), mark("into a vein"))
#: Levels of findings.
_LEVELS = frozenset((mark("error"), mark("warning"), mark("note")))


def word(text: str) -> str:
    """A word of the trade in the language spoken; one that is not ours as it stands.

    >>> word("sheep"), word("Hill mob")
    ('sheep', 'Hill mob')
    """
    return say(text) if text in _LEVELS else said(text)


def in_local_words(text: str, rules: str) -> str:
    """A text in the language spoken; in English with the words for withdrawal, off label and batch of the rules.

    >>> in_local_words("Batch B-1 has no withdrawal period.", "US"), in_local_words("Meat withdrawal", "AU")
    ('Lot B-1 has no withdrawal period.', 'Meat withholding')
    """
    if language_spoken() != ENGLISH:
        return tell(text)
    for usual, places in _LOCAL.items():
        if rules in places:
            text = text.replace(usual, places[rules]).replace(usual.capitalize(), places[rules].capitalize())
    return text


def say_local(message: str, rules: str, /, **values: Any) -> Text:
    """A sentence as by `say`, its English with the words of the rules; what is put into it stays as it is.

    >>> say_local("Batch number", "US"), say_local("batch {number}", "US", number="batch 7")
    ('Lot number', 'lot batch 7')
    """
    return say(in_local_words(message, rules) if language_spoken() == ENGLISH else message, **values)


def routes(route: str) -> list[str]:
    """The routes that a text names, in the program's own words; none where it names one that we do not know.

    >>> routes("SC or IM"), routes("ear implant")
    (['under the skin', 'into muscle'], [])
    """
    parts = [part.strip() for part in route.replace(" or ", "/").split("/") if part.strip()]
    known = [ROUTES.get(part.casefold(), "") for part in parts]
    return known if all(known) else []


def route_words(route: str) -> str:
    """A route in plain words, with the label's own letters behind.

    >>> route_words("SC"), route_words("ear implant")
    ('under the skin (SC)', 'ear implant')
    """
    named = routes(route)
    if not named:
        return route
    text = say(named[0])
    for other in named[1:]:
        text = say("{one} or {other}", one=text, other=say(other))
    return f"{text} ({route})" if route.casefold() not in named else say(named[0])


def all_animals() -> Text:
    """What stands for the mob of animals that are in none."""
    return say("All animals")


def do_not_dose() -> Text:
    """What stands in place of a dose."""
    return say("DO NOT DOSE")


def heads(count: int) -> Text:
    """A number of animals.

    >>> heads(12)
    '12 head'
    """
    return say_many("{count} head", "{count} head", count, count=count)
