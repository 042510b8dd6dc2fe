"""Rules about the stock of the medicines that are to be used: expiry, opened packs."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from batchdose.amounts import date_text
from batchdose.check.context import Context
from batchdose.findings import Finding, Hold, Level
from batchdose.texts import listed, say
from batchdose.words import same_name


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
                say("{medicine} expires on {day}, before the last dose on {last}.", medicine=medicine.name,
                    day=date_text(max(past)), last=date_text(last)),
                say("Do not use it; get stock that is in date."),
                Hold(say("the medicine is past its expiry"), medicines=(course.medicine,), courses=(course.number,)),
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
            batches = listed(pack.batch_no or say("without number") for pack in past)
            yield Finding(
                Level.WARNING, "batch-expired", past[0].where, f"{max(p.expiry for p in past if p.expiry)}",
                say("Batch {batches} of {medicine} is past its expiry and is not planned.", batches=batches,
                    medicine=medicine.name),
                say("Take it out of the store and hand it back for disposal."),
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
                say("This pack is opened, but how much is left is not written, so it is not counted on."),
                say("Write what is left under Left."),
            )  # fmt: skip


def opened_too_long(context: Context) -> Iterator[Finding]:
    """An opened pack is within its in-use life on the last day of the course.

    Passes: opened on 1 March, use within 28 days, given on 14 March. Fails: given on 14 April: it is not planned.
    Matters because an opened bottle spoils, whatever its expiry.
    """
    for course, medicine, _ in context.each():
        last = course.moments[-1].at.date()
        for pack in (p for p in context.stock if p.medicine == same_name(medicine.name)):
            if pack.opened_on is None or pack.use_within_hours is None:
                continue
            until = pack.opened_on + timedelta(hours=float(pack.use_within_hours))
            if last > pack.opened_on and last >= until:
                yield Finding(
                    Level.WARNING, "opened-too-long", pack.where, f"{pack.opened_on}",
                    say("This pack of {medicine}, opened on {opened}, is past its in-use life on {last} and is not "
                        "planned.", medicine=medicine.name, opened=date_text(pack.opened_on), last=date_text(last)),
                    say("Take it out of the store and hand it back for disposal."),
                )  # fmt: skip
