"""Rules about what the animals were given before, as the client's treatment record has it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import partial

import pandas as pd

from batchdose.amounts import date_text
from batchdose.calculate.repeats import shortest_wait, too_soon
from batchdose.calculate.withdrawal import latest
from batchdose.check.context import Context, by_mob, head_of, of_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.model import Clear, Course, EarlierCourse, Medicine
from batchdose.texts import listed, mark_many, say, say_many
from batchdose.words import actives_of, said


def tag_of_two_animals(context: Context) -> Iterator[Finding]:
    """A tag on the weighing sheet stands for one animal of the treatment record.

    Passes: an EID beside the tag, or a tag that the record has once. Fails: a tag without EID that the record has with
    two EIDs, or for two species. Holds the animal, since nobody knows what it got before; nothing of it is clear.
    """
    if context.before is None:
        return
    for _, _, rows in _of_mobs(context, context.before.two_animals):
        yield _of_two_animals(context, rows)


def _of_two_animals(context: Context, rows: tuple[int, ...]) -> Finding:
    group = context.session.animals.loc[list(rows)]
    return Finding(
        Level.ERROR, "tag-of-two-animals", context.session.cell(rows[0], "tag"), str(group["tag"].iloc[0]),
        say("In the treatment record the tag is on two animals{of_mob} ({tags}).",
            of_mob=of_mob(str(group["mob"].iloc[0])), tags=tags(group)),
        say("Enter the EID on the weighing sheet; or give a reason under Give anyway."),
        Hold(say("its tag is on two animals in the treatment record"), rows, soft=True),
        again=partial(_of_two_animals, context),
    )  # fmt: skip


def tag_with_other_eid(context: Context) -> Iterator[Finding]:
    """A tag has the same EID on the weighing sheet as in the treatment record.

    Passes: tag 0412 with the EID of last time. Fails: tag 0412 with an EID that is not in the record, where the record
    has the tag with another one. It may be another animal, or the same with a new EID tag: what that animal got before
    is counted for it.
    """
    if context.before is None:
        return
    for mob, group, rows in _of_mobs(context, context.before.other_eid):
        yield Finding(
            Level.WARNING, "tag-with-other-eid", context.session.cell(rows[0], "eid"), str(group["eid"].iloc[0]),
            say("In the treatment record the tag has another EID{of_mob} ({tags}); what that animal was given is "
                "counted for this one too.", of_mob=of_mob(mob), tags=tags(group)),
            say("Compare the EID with the tag in the ear."),
        )  # fmt: skip


def needle_left_in(context: Context) -> Iterator[Finding]:
    """No broken needle is left in an animal.

    Passes: no needle broke, or it was released with a reason. Fails: a needle broke and was not released. The animal
    may be treated, but no product of it is called clear. Matters because the needle would end up in someone's meat.
    """
    if context.before is None:
        return
    for mob, group, rows in _of_mobs(context, context.before.needles):
        yield Finding(
            Level.WARNING, "needle-left-in", context.session.cell(rows[0], "tag"), "",
            say("A needle broke in {tags}{of_mob} at an earlier treatment and was not released.",
                tags=tags(group), of_mob=of_mob(mob)),
            say("Nothing of it may go. When it is dealt with: batchdose release RECORD --row ROW --reason ..."),
        )  # fmt: skip


def given_too_soon(context: Context) -> Iterator[Finding]:
    """A medicine, or its active, is not given again too soon.

    Passes: given on 1 June, and again on 29 June. Fails: given on 1 June and planned for the same day, or before the
    time on the medicine's row is over (`Repeat after`, else `Every`, else a day). Holds the animal from it. Matters
    because the animal gets a double dose.
    """
    for course, medicine, animals in context.each():
        wait = shortest_wait(medicine.repeat_after_hours, medicine.every_hours)
        found: dict[tuple[str, str, str], list[int]] = {}
        for row, earlier in _of_course(context, medicine, animals):
            last = _too_near(course, earlier, wait)
            if last is not None:
                found.setdefault((str(animals.at[row, "mob"]), earlier.medicine, date_text(last)), []).append(row)
        for (_, name, day), rows in found.items():
            yield _held_for(context, course, (name, day), tuple(dict.fromkeys(rows)))


def _too_near(course: Course, earlier: EarlierCourse, wait_hours: Fraction) -> datetime | None:
    """The last earlier dose that lies too near to one of this course."""
    near = [given.at for given in earlier.given if any(too_soon(given, m, wait_hours) for m in course.moments)]
    return near[-1] if near else None


def _held_for(context: Context, course: Course, of: tuple[str, str], rows: tuple[int, ...]) -> Finding:
    (name, day), medicine = of, context.medicines[course.medicine]
    group = context.session.animals.loc[list(rows)]
    return Finding(
        Level.ERROR, "given-too-soon", context.session.cell(rows[0], "tag"), day,
        say_many("{medicine} is planned for {planned}, and {animals} had {earlier} on {day} ({tags}).",
                 "{medicine} is planned for {planned}, and {animals} had {earlier} on {day} ({tags}).", len(rows),
                 medicine=medicine.name, planned=date_text(course.moments[0].at), earlier=name, day=day,
                 animals=head_of(len(rows), str(group["mob"].iloc[0])), tags=tags(group)),
        say("Leave them out, or plan a later day; a reason under Give anyway lets a person decide."),
        Hold(say("given already on {day}", day=day), rows, (course.medicine,), (course.number,), soft=True),
        again=partial(_held_for, context, course, of),
    )  # fmt: skip


def course_still_running(context: Context) -> Iterator[Finding]:
    """A course that was begun is finished before another with the same active begins.

    Passes: all doses of the earlier course are recorded, or the days of those that are left are over. Fails: two of
    three doses are recorded, and this job begins before the third is due.
    """
    for course, medicine, animals in context.each():
        first = course.moments[0].at
        found: dict[tuple[str, str, str], list[int]] = {}
        for row, earlier in _of_course(context, medicine, animals):
            left = earlier.doses - len(earlier.given)
            if left > 0 and earlier.given and first <= _end(earlier, left):
                counts = say("{n} of {all}", n=len(earlier.given), all=earlier.doses)
                found.setdefault((str(animals.at[row, "mob"]), earlier.medicine, counts), []).append(row)
        for (mob, name, seen), rows in found.items():
            yield Finding(
                Level.WARNING, "course-still-running", context.session.cell(rows[0], "tag"), seen,
                say("{medicine} is planned while a course of {earlier} is not finished: {animals} ({tags}).",
                    medicine=medicine.name, earlier=name, animals=head_of(len(rows), mob),
                    tags=tags(context.session.animals.loc[rows])),
                say("Finish that course on its own sheet, or ask the prescriber."),
            )  # fmt: skip


def _end(earlier: EarlierCourse, left: int) -> datetime:
    """When the last of the doses that are left is due: midnight after its day."""
    due = earlier.given[-1].at + timedelta(hours=float((earlier.every_hours or 24) * left))
    return due.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)


def same_active_running(context: Context) -> Iterator[Finding]:
    """An active is not given again while its withdrawal period runs, unless the prescriber says what then holds.

    Passes: meat clear on 15 June, given again on 16 June. Fails: given again on 14 June, or too soon by decision. The
    clear-from of that product is then not stated until the prescriber gives a period: the label's is for one treatment.
    """
    for course, medicine, animals in context.each():
        wait = shortest_wait(medicine.repeat_after_hours, medicine.every_hours)
        found: dict[tuple[str, tuple[str, ...]], list[int]] = {}
        for row, earlier in _of_course(context, medicine, animals):
            near = _too_near(course, earlier, wait) is not None
            if products := _not_over(earlier, course.moments[0].at, always=near):
                found.setdefault((earlier.medicine, products), []).append(row)
        for (name, products), rows in found.items():
            which = tuple(dict.fromkeys(rows))
            yield Finding(
                Level.WARNING, "same-active-running", context.session.cell(which[0], "tag"), name,
                say("{medicine} is planned while the withdrawal period of {earlier} runs for {products}: "
                    "{n} ({tags}).", medicine=medicine.name, earlier=name, products=listed(map(said, products)),
                    n=len(which), tags=tags(context.session.animals.loc[list(which)])),
                say("Ask the prescriber; it is not called clear until the prescriber gives a withdrawal period."),
                no_clear=Hold(say("the same active is given more than once"), which, products=products),
            )  # fmt: skip


def _not_over(earlier: EarlierCourse, first: datetime, *, always: bool) -> tuple[str, ...]:
    """Products whose clear-from after an earlier course lies behind a moment; all of them where it is too soon."""
    clears = earlier.clears.items()
    return tuple(p for p, c in clears if always or (c.at is not None and c.at.astimezone(UTC) > first.astimezone(UTC)))


def still_not_clear(context: Context) -> Iterator[Finding]:
    """What runs from earlier treatments is counted, and it is said which.

    Only a note, one line for each mob and product. It is a warning where an animal that gets nothing today leaves, or
    its milk is sold, before it is clear.
    """
    for product in context.running:
        clears = context.before.clears[product] if context.before else {}
        for (mob, early, _), shown in _alike(context, product, clears).items():
            until = latest(clears[row] for row in shown)
            members = context.session.animals.loc[shown]
            yield Finding(
                Level.WARNING if early else Level.NOTE, "still-not-clear", context.session.cell(shown[0], "tag"),
                product,
                say_many(*_NOT_CLEAR[until.at is not None, early], len(shown), animals=head_of(len(shown), mob),
                         product=said(product), day=date_text(until.at) if until.at else "", why=until.why,
                         tags=tags(members)),
                say("Change the date on the sheet.") if early else say("Keep them back until then."),
            )  # fmt: skip


#: What is said of animals that are not clear, by whether the day is known and whether they leave before it.
_NOT_CLEAR = {
    (True, False): mark_many("By the treatment record {animals} is not clear for {product}, until {day} ({tags}).",
                             "By the treatment record {animals} are not clear for {product}, until {day} ({tags})."),
    (True, True): mark_many("By the treatment record {animals} is not clear for {product}, until {day}, though their "
                            "date on the sheet is before that ({tags}).",
                            "By the treatment record {animals} are not clear for {product}, until {day}, though their "
                            "date on the sheet is before that ({tags})."),
    (False, False): mark_many("By the treatment record {animals} is not clear for {product}, and it is not stated "
                              "until when ({why}) ({tags}).",
                              "By the treatment record {animals} are not clear for {product}, and it is not stated "
                              "until when ({why}) ({tags})."),
    (False, True): mark_many("By the treatment record {animals} is not clear for {product}, and it is not stated until "
                             "when ({why}), though their date on the sheet is before that ({tags}).",
                             "By the treatment record {animals} are not clear for {product}, and it is not stated "
                             "until when ({why}), though their date on the sheet is before that ({tags})."),
}  # fmt: skip


def _alike(
    context: Context, product: str, clears: Mapping[int, Clear]
) -> dict[tuple[str, bool, str], list[int]]:  # fmt: skip
    """Animals of one mob for which the same is to be said: whether they leave too early, and why it is not stated."""
    found: dict[tuple[str, bool, str], list[int]] = {}
    for mob, _, rows in _of_mobs(context, clears):
        for row in rows:
            clear = clears[row]
            why = "" if clear.state == "from" else clear.why
            found.setdefault((mob, _leaves_early(context, product, row, clear), why), []).append(row)
    return found


def _leaves_early(context: Context, product: str, row: int, clear: Clear) -> bool:
    """Whether an animal that gets nothing has a date on the sheet that lies before it is clear."""
    field = {"meat": "slaughter_on", "milk": "first_milk_sold"}.get(product)
    at = context.session.animals.at[row, field] if field else None
    if not isinstance(at, datetime) or pd.isna(at) or any(row in rows for rows in context.given.values()):
        return False
    return clear.at is None or at.astimezone(UTC) < clear.at.astimezone(UTC)


def _of_course(
    context: Context, medicine: Medicine, animals: pd.DataFrame
) -> Iterator[tuple[int, EarlierCourse]]:  # fmt: skip
    """Animals with each of their earlier courses that share an active with a medicine."""
    if context.before is None or not context.before.courses:
        return
    actives, here = actives_of(medicine.active, medicine.name), set(map(int, animals.index))
    for earlier in context.before.courses:
        if earlier.row in here and earlier.actives & actives:
            yield earlier.row, earlier


def _of_mobs(context: Context, which: Iterable[int]) -> Iterator[tuple[str, pd.DataFrame, tuple[int, ...]]]:
    animals = context.session.animals
    yield from by_mob(animals[animals.index.isin(list(which))])
