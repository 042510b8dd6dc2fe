"""Rules about weights: within the species' limits, in line with the mob and with the last weighing, not too old."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from functools import cache, partial
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd

from batchdose.amounts import weight_text
from batchdose.calculate.part_weighed import others_of
from batchdose.check.context import Context, by_mob, head_of, of_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.model import NG_PER_KG
from batchdose.texts import Text, say, say_many
from batchdose.words import said

#: Out of line with its mob: more than this many MAD and this share off the median, in mobs of ten and more.
MADS_OFF, SHARE_OFF, SMALLEST_MOB = 5, 0.25, 10
#: Changed since the last weighing: this share within so many days is asked about. The limits are the program's.
SHARE_CHANGED, DAYS_CHANGED = 0.25, 30
#: Half or twice the last weight is held: a gain only within so many days, for young animals grow.
DAYS_DOUBLED = 60
#: A weight older than this is told, unless the session gives another number of days (`Oldest weight`).
OLDEST_WEIGHT_DAYS = 30
_KG_PER_LB = 0.45359237


@cache
def weight_limits_kg() -> dict[str, tuple[float, float]]:
    """Lowest and highest plausible weight [kg] by species (`batchdose/data/weight_limits.csv`)."""
    text = (files("batchdose") / "data" / "weight_limits.csv").read_text(encoding="utf-8")
    return {r["species"]: (float(r["lowest_kg"]), float(r["highest_kg"])) for r in csv.DictReader(text.splitlines())}


def weight_implausible(context: Context) -> Iterator[Finding]:
    """A weight lies within wide limits for the species.

    Passes 41.5 kg for a sheep. Fails 415 kg, a slipped decimal point. A person may decide otherwise
    (`Give anyway`). Matters because the dose follows the weight. The limits are from memory: a gate
    for slips of typing and mixed units, no breed standard.
    """
    unit = context.session.weight_unit
    middles = _middle_kg(context.session.animals)
    for species, group in context.session.animals.groupby("species", sort=False):
        if str(species) not in weight_limits_kg():
            continue
        low, high = weight_limits_kg()[str(species)]
        kilograms = group["weight_ng"].astype(float) / NG_PER_KG
        for label, weight in kilograms[(kilograms > 0) & ~kilograms.between(low, high)].items():
            row = int(str(label))
            own = _unit_typed(group.at[row, "weight_text"], unit)
            yield Finding(
                Level.ERROR, "weight-implausible", context.session.cell(row, "weight"),
                str(group.at[row, "weight_text"]),
                say("A {species} of {weight} lies outside {low} to {high}.", species=said(str(species)),
                    weight=weight_text(float(weight), own), low=weight_text(low, own, 1),
                    high=weight_text(high, own, 1)),
                _weigh_again(float(weight), low, high, middles.get(group.at[row, "mob"]), own),
                Hold(say("weight outside the limits of the species"), (row,), soft=True, needs_weight=True),
            )  # fmt: skip


def _middle_kg(animals: pd.DataFrame) -> dict[Any, float]:
    """Median weight of each mob that has three weights or more."""
    weighed = animals[animals["weight_ng"] > 0]
    grouped = (weighed["weight_ng"].astype(float) / NG_PER_KG).groupby(weighed["mob"])
    return {mob: float(of.median()) for mob, of in grouped if len(of) > 2}


def _unit_typed(text: object, unit: str) -> str:
    """The unit that a weight was typed in, else that of the session."""
    word = str(text).rpartition(" ")[2]
    return word if word in ("kg", "lb") else unit


def _weigh_again(kilograms: float, low: float, high: float, middle: float | None, unit: str) -> Text:
    """What to do about a weight, and what it may have been meant to be: the one slip that brings it near its mob.

    The weight that would fit is said as the animal's own scale would have shown it.
    """
    slips = (
        (kilograms / 10, say("a slipped point"), unit), (kilograms * 10, say("a slipped point"), unit),
        (kilograms * _KG_PER_LB, say("lb typed as kg"), "lb"), (kilograms / _KG_PER_LB, say("kg typed as lb"), "kg"),
    )  # fmt: skip
    near = [
        (meant, slip, shown_in) for meant, slip, shown_in in slips
        if low <= meant <= high and (middle is None or abs(meant - middle) <= SHARE_OFF * middle)
    ]  # fmt: skip
    if len(near) != 1:
        return say("Weigh again, or give a reason under Give anyway.")
    [(meant, slip, shown_in)] = near
    return say("Weigh again (look for {slip}: {weight} would fit), or give a reason under Give anyway.",
               slip=slip, weight=weight_text(meant, shown_in, 1))  # fmt: skip


def weight_out_of_line(context: Context) -> Iterator[Finding]:
    """A weight is in line with its mob: within 5 MAD or 25 % of the median, in mobs of ten and more.

    Passes 61 kg in a mob around 45 kg. Fails 90 kg there. A person may decide otherwise (`Give anyway`).
    Matters because a wrong weight doses its animal wrongly and must never set the dose of a whole mob.
    """
    animals = context.session.animals
    unit = context.session.weight_unit
    weighed = animals[(animals["weight_ng"] > 0) & (animals["head"] == 1)]
    for (mob, species), group in weighed.groupby(["mob", "species"], sort=False):
        if len(group) < SMALLEST_MOB:
            continue
        kilograms = group["weight_ng"].to_numpy(float) / NG_PER_KG
        middle = float(np.median(kilograms))
        spread = float(np.median(np.abs(kilograms - middle)))
        off = np.abs(kilograms - middle)
        low, high = weight_limits_kg().get(str(species), (0.0, float("inf")))
        odd = (off > MADS_OFF * spread) & (off > SHARE_OFF * middle) & (kilograms >= low) & (kilograms <= high)
        for label, weight in zip(group.index[odd], kilograms[odd], strict=True):
            row = int(label)
            own = _unit_typed(group.at[row, "weight_text"], unit)
            yield Finding(
                Level.ERROR, "weight-out-of-line", context.session.cell(row, "weight"),
                str(group.at[row, "weight_text"]),
                say("This weight is far from the middle{of_mob}, {middle}.", of_mob=of_mob(str(mob)),
                    middle=weight_text(middle, own)),
                _weigh_again(float(weight), low, high, middle, own),
                Hold(say("weight out of line with its mob: not covered by the mob's setting, pull it out"), (row,),
                     soft=True, needs_weight=True),
            )  # fmt: skip


def weight_changed(context: Context) -> Iterator[Finding]:
    """A weight is in line with the animal's last weight, where the sheet has it.

    Passes: 45 kg, a month after 41 kg. Warned of: a quarter more or less within 30 days. Fails: half the last
    weight, or twice within 60 days (or where the days are not known). A person may decide otherwise (`Give
    anyway`). The limits are the program's. Matters because one of the two weights is another animal's.
    """
    animals = context.session.animals
    both = animals[(animals["last_weight_ng"] > 0) & (animals["weight_ng"] > 0)]
    if both.empty:
        return
    ratio = both["weight_ng"].astype(float) / both["last_weight_ng"].astype(float)
    now = _days(both["weighed_on"]).fillna(_days(pd.Series([context.planned.at])).iloc[0])
    days = now - _days(both["last_weighed_on"])
    recent = days.isna() | (days <= DAYS_DOUBLED)
    slip = (ratio < 0.5) | ((ratio > 2) & recent)
    asked = ~slip & ((ratio - 1).abs() > SHARE_CHANGED) & (days.isna() | (days <= DAYS_CHANGED))
    for _, _, rows in by_mob(both[slip]):
        yield _slipped(context, rows)
    for mob, group, rows in by_mob(both[asked]):
        yield Finding(
            Level.WARNING, "weight-changed", context.session.cell(rows[0], "weight"),
            str(group["weight_text"].iloc[0]),
            say_many("{animals} changed by more than a quarter since the last weighing ({tags}).",
                     "{animals} changed by more than a quarter since the last weighing ({tags}).", len(rows),
                     animals=head_of(len(rows), mob), tags=tags(group)),
            say("Look whether tag and weight are right. The limit is this program's."),
        )  # fmt: skip


def _slipped(context: Context, rows: tuple[int, ...]) -> Finding:
    group = context.session.animals.loc[list(rows)]
    return Finding(
        Level.ERROR, "weight-changed", context.session.cell(rows[0], "weight"), str(group["weight_text"].iloc[0]),
        say_many("{animals} weighs less than half or more than twice the last weight ({tags}).",
                 "{animals} weigh less than half or more than twice the last weight ({tags}).", len(rows),
                 animals=head_of(len(rows), str(group["mob"].iloc[0])), tags=tags(group)),
        say("Weigh again, look whether the tag is right, or give a reason under Give anyway."),
        Hold(say("weight out of line with its last weighing"), rows, soft=True, needs_weight=True),
        again=partial(_slipped, context),
    )  # fmt: skip


def _days(moments: pd.Series[Any]) -> pd.Series[Any]:
    """Days of moments, counted from a fixed day by the calendar of their zone; not a number where there is none."""
    if moments.isna().all():
        return pd.Series(np.nan, index=moments.index)
    local = pd.to_datetime(moments).dt.tz_localize(None).dt.normalize()
    return (local - pd.Timestamp(2000, 1, 1)) / pd.Timedelta(days=1)


def weight_old(context: Context) -> Iterator[Finding]:
    """A weight is from the day of treatment or not long before it.

    Passes: weighed 10 days before. Fails: weighed more than 30 days before (or as many as the session says under
    `Oldest weight`), or after the day of treatment. Nobody is held. Matters because growing animals get too little.
    """
    most = context.session.facts.oldest_weight_days
    most = OLDEST_WEIGHT_DAYS if most is None else most
    weighed = {a for c in context.courses if context.medicines[c.medicine].needs_weight for a in c.animals}
    animals = context.session.animals
    dated = animals[animals.index.isin(weighed) & animals["weighed_on"].notna()]
    age = _days(pd.Series([context.planned.at])).iloc[0] - _days(dated["weighed_on"])
    for mob, group, rows in by_mob(dated[(age > most).astype(bool)]):
        yield Finding(
            Level.WARNING, "weight-old", context.session.cell(rows[0], "weighed_on"), _weighed_on(group),
            say_many("{n} weights{of_mob} are more than {days} days old ({tags}).",
                     "{n} weights{of_mob} are more than {days} days old ({tags}).", len(rows), n=len(rows),
                     of_mob=of_mob(mob), days=most, tags=tags(group)),
            say("Weigh again before dosing."),
        )  # fmt: skip
    for mob, group, rows in by_mob(dated[(age < 0).astype(bool)]):
        yield Finding(
            Level.WARNING, "weight-old", context.session.cell(rows[0], "weighed_on"), _weighed_on(group),
            say_many("{n} weights{of_mob} are from after the day of treatment ({tags}).",
                     "{n} weights{of_mob} are from after the day of treatment ({tags}).", len(rows), n=len(rows),
                     of_mob=of_mob(mob), tags=tags(group)),
            say("Correct the day of weighing or of treatment."),
        )  # fmt: skip


def _weighed_on(group: pd.DataFrame) -> str:
    return f"{group['weighed_on'].iloc[0]:%Y-%m-%d}"


def unweighed_of_mob(context: Context) -> Iterator[Finding]:
    """The unweighed of a mob get only what has one setting for many, or does not go by weight.

    Passes: a vaccine per head; a drench by drafts. Fails: a medicine dosed by each animal's own weight. Holds the
    unweighed from it. Matters because such a dose cannot be known.
    """
    others = dict(others_of(context.session.animals))
    for course, medicine, animals in context.each():
        held = tuple(row for row in map(int, animals.index) if row in others)
        if held and medicine.needs_weight and medicine.dose_by == "animal":
            head = int(animals.loc[list(held), "head"].sum())
            yield Finding(
                Level.ERROR, "unweighed-of-mob", context.session.cell(held[0], "head"), "",
                say_many("{medicine} goes by each animal's weight, and {n} are not on the weighing sheet.",
                         "{medicine} goes by each animal's weight, and {n} are not on the weighing sheet.", head,
                         medicine=medicine.name, n=head),
                say("Weigh them, or dose by mob or drafts if the label allows it."),
                Hold(say("dosed by each animal's own weight, and not weighed"), held, (course.medicine,),
                     (course.number,)),
            )  # fmt: skip
