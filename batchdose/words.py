"""The trade's words in one spelling each: species, status, routes, types of medicine."""

from __future__ import annotations

import re
from functools import lru_cache

from batchdose.amounts import clean

SPECIES = {
    "sheep": "sheep", "ovine": "sheep", "goat": "goat", "goats": "goat", "caprine": "goat",
    "cattle": "cattle", "bovine": "cattle", "pig": "pig", "pigs": "pig", "swine": "pig", "porcine": "pig",
    "horse": "horse", "horses": "horse", "equine": "horse", "donkey": "donkey", "donkeys": "donkey",
    "deer": "deer", "alpaca": "alpaca", "alpacas": "alpaca", "llama": "llama", "llamas": "llama",
}  # fmt: skip

STATUS = {
    "in milk": "in milk", "milk": "in milk", "milking": "in milk", "lactating": "in milk",
    "not in milk": "dry", "dry": "dry", "pregnant": "pregnant", "in calf": "pregnant", "in lamb": "pregnant",
    "in kid": "pregnant", "in pig": "pregnant", "not pregnant": "not pregnant", "empty": "not pregnant",
    "laying": "laying",
}  # fmt: skip

MALE = frozenset({"male", "m", "ram", "bull", "buck", "boar", "wether", "steer", "tup", "castrate"})

ROUTES = {
    "sc": "under the skin", "s/c": "under the skin", "subcut": "under the skin",
    "subcutaneous": "under the skin", "im": "into muscle", "i/m": "into muscle",
    "intramuscular": "into muscle", "s.c.": "under the skin", "i.m.": "into muscle", "i.v.": "into a vein",
    "under the skin": "under the skin", "into muscle": "into muscle",
    "iv": "into a vein", "i/v": "into a vein", "intravenous": "into a vein",
    "oral": "by mouth", "po": "by mouth", "drench": "by mouth", "pour-on": "poured along the back",
    "pour on": "poured along the back", "intramammary": "into the udder", "intranasal": "into the nose",
}  # fmt: skip

#: Routes by which a needle goes in.
INJECTED = frozenset(word for word, said in ROUTES.items() if said in ("under the skin", "into muscle", "into a vein"))

#: Types of medicine in one spelling each.
TYPES = {
    "wormer": "wormer", "anthelmintic": "wormer", "antibiotic": "antibiotic", "antimicrobial": "antibiotic",
    "anti-inflammatory": "anti-inflammatory", "vaccine": "vaccine", "hormone": "hormone",
    "trace element": "trace element", "sedative": "sedative",
}  # fmt: skip

#: Types of medicine whose dose is rounded to the nearest mark unless the row says otherwise.
NEAREST_TYPES = frozenset({"antibiotic", "anti-inflammatory", "vaccine", "hormone", "trace element", "sedative"})


def words(text: str) -> list[str]:
    """Words of a cell that lists several, in small letters.

    >>> words("Sheep; goats")
    ['sheep', 'goats']
    """
    return [word for word in (" ".join(w.split()) for w in re.split(r"[;,/]", clean(text).casefold())) if word]


@lru_cache(maxsize=4096)
def species_of(text: str) -> frozenset[str]:
    """Species named in a cell, in one spelling each; unknown ones as they stand."""
    return frozenset(SPECIES.get(word, word) for word in words(text.replace(" and ", ";")))


@lru_cache(maxsize=4096)
def status_of(text: str) -> frozenset[str]:
    """Statuses named in a cell; `in milk`, `dry`, `pregnant` ..., unknown ones as they stand."""
    return frozenset(STATUS.get(word, word) for word in words(text))


def type_of(text: str) -> str:
    """Type of a medicine in one spelling, singular; an unknown one as it stands.

    >>> type_of("Antibiotics"), type_of("wurmer")
    ('antibiotic', 'wurmer')
    """
    word = clean(text).casefold()
    return TYPES.get(word) or TYPES.get(word.removesuffix("s")) or word


def same_name(text: str) -> str:
    """A name for comparing: without case and with single spaces.

    >>> same_name(" Ivermectin  10 MG/ML ")
    'ivermectin 10 mg/ml'
    """
    return clean(text).casefold()


def same_tag(text: str) -> str:
    """A tag or an EID for comparing: without case and spaces. Leading zeros count.

    >>> same_tag("uk 0123456 00001"), same_tag("0412")
    ('uk012345600001', '0412')
    """
    return (text if text.isprintable() and " " not in text else "".join(text.split())).casefold()
