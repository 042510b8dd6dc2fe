"""Which rows of the record are of one animal. Animals are known by their EID, else by their tag.

A tag that stands for two animals names neither: it is not known. Rows that may be of an animal count for it, so
that a doubt never makes it clear: rows of its tag without an EID, and rows of its mob given as a whole.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NewType, TypeAlias

from batchdose.record.rows import Row
from batchdose.words import radio_number, same_name, same_tag

Doubt = NewType("Doubt", str)
#: What is not sure of an animal: its tag is on two animals, or stands in the record beside another EID.
TWO_ANIMALS, OTHER_EID = Doubt("two animals"), Doubt("another EID")
NO_DOUBT = Doubt("")

#: Why an animal is not known.
NOT_THERE = "it is not in the record"
ON_TWO_ANIMALS = "this tag is on two animals: give the EID"
TWO_SPECIES = "this tag is on two animals of different species"
WITH_OTHER_EID = "this tag is in the record with another EID"
#: What an animal is known by in the record.
EID, TAG, MOB = "eid", "tag", "mob"
#: One of these three, and the EID, tag or mob for comparing.
Key: TypeAlias = tuple[str, str]


@dataclass(frozen=True)
class Animal:
    """One animal of the record, or a mob that was treated as a whole (no tag and no EID)."""

    tag: str
    eid: str
    mob: str
    rows: tuple[Row, ...]

    @property
    def name(self) -> str:
        """What people call it."""
        return self.tag or self.eid or f"{self.mob or 'All animals'}, whole mob"


@dataclass
class Animals:
    """All animals of a record, found by EID or tag."""

    by_eid: dict[str, list[Row]] = field(default_factory=dict)
    by_tag: dict[str, list[Row]] = field(default_factory=dict)
    by_mob: dict[str, list[Row]] = field(default_factory=dict)
    eids_of_tag: dict[str, set[str]] = field(default_factory=dict)
    in_mob: dict[str, list[Row]] = field(default_factory=dict)

    def named(self, name: str) -> tuple[Animal | None, str]:
        """The animal of an EID or a tag, or None and why it is not known."""
        key = same_tag(name)
        if key in self.by_eid:
            return self.of_eid(key), ""
        eids = self.eids_of_tag.get(key, set())
        if len(eids) > 1:
            return None, ON_TWO_ANIMALS
        if eids:
            return self.of_eid(next(iter(eids))), ""
        rows = self.by_tag.get(key)
        if not rows:
            return None, NOT_THERE
        if len({kind for row in rows if (kind := species_of_row(row))}) > 1:
            return None, TWO_SPECIES
        return self._animal(rows[-1].tag, "", rows), ""

    def of_both(self, eid: str, tag: str) -> tuple[Animal | None, str]:
        """The animal of an EID and a tag that stand together: what was recorded by either of them is its own."""
        number, known = same_tag(eid), same_tag(tag)
        if not number or not known:
            return self.named(eid or tag)
        if is_of_others(number, self.eids_of_tag.get(known, set())):
            return None, WITH_OTHER_EID
        rows = [*(self.of_eid(number).rows if number in self.by_eid else ()), *self.by_tag.get(known, ())]
        if not rows:
            return None, NOT_THERE
        return self._animal(tag, eid, rows), ""

    def of_eid(self, eid: str) -> Animal:
        """The animal of an EID, with the rows of its tags that name no EID."""
        rows = list(self.by_eid[eid])
        for tag in dict.fromkeys(same_tag(row.tag) for row in self.by_eid[eid]):
            rows += self.by_tag.get(tag, [])
        own = self.by_eid[eid][-1]
        return self._animal(own.tag, own.eid, rows)

    def may_be(self, tag: str, eid: str, mob: str) -> tuple[Animal, Doubt]:
        """An animal of a weighing sheet with all rows that may be of it, and what is not sure about who it is.

        Without tag and EID it is a mob as a whole, which may be any animal of that mob.
        """
        known, number = names_of(tag, eid)
        named, doubt = self._of_names(known, number) if known or number else ([], NO_DOUBT)
        mobs = dict.fromkeys((*(same_name(row.mob) for row in named), same_name(mob), ""))
        whole = [row for name in mobs for row in self.by_mob.get(name, ())]
        more = [] if known or number else self.in_mob.get(same_name(mob), [])
        return Animal(tag, eid, mob, tuple(dict.fromkeys([*named, *whole, *more]))), doubt

    def _of_names(self, tag: str, number: str) -> tuple[list[Row], Doubt]:
        """Rows of a tag and an EID, the stronger first: what names another EID is of the tag only in doubt."""
        rows, doubt = list(self.by_tag.get(tag, ())), NO_DOUBT
        others = self.eids_of_tag.get(tag, set()) - {number}
        own = number if number in self.by_eid else tag
        if own in self.by_eid:
            rows += self.of_eid(own).rows
        if others and (own not in self.by_eid or (number and is_of_others(number, self.eids_of_tag[tag]))):
            doubt = OTHER_EID if number else TWO_ANIMALS if len(others) > 1 else NO_DOUBT
            rows += [row for other in sorted(others) for row in self.of_eid(other).rows]
        if not number and len({kind for row in self.by_tag.get(tag, ()) if (kind := species_of_row(row))}) > 1:
            doubt = TWO_ANIMALS
        return rows, doubt

    def every(self) -> Iterable[Animal]:
        """Every animal, then every mob that was treated as a whole."""
        return (animal for _, animal in self.by_key())

    def by_key(self) -> Iterator[tuple[Key, Animal]]:
        """The same, with what each is known by."""
        for eid in self.by_eid:
            yield (EID, eid), self.of_eid(eid)
        for tag, rows in self.by_tag.items():
            if not self.eids_of_tag.get(tag):
                yield (TAG, tag), self._animal(rows[-1].tag, "", rows)
        for mob, rows in self.by_mob.items():
            yield (MOB, mob), Animal("", "", rows[-1].mob, tuple(rows))

    def _animal(self, tag: str, eid: str, rows: Sequence[Row]) -> Animal:
        mobs = dict.fromkeys(same_name(row.mob) for row in rows)
        whole = [row for mob in mobs for row in self.by_mob.get(mob, ())]
        whole += [] if "" in mobs else self.by_mob.get("", [])
        return Animal(tag, eid, rows[-1].mob, tuple(dict.fromkeys([*rows, *whole])))


def is_of_others(number: str, eids_of_tag: AbstractSet[str]) -> bool:
    """Whether a tag stands in the record beside other EIDs only: one of the two names that are given is wrong.

    >>> is_of_others("826000000000001", {"826000000000002"}), is_of_others("826000000000001", set())
    (True, False)
    """
    return bool(eids_of_tag) and number not in eids_of_tag


def names_of(tag: str, eid: str) -> tuple[str, str]:
    """Tag and EID for comparing; a printed official number is an EID too."""
    known = same_tag(tag)
    return known, same_tag(eid) or radio_number(known)


def animals_of(rows: Iterable[Row]) -> Animals:
    """The animals of the rows of doses."""
    found = Animals()
    for row in rows:
        tag, eid = names_of(row.tag, row.eid)
        for mob in dict.fromkeys((same_name(row.mob), "")):
            found.in_mob.setdefault(mob, []).append(row)
        if eid:
            found.by_eid.setdefault(eid, []).append(row)
            if tag:
                found.eids_of_tag.setdefault(tag, set()).add(eid)
        elif tag:
            found.by_tag.setdefault(tag, []).append(row)
        else:
            found.by_mob.setdefault(same_name(row.mob), []).append(row)
    return found


def about(row: Row) -> Mapping[str, object]:
    """What a row keeps of its animal."""
    return _about(row.about) if row.about else {}


@lru_cache(maxsize=1 << 16)
def _about(text: str) -> Mapping[str, object]:
    """The same for many rows, and asked for many times: it is only read."""
    try:
        kept = json.loads(text)
    except ValueError:
        return {}
    return kept if isinstance(kept, dict) else {}


def species_of_row(row: Row) -> str:
    """Species of the animal of a row, empty where the row does not say it."""
    return str(about(row).get("species", ""))
