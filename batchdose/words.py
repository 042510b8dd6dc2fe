"""The trade's words in one spelling each: species, status, routes, types of medicine."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches
from functools import lru_cache

from batchdose.amounts import clean
from batchdose.texts import mark, say

SPECIES = {
    "sheep": "sheep", "ovine": "sheep", "goat": "goat", "goats": "goat", "caprine": "goat",
    "cattle": "cattle", "bovine": "cattle", "pig": "pig", "pigs": "pig", "swine": "pig", "porcine": "pig",
    "horse": "horse", "horses": "horse", "equine": "horse", "donkey": "donkey", "donkeys": "donkey",
    "deer": "deer", "alpaca": "alpaca", "alpacas": "alpaca", "llama": "llama", "llamas": "llama",
}  # fmt: skip

#: What people call single animals of a species; words that several species share (doe, buck) are left out.
ANIMALS = {
    "cow": "cattle", "heifer": "cattle", "steer": "cattle", "bullock": "cattle", "bull": "cattle", "calf": "cattle",
    "ewe": "sheep", "lamb": "sheep", "ram": "sheep", "tup": "sheep", "hogget": "sheep", "nanny": "goat", "kid": "goat",
    "sow": "pig", "gilt": "pig", "piglet": "pig", "mare": "horse", "gelding": "horse", "stallion": "horse",
}  # fmt: skip

STATUS = {
    "in milk": "in milk", "milk": "in milk", "milking": "in milk", "lactating": "in milk", "lactation": "in milk",
    "in lactation": "in milk", "not in milk": "dry", "not milking": "dry", "not lactating": "dry",
    "non lactating": "dry", "dry": "dry", "pregnant": "pregnant", "pregnancy": "pregnant", "in calf": "pregnant",
    "in lamb": "pregnant", "in kid": "pregnant", "in pig": "pregnant", "not pregnant": "not pregnant",
    "non pregnant": "not pregnant", "not in calf": "not pregnant", "not in lamb": "not pregnant",
    "not in kid": "not pregnant", "not in pig": "not pregnant", "empty": "not pregnant", "laying": "laying",
}  # fmt: skip

#: Parts of a word that point to a status: a word with one of them is never passed over as quite another.
_STATUS_STEMS = {
    "milk": "in milk", "lact": "in milk", "preg": "pregnant", "in calf": "pregnant", "in lamb": "pregnant",
    "in kid": "pregnant", "in pig": "pregnant",
}  # fmt: skip

#: Words that leave a cell as good as blank.
_NOTHING = frozenset({"no", "not", "none", "nil", "never", "false", "n", "n/a", "na", "n.a.", "n. a."})

#: Codes of three digits with which an electronic number begins, by the letters of a printed one. GB and US are read
#: from ISO 11784 numbers in use, XI from Regulation (EU) 2021/520 article 12; the others are ISO 3166-1, from memory.
RADIO_CODES = {
    "uk": "826", "gb": "826", "us": "840", "xi": "899", "au": "036", "at": "040", "be": "056", "br": "076",
    "ca": "124", "dk": "208", "fi": "246", "fr": "250", "de": "276", "el": "300", "gr": "300", "ie": "372",
    "it": "380", "lu": "442", "nl": "528", "nz": "554", "no": "578", "pl": "616", "pt": "620", "za": "710",
    "es": "724", "se": "752", "ch": "756",
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


#: Words of the trade that stand in sentences, marked for the catalogues: species, statuses, products, ways of giving.
_SAID = frozenset((
    mark("sheep"), mark("goat"), mark("cattle"), mark("pig"), mark("horse"), mark("donkey"), mark("deer"),
    mark("alpaca"), mark("llama"),
    mark("in milk"), mark("dry"), mark("pregnant"), mark("not pregnant"), mark("laying"),
    mark("meat"), mark("milk"), mark("eggs"), mark("wool"), mark("export slaughter"),
    mark("under the skin"), mark("into muscle"), mark("into a vein"), mark("by mouth"), mark("poured along the back"),
    mark("into the udder"), mark("into the nose"),
))  # fmt: skip


def said(word: str) -> str:
    """A word of the trade as a text that can be told in another language; any other word as it stands.

    >>> said("sheep"), said("hospital pen")
    ('sheep', 'hospital pen')
    """
    return say(word) if word in _SAID else word


def words(text: str) -> list[str]:
    """Words of a cell that lists several, in small letters.

    >>> words("Sheep; goats"), words("#N/A")
    (['sheep', 'goats'], ['#N/A'])
    """
    if text.startswith(("#", "=")):  # a formula without a value is shown whole
        return [clean(text)]
    return [word for word in (" ".join(w.split()) for w in re.split(r"[;,/]", clean(text).casefold())) if word]


@lru_cache(maxsize=4096)
def species_of(text: str) -> frozenset[str]:
    """Species named in a cell, in one spelling each; unknown ones as they stand."""
    return frozenset(SPECIES.get(word, word) for word in words(text.replace(" and ", ";")))


@lru_cache(maxsize=4096)
def species_of_animals(text: str) -> frozenset[str]:
    """Species of animals, also named by what single ones are called; on a label such a word means these alone.

    >>> sorted(species_of_animals("Ewes; Calves")), sorted(species_of("calves"))
    (['cattle', 'sheep'], ['calves'])
    """
    return frozenset(ANIMALS.get(singular(word), word) for word in species_of(text))


_BETWEEN_STATUSES = re.compile(r"[&+()\[\]]|\band\b|\bor\b")


@lru_cache(maxsize=4096)
def status_of(text: str) -> frozenset[str]:
    """Statuses named in a cell; `in milk`, `dry`, `pregnant` ..., unknown ones as they stand.

    >>> sorted(status_of("Milking cow & pregnant (twins)")), sorted(status_of("milk fever"))
    (['in milk', 'pregnant', 'twins'], ['milk fever'])
    """
    if text.startswith(("#", "=")):
        return frozenset(words(text))
    return frozenset(STATUS.get(_bare(word), word) for word in words(_BETWEEN_STATUSES.sub(";", clean(text).lower())))


def _bare(word: str) -> str:
    """A status without the animals it is said of: `lactating ewes` is `lactating`."""
    parts = word.replace("-", " ").strip(" .!:").split()
    # In calf and in lamb speak of the young.
    kept = [p for before, p in zip(["", *parts], parts, strict=False) if before == "in" or singular(p) not in ANIMALS]
    return " ".join(part for part in kept if part not in ("animal", "animals"))


@lru_cache(maxsize=4096)
def nearly_status(word: str) -> str:
    """The status that an unknown word contains or nearly is, or nothing.

    >>> nearly_status("mlik"), nearly_status("milkers"), nearly_status("preg"), nearly_status("hospital pen")
    ('in milk', 'in milk', 'pregnant', '')
    """
    bare = _bare(word)
    if not bare or bare in STATUS:
        return ""
    stems = [meant for stem, meant in _STATUS_STEMS.items() if stem in bare]
    parts = [STATUS[part] for part in bare.split() if part in STATUS]
    close = [STATUS[near] for near in get_close_matches(bare, STATUS, n=1, cutoff=0.8)]
    swapped = [meant for known, meant in STATUS.items() if len(bare) > 3 and sorted(known) == sorted(bare)]
    return next(iter(stems + parts + close + swapped), "")


def singular(word: str) -> str:
    """A class of animals in the singular, so that lamb and lambs are one.

    >>> singular("Ewe lambs"), singular("calves"), singular("bus")
    ('ewe lamb', 'calf', 'bus')
    """
    word = clean(word).casefold()
    if word.endswith("calves"):
        return f"{word.removesuffix('ves')}f"
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us")) else word


def says_nothing(text: str) -> bool:
    """Whether a text is as good as blank: a word for no, a nought, a dash.

    >>> says_nothing("No"), says_nothing("--"), says_nothing("0"), says_nothing("?"), says_nothing("Vet 1")
    (True, True, True, False, False)
    """
    word = clean(text).casefold()
    return word in _NOTHING or not word.strip("-\u2010\u2011\u2012\u2013\u2014.,/_ 0")


def type_of(text: str) -> str:
    """Type of a medicine in one spelling, singular; an unknown one as it stands.

    >>> type_of("Antibiotics"), type_of("wurmer")
    ('antibiotic', 'wurmer')
    """
    word = clean(text).casefold()
    return TYPES.get(word) or TYPES.get(word.removesuffix("s")) or word


@lru_cache(maxsize=4096)
def actives_of(active: str, name: str) -> frozenset[str]:
    """Actives of a medicine for comparing, and its name, by which it is the same medicine where no active is stated.

    >>> sorted(actives_of("Ivermectin + closantel", "drench B")), sorted(actives_of("", "Drench B"))
    (['closantel', 'drench b', 'ivermectin'], ['drench b'])
    """
    return frozenset((*words(active.replace("+", ";")), same_name(name)))


def same_name(text: str) -> str:
    """A name for comparing: without case and with single spaces.

    >>> same_name(" Ivermectin  10 MG/ML ")
    'ivermectin 10 mg/ml'
    """
    return clean(text).casefold()


def first_of_each(tags: Iterable[str], eids: Iterable[str]) -> list[bool]:
    """Which rows are the first of their animal, by tag, or by EID where there is no tag; a row with neither is its own.

    >>> first_of_each(["0412", "04 12", "0413", ""], ["", "", "", ""])
    [True, False, True, True]
    """
    keys = [same_tag(str(tag)) or same_tag(str(eid)) for tag, eid in zip(tags, eids, strict=True)]
    seen: set[str] = set()
    return [not key or (key not in seen and not seen.add(key)) for key in keys]  # type: ignore[func-returns-value]


#: Entries under `Give anyway` that say what is wanted, but not why.
_NO_REASONS = frozenset({"yes", "true", "okay", "give", "give it", "give anyway", "anyway", "sure", "please", "do it"})


@lru_cache(maxsize=4096)
def is_reason(text: str) -> bool:
    """Whether an entry under `Give anyway` is a reason that another person understands; a tick or a yes is none.

    >>> is_reason("seen by the vet"), is_reason("x"), is_reason("Yes!"), is_reason("never")
    (True, False, False, False)
    """
    letters = sum(character.isalpha() for character in text)
    return letters > 2 and same_name(text).strip(" .!") not in _NO_REASONS and not says_nothing(text)


_OFFICIAL = re.compile(r"[a-z]{2}\d{8,14}|\d{12,16}")
_SEPARATORS = re.compile(r"[-.\u2010-\u2014]")


def same_tag(text: str) -> str:
    """A tag or an EID for comparing: without case and spaces. Leading zeros count.

    In a number as long as an official one, hyphens and dots between the groups do not; "1-12" stays another tag
    than 112.

    >>> same_tag("uk 0123456-00001"), same_tag("826-012345600001"), same_tag("0412"), same_tag("1-12")
    ('uk012345600001', '826012345600001', '0412', '1-12')
    """
    key = (text if text.isprintable() and " " not in text else "".join(text.split())).casefold()
    if len(key) < 11 or key.isalnum():
        return key
    bare = _SEPARATORS.sub("", key)
    return bare if _OFFICIAL.fullmatch(bare) else key


def radio_number(tag: str) -> str:
    """The electronic number of a printed official number, both as `same_tag` gives them; nothing for another tag.

    >>> radio_number("uk012345600001"), radio_number("0412")
    ('826012345600001', '')
    """
    country, number = tag[:2], tag[2:]
    return f"{RADIO_CODES[country]}{number:0>12}" if country in RADIO_CODES and _twelve(number) else ""


def _twelve(number: str) -> bool:
    return 8 <= len(number) <= 12 and number.isdecimal()
