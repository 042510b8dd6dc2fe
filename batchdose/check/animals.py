"""Rules about the animals: their mobs, their dates of birth, and who gets nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import SequenceMatcher
from itertools import combinations
from typing import Any

import pandas as pd

from batchdose.check.context import Context, animals_of, by_mob, of_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.texts import Text, say, say_many

#: Words that are this much alike may be one word and a slip of typing; so many mobs are compared.
NEAR, LARGEST_LIST = 0.74, 200


def born_in_the_future(context: Context) -> Iterator[Finding]:
    """An animal was born not later than the day of treatment.

    Passes: born in 2024. Fails: born in 2099. Holds the animal. One line for each mob. Matters because its age is
    counted from that day.
    """
    animals = context.session.animals
    if animals["born"].isna().all():
        return
    days = pd.to_datetime(animals["born"]).dt.tz_localize(None).dt.normalize()
    for mob, group, rows in by_mob(animals[days > pd.Timestamp(context.planned.at.replace(tzinfo=None))]):
        yield Finding(
            Level.ERROR, "born-in-the-future", context.session.cell(rows[0], "born"),
            f"{group['born'].iloc[0]:%Y-%m-%d}",
            say_many("{animals} would be born after the treatment ({tags}).",
                     "{animals} would be born after the treatment ({tags}).", len(rows),
                     animals=animals_of(len(rows), mob), tags=tags(group)),
            say("Correct the date of birth, or the day of treatment."),
            Hold(say("its date of birth lies after the treatment"), rows),
        )  # fmt: skip


def mob_near_miss(context: Context) -> Iterator[Finding]:
    """The names of two mobs do not differ by a slip of typing.

    Passes: "Pen 1" and "Pen 2"; "Hill" and "River". Fails: "Hill paddock" and "Hil paddock". Matters because the
    few animals of the misspelt mob would be dosed by a setting of their own, or left out.
    """
    animals = context.session.animals
    heads = animals.groupby("mob", sort=False)["head"].sum()
    names = [str(name) for name in heads.index if name]
    for one, other in combinations(names[:LARGEST_LIST], 2):
        if _nearly_the_same(one, other):
            few, many = sorted((one, other), key=lambda name: int(heads[name]))
            row = int(animals.index[animals["mob"] == few][0])
            yield Finding(
                Level.WARNING, "mob-near-miss", context.session.cell(row, "mob"), few,
                say('The mobs "{one}" ({few}) and "{other}" ({many}) may be one.', one=few, few=_head(heads[few]),
                    other=many, many=_head(heads[many])),
                say('If so, write "{mob}" in every row; else there is nothing to do.', mob=many),
            )  # fmt: skip


def _head(count: Any) -> Text:
    return say_many("{count} head", "{count} head", int(count), count=int(count))


def _nearly_the_same(one: str, other: str) -> bool:
    """Whether two names differ by letters of one longer word only; numbers and single letters set mobs apart."""
    words = [re.findall(r"[^\W\d_]+|\d+", name.casefold()) for name in (one, other)]
    if "".join(words[0]) == "".join(words[1]):
        return True
    if len(words[0]) != len(words[1]):
        return False
    pairs = [(a, b) for a, b in zip(*words, strict=True) if a != b]
    return (
        len(pairs) == 1
        and min(map(len, pairs[0])) > 2
        and pairs[0][0].isalpha()
        and SequenceMatcher(None, *pairs[0]).ratio() >= NEAR
    )


def nothing_given(context: Context) -> Iterator[Finding]:
    """Every animal that was weighed gets something.

    Passes: a treatment for its mob, for its tag, or for all. Noted: an animal that no treatment names. Only a
    note, one line for each mob. Matters because somebody may have been forgotten.
    """
    named = {row for course in context.courses for row in course.animals}
    animals = context.session.animals
    # Who has a medicine that is not known is told of by another rule.
    for mob, group, rows in by_mob(animals[~animals.index.isin(named) & (animals["medicine"] == "")]):
        yield Finding(
            Level.NOTE, "nothing-given", context.session.cell(rows[0], "tag"), "",
            _forgotten(int(group["head"].sum()), mob, tags(group)),
            say("If that is wrong, add them to the sheet Treatments."),
        )  # fmt: skip


def _forgotten(head: int, mob: str, who: str) -> str:
    return say_many(
        "{n} animals{of_mob} get nothing in this job ({tags}).",
        "{n} animals{of_mob} get nothing in this job ({tags}).", head, n=head, of_mob=of_mob(mob), tags=who,
    )  # fmt: skip
