"""Rules about the use of the medicines: off the label, by mob, withdrawal periods, the same active twice."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from batchdose.amounts import date_text
from batchdose.check.context import Context, has_status
from batchdose.findings import Finding, Hold, Level
from batchdose.texts import listed, say, say_many
from batchdose.words import said, same_name, words


def off_label_without_prescriber(context: Context) -> Iterator[Finding]:
    """A medicine used off its label names its prescriber.

    Passes: off label yes, prescriber "Vet 1". Fails: off label yes, prescriber empty. Matters because
    such use is lawful only on a vet's prescription, with the vet's own withdrawal period.
    """
    for index in context.used:
        medicine = context.medicines[index]
        if medicine.off_label and not medicine.prescriber:
            yield Finding(
                Level.ERROR, "off-label-without-prescriber", context.cell(medicine, "off_label"), "yes",
                say("{medicine} is used off its label, but no prescriber is named.", medicine=medicine.name),
                say("Enter the prescriber and the withdrawal periods the prescriber set."),
                Hold(say("off label without a prescriber"), medicines=(index,)),
            )  # fmt: skip


def antibiotic_by_mob(context: Context) -> Iterator[Finding]:
    """An antibiotic dosed by mob or draft has a prescriber and a reason.

    Passes: each animal by its own weight; or by drafts with prescriber and reason. Fails: by mob with
    neither. Matters because treating a whole group with an antibiotic is the prescriber's decision.
    """
    for course, medicine, _ in context.each():
        if (
            medicine.type == "antibiotic"
            and medicine.dose_by != "animal"
            and not (medicine.prescriber and course.reason)
        ):
            yield Finding(
                Level.ERROR, "antibiotic-by-mob", context.cell(medicine, "dose_by"), medicine.dose_by,
                say("{medicine} is an antibiotic and set to be dosed by mob, without a prescriber and a reason.",
                    medicine=medicine.name) if medicine.dose_by == "mob" else
                say("{medicine} is an antibiotic and set to be dosed by drafts, without a prescriber and a reason.",
                    medicine=medicine.name),
                say("Dose each animal by its weight, or enter the prescriber and the reason."),
                Hold(say("antibiotic by mob without prescriber and reason"), None, (course.medicine,),
                     (course.number,)),
            )  # fmt: skip


def withdrawal_not_stated(context: Context) -> Iterator[Finding]:
    """A withdrawal period is stated for meat, and for milk where an animal is in milk.

    Passes: 28 days; 0 days. Fails: empty, which is not zero. The dose is planned, but nothing is called
    clear for that product until the label or the prescriber gives a period.
    """
    for course, medicine, animals in context.each():
        in_milk = bool(has_status(animals, "in milk").any())
        for product in ("meat", "milk") if in_milk else ("meat",):
            clear = context.clear(course, product)
            if clear.state == "not_stated":
                yield Finding(
                    Level.WARNING, "withdrawal-not-stated", context.cell(medicine, f"withdrawal:{product}"), "",
                    say("When {product} may be used again after {medicine} is not known: {why}.",
                        product=said(product), medicine=medicine.name, why=clear.why),
                    say("Do not use the {product} until the label or the prescriber gives a period.",
                        product=said(product)),
                )  # fmt: skip


def same_active_twice(context: Context) -> Iterator[Finding]:
    """An animal gets each active substance in one course only.

    Passes: ivermectin and levamisole together. Fails: two products with ivermectin. Clear-from is then
    not stated until the prescriber gives a period, since the labels' periods were set for one of them.
    """
    groups = [(course, set(map(int, animals.index))) for course, _, animals in context.each()]
    for (one, of_one), (other, of_other) in combinations(groups, 2):
        both = tuple(sorted(of_one & of_other))
        actives = [
            set(words((m.active or m.name).replace("+", ";"))) for m in (context.medicines[one.medicine],
                                                                           context.medicines[other.medicine])
        ]  # fmt: skip
        shared = actives[0] & actives[1]
        if both and shared:
            names = listed(dict.fromkeys(context.medicines[c.medicine].name for c in (one, other)))
            what = context.medicines[one.medicine].active or context.medicines[one.medicine].name
            yield Finding(
                Level.WARNING, "same-active-twice", context.session.cell(both[0], "tag"), what,
                say_many("{n} animal gets the same active more than once ({medicines}).",
                         "{n} animals get the same active more than once ({medicines}).", len(both), n=len(both),
                         medicines=names),
                say("Ask the prescriber; nothing is called clear until the prescriber gives a withdrawal period."),
                no_clear=Hold(say("the same active is given more than once"), both),
            )  # fmt: skip


def given_twice_a_day(context: Context) -> Iterator[Finding]:
    """An animal gets a medicine once on a day.

    Passes: a line for its mob and one for its tag that say the same. Fails: two lines with different rates on one day,
    or a course that begins before another of the same medicine ends. Holds the animal from both. Matters because it
    would get two doses.
    """
    groups = [(course, medicine, set(map(int, animals.index))) for course, medicine, animals in context.each()]
    for (one, first, of_one), (other, second, of_other) in combinations(groups, 2):
        days = {moment.at.date() for moment in one.moments} & {moment.at.date() for moment in other.moments}
        both = tuple(sorted(of_one & of_other)) if days and same_name(first.name) == same_name(second.name) else ()
        if both:
            yield Finding(
                Level.ERROR, "given-twice-a-day", context.session.cell(both[0], "tag"), first.name,
                say_many("{n} head would get {medicine} twice on {day}, by two lines of treatment.",
                         "{n} head would get {medicine} twice on {day}, by two lines of treatment.", len(both),
                         n=len(both), medicine=first.name, day=date_text(min(days))),
                say("Leave one line for them: the one for the mob, or the one for the tag."),
                Hold(say("the medicine is planned twice on one day"), both, (one.medicine, other.medicine),
                     (one.number, other.number)),
            )  # fmt: skip
