"""Rules about the figures and words copied from the labels."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from itertools import pairwise

from batchdose.amounts import amount_text, label_weight_text, number_text
from batchdose.calculate.rates import RatesDisagreeError, bands_agree, limits
from batchdose.check.context import Context
from batchdose.findings import Finding, Hold, Level
from batchdose.model import Medicine
from batchdose.texts import Text, both, of_error, say
from batchdose.words import MALE, STATUS, TYPES, nearly_status, same_name, says_nothing, singular, words

#: A rate this many times that of another row of the same medicine is taken for a slip.
SLIP = 10


def label_field_missing(context: Context) -> Iterator[Finding]:
    """The species and the route of a medicine are on its row.

    Passes: species "sheep", route "SC". Fails: either one empty. Matters because a dose holds only for
    the kind of animal and the way of giving it that the label names.
    """
    for index in context.used:
        medicine = context.medicines[index]
        if not medicine.species:
            yield Finding(
                Level.ERROR, "label-field-missing", context.cell(medicine, "species"), "",
                say("The species of {medicine} is not stated.", medicine=medicine.name),
                say("Copy the species from the label."),
                Hold(say("the species of the medicine is not stated"), medicines=(index,)),
            )  # fmt: skip
        if not medicine.route:
            yield Finding(
                Level.ERROR, "label-field-missing", context.cell(medicine, "route"), "",
                say("The route of {medicine} is not stated.", medicine=medicine.name),
                say("Copy the route from the label."),
                Hold(say("the route of the medicine is not stated"), medicines=(index,)),
            )  # fmt: skip


def label_word_unknown(context: Context) -> Iterator[Finding]:
    """The type of a medicine and the words under `Not for` are ones the program can act on.

    Passes: antibiotic; not for: in milk, pregnant ewes, lambs (where the column Class says which are). Warned of:
    "wurmer"; "not for: thin animals", which keep nothing back. Fails: "in mlik", "last month of pregnancy", "#N/A": a
    word that nearly is or contains a status, or a class of animals here, or no value. It holds the medicine. Matters
    because somebody must look who is meant.
    """
    classes = _classes(context)
    for index in context.used:
        medicine = context.medicines[index]
        if medicine.type and medicine.type not in TYPES.values():
            message = say("{medicine}: the words under Type are not known here, so they hold no animal back.",
                          medicine=medicine.name)  # fmt: skip
            yield _not_acted_on(context, medicine, "type", medicine.type, message)
        strange = sorted(
            word for word in medicine.not_for - set(STATUS.values())
            if singular(word) not in classes and not says_nothing(word)
        )  # fmt: skip
        meant = {word: near for word in strange if (near := _nearly(word, classes))}
        if meant:
            yield _asked_about(context, index, meant)
        if rest := [word for word in strange if word not in meant]:
            message = say("{medicine}: the words under Not for are not known here, so they hold no animal back.",
                          medicine=medicine.name)  # fmt: skip
            yield _not_acted_on(context, medicine, "not_for", "; ".join(rest), message)


def _classes(context: Context) -> set[str]:
    """Classes and sexes of the animals here, in the singular, also by their last word: a ewe lamb is a lamb."""
    animals = context.session.animals
    every = {singular(w) for name in ("kind", "sex") for text in animals[name].unique() for w in words(text)}
    return every | {kind.split()[-1] for kind in every} | ({"male"} if every & MALE else set())


def _nearly(word: str, classes: set[str]) -> str:
    """What an unknown word under `Not for` may mean: a status, a class of animals here, or the value of a formula."""
    if word.startswith("#") or word == "a formula":  # as the reading shows cells without a value
        return say("the value that the formula should give")
    parts = [part for part in map(singular, word.split()) if part in classes and len(part) > 1]
    close = get_close_matches(singular(word), classes, n=1, cutoff=0.8)
    return nearly_status(word) or next(iter(parts + close), "")


def _asked_about(context: Context, index: int, meant: dict[str, str]) -> Finding:
    medicine = context.medicines[index]
    seen = "; ".join(meant)
    return Finding(
        Level.ERROR, "label-word-unknown", context.cell(medicine, "not_for"), seen,
        say("{medicine}: who is meant by these words under Not for is not clear.", medicine=medicine.name),
        say("Write {words} if that is meant, or list those animals as a class.",
            words=both(dict.fromkeys(meant.values()))),
        Hold(say('"not for {words}" is not understood', words=seen), medicines=(index,)),
    )  # fmt: skip


def _not_acted_on(context: Context, medicine: Medicine, field: str, seen: str, message: Text) -> Finding:
    return Finding(
        Level.WARNING, "label-word-unknown", context.cell(medicine, field), seen, message,
        say("Use the words of the docs, or keep those animals out yourself."),
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
                medicine.rate.text if medicine.rate else "",
                say("{medicine}: {problem}.", medicine=medicine.name, problem=of_error(error)),
                say("Compare with the label; the choice within a range is the prescriber's (Chosen rate on "
                    "Treatments)."),
                Hold(say("label figures: {problem}", problem=of_error(error)), medicines=(course.medicine,),
                     courses=(course.number,)),
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
                say("{medicine} is given {n} times, but the interval is not stated.", medicine=medicine.name,
                    n=medicine.doses),
                say("Write the interval from the label under Every, for example 24 h."),
                Hold(say("the interval between doses is not stated"), medicines=(index,)),
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
                say("No graduation is stated for {medicine}; marks of {step} are assumed.", medicine=medicine.name,
                    step=step),
                say("Look at the syringe or gun and write its step under Graduation."),
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
                say("The label of {medicine} allows a device of {largest} at most.", medicine=medicine.name,
                    largest=largest),
                say("Use a smaller syringe or gun, and write its size and graduation."),
                Hold(say("the device is larger than the label's {largest}", largest=largest), medicines=(index,)),
            )  # fmt: skip


def rate_unlike_other_rows(context: Context) -> Iterator[Finding]:
    """The rows of one medicine have rates of one order of magnitude.

    Passes: 0.2 mg/kg for sheep and 0.3 mg/kg for pigs. Fails: 0.2 mg/kg for sheep and 2 mg/kg for cattle. Holds the
    medicine, since the sheet does not say which row has slipped. Matters because that is ten times the dose.
    """
    for index in context.used:
        medicine = context.medicines[index]
        own = _product_per_kg(medicine)
        for other in context.medicines:
            rate = _product_per_kg(other) if same_name(other.name) == same_name(medicine.name) else None
            if own is None or rate is None or other.unit != medicine.unit or max(own, rate) < SLIP * min(own, rate):
                continue
            yield Finding(
                Level.ERROR, "rate-unlike-other-rows", context.cell(medicine, "dose_rate"),
                medicine.rate.text if medicine.rate else "",
                say("{medicine}: the rates of the rows {row} and {other} are {times} times apart.",
                    medicine=medicine.name, row=medicine.row, other=other.row,
                    times=number_text(max(own, rate) / min(own, rate))),
                say("Compare both with the label; look for a slipped point or another unit."),
                Hold(say("its rate is ten times that of another row of the same medicine, or more"),
                     medicines=(index,)),
            )  # fmt: skip
            break


def _product_per_kg(medicine: Medicine) -> float | None:
    """Product for a kilogram bodyweight at the label rate; None where there is none, or its figures disagree."""
    if medicine.bands or medicine.rate is None or medicine.rate.per != "kg":
        return None
    try:
        return float(limits(medicine, medicine.rate if not medicine.rate.range_given else None).label)
    except RatesDisagreeError:
        return None


def dose_bands_apart(context: Context) -> Iterator[Finding]:
    """The weight bands of a medicine follow each other: none is left out between them, and none lie over each other.

    Passes: up to 25 kg, 25 to 50 kg, over 50 kg. Fails: to 25 kg and from 26 kg; to 30 kg and from 25 kg. Nobody is
    held but animals whose weight lies there. Matters because a scale shows weights between whole kilograms.
    """
    for index in context.used:
        medicine = context.medicines[index]
        for lower, upper in pairwise(medicine.bands):
            if lower.to_kg == upper.from_kg:
                continue
            over = lower.to_kg is None or lower.to_kg > upper.from_kg
            unit = context.session.weight_unit
            end = say("no upper end") if lower.to_kg is None else label_weight_text(lower.to_kg, unit)
            what = {"medicine": medicine.name, "end": end, "begin": label_weight_text(upper.from_kg, unit)}
            yield Finding(
                Level.WARNING, "dose-bands-apart", upper.where or medicine.where, "",
                say("{medicine}: the band below ends at {end}, this one begins at {begin}, so weights between lie "
                    "in two bands, and such animals are held.", **what) if over else
                say("{medicine}: the band below ends at {end}, this one begins at {begin}, so weights between lie "
                    "in none, and such animals are held.", **what),
                say("Compare with the label, and write both ends so that they meet."),
            )  # fmt: skip
