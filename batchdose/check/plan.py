"""Rules about who gets what: limits of the label, status, and what happens to the animal afterwards."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial

import numpy as np
import pandas as pd

from batchdose.amounts import date_text, label_weight_text, number_text
from batchdose.calculate.clearing import EARLIER
from batchdose.calculate.withdrawal import latest
from batchdose.check.context import Context, by_mob, has_status, of_kind, of_mob, seen_text, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.model import NG_PER_KG, Course


@dataclass(frozen=True)
class _Refusal:
    """Why animals are refused a medicine: rule, the field it stands in, message, remedy, and the short reason."""

    rule: str
    field: str
    message: str
    fix: str
    why: str
    soft: bool = False


def _held(context: Context, course: Course, group: pd.DataFrame, refusal: _Refusal) -> Iterator[Finding]:
    """One error for each mob in `group`, holding its animals from this course's medicine."""
    for _, _, rows in by_mob(group):
        yield _refused(context, course, refusal, rows)


def _refused(context: Context, course: Course, refusal: _Refusal, rows: tuple[int, ...]) -> Finding:
    members = context.session.animals.loc[list(rows)]
    seen = {seen_text(value) for value in members[refusal.field]}
    return Finding(
        Level.ERROR, refusal.rule, context.session.cell(rows[0], refusal.field),
        seen.pop() if len(seen) == 1 else "",
        f"{refusal.message} ({len(rows)}{of_mob(str(members['mob'].iloc[0]))}: {tags(members)}).", refusal.fix,
        Hold(refusal.why, rows, (course.medicine,), (course.number,), soft=refusal.soft),
        again=partial(_refused, context, course, refusal),
    )  # fmt: skip


def outside_label_weight(context: Context) -> Iterator[Finding]:
    """An animal's weight lies within the limits on the medicine's row.

    Passes 22 kg for "minimum weight 20 kg". Fails 18 kg. Matters because the label was not tested there.
    """
    for course, medicine, animals in context.each():
        kilograms = animals["weight_ng"].astype(float) / NG_PER_KG
        lightest = (animals["lightest_ng"].astype(float) / NG_PER_KG).where(animals["lightest_ng"] > 0, kilograms)
        for limit, outside, word in (
            (medicine.min_weight_kg, lightest < float(medicine.min_weight_kg or 0), "below"),
            (medicine.max_weight_kg, kilograms > float(medicine.max_weight_kg or 0), "above"),
        ):
            if limit is not None:
                text = f"{word} the label's {label_weight_text(limit, context.session.weight_unit)}"
                refusal = _Refusal(
                    "outside-label-weight",
                    "weight_text",
                    f"{medicine.name} is not for animals {text}",
                    "Ask the vet for another medicine.",
                    text,
                )
                yield from _held(context, course, animals[outside & (kilograms > 0)], refusal)


def under_age(context: Context) -> Iterator[Finding]:
    """An animal has the age that the medicine's row asks for.

    Passes 8 weeks old for "minimum age 6 weeks". Fails 5 weeks old, or no date of birth. Matters because
    the label excludes younger animals.
    """
    for course, medicine, animals in context.each():
        if medicine.min_age_days is None:
            continue
        first = course.moments[0].at
        latest_birth = first - timedelta(days=float(medicine.min_age_days))
        born = animals["born"]
        unknown = animals[born.isna()]
        young = _where(animals, (_known(at) and not _before(at, latest_birth) and at != latest_birth for at in born))
        refusal = _Refusal(
            "under-age",
            "born",
            f"{medicine.name} is not for animals so young",
            "Wait, or ask the vet.",
            "under the label's age",
        )
        yield from _held(context, course, young, refusal)
        refusal = _Refusal(
            "under-age",
            "born",
            f"{medicine.name} asks for an age, and the date of birth is not on the sheet",
            "Write the date under Born.",
            "age not known, and the label asks for one",
        )
        yield from _held(context, course, unknown, refusal)


def over_age(context: Context) -> Iterator[Finding]:
    """An animal is not older than the medicine's row allows.

    Passes 8 weeks old for "maximum age 12 weeks". Fails 13 weeks old, or no date of birth. Matters because the label
    is for young animals only.
    """
    for course, medicine, animals in context.each():
        if medicine.max_age_days is None:
            continue
        first = course.moments[0].at.replace(hour=0, minute=0)
        earliest = first - timedelta(days=float(medicine.max_age_days))
        born = animals["born"]
        old = _where(animals, (_known(at) and _before(at, earliest) for at in born))
        for group, message, fix, why in (
            (old, f"{medicine.name} is not for animals so old", "Ask the vet for another medicine.",
             "over the label's age"),
            (animals[born.isna()], f"{medicine.name} asks for an age, and the date of birth is not on the sheet",
             "Write the date under Born.", "age not known, and the label asks for one"),
        ):  # fmt: skip
            yield from _held(context, course, group, _Refusal("over-age", "born", message, fix, why))


def excluded_status(context: Context) -> Iterator[Finding]:
    """An animal's status is not among those the label excludes (`Not for`).

    Passes: dry for "not for: in milk". Fails: in milk. A hard hold. Matters for the animal, its young
    and residues.
    """
    for course, medicine, animals in context.each():
        for status in sorted(medicine.not_for):
            refusal = _Refusal(
                "excluded-status",
                "status",
                f"{medicine.name} is not for animals that are {status}",
                "Ask the vet for another medicine.",
                f"not for animals that are {status}",
            )
            yield from _held(context, course, animals[has_status(animals, status) | of_kind(animals, status)], refusal)


def product_not_permitted(context: Context) -> Iterator[Finding]:
    """An animal in milk (or laying) gets only medicines whose milk (or egg) period is stated and permitted.

    Passes: milk withdrawal 72 h. Fails: "not permitted", or nothing stated for this animal (as where its dry time was
    too short). A hard hold: the milk could never be called clear.
    """
    for course, medicine, animals in context.each():
        for product, status in (("milk", "in milk"), ("eggs", "laying")):
            making = animals[has_status(animals, status)]
            states = [context.animal_clear(course, product, int(row)).state for row in making.index]
            for state, word in (("not_permitted", "not permitted"), ("not_stated", "not stated")):
                refusal = _Refusal(
                    "product-not-permitted",
                    "status",
                    f"{medicine.name}: the withdrawal period for {product} is {word}, and these animals are {status}",
                    "Ask the vet for another medicine, or for a period.",
                    f"{product} period {word}, animal is {status}",
                )
                yield from _held(context, course, _where(making, (found == state for found in states)), refusal)


def too_near_birth(context: Context) -> Iterator[Finding]:
    """An animal is not due within the days before birth in which the label forbids the medicine.

    Passes: due in 60 days for "not within 30 days before birth". Fails: due in 20 days, or pregnant with
    no date. Matters for the young and the first milk.
    """
    for course, medicine, animals in context.each():
        days = medicine.not_before_birth_days
        if days is None:
            continue
        border = course.moments[-1].at + timedelta(days=float(days))
        born, known = animals["gave_birth"].notna(), animals["due"].notna()
        soon = pd.Series([_before(at, border) for at in animals["due"]], index=animals.index, dtype=bool)
        near, unsure = known & soon & ~born, ~known & has_status(animals, "pregnant")
        refusal = _Refusal(
            "too-near-birth",
            "due",
            f"{medicine.name} is not for the last {number_text(days)} days before birth",
            "Wait until after the birth, or ask the vet.",
            "due too soon, or due date not known",
        )
        yield from _held(context, course, animals[near | unsure], refusal)


def _where(animals: pd.DataFrame, flags: Iterable[bool]) -> pd.DataFrame:
    """Animals for which the flag is set (a plain list of none would choose no columns instead of no rows)."""
    return animals.loc[np.fromiter(flags, bool, len(animals))]


def _known(at: object) -> bool:
    return isinstance(at, datetime) and not pd.isna(at)


def _before(at: object, border: datetime | None) -> bool:
    return (
        isinstance(at, datetime)
        and not pd.isna(at)
        and border is not None
        and at.astimezone(UTC) < border.astimezone(UTC)
    )


def leaves_before_clear(context: Context) -> Iterator[Finding]:
    """An animal is not slaughtered, nor its milk sold, before it is clear.

    Passes: slaughter on 20 April, meat clear from 11 April. Fails: slaughter on 1 April, or no period
    stated. A person may decide otherwise (`Give anyway`), but that never makes the animal clear.
    """
    for course, medicine, animals in context.each():
        for product, field in (("meat", "slaughter_on"), ("milk", "first_milk_sold")):
            leaving = animals[animals[field].notna()]
            clears = {int(row): context.animal_clear(course, product, int(row)) for row in leaving.index}
            early = [
                clears[row].at is None or _before(at, clears[row].at)
                for row, at in zip(clears, leaving[field], strict=True)
            ]
            for clear in dict.fromkeys(clears.values()):
                when = f"clear from {date_text(clear.at.date())}" if clear.at else "never stated to be clear"
                when += " after an earlier treatment" if clear.at and clear.why == EARLIER else ""
                refusal = _Refusal(
                    "leaves-before-clear", field,
                    f"{medicine.name}: {product} is {when}, after the date on the sheet",
                    "Change the date or do not treat; a reason under Give anyway lets a person decide.",
                    f"leaves before {product} is clear", soft=True,
                )  # fmt: skip
                alike = [of_animal == clear for of_animal in clears.values()]
                group = _where(leaving, (e and a for e, a in zip(early, alike, strict=True)))
                yield from _held(context, course, group, refusal)


def sold_before_clear(context: Context) -> Iterator[Finding]:
    """An animal sold alive inside a withdrawal period is sold with a declaration.

    Passes: sold after it is clear. Noted: sold before, which is lawful in many places if the buyer is
    told; the note is printed for the declaration.
    """
    for course, medicine, animals in context.each():
        leaving = animals[animals["sold_on"].notna()]
        clears = {int(row): context.animal_clear(course, "meat", int(row)) for row in leaving.index}
        ends = zip(leaving["sold_on"], (clears[int(row)].at for row in leaving.index), strict=True)
        sold = _where(leaving, (end is None or _before(at, end) for at, end in ends))
        for mob, members, rows in by_mob(sold):
            clear = latest(clears[row] for row in rows)
            when = f"clear from {date_text(clear.at.date())}" if clear.at else "not stated"
            yield Finding(
                Level.NOTE, "sold-before-clear", context.session.cell(rows[0], "sold_on"), "",
                f"{len(rows)}{of_mob(mob)} are sold inside the withdrawal period of {medicine.name} ({tags(members)}).",
                f"Declare it to the buyer: meat {when}.",
            )  # fmt: skip
