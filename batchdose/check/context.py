"""What a rule may look at, and the wording that rules share."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

import pandas as pd

from batchdose.calculate.clearing import earlier_clears, with_earlier
from batchdose.calculate.courses import course_clear
from batchdose.calculate.withdrawal import clear_after_birth
from batchdose.findings import CellRef, Hold
from batchdose.model import Clear, Course, EarlierTreatments, Medicine, Moment, Pack, WeighingSession
from batchdose.texts import Text, joined, listed, say, say_many
from batchdose.words import MALE, same_tag, singular, words

#: A number that begins with its code of three digits, and has a letter or two among the twelve that follow.
_A_LETTER_IN_DIGITS = re.compile(r"\d{3}(?=\w{11,13}$)\d*[A-Za-z]\d*[A-Za-z]?\d*", re.ASCII)
_IN_DIGITS = re.compile(r"[\d .,+-]+(?:[Ee][+]?\d+)?")


@dataclass(frozen=True)
class Context:
    """The inputs and the courses planned from them."""

    session: WeighingSession
    medicines: tuple[Medicine, ...]
    stock: tuple[Pack, ...]
    planned: Moment
    courses: tuple[Course, ...]
    #: Animals of each course that nothing found so far holds back; what keeps animals from being called clear; and
    #: what the treatment record says of them.
    given: dict[int, frozenset[int]] = field(default_factory=dict, compare=False)
    no_clear: tuple[Hold, ...] = ()
    before: EarlierTreatments | None = None
    _animals: dict[int, pd.DataFrame] = field(default_factory=dict, compare=False)
    _earlier: dict[str, dict[int, Clear]] = field(default_factory=dict, compare=False)
    _clears: dict[tuple[int, str], Clear] = field(default_factory=dict, compare=False)

    @cached_property
    def _never(self) -> dict[str, frozenset[int]]:
        return {}

    @cached_property
    def used(self) -> list[int]:
        """Positions of the medicines that some course gives."""
        return sorted({course.medicine for course in self.courses})

    @cached_property
    def damaged_eids(self) -> list[int]:
        """Rows whose EID is written in digits and none of ISO 11784: such numbers say nothing of who is who."""
        eids = self.session.animals["eid"]
        return [int(row) for row, eid in zip(eids.index, eids, strict=True) if eid and is_damaged_eid(eid)]

    @cached_property
    def known_by(self) -> pd.Series[str]:
        """What each row is known by, for comparing: its tag, and its EID where that is another number."""
        animals = self.session.animals
        tag, eid = animals["tag"].map(same_tag), animals["eid"].map(same_tag)
        # Numbers that a format has damaged look alike and say nothing of who is who.
        eid = eid[(eid != tag) & ~eid.index.isin(self.damaged_eids)]
        keys: pd.Series[str] = pd.concat([tag, eid])
        return keys[keys != ""]

    @cached_property
    def own_weight_needed(self) -> frozenset[int]:
        """Animals with a course for which their own weight must be known: any but one setting for the mob."""
        medicines = self.medicines
        return frozenset(
            row
            for course in self.courses
            if medicines[course.medicine].needs_weight and medicines[course.medicine].dose_by != "mob"
            for row in course.animals
        )

    def animals(self, course: Course) -> pd.DataFrame:
        """Animals of a course."""
        if course.number not in self._animals:
            animals = self.session.animals
            whole = len(course.animals) == len(animals)
            self._animals[course.number] = animals if whole else animals.loc[list(course.animals)]
        return self._animals[course.number]

    def each(self) -> Iterator[tuple[Course, Medicine, pd.DataFrame]]:
        """Courses with their medicine and animals, less those that an earlier step holds back."""
        for course in self.courses:
            animals = self.animals(course)
            if course.number in self.given:
                animals = animals[animals.index.isin(self.given[course.number])]
            yield course, self.medicines[course.medicine], animals

    def clear(self, course: Course, product: str) -> Clear:
        """Clear-from of a product after a course, whatever the animal."""
        key = (course.number, product)
        if key not in self._clears:
            medicine = self.medicines[course.medicine]
            species = frozenset(self.animals(course)["species"].unique())
            self._clears[key] = course_clear(course, medicine, product, self.session.facts, species)
        return self._clears[key]

    def animal_clear(self, course: Course, product: str, row: int) -> Clear:
        """Clear-from of a product of one animal after a course: milk may also count from its giving birth."""
        clear = with_earlier(self.clear(course, product), self.earlier(product).get(row))
        if row in self.never(product) and clear.state == "from":
            return Clear(None, "not_stated", say("the same active is given more than once"))
        medicine = self.medicines[course.medicine]
        if product != "milk" or medicine.milk_after_birth is None:
            return clear
        birth = self.session.animals.at[row, "gave_birth"]
        born = birth if isinstance(birth, datetime) and not pd.isna(birth) else None
        return clear_after_birth(clear, medicine, born, course.moments[-1], self.session.facts.milking_times)

    def earlier(self, product: str) -> dict[int, Clear]:
        """Clear-from of animals after earlier treatments, as their rows and the treatment record state it."""
        if product not in self._earlier:
            clears = earlier_clears(self.session.animals, product)
            for row, clear in (self.before.clears.get(product, {}) if self.before else {}).items():
                clears[row] = with_earlier(clear, clears.get(row))
            self._earlier[product] = clears
        return self._earlier[product]

    @property
    def running(self) -> list[str]:
        """Products of which something still runs, by the treatment record."""
        return [product for product, clears in self.before.clears.items() if clears] if self.before else []

    def never(self, product: str) -> frozenset[int]:
        """Animals whose product is not called clear after this job, by what was found so far."""
        if product not in self._never:
            holds = (hold for hold in self.no_clear if hold.products is None or product in hold.products)
            self._never[product] = frozenset(row for hold in holds for row in hold.animals or ())
        return self._never[product]

    def cell(self, medicine: Medicine, name: str) -> CellRef:
        """Cell of a medicine's field, or of its name where the sheet has no such column."""
        return medicine.cells.get(name, medicine.where)


def is_damaged_eid(text: str) -> bool:
    """Whether a number written in digits is none of ISO 11784 (a code of three digits, a number of at most 38 bits).

    >>> is_damaged_eid("372000000000012"), is_damaged_eid("3.72E+14"), is_damaged_eid("UK0123456 00001")
    (False, True, False)
    >>> is_damaged_eid("3720000000O0012")
    True
    """
    if len(text) == 15 and text.isdecimal():
        return not (int(text[:3]) > 0 and int(text[3:]) < 2**38)
    if _A_LETTER_IN_DIGITS.fullmatch("".join(text.split())):
        return True
    if not _IN_DIGITS.fullmatch(text):
        return False
    digits = "".join(character for character in text if character.isdigit())
    plain = set(text) <= set("0123456789 -.") and len(digits) == 15
    return not (plain and int(digits[:3]) > 0 and int(digits[3:]) < 2**38)


def has_status(animals: pd.DataFrame, status: str) -> pd.Series[Any]:
    """Which animals have a status among those written for them."""
    which = [text for text in animals["status"].unique() if status in text.split("; ")]
    return animals["status"].isin(which)


def of_kind(animals: pd.DataFrame, word: str) -> pd.Series[Any]:
    """Which animals are of a class or sex that `Not for` may name (lamb, rams, males ...), in any number."""
    wanted = singular(word)
    males = MALE if wanted == "male" else frozenset()

    def named(text: object) -> bool:
        kinds = [singular(kind) for kind in words(str(text))]
        return any(kind == wanted or kind.endswith(f" {wanted}") or kind in males for kind in kinds)

    flags = [animals[name].isin([text for text in animals[name].unique() if named(text)]) for name in ("kind", "sex")]
    return flags[0] | flags[1]


def by_mob(animals: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame, tuple[int, ...]]]:
    """Mobs with their animals and the animals' rows."""
    for mob, group in animals.groupby("mob", sort=False):
        yield str(mob), group, tuple(int(label) for label in group.index)


def tags(group: pd.DataFrame) -> str:
    """Who is meant, in words: up to five tags, or the mob.

    >>> tags(pd.DataFrame({"tag": ["0412", "0413"], "mob": ["Hill", "Hill"]}))
    'tags 0412 and 0413'
    """
    if len(group) == 1:
        tag, mob = group["tag"].iloc[0], group["mob"].iloc[0]
        return say("tag {tag}", tag=tag) if tag else say("the mob {mob}", mob=mob)
    shown = group.iloc[:5]
    names = [tag or say("the mob {mob}", mob=mob) for tag, mob in zip(shown["tag"], shown["mob"], strict=True)]
    more = len(group) - len(names)
    if more:
        return say("tags {tags} and {more} more", tags=joined(", ", names), more=more)
    return say("tags {tags}", tags=listed(names))


def seen_text(value: object) -> str:
    """A value of the animals table as a person wrote it; a date without its midnight, nothing for a blank.

    >>> seen_text(None), seen_text(pd.Timestamp("2026-03-14"))
    ('', '2026-03-14')
    """
    if value is None or (not isinstance(value, str) and pd.isna(value)):  # type: ignore[call-overload]
        return ""
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d}" if value.time() == datetime.min.time() else f"{value:%Y-%m-%d %H:%M}"
    return str(value)


def of_mob(mob: str) -> str:
    """` of mob X`, to stand behind animals, tags or weights; nothing where the mob has no name."""
    return say(' of mob "{mob}"', mob=mob) if mob else ""


def animals_of(count: int, mob: str) -> Text:
    """So many animals of a mob.

    >>> animals_of(1, ""), animals_of(3, "Hill")
    ('1 animal', '3 animals of mob "Hill"')
    """
    return say_many("{n} animal{of_mob}", "{n} animals{of_mob}", count, n=count, of_mob=of_mob(mob))


def head_of(count: int, mob: str) -> Text:
    """So many of a mob, where it is clear that animals are meant.

    >>> head_of(3, "Hill")
    '3 of mob "Hill"'
    """
    return say_many("{n}{of_mob}", "{n}{of_mob}", count, n=count, of_mob=of_mob(mob))
