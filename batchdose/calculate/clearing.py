"""Clear-from of each animal over all that it is given: the latest counts, product by product."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd

from batchdose.calculate.alike import alike, spread
from batchdose.calculate.marks import Ints
from batchdose.calculate.withdrawal import EARLIER, clear_after_birth, latest
from batchdose.model import Clear, Course, Medicine, WeighingSession
from batchdose.texts import joined, say
from batchdose.words import MALE

_NOTHING = Clear(None, "not_applicable", say("nothing is planned for it"))
_NOT_FOR_MALES = Clear(None, "not_applicable", say("a male gives no milk"))


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

    def earlier(self, product: str) -> Mapping[int, Clear]:
        """Clear-from of animals after earlier treatments."""
        ...

    def never(self, product: str) -> frozenset[int]:
        """Animals whose product is not called clear after this job."""
        ...

    @property
    def running(self) -> Sequence[str]:
        """Products of which something still runs from earlier treatments."""
        ...


def clear_animals(treatments: pd.DataFrame, courses: Sequence[Course], clears: Clears) -> tuple[str, ...]:
    """Add the columns `clear:PRODUCT` to the treatments table; return the products, meat and milk first.

    Every row of an animal carries the animal's own clear-from, the latest over all its medicines and over what it got
    before, since only then may the product be used.
    """
    used = {course.medicine for course in courses}
    of_medicines = (product for i in sorted(used) for product in clears.medicines[i].withdrawal)
    products = list(dict.fromkeys(["meat", "milk", *of_medicines, *clears.running]))
    animals = clears.session.animals
    labels, of_row = np.unique(treatments["animal"].to_numpy(np.int64), return_inverse=True)
    given = _given(treatments, of_row, len(labels), len(courses))
    same_courses, _ = alike(*given.T)
    males = np.isin(labels, animals.index[animals["sex"].str.casefold().isin(MALE)])
    for product in products:
        births, born = _coded(animals["gave_birth"], labels, count=product == "milk")
        earlier, before = _coded_clears(clears.earlier(product), labels)
        never = np.isin(labels, list(clears.never(product)))
        male = males & (product == "milk")
        where, first = alike(same_courses, never, male, births, earlier)
        values: list[Clear] = []
        for at in first.tolist():
            which = tuple(np.flatnonzero(given[at]).tolist())
            together = _together(
                which, product, courses, clears, born[births[at]], stated=not never[at], male=bool(male[at])
            )  # fmt: skip
            values.append(with_earlier(together, before[earlier[at]]))
        treatments[f"clear:{product}"] = spread(values, where)[of_row]
    return tuple(products)


def _given(treatments: pd.DataFrame, of_row: Ints, animals: int, courses: int) -> npt.NDArray[np.bool_]:
    """Which animal is given which course: a row an animal, a column a course."""
    given = np.zeros((animals, courses), np.bool_)
    free = ~treatments["held"].to_numpy(np.bool_)
    given[of_row[free], treatments["course"].to_numpy(np.int64)[free]] = True
    return given


def _coded(moments: pd.Series[Any] | None, labels: Ints, *, count: bool = True) -> tuple[Ints, list[datetime | None]]:
    """A number for each animal's moment, and the moments by number; 0 is none."""
    none: list[datetime | None] = [None]
    if moments is None or not count or moments.isna().all():
        return np.zeros(len(labels), np.int64), none
    codes, known = pd.factorize(moments.reindex(labels))
    return codes.astype(np.int64) + 1, none + list(known)


def _coded_clears(clears: Mapping[int, Clear], labels: Ints) -> tuple[Ints, list[Clear | None]]:
    """A number for what each animal got before, and the clear-from moments by number; 0 is none."""
    known: dict[Clear | None, int] = {None: 0}
    if not clears:
        return np.zeros(len(labels), np.int64), [None]
    codes = [known.setdefault(clears.get(label), len(known)) for label in labels.tolist()]
    return np.array(codes, dtype=np.int64), list(known)


def earlier_clears(animals: pd.DataFrame, product: str) -> dict[int, Clear]:
    """Clear-from after earlier treatments, for animals whose row states it (`Meat clear from`, `Milk clear from`)."""
    name = f"{product}_clear_from"
    if name not in animals.columns:
        return {}
    stated = animals[name][animals[name].notna()]
    return {row: Clear(at, "from", EARLIER) for row, at in zip(stated.index.tolist(), stated.tolist(), strict=True)}


def with_earlier(clear: Clear, earlier: Clear | None) -> Clear:
    """The stronger of what this job and earlier treatments say; an earlier one alone holds by itself.

    A male gives no milk, whatever it got. Where neither is stated, both reasons are told: a needle that is left in an
    animal is not to be hidden by a label without a period.

    >>> with_earlier(Clear(None, "not_stated", "no period is stated"), None).state
    'not_stated'
    >>> with_earlier(Clear(None, "not_stated", "no period"), Clear(None, "not_permitted", "not permitted")).state
    'not_permitted'
    >>> with_earlier(Clear(None, "not_stated", "no period"), Clear(None, "not_stated", "a needle broke")).why
    'no period; a needle broke'
    """
    if earlier is None or clear is _NOT_FOR_MALES:
        return clear
    if clear.state == earlier.state == "not_stated" and clear.why != earlier.why:
        return Clear(None, "not_stated", joined("; ", [clear.why, earlier.why]))
    return latest([clear, earlier])


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
        return Clear(None, "not_stated", say("the same active is given more than once"))
    return together
