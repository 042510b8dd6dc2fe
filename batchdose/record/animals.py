"""Which rows of the record are of one animal. Animals are known by their EID, else by their tag.

A tag that stands for two animals names neither: it is not known. Rows that may be of an animal count for it, so
that a doubt never makes it clear: rows of its tag without an EID, and rows of its mob given as a whole.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from batchdose.record.rows import Row
from batchdose.words import same_name, same_tag

#: Why an animal is not known.
NOT_THERE = "it is not in the record"
TWO_ANIMALS = "this tag is on two animals: give the EID"
TWO_SPECIES = "this tag is on two animals of different species"


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

    def named(self, name: str) -> tuple[Animal | None, str]:
        """The animal of an EID or a tag, or None and why it is not known."""
        key = same_tag(name)
        if key in self.by_eid:
            return self.of_eid(key), ""
        eids = self.eids_of_tag.get(key, set())
        if len(eids) > 1:
            return None, TWO_ANIMALS
        if eids:
            return self.of_eid(next(iter(eids))), ""
        rows = self.by_tag.get(key)
        if not rows:
            return None, NOT_THERE
        if len({kind for row in rows if (kind := species_of_row(row))}) > 1:
            return None, TWO_SPECIES
        return self._animal(rows[-1].tag, "", rows), ""

    def of_eid(self, eid: str) -> Animal:
        """The animal of an EID, with the rows of its tags that name no EID."""
        rows = list(self.by_eid[eid])
        for tag in {same_tag(row.tag) for row in rows} - {""}:
            rows += self.by_tag.get(tag, [])
        own = self.by_eid[eid][-1]
        return self._animal(own.tag, own.eid, rows)

    def every(self) -> Iterable[Animal]:
        """Every animal, then every mob that was treated as a whole."""
        for eid in self.by_eid:
            yield self.of_eid(eid)
        for tag, rows in self.by_tag.items():
            if not self.eids_of_tag.get(tag):
                yield self._animal(rows[-1].tag, "", rows)
        for rows in self.by_mob.values():
            yield Animal("", "", rows[-1].mob, tuple(rows))

    def _animal(self, tag: str, eid: str, rows: Sequence[Row]) -> Animal:
        mobs = dict.fromkeys(same_name(row.mob) for row in rows)
        whole = [row for mob in mobs for row in self.by_mob.get(mob, ())]
        whole += [] if "" in mobs else self.by_mob.get("", [])
        return Animal(tag, eid, rows[-1].mob, tuple(dict.fromkeys([*rows, *whole])))


def animals_of(rows: Iterable[Row]) -> Animals:
    """The animals of the rows of doses."""
    found = Animals()
    for row in rows:
        tag, eid = same_tag(row.tag), same_tag(row.eid)
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


@lru_cache(maxsize=10_000)
def _about(text: str) -> Mapping[str, object]:
    try:
        kept = json.loads(text)
    except ValueError:
        return {}
    return kept if isinstance(kept, dict) else {}


def species_of_row(row: Row) -> str:
    """Species of the animal of a row, empty where the row does not say it."""
    return str(about(row).get("species", ""))
