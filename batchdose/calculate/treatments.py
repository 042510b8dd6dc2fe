"""The treatments table: one row an animal and course, with dose, setting, sites, working and why it is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd

from batchdose.amounts import amount_text
from batchdose.calculate.alike import alike, spread
from batchdose.calculate.doses import (
    Bools,
    Doses,
    doses_by_band,
    doses_by_rate,
    most_marks,
    over_label,
    step_that_would_do,
)
from batchdose.calculate.marks import Ints, amount_of, share_over_sites
from batchdose.calculate.rates import Limits, RatesDisagreeError, bands_agree, limits
from batchdose.calculate.settings import confirmed, mob_settings
from batchdose.calculate.working import band_working, working
from batchdose.findings import Hold
from batchdose.model import NG_PER_KG, Course, Medicine, MobPlan, WeighingSession
from batchdose.texts import Text, of_error, say


@dataclass(frozen=True)
class PlannedCourse:
    """A course with its doses: the rows of the treatments table and the settings of its mobs."""

    course: Course
    table: pd.DataFrame
    mobs: tuple[MobPlan, ...]
    limits: Limits | None


def plan_course(course: Course, session: WeighingSession, medicine: Medicine, holds: Sequence[Hold]) -> PlannedCourse:
    """Doses of one course. Animals in `holds` are held; animals that no mark suits are held too."""
    animals = session.animals.loc[list(course.animals)]
    why = _reasons(course, animals, medicine, holds)
    try:
        bands_agree(medicine)
        bounds = None if medicine.bands else limits(medicine, course.chosen_rate)
    except RatesDisagreeError as error:
        problem = of_error(error)
        why = [reasons or [problem] for reasons in why]
        return PlannedCourse(course, _table(course, animals, medicine, None, None, why), (), None)
    weight = animals["weight_ng"].to_numpy(np.int64)
    if medicine.max_per_site is not None and medicine.max_per_site < medicine.graduation:
        limit = say("the limit for one place is less than one mark of the device")
        why = [reasons or [limit] for reasons in why]
    basis = weight if medicine.needs_weight else np.full(len(animals), NG_PER_KG, np.int64)
    if bounds is None:
        doses, band = doses_by_band(weight, medicine.bands, medicine.graduation)
    else:
        doses, band = doses_by_rate(basis, bounds, medicine.graduation, up=medicine.rounding == "up"), None
    _refuse(doses, basis, bounds, medicine, why, confirmed(animals, medicine))
    _refuse_light_ends(animals, doses, bounds, medicine, why)
    marks, draft, mobs = mob_settings(course, animals, doses, medicine, session, why, bounds)
    planned = Doses(marks, doses.most, doses.allowed, doses.over | _over(basis, marks, bounds, medicine), doses.target)
    table = _table(course, animals, medicine, planned, bounds, why, draft=draft, band=band)
    return PlannedCourse(course, table, mobs, bounds)


def _reasons(course: Course, animals: pd.DataFrame, medicine: Medicine, holds: Sequence[Hold]) -> list[list[str]]:
    """Reasons, animal by animal, why it is not given this medicine."""
    why: list[list[str]] = [[] for _ in range(len(animals))]
    position: dict[int, int] = {}
    spared = set(animals.index[confirmed(animals, medicine)])
    for hold in holds:
        other_course = hold.courses is not None and course.number not in hold.courses
        other_medicine = hold.medicines is not None and course.medicine not in hold.medicines
        if other_course or other_medicine or (hold.needs_weight and not medicine.needs_weight):
            continue
        position = position or {label: at for at, label in enumerate(animals.index.tolist())}
        labels = position if hold.animals is None else (label for label in hold.animals if label in position)
        for label in labels:
            if hold.why not in why[position[label]] and not (hold.not_weighed and label in spared):
                why[position[label]].append(hold.why)
    return why


def _refuse(
    doses: Doses, basis: Ints, bounds: Limits | None, medicine: Medicine, why: list[list[str]], spared: Bools
) -> None:
    """Hold each animal that has no allowed mark, and name the graduation that would do."""
    seen: dict[object, str] = {}  # as many animals as there may be, each reason is made once
    for at in np.flatnonzero(~doses.allowed & ~spared):
        if why[at]:
            continue
        in_band = bounds is None and basis[at] > 0 and doses.marks[at] != 0
        step = step_that_would_do(int(basis[at]), bounds) if bounds is not None and basis[at] > 0 else None
        key = (basis[at] <= 0, in_band, step)
        if key not in seen:
            seen[key] = _no_mark(medicine, weighed=basis[at] > 0, by_band=bounds is None, in_band=in_band, step=step)
        why[at].append(seen[key])


def _no_mark(medicine: Medicine, *, weighed: bool, by_band: bool, in_band: bool, step: Fraction | None) -> Text:
    """Why an animal has no allowed mark, and the graduation that would do."""
    if not weighed:
        return say("no weight")
    if by_band:
        return (
            say("the dose of its band is not a mark on the device") if in_band
            else say("its weight is in no dose band, or in two")
        )  # fmt: skip
    mark = amount_text(medicine.graduation, medicine.unit)
    if step is None:
        return say("no mark of {mark} lies between its lowest and its highest dose", mark=mark)
    return say("no mark of {mark} lies between its lowest and its highest dose; a graduation of {step} would do",
               mark=mark, step=amount_text(step, medicine.unit))  # fmt: skip


def _refuse_light_ends(
    animals: pd.DataFrame, doses: Doses, bounds: Limits | None, medicine: Medicine, why: list[list[str]]
) -> None:
    """A mob given as a whole is held if its lightest animal would get more than is allowed."""
    if not medicine.needs_weight:
        return
    lightest = animals["lightest_ng"].to_numpy(np.int64)
    if bounds is None:
        most = doses_by_band(lightest, medicine.bands, medicine.graduation)[0].marks
    else:
        most = most_marks(lightest, bounds, medicine.graduation)
    reason = say("the lightest of this mob would get too much at this setting: weigh and split the mob")
    for at in np.flatnonzero((lightest > 0) & (doses.marks > most) & doses.allowed):
        if not why[at]:
            why[at].append(reason)


def _over(basis: Ints, marks: Ints, bounds: Limits | None, medicine: Medicine) -> Bools:
    """Doses more than 10 % over the label rate where the sheet has no highest rate."""
    return np.zeros(len(marks), np.bool_) if bounds is None else over_label(basis, marks, bounds, medicine.graduation)


def _table(
    course: Course, animals: pd.DataFrame, medicine: Medicine, doses: Doses | None, bounds: Limits | None,
    why: list[list[str]], draft: list[str] | None = None, band: Ints | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Rows of the treatments table for one course."""
    size = len(animals)
    held = np.array([bool(reasons) for reasons in why], dtype=np.bool_)
    kilograms = animals["weight_ng"].to_numpy(np.int64) / NG_PER_KG
    data: dict[str, Any] = {name: animals[name].to_numpy() for name in ("cell", "tag", "eid", "mob", "head")}
    data |= {"animal": animals.index.to_numpy(), "medicine": course.medicine, "held": held, "why": _shared(why)}
    data["weight_kg"] = np.where(kilograms > 0, kilograms, np.nan)
    marks = doses.marks if doses is not None else np.zeros(size, np.int64)
    weighed = (kilograms > 0) | (not medicine.needs_weight)
    known = (weighed | confirmed(animals, medicine)) & (marks > 0)
    would = np.where(known, amount_of(marks, medicine.graduation), np.nan)
    data["marks"] = np.where(held, 0, marks)
    data["target"] = np.where(weighed, doses.target, np.nan) if doses is not None else np.nan
    data["dose"] = np.where(held, np.nan, would)
    data["unit"] = medicine.unit
    data["rate_given"], data["rate_unit"] = _rate_given(would, kilograms, medicine)
    data["draft"] = np.where(held, "", np.array(draft or [""] * size, dtype=object))
    distinct, which = np.unique(np.where(held, 0, marks), return_inverse=True)
    sites = _sites(distinct, medicine)
    data["sites"] = np.array([len(parts) for parts in sites], np.int64)[which]
    data["per_site"] = spread([[float(part * medicine.graduation) for part in parts] for parts in sites], which)
    data["over"] = (doses.over & ~held) if doses is not None else False
    data["chosen_rate"] = course.chosen_rate.text if course.chosen_rate else ""
    data["doses"], data["planned_for"] = len(course.moments), [course.moments] * size
    # As objects: a column of texts forgets what they were made from.
    workings = _workings(course, animals, medicine, marks, held, known, bounds, band)
    data["working"] = pd.Series(workings, dtype=object)
    # Not gathered into blocks: the columns are taken out one by one when all courses are joined.
    return pd.DataFrame(data, copy=False)


def _shared(why: list[list[str]]) -> list[list[str]]:
    """The reasons, the same list for all that have none: most have none, and there may be many."""
    none: list[str] = []
    return [reasons or none for reasons in why]


def _rate_given(
    would: np.ndarray[Any, Any], kilograms: np.ndarray[Any, Any], medicine: Medicine
) -> tuple[np.ndarray[Any, Any], str]:
    """Rate that a dose comes to, in the strength's unit per kilogram where one is stated."""
    strength = medicine.strength
    active, unit = (float(strength.amounts[0]), strength.unit) if strength else (1.0, medicine.unit)
    if not medicine.needs_weight:
        return would * active, f"{unit}/head"
    return np.divide(would * active, kilograms, out=np.full(len(would), np.nan), where=kilograms > 0), f"{unit}/kg"


def _sites(marks: Ints, medicine: Medicine) -> list[tuple[int, ...]]:
    """Marks for each site, dose by dose; one site where the sheet states no limit, none without a dose."""
    limit = max(int(medicine.max_per_site // medicine.graduation), 1) if medicine.max_per_site else 0
    return [share_over_sites(m, limit or m) if m else () for m in marks.tolist()]


def _workings(
    course: Course, animals: pd.DataFrame, medicine: Medicine, marks: Ints, held: Bools, known: Bools,
    bounds: Limits | None, band: Ints | None,
) -> np.ndarray[Any, Any]:  # fmt: skip
    """Working of every row; each distinct one is written once."""
    rate = course.chosen_rate or medicine.rate
    texts: list[str] = []
    bands = band if band is not None else np.zeros(len(marks), np.int64)
    weights = (animals["weight_ng"].to_numpy(np.int64), animals["weight_text"])
    # Where no weight counts, animals of every weight have the same working.
    columns = (*(weights if medicine.needs_weight else ()), marks, held, known, bands)
    which, first = alike(*columns)
    for ng, typed, mark, is_held, is_known, in_band in zip(
        *(np.asarray(column)[first].tolist() for column in (*weights, marks, held, known, bands)), strict=True
    ):
        dose = (mark, medicine.graduation)
        if not is_known or (is_held and ng == 0 and medicine.needs_weight):
            texts.append("")
        elif ng == 0 and medicine.needs_weight:
            given = amount_text(mark * medicine.graduation, medicine.unit)
            texts.append(say("confirmed not heavier than its mob -> {dose}", dose=given))
        elif bounds is None:
            texts.append(band_working(medicine, medicine.bands[in_band], (ng, typed), None if is_held else dose))
        else:
            target = Fraction(ng if medicine.needs_weight else NG_PER_KG, NG_PER_KG) * bounds.label
            texts.append(working(medicine, rate, (ng, typed), target, None if is_held else dose, bounds))
    return spread(texts, which)
