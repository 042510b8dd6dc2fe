"""Clear-from of each animal over all that it is given: the latest counts, product by product."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

import pandas as pd

from batchdose.calculate.courses import clear_after_birth
from batchdose.calculate.withdrawal import Clear, latest
from batchdose.model import Course, Medicine, WeighingSession
from batchdose.words import MALE

_NOTHING = Clear(None, "not_applicable", "nothing is planned for it")
_NOT_FOR_MALES = Clear(None, "not_applicable", "a male gives no milk")


class Clears(Protocol):
    """Whatever knows the clear-from of a whole course."""

    @property
    def session(self) -> WeighingSession:
        """The weighing session."""
        ...

    @property
    def medicines(self) -> tuple[Medicine, ...]:
        """The medicines."""
        ...

    def clear(self, course: Course, product: str) -> Clear:
        """Clear-from of one product after a course."""
        ...


def clear_animals(
    treatments: pd.DataFrame, courses: Sequence[Course], clears: Clears, no_clear: set[int]
) -> tuple[str, ...]:
    """Add the columns `clear:PRODUCT` to the treatments table; return the products, meat and milk first.

    Every row of an animal carries the animal's own clear-from, the latest over all its medicines, since
    only then may the product be used. Animals in `no_clear` have none stated.
    """
    used = {course.medicine for course in courses}
    products = list(dict.fromkeys(["meat", "milk", *(p for i in sorted(used) for p in clears.medicines[i].withdrawal)]))
    given: dict[int, list[int]] = defaultdict(list)
    for animal, course, held in zip(treatments["animal"], treatments["course"], treatments["held"], strict=True):
        if not held:
            given[int(animal)].append(int(course))
    animals = clears.session.animals
    males = set(animals.index[animals["sex"].str.casefold().isin(MALE)])
    births = dict(zip(animals.index.tolist(), animals["gave_birth"].tolist(), strict=True))
    earlier = {product: earlier_clears(animals, product) for product in products}
    for product in products:
        seen: dict[tuple[tuple[int, ...], bool, bool, object, Clear | None], Clear] = {}
        column: list[Clear] = []
        for animal in treatments["animal"].tolist():
            birth = births[animal] if product == "milk" else None
            key = (
                tuple(given.get(animal, ())),
                animal in no_clear,
                product == "milk" and animal in males,
                birth,
                earlier[product].get(animal),
            )
            if key not in seen:
                together = _together(key[0], product, courses, clears, birth, stated=not key[1], male=key[2])
                seen[key] = with_earlier(together, key[4])
            column.append(seen[key])
        treatments[f"clear:{product}"] = pd.Series(column, index=treatments.index, dtype=object)
    return tuple(products)


def earlier_clears(animals: pd.DataFrame, product: str) -> dict[int, Clear]:
    """Clear-from after earlier treatments, for animals whose row states it (`Meat clear from`, `Milk clear from`)."""
    name = f"{product}_clear_from"
    if name not in animals.columns:
        return {}
    stated = animals[name][animals[name].notna()]
    return {
        row: Clear(at, "from", "an earlier treatment")
        for row, at in zip(stated.index.tolist(), stated.tolist(), strict=True)
    }


def with_earlier(clear: Clear, earlier: Clear | None) -> Clear:
    """The later of what this job and an earlier treatment say; an earlier one alone holds by itself.

    >>> with_earlier(Clear(None, "not_stated", "no period is stated"), None).state
    'not_stated'
    """
    if earlier is None:
        return clear
    return earlier if clear is _NOTHING else latest([clear, earlier]) if clear.state == "from" else clear


def _together(
    given: tuple[int, ...], product: str, courses: Sequence[Course], clears: Clears, birth: object, *,
    stated: bool, male: bool,
) -> Clear:  # fmt: skip
    if not given:
        return _NOTHING
    if male:
        return _NOT_FOR_MALES
    born = birth if isinstance(birth, datetime) and not pd.isna(birth) else None
    every = []
    for index in given:
        course = courses[index]
        clear = clears.clear(course, product)
        if product == "milk":
            medicine = clears.medicines[course.medicine]
            clear = clear_after_birth(clear, medicine, born, course.moments[-1], clears.session.facts.milking_times)
        every.append(clear)
    together = latest(every)
    if not stated and together.state == "from":
        return Clear(None, "not_stated", "the same active is given more than once")
    return together
