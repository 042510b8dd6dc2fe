"""Rules about the doses that were worked out: what is over the label, what no mark suits, what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import pandas as pd

from batchdose.amounts import amount_text, number_text, weight_text
from batchdose.calculate.needles import propose
from batchdose.calculate.rates import RatesDisagreeError, limit_per_unit
from batchdose.check.context import Context, head_of, of_mob, tags
from batchdose.findings import Finding, Level
from batchdose.model import Assurance, Medicine, MobPlan, Pack, ProductPlan
from batchdose.texts import say, say_many
from batchdose.words import same_name


def dose_over_label(context: Context, treatments: pd.DataFrame) -> Iterator[Finding]:
    """Rounding to a mark (or dosing to the heaviest) stays within 10 % of the label rate.

    Passes: 0.83 mL given as 0.9 mL. Fails: 0.23 mL given as 0.3 mL, where the sheet has no highest rate.
    One line for each mob. The limit of 10 % is this program's, not the label's; more than twice is held.
    """
    over = treatments[treatments["over"] & treatments["target"].notna()]
    if over.empty:
        return
    heads = treatments["head"][~treatments["held"]].groupby([treatments["medicine"], treatments["mob"]]).sum()
    for key, group in over.groupby(["medicine", "mob"], sort=False):
        index, mob = _pair(key)
        medicine = context.medicines[index]
        excess = (group["dose"] / group["target"] - 1) * 100
        low, high = number_text(float(excess.min()), 0), number_text(float(excess.max()), 0)
        ends = say("{share} %", share=low) if low == high else say("{low} to {high} %", low=low, high=high)
        head, of_all = int(group["head"].sum()), int(heads[index, mob])
        yield Finding(
            Level.WARNING, "dose-over-label", context.session.cell(int(group["animal"].iloc[0]), "weight"), "",
            say_many("{n} of {all}{of_mob} get {medicine} {excess} over the label rate.",
                     "{n} of {all}{of_mob} get {medicine} {excess} over the label rate.", head,
                     n=head, all=of_all, of_mob=of_mob(mob), medicine=medicine.name, excess=ends),
            say("The limit of 10 % is this program's, not the label's; a finer device ends it.")
            if medicine.dose_by == "animal" else
            say("The limit of 10 % is this program's, not the label's; a finer device, or more weight groups, ends "
                "it."),
        )  # fmt: skip


def _given(treatments: pd.DataFrame) -> pd.DataFrame:
    """What is given, with the columns that these rules look at; the whole table may be large."""
    return treatments.loc[~treatments["held"], ["medicine", "animal", "tag", "mob", "head", "dose"]]


def _pair(key: Any) -> tuple[int, str]:
    return int(key[0]), str(key[1])


def no_mark_allowed(context: Context, treatments: pd.DataFrame, told: set[str]) -> Iterator[Finding]:
    """A mark of the device lies between the lowest and the highest dose of each animal.

    Passes: 0.83 mL on a device of 0.1 mL. Fails: 0.04 mL there. The animal is held, and the coarsest
    graduation that would do is named. One line for each reason and mob.
    """
    held = treatments[treatments["held"]].assign(reason=lambda t: [row[0] for row in t["why"]])
    # A column of texts forgets what they were made from.
    reasons = {row[0]: row[0] for row in held["why"]}
    for key, group in held.groupby(["medicine", "mob", "reason"], sort=False):
        (index, mob), reason = _pair(key), reasons[key[2]]
        if reason in told:
            continue
        medicine, head = context.medicines[index], int(group["head"].sum())
        yield Finding(
            Level.ERROR, "no-mark-allowed", context.session.cell(int(group["animal"].iloc[0]), "weight"), "",
            say_many("{medicine}: {animals} held ({tags}): {reason}.", "{medicine}: {animals} held ({tags}): {reason}.",
                     head, medicine=medicine.name, animals=head_of(head, mob), tags=tags(group), reason=reason),
            say("Compare the weight with the bands of the label.") if "dose band" in reason
            else say("Use a device with finer marks, or more weight groups."),
        )  # fmt: skip


def stock_short(
    medicines: Sequence[Medicine], product: Sequence[ProductPlan], stock: Sequence[Pack]
) -> Iterator[Finding]:
    """The stock that is in date covers the product to draw.

    Passes: 250 mL in stock for 230 mL. Fails: 200 mL. Matters because the job would stop half way.
    """
    for plan in product:
        if plan.stock_known and plan.short:
            medicine = medicines[plan.rows[0]]
            where = next(p.where for p in stock if p.medicine == same_name(plan.medicine) and p.unit == plan.unit)
            yield Finding(
                Level.WARNING, "stock-short", where, "",
                say("{amount} of {medicine} are missing from the stock that is in date.",
                    amount=amount_text(plan.short, plan.unit), medicine=medicine.name),
                say("Get what is listed as to buy before you start."),
            )  # fmt: skip


def dose_may_be_under(context: Context, ranges: Iterable[Assurance]) -> Iterator[Finding]:
    """What an animal may really get, by the errors of scale and device, is not under the lowest rate of the sheet.

    Passes: 0.19 mg/kg at worst for a lowest rate of 0.18. Fails: 0.17. Nobody is held; only where the sheet has a
    lowest rate, and the session the step of the scale. Matters because a low dose breeds resistance.
    """
    for found in ranges:
        medicine = context.medicines[found.medicine]
        lowest = medicine.lowest or (medicine.rate if medicine.rate and medicine.rate.range_given else None)
        if lowest is None or lowest.per != "kg":
            continue
        try:
            rate = limit_per_unit(lowest, medicine.strength, medicine.unit, end="low")
        except RatesDisagreeError:
            continue
        limit = float(rate * (medicine.strength.amounts[0] if medicine.strength else 1))
        if found.low < limit:
            draft = say(", weight group {draft}", draft=found.draft) if found.draft else ""
            yield Finding(
                Level.WARNING, "dose-may-be-under", context.cell(medicine, "lowest_rate"), lowest.text,
                say("{medicine}{of_mob}{draft}: some may get as little as {low} {unit}, likely no less than {likely}; "
                    "the lowest rate is {lowest} ({parts}).", medicine=medicine.name, of_mob=of_mob(found.mob),
                    draft=draft, low=number_text(found.low), unit=found.unit, likely=number_text(found.likely_low),
                    lowest=lowest.text, parts=found.parts),
                say("A finer scale or device ends it, or a rate further from the lowest."),
            )  # fmt: skip


def mob_spread_wide(context: Context, mobs: Iterable[MobPlan]) -> Iterator[Finding]:
    """Within one setting, the lightest animal gets no more than twice its own dose.

    Passes: 25 to 50 kg in one draft. Fails: 24 to 50 kg. Nobody is held by this rule. Source of the limit: Hybu Cig
    Cymru (Meat Promotion Wales), correct dosage of sheep. Matters because the light ones are overdosed.
    """
    for plan in mobs:
        medicine = context.medicines[plan.medicine]
        wide = [draft for draft in plan.drafts if medicine.needs_weight and draft.to_kg > 2 * draft.from_kg > 0]
        if wide:
            unit = context.session.weight_unit
            yield Finding(
                Level.WARNING, "mob-spread-wide", context.cell(medicine, "dose_by"), medicine.dose_by,
                say("{medicine}{of_mob}: one setting is for {low} to {high}, so the lightest get more than twice "
                    "their dose.", medicine=medicine.name, of_mob=of_mob(plan.mob),
                    low=weight_text(wide[0].from_kg, unit, 1), high=weight_text(wide[0].to_kg, unit, 1)),
                say("Split the mob (Dose by: drafts), or allow more weight groups (Largest number of drafts on "
                    "Session)."),
            )  # fmt: skip


def dose_over_device(context: Context, treatments: pd.DataFrame) -> Iterator[Finding]:
    """A dose is not more than the device holds.

    Passes: 12 mL with a syringe of 20 mL. Fails: 80 mL with it. Nobody is held. Matters because a figure of the label
    may have slipped, or somebody needs a larger device.
    """
    for index, group in _given(treatments).groupby("medicine", sort=True):
        medicine = context.medicines[int(str(index))]
        size = medicine.device_size
        over = group[group["dose"] > float(size)] if size is not None else group.iloc[:0]
        if size is not None and len(over):
            largest, head = amount_text(float(over["dose"].max()), medicine.unit), int(over["head"].sum())
            yield Finding(
                Level.WARNING, "dose-over-device", context.cell(medicine, "device_size"), medicine.device,
                say_many("{medicine}: {n} get more than the device holds, which is {size}: up to {largest} ({tags}).",
                         "{medicine}: {n} get more than the device holds, which is {size}: up to {largest} ({tags}).",
                         head, medicine=medicine.name, n=head, size=amount_text(size, medicine.unit), largest=largest,
                         tags=tags(over)),
                say("Compare rate and strength with the label; else take a larger device, or fill it more than once."),
            )  # fmt: skip


def site_limit_not_stated(context: Context, treatments: pd.DataFrame) -> Iterator[Finding]:
    """A large injection has a limit for one place on its row.

    Passes: "max per site 10 mL" for 24 mL, which goes into three places. Fails: no limit, and a dose above what
    published guidance allows in one place (10 mL for cattle: Georgia beef quality assurance; 15 mL into muscle of
    sheep and goats: Small Ruminant Manual, C275). Nobody is held. Matters because it leaks and spoils meat.
    """
    for index, group in _given(treatments).groupby("medicine", sort=True):
        medicine = context.medicines[int(str(index))]
        if medicine.max_per_site is not None or medicine.unit != "mL":
            continue
        species = context.session.animals.loc[group["animal"].unique(), "species"].unique()
        found = [propose(str(kind), (), medicine.route) for kind in species]
        limits = [proposal.most_ml for proposal in found if proposal is not None and proposal.most_ml]
        over = group[group["dose"] > float(min(limits))] if limits else group.iloc[:0]
        if len(over):
            limit, head = amount_text(min(limits), "mL"), int(over["head"].sum())
            yield Finding(
                Level.WARNING, "site-limit-not-stated", context.cell(medicine, "max_per_site"), "",
                say_many("{medicine}: {n} get more than {limit} in one place, which is what published guidance allows "
                         "({tags}).", "{medicine}: {n} get more than {limit} in one place, which is what published "
                         "guidance allows ({tags}).", head, medicine=medicine.name, n=head, limit=limit,
                         tags=tags(over)),
                say("Copy the limit from the label under Max per site; the dose is then shared over several places."),
            )  # fmt: skip
