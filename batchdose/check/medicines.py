"""Rules about the medicines that are to be used."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from batchdose.amounts import amount_text, date_text
from batchdose.calculate.rates import RatesDisagreeError, bands_agree, limits
from batchdose.check.context import Context, has_status, listed
from batchdose.findings import Finding, Hold, Level
from batchdose.words import STATUS, TYPES, same_name, words


def label_field_missing(context: Context) -> Iterator[Finding]:
    """The species and the route of a medicine are on its row.

    Passes: species "sheep", route "SC". Fails: either one empty. Matters because a dose holds only for
    the kind of animal and the way of giving it that the label names.
    """
    for index in context.used:
        medicine = context.medicines[index]
        for name, value in (("species", medicine.species), ("route", medicine.route)):
            if not value:
                yield Finding(
                    Level.ERROR, "label-field-missing", context.cell(medicine, name), "",
                    f"The {name} of {medicine.name} is not stated.", f"Copy the {name} from the label.",
                    Hold(f"the {name} of the medicine is not stated", medicines=(index,)),
                )  # fmt: skip


def label_word_unknown(context: Context) -> Iterator[Finding]:
    """The type of a medicine and the words under `Not for` are ones the program can act on.

    Passes: antibiotic; not for: in milk, pregnant. Fails: "wurmer"; "not for: milkers". Matters because a
    word that is not understood keeps nothing back: somebody must look.
    """
    animals = context.session.animals
    known = set(STATUS.values()) | {w for name in ("kind", "sex") for text in animals[name] for w in words(text)}
    for index in context.used:
        medicine = context.medicines[index]
        strange = sorted(medicine.not_for - known)
        for field, seen in (("not_for", "; ".join(strange)), ("type", medicine.type)):
            if seen and (field == "not_for" or seen not in TYPES.values()):
                yield Finding(
                    Level.WARNING, "label-word-unknown", context.cell(medicine, field), seen,
                    f"{medicine.name}: the words under {field.replace('_', ' ').capitalize()} are not known here, so "
                    "they hold no animal back.", "Use the words of the docs, or keep those animals out yourself.",
                )  # fmt: skip


def rates_disagree(context: Context) -> Iterator[Finding]:
    """The label figures of a medicine agree, and one rate is chosen.

    Passes: 1 mL/50 kg (0.2 mg/kg) with 10 mg/mL. Fails: the same with 1 mg/mL; a highest rate below the
    rate; a range of which none is chosen; a daily rate given in doses that are not 24 h apart. Matters
    because one of the figures is wrong by as much as they differ.
    """
    for course, medicine, _ in context.each():
        if not medicine.bands and medicine.rate is None and course.chosen_rate is None:
            continue
        try:
            bands_agree(medicine)
            if not medicine.bands:
                limits(medicine, course.chosen_rate)
        except RatesDisagreeError as error:
            yield Finding(
                Level.ERROR, "rates-disagree", context.cell(medicine, "dose_rate"),
                medicine.rate.text if medicine.rate else "", f"{medicine.name}: {error}.",
                "Compare with the label; the choice within a range is the prescriber's (Chosen rate on Treatments).",
                Hold(f"label figures: {error}", medicines=(course.medicine,), courses=(course.number,)),
            )  # fmt: skip


def interval_missing(context: Context) -> Iterator[Finding]:
    """A course of several doses states the time between them.

    Passes: 3 doses every 24 h. Fails: 3 doses, interval empty. Matters for the dates and the withdrawal
    period, which runs from the last dose.
    """
    for index in context.used:
        medicine = context.medicines[index]
        if medicine.doses > 1 and medicine.every_hours is None:
            yield Finding(
                Level.ERROR, "interval-missing", context.cell(medicine, "every"), "",
                f"{medicine.name} is given {medicine.doses} times, but the interval is not stated.",
                "Write the interval from the label under Every, for example 24 h.",
                Hold("the interval between doses is not stated", medicines=(index,)),
            )  # fmt: skip


def graduation_missing(context: Context) -> Iterator[Finding]:
    """The step between two marks of the device is on the sheet.

    Passes 0.1 mL. Fails: empty; then a usual step is taken and this warning says which. Matters because
    a dose between two marks of the real device cannot be set.
    """
    for index in context.used:
        medicine = context.medicines[index]
        if not medicine.graduation_given and medicine.unit in ("mL", "g_product"):
            step = amount_text(medicine.graduation, medicine.unit)
            yield Finding(
                Level.WARNING, "graduation-missing", context.cell(medicine, "graduation"), "",
                f"No graduation is stated for {medicine.name}; marks of {step} are assumed.",
                "Look at the syringe or gun and write its step under Graduation.",
            )  # fmt: skip


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
                f"{medicine.name} is used off its label, but no prescriber is named.",
                "Enter the prescriber and the withdrawal periods the prescriber set.",
                Hold("off label without a prescriber", medicines=(index,)),
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
                f"{medicine.name} is an antibiotic and set to be dosed by {medicine.dose_by}, "
                "without a prescriber and a reason.",
                "Dose each animal by its weight, or enter the prescriber and the reason.",
                Hold("antibiotic by mob without prescriber and reason", None, (course.medicine,), (course.number,)),
            )  # fmt: skip


def medicine_expired(context: Context) -> Iterator[Finding]:
    """A medicine, or some pack of it in stock, is in date on the last day of the course.

    Passes: expiry 2027-03 for a course in 2026. Fails: expiry before the last dose. Matters because an
    expired medicine may not work and its withdrawal period no longer holds.
    """
    for course, medicine, _ in context.each():
        last = course.moments[-1].at.date()
        packs = [p for p in context.stock if p.medicine == same_name(medicine.name)]
        dates = [p.expiry for p in packs] if packs else [medicine.expiry]
        past = [day for day in dates if day is not None and day < last]
        if past and len(past) == len(dates):
            where = packs[0].where if packs else context.cell(medicine, "expiry")
            yield Finding(
                Level.ERROR, "medicine-expired", where, f"{max(past)}",
                f"{medicine.name} expires on {date_text(max(past))}, before the last dose on {date_text(last)}.",
                "Do not use it; get stock that is in date.",
                Hold("the medicine is past its expiry", medicines=(course.medicine,), courses=(course.number,)),
            )  # fmt: skip


def batch_expired(context: Context) -> Iterator[Finding]:
    """Every batch in stock of a medicine in use is in date on the last day of the course.

    Passes: all of them. Fails: one batch past its expiry while others are in date: it is not planned. Matters
    because the bottle still stands in the store beside the good ones.
    """
    for course, medicine, _ in context.each():
        last = course.moments[-1].at.date()
        packs = [p for p in context.stock if p.medicine == same_name(medicine.name)]
        past = [p for p in packs if p.expiry is not None and p.expiry < last]
        if past and len(past) < len(packs):
            batches = listed(pack.batch_no or "without number" for pack in past)
            yield Finding(
                Level.WARNING, "batch-expired", past[0].where, f"{max(p.expiry for p in past if p.expiry)}",
                f"Batch {batches} of {medicine.name} is past its expiry and is not planned.",
                "Take it out of the store and hand it back for disposal.",
            )  # fmt: skip


def opened_left_unknown(context: Context) -> Iterator[Finding]:
    """An opened pack says how much is left in it.

    Passes: opened on 1 March, left 60 mL. Fails: opened, and nothing under Left: it is not counted on.
    Matters because the job would stop half way.
    """
    names = {same_name(context.medicines[index].name) for index in context.used}
    for pack in context.stock:
        if pack.medicine in names and pack.opened_on is not None and pack.left is None:
            yield Finding(
                Level.WARNING, "opened-left-unknown", pack.where, f"{pack.opened_on}",
                "This pack is opened, but how much is left is not written, so it is not counted on.",
                "Write what is left under Left.",
            )  # fmt: skip


def device_too_large(context: Context) -> Iterator[Finding]:
    """The device is not larger than the largest that the label allows.

    Passes: a 2 mL syringe for "largest device 2 mL". Fails: a 20 mL gun there. Matters because a large device
    cannot be set to a small dose.
    """
    for index in context.used:
        medicine = context.medicines[index]
        size, limit = medicine.device_size, medicine.largest_device
        if size is not None and limit is not None and size > limit:
            largest = amount_text(limit, medicine.unit)
            yield Finding(
                Level.ERROR, "device-too-large", context.cell(medicine, "device_size"), medicine.device,
                f"The label of {medicine.name} allows a device of {largest} at most.",
                "Use a smaller syringe or gun, and write its size and graduation.",
                Hold(f"the device is larger than the label's {largest}", medicines=(index,)),
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
                    f"When {product} may be used again after {medicine.name} is not known: {clear.why}.",
                    f"Do not use the {product} until the label or the prescriber gives a period.",
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
                f"{len(both)} animal{'s get' if len(both) > 1 else ' gets'} the same active more than once ({names}).",
                "Ask the prescriber; nothing is called clear until the prescriber gives a withdrawal period.",
                no_clear=Hold("the same active is given more than once", both),
            )  # fmt: skip
