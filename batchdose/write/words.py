"""Words on paper that differ from place to place, and how routes and places are said."""

from __future__ import annotations

from batchdose.words import ROUTES

_LOCAL = {
    "withdrawal": {"AU": "withholding", "NZ": "withholding"},
    "off label": {"GB": "under the cascade", "US": "extra-label"},
    "batch": {"US": "lot"},
}

#: Where not to inject animals kept for meat (common practice, no source; the label and the vet come first).
PLACES_TO_AVOID = "never the rump, loin or hind leg of an animal kept for meat, never the shoulder itself"

#: Medicines given with a needle.
NEEDLE_ROUTES = ("under the skin", "into muscle", "into a vein")


def local(word: str, rules: str) -> str:
    """The local word under the rules in force.

    >>> local("batch", "US"), local("withdrawal", "EU")
    ('lot', 'withdrawal')
    """
    return _LOCAL.get(word, {}).get(rules, word)


def in_local_words(text: str, rules: str) -> str:
    """A text with its words for withdrawal, off label and batch as they are said under the rules in force.

    >>> in_local_words("Batch B-1 has no withdrawal period.", "US"), in_local_words("Meat withdrawal", "AU")
    ('Lot B-1 has no withdrawal period.', 'Meat withholding')
    """
    for word, places in _LOCAL.items():
        if rules in places:
            text = text.replace(word, places[rules]).replace(word.capitalize(), places[rules].capitalize())
    return text


def route_words(route: str) -> str:
    """A route in plain words, with the label's own letters behind.

    >>> route_words("SC"), route_words("ear implant")
    ('under the skin (SC)', 'ear implant')
    """
    parts = [part.strip() for part in route.replace(" or ", "/").split("/") if part.strip()]
    said = [ROUTES.get(part.casefold(), "") for part in parts]
    if not parts or not all(said):
        return route
    return f"{' or '.join(said)} ({route})" if route.casefold() not in said else said[0]
