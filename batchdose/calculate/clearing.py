"""Clear-from of each animal over all that it is given: the latest counts, product by product."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd

from batchdose.calculate.marks import Ints
from batchdose.calculate.withdrawal import Clear, clear_after_birth, latest
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
    animals = clears.session.animals
    labels, of_row = np.unique(treatments["animal"].to_numpy(np.int64), return_inverse=True)
    given = _given(treatments, of_row, len(labels), len(courses))
    males = np.isin(labels, animals.index[animals["sex"].str.casefold().isin(MALE)])
    never = np.isin(labels, list(no_clear))
    for product in products:
        births, born = _coded(animals["gave_birth"], labels, count=product == "milk")
        earlier, before = _coded(animals.get(f"{product}_clear_from"), labels)
        marks = [never, males & (product == "milk"), births, earlier]
        alike, where = np.unique(np.column_stack([given, *marks]).astype(np.int64), axis=0, return_inverse=True)
        values = np.empty(len(alike), dtype=object)
        for at, (*of_courses, is_never, is_male, birth, clear_before) in enumerate(alike.tolist()):
            which = tuple(np.flatnonzero(of_courses).tolist())
            together = _together(which, product, courses, clears, born[birth], stated=not is_never, male=bool(is_male))
            stated = before[clear_before]
            values[at] = with_earlier(together, stated and Clear(stated, "from", "an earlier treatment"))
        treatments[f"clear:{product}"] = values[where.ravel()][of_row]
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
