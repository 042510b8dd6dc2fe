"""Rules about who gets what: limits of the label, status, and what happens to the animal afterwards."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial

import numpy as np
import pandas as pd

from batchdose.amounts import date_text, label_weight_text, number_text
from batchdose.calculate.withdrawal import EARLIER, latest
from batchdose.check.context import Context, by_mob, has_status, head_of, of_kind, seen_text, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.model import NG_PER_KG, Course
from batchdose.texts import say, say_many
from batchdose.words import said


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
        say("{problem} ({animals}: {tags}).", problem=refusal.message, tags=tags(members),
            animals=head_of(len(rows), str(members["mob"].iloc[0]))),
        refusal.fix,
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
        name, fix, unit = medicine.name, say("Ask the vet for another medicine."), context.session.weight_unit
        if medicine.min_weight_kg is not None:
            limit, light = label_weight_text(medicine.min_weight_kg, unit), lightest < float(medicine.min_weight_kg)
            message = say("{medicine} is not for animals below the label's {limit}", medicine=name, limit=limit)
            why = say("below the label's {limit}", limit=limit)
            refusal = _Refusal("outside-label-weight", "weight_text", message, fix, why)
            yield from _held(context, course, animals[light & (kilograms > 0)], refusal)
        if medicine.max_weight_kg is not None:
            limit, heavy = label_weight_text(medicine.max_weight_kg, unit), kilograms > float(medicine.max_weight_kg)
            message = say("{medicine} is not for animals above the label's {limit}", medicine=name, limit=limit)
            why = say("above the label's {limit}", limit=limit)
            refusal = _Refusal("outside-label-weight", "weight_text", message, fix, why)
            yield from _held(context, course, animals[heavy & (kilograms > 0)], refusal)


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
            say("{medicine} is not for animals so young", medicine=medicine.name),
            say("Wait, or ask the vet."),
            say("under the label's age"),
        )
        yield from _held(context, course, young, refusal)
        yield from _held(context, course, unknown, _Refusal("under-age", "born", *_age_unknown(medicine.name)))


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
        refusal = _Refusal(
            "over-age",
            "born",
            say("{medicine} is not for animals so old", medicine=medicine.name),
            say("Ask the vet for another medicine."),
            say("over the label's age"),
        )
        yield from _held(context, course, old, refusal)
        refusal = _Refusal("over-age", "born", *_age_unknown(medicine.name))
        yield from _held(context, course, animals[born.isna()], refusal)


def _age_unknown(medicine: str) -> tuple[str, str, str]:
    """Message, remedy and reason where the label asks for an age."""
    return (
        say("{medicine} asks for an age, and the date of birth is not on the sheet", medicine=medicine),
        say("Write the date under Born."),
        say("age not known, and the label asks for one"),
    )


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
                say("{medicine} is not for animals that are {status}", medicine=medicine.name, status=said(status)),
                say("Ask the vet for another medicine."),
                say("not for animals that are {status}", status=said(status)),
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
            what = {"product": said(product), "status": said(status)}
            for state, message, why in (
                ("not_permitted",
                 say("{medicine}: the withdrawal period for {product} is not permitted, and these animals are {status}",
                     medicine=medicine.name, **what),
                 say("{product} period not permitted, animal is {status}", **what)),
                ("not_stated",
                 say("{medicine}: the withdrawal period for {product} is not stated, and these animals are {status}",
                     medicine=medicine.name, **what),
                 say("{product} period not stated, animal is {status}", **what)),
            ):  # fmt: skip
                fix = say("Ask the vet for another medicine, or for a period.")
                refusal = _Refusal("product-not-permitted", "status", message, fix, why)
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
            say(
                "{medicine} is not for the last {days} days before birth",
                medicine=medicine.name,
                days=number_text(days),
            ),
            say("Wait until after the birth, or ask the vet."),
            say("due too soon, or due date not known"),
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
                message = say("{medicine}: {product} is never stated to be clear, after the date on the sheet",
                              medicine=medicine.name, product=said(product))  # fmt: skip
                if clear.at is not None:
                    what = {"medicine": medicine.name, "product": said(product), "day": date_text(clear.at.date())}
                    message = say("{medicine}: {product} is clear from {day}, after the date on the sheet", **what)
                    if clear.why == EARLIER:
                        message = say("{medicine}: {product} is clear from {day} after an earlier treatment, after the "
                                      "date on the sheet", **what)  # fmt: skip
                refusal = _Refusal(
                    "leaves-before-clear", field, message,
                    say("Change the date or do not treat; a reason under Give anyway lets a person decide."),
                    say("leaves before {product} is clear", product=said(product)), soft=True,
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
            yield Finding(
                Level.NOTE, "sold-before-clear", context.session.cell(rows[0], "sold_on"), "",
                say_many("{animals} are sold inside the withdrawal period of {medicine} ({tags}).",
                         "{animals} are sold inside the withdrawal period of {medicine} ({tags}).", len(rows),
                         animals=head_of(len(rows), mob), medicine=medicine.name, tags=tags(members)),
                say("Declare it to the buyer: meat clear from {day}.", day=date_text(clear.at.date()))
                if clear.at else say("Declare it to the buyer: meat not stated."),
            )  # fmt: skip
