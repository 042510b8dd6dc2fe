"""What is known of every animal: the strongest that holds it, product by product, as the record says.

It is worked out once, when rows are added, and kept with the record: it does not depend on the moment asked about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from batchdose.model import Clear
from batchdose.record.animals import (
    EID,
    MOB,
    NOT_THERE,
    ON_TWO_ANIMALS,
    TAG,
    WITH_OTHER_EID,
    Animal,
    Key,
    is_of_others,
    names_of,
)
from batchdose.record.clear import Clearing, Held, Verdict, is_over
from batchdose.record.rows import Row
from batchdose.words import same_name, same_tag


class RowsNeededError(Exception):
    """Two that the record knows apart are asked about as one animal: only their rows say what holds then."""


class KnownAnimal(NamedTuple):
    """One animal, or a mob treated as a whole. `tags` and `mobs` are all it has, for comparing.

    `refusal` is why it is not known by its tag. `held` has, product by product, the number of the outcome and the
    number of the row that holds it (0 for none).
    """

    tag: str
    eid: str
    mob: str
    tags: Sequence[str]
    mobs: Sequence[str]
    refusal: str
    held: Sequence[Sequence[Any]]

    @property
    def name(self) -> str:
        """What people call it."""
        return Animal(self.tag, self.eid, self.mob, ()).name


@dataclass
class Known:
    """All animals of a record by key, and the outcomes that they share: `(state, at, why, medicine, given at)`."""

    of_products: tuple[str, ...]
    zone: str
    animals: dict[Key, KnownAnimal] = field(default_factory=dict)
    outcomes: list[tuple[str, str, str, str, str]] = field(default_factory=list)
    #: A record that is not sound has no such index.
    sound: bool = True
    _linked: dict[str, set[str]] | None = None
    _said: dict[tuple[int, datetime], tuple[Clear, bool]] = field(default_factory=dict)

    def products(self) -> Sequence[str]:
        """Products that any treatment of the record has a period for."""
        return self.of_products

    def every(self) -> Iterator[KnownAnimal]:
        """Animals with an EID, then those with a tag alone, then mobs treated as a whole."""
        for wanted in (EID, TAG, MOB):
            yield from (animal for (kind, _), animal in self.animals.items() if kind == wanted)

    def named(self, name: str) -> tuple[KnownAnimal | None, str]:
        """The animal of an EID or a tag, or None and why it is not known."""
        key = same_tag(name)
        if (EID, key) in self.animals:
            return self.animals[EID, key], ""
        eids = self._eids_of_tags().get(key, set())
        if len(eids) > 1:
            return None, ON_TWO_ANIMALS
        animal = self.animals[EID, next(iter(eids))] if eids else self.animals.get((TAG, key))
        if animal is None or not key:
            return None, NOT_THERE
        return (None, animal.refusal) if animal.refusal else (animal, "")

    def of_both(self, eid: str, tag: str) -> tuple[KnownAnimal | None, str]:
        """The animal of an EID and a tag that stand together, or of one of them; or None and why it is not known.

        Raises RowsNeededError where the tag was recorded apart from the EID.
        """
        number, known = same_tag(eid), same_tag(tag)
        if not number or not known:
            return self.named(eid or tag)
        of_number, of_tag = self.animals.get((EID, number)), self.animals.get((TAG, known))
        eids = self._eids_of_tags().get(known, set())
        if is_of_others(number, eids):
            return None, WITH_OTHER_EID
        if of_number is not None and number not in eids and of_tag:
            raise RowsNeededError
        animal = of_number or of_tag
        return (animal._replace(tag=tag, eid=eid), "") if animal else (None, NOT_THERE)

    def verdict(self, animal: KnownAnimal, product: str, on: datetime) -> Verdict:
        """Whether an animal is clear for a product on a moment."""
        number, row = animal.held[self.of_products.index(product)]
        said = self._said.get((number, on))
        clear, over = self._said[number, on] = said or self._outcome(number, on)
        *_, medicine, given_at = self.outcomes[number]
        held = Held(clear, Row(row=row, medicine=medicine, given_at=given_at) if row else None)
        return Verdict(animal.name, animal.tag, product, "clear" if over else "not clear", held)

    def related(self, tags: Iterable[str], eids: Iterable[str], mobs: Iterable[str]) -> tuple[set[str], set[str]]:
        """All tags and EIDs (for comparing) that hang together with these, or are of animals of these mobs.

        An animal's tags may be those of rows without an EID, and one tag may be on two EIDs: what is added to one
        may count for all of them.
        """
        wanted = set(mobs)
        linked: set[Key] = {(TAG, tag) for tag in tags} | {(EID, eid) for eid in eids}
        linked |= {key for key, animal in self.animals.items() if wanted and not wanted.isdisjoint(animal.mobs)}
        eids_of, new = self._eids_of_tags(), list(linked)
        while new:
            kind, key = new.pop()
            if kind == EID:
                animal = self.animals.get((EID, key))
                more = {(TAG, tag) for tag in (animal.tags if animal else ())}
            else:  # a tag may also be written as an EID is
                eids_too = {*eids_of.get(key, ()), *({key} if (EID, key) in self.animals else ())}
                more = {(EID, eid) for eid in eids_too} if kind == TAG else set()
            new += more - linked
            linked |= more
        found = [{key for of, key in linked if of == kind} - {""} for kind in (TAG, EID)]
        return found[0], found[1]

    def otherwise(self, other: Known) -> list[str]:
        """Names of animals of which two say something else."""
        keys = {*self.animals, *other.animals}
        return sorted(
            (self.animals.get(key) or other.animals[key]).name for key in keys if self._says(key) != other._says(key)
        )

    def _says(self, key: Key) -> object:
        """All that is said of an animal, by product."""
        animal = self.animals.get(key)
        if animal is None:
            return None
        said = {
            product: (self.outcomes[number], row)
            for product, (number, row) in zip(self.of_products, animal.held, strict=True)
        }
        return animal.tag, animal.eid, animal.mob, set(animal.tags), set(animal.mobs), animal.refusal, said

    def updated(self, clearing: Clearing, tags: set[str], eids: set[str]) -> None:
        """Take over what a part of the record says, which has all rows of these tags and EIDs and all whole mobs."""
        fresh = dict(_animals(clearing, self._numbered()))
        touched = {(TAG, tag) for tag in tags} | {(EID, eid) for eid in eids}
        for key in [key for key in self.animals if (key in touched or key[0] == MOB) and key not in fresh]:
            del self.animals[key]
        self.animals.update(fresh)
        self._linked = None

    def _eids_of_tags(self) -> dict[str, set[str]]:
        if self._linked is None:
            self._linked = {}
            for (kind, key), animal in self.animals.items():
                for tag in animal.tags if kind == EID else ():
                    self._linked.setdefault(tag, set()).add(key)
        return self._linked

    def _outcome(self, number: int, on: datetime) -> tuple[Clear, bool]:
        state, at, why, *_ = self.outcomes[number]
        clear = Clear(datetime.fromisoformat(at) if at else None, state, why)  # type: ignore[arg-type]
        return clear, is_over(clear, on)

    def _numbered(self) -> _Numbered:
        return _Numbered(self.of_products, self.outcomes)

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        animals = [[*key, animal] for key, animal in self.animals.items()]
        return {"products": self.of_products, "zone": self.zone, "outcomes": self.outcomes, "animals": animals}


def known_of(clearing: Clearing) -> Known:
    """What a whole record says of all its animals."""
    known = Known(tuple(clearing.products()), str(clearing.zone))
    known.animals.update(_animals(clearing, _Numbered(known.of_products, known.outcomes)))
    return known


def known_from(kept: dict[str, Any]) -> Known:
    """What was kept. Raises LookupError, TypeError or ValueError where it is not ours."""
    known = Known(tuple(kept["products"]), kept["zone"], outcomes=list(map(tuple, kept["outcomes"])))
    known.animals = {(kind, key): KnownAnimal(*animal) for kind, key, animal in kept["animals"]}
    return known


class _Numbered:
    """Outcomes by number, equal ones once."""

    def __init__(self, products: tuple[str, ...], outcomes: list[tuple[str, str, str, str, str]]) -> None:
        self.products, self._outcomes = products, outcomes
        self._numbers = {outcome: number for number, outcome in enumerate(outcomes)}

    def of(self, held: Held) -> list[Any]:
        """Number of an outcome, and of the row that holds."""
        clear, row = held.clear, held.row
        at = clear.at.isoformat() if clear.at else ""
        outcome = (clear.state, at, clear.why, row.medicine if row else "", row.given_at if row else "")
        number = self._numbers.setdefault(outcome, len(self._outcomes))
        if number == len(self._outcomes):
            self._outcomes.append(outcome)
        return [number, row.row if row else ""]


def _animals(clearing: Clearing, outcomes: _Numbered) -> Iterator[tuple[Key, KnownAnimal]]:
    """Every animal of a record, or of a part of it, by key."""
    for key, animal in clearing.animals.by_key():
        kind, name = key
        own = (names_of(row.tag, row.eid) for row in animal.rows)
        tags = dict.fromkeys(tag for tag, eid in own if kind != MOB and eid == (name if kind == EID else ""))
        refusal = clearing.animals.named(animal.tag)[1] if kind == TAG else ""
        mobs = dict.fromkeys(same_name(row.mob) for row in animal.rows)
        held = [outcomes.of(clearing.held(animal, product)) for product in outcomes.products]
        yield key, KnownAnimal(animal.tag, animal.eid, animal.mob, [*filter(None, tags)], [*mobs], refusal, held)
