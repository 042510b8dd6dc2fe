"""Who gets what and when: treatment lines to courses, and the clear-from moments of each course."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from difflib import get_close_matches
from fractions import Fraction

import numpy as np
import pandas as pd

from batchdose.calculate import problems
from batchdose.calculate.fitting import by_row
from batchdose.calculate.minimums import periods_in_force
from batchdose.calculate.rates import RatesDisagreeError, product_per_unit
from batchdose.calculate.withdrawal import clear_from, latest
from batchdose.findings import CellRef, Finding, Hold
from batchdose.model import (
    Clear,
    Course,
    DoseRate,
    Medicine,
    Moment,
    SessionFacts,
    TreatmentLine,
    WeighingSession,
)
from batchdose.texts import say
from batchdose.words import same_name, same_tag


def plan_courses(
    session: WeighingSession, medicines: Sequence[Medicine], planned: Moment
) -> tuple[list[Course], list[Finding]]:
    """Courses in the order of the medicines sheet, and findings for lines or animals that do not fit.

    An animal whose species, class, weight or age is on no row of the medicine is still in a course, that of
    the medicine's first row, and held there with the reason: nothing disappears silently.
    """
    findings: list[Finding] = []
    members: dict[tuple[int, object, date], _Members] = {}
    for line in session.lines:
        rows = [i for i, m in enumerate(medicines) if same_name(m.name) == same_name(line.medicine)]
        animals = _animals_of(line, session, findings)
        if line.problem is not None:
            why = say("its line on the sheet Treatments cannot be read")
            hold = Hold(why, tuple(map(int, animals.index)), tuple(rows))
            findings.append(replace(line.problem, hold=hold))
        for species, group in animals.groupby("species", sort=False):
            fitting = [i for i in rows if str(species) in medicines[i].species or not medicines[i].species]
            if not fitting:
                findings.append(_no_row(line, str(species), session, group, rows[0], medicines))
            when = line.on or planned
            for index, labels in by_row(fitting or rows[:1], group, medicines, session, when, findings):
                key = (index, _rate_key(medicines[index], line.chosen_rate), when.at.date())
                members.setdefault(key, _Members(line.chosen_rate, when)).add(labels, line.reason, when)
    courses = [
        Course(i, group.rate, tuple(course_moments(medicines[i], group.when)),
               _in_sheet_order(group.reasons), group.reason)
        for (i, _, _), group in members.items()
    ]  # fmt: skip
    courses.sort(key=lambda course: (course.medicine, course.moments[0].at.astimezone(UTC)))
    return [replace(course, number=number) for number, course in enumerate(courses)], findings


@dataclass
class _Members:
    """Animals of one course as its lines come: the rate, the moment, and the reason that each was named with."""

    rate: DoseRate | None
    when: Moment
    reasons: dict[int, str] = field(default_factory=dict)

    def add(self, labels: Iterable[int], reason: str, when: Moment) -> None:
        """More animals; a line without a reason takes none away, and a known hour stands before a day alone."""
        self.when = when if when.timed and not self.when.timed else self.when
        for label in labels:
            self.reasons[label] = reason or self.reasons.get(label, "")

    @property
    def reason(self) -> str:
        """The reasons of all, nothing where an animal has none."""
        every = list(dict.fromkeys(self.reasons.values()))
        return "" if "" in every else "; ".join(every)


def _rate_key(medicine: Medicine, chosen: DoseRate | None) -> object:
    """What tells two rates of one medicine apart: the product they come to, however they are written.

    A chosen rate that is the label's only one is no other rate.
    """

    def product(rate: DoseRate) -> object:
        try:
            return rate.per, product_per_unit(rate, medicine.strength, medicine.unit)
        except RatesDisagreeError:
            return rate.text

    stated = medicine.rate if medicine.rate is not None and not medicine.rate.range_given else None
    of_label = product(stated) if stated is not None else None
    return of_label if chosen is None else product(chosen)


def _in_sheet_order(labels: Iterable[int]) -> tuple[int, ...]:
    """Rows of the animals table as they stand on the sheets; mobs given as a whole have numbers below nothing."""
    rows = np.fromiter(labels, np.int64)
    return tuple(rows[np.lexsort((np.abs(rows), rows < 0))].tolist())


def _animals_of(line: TreatmentLine, session: WeighingSession, findings: list[Finding]) -> pd.DataFrame:
    """Animals of one line: by tag, by mob, or all. A tag or mob that is not there is a finding."""
    animals = session.animals
    if line.row is not None:
        return animals.loc[[line.row]]
    if line.tag:
        key = same_tag(line.tag)
        animals = animals[(animals["tag"].map(same_tag) == key) | (animals["eid"].map(same_tag) == key)]
    if line.mob:
        alike = [mob for mob in animals["mob"].unique() if same_name(mob) == same_name(line.mob)]
        animals = animals[animals["mob"].isin(alike)]
    if animals.empty:
        findings.append(_nobody(line, session))
    return animals


def _nobody(line: TreatmentLine, session: WeighingSession) -> Finding:
    """A finding for a line whose tag or mob is not on the weighing sheet, with the nearest that is."""
    where = line.where or CellRef(session.source.name)
    animals = session.animals
    if line.tag:
        bare = same_tag(line.tag).lstrip("0")
        alike = [tag for tag in animals["tag"] if bare and same_tag(tag).lstrip("0") == bare]
        return problems.animal_not_weighed(where, line.medicine, line.tag, alike[0] if len(alike) == 1 else "")
    close = get_close_matches(line.mob, [mob for mob in animals["mob"].unique() if mob], n=1, cutoff=0.7)
    return problems.mob_unknown(where, line.medicine, line.mob, *close)


def _no_row(
    line: TreatmentLine, species: str, session: WeighingSession, group: pd.DataFrame, row: int,
    medicines: Sequence[Medicine],
) -> Finding:  # fmt: skip
    kinds = sorted(frozenset().union(*(m.species for m in medicines if m.name == medicines[row].name)))
    held = tuple(int(label) for label in group.index)
    where = session.cell(held[0], "species")
    return problems.species_not_on_label(where, species, line.medicine, kinds, held, row, int(group["head"].sum()))


def course_moments(medicine: Medicine, first: Moment) -> Iterator[Moment]:
    """Moments of every dose. Intervals of whole days keep the hour on the clock; others are elapsed hours."""
    hours = medicine.every_hours or Fraction(24)
    for number in range(medicine.doses):
        ahead = hours * number
        if not first.timed:
            yield Moment(first.at + timedelta(days=math.ceil(ahead / 24)), timed=False)
        elif hours % 24 == 0:
            yield Moment(first.at + timedelta(days=int(ahead / 24)), timed=True)
        else:
            yield Moment(_elapsed(first.at, ahead), timed=True)


def _elapsed(at: datetime, hours: Fraction) -> datetime:
    return (at.astimezone(UTC) + timedelta(seconds=float(hours * 3600))).astimezone(at.tzinfo)


def course_clear(
    course: Course, medicine: Medicine, product: str, facts: SessionFacts, species: frozenset[str]
) -> Clear:
    """Clear-from of one product after a course: the latest of every period in force, from the last dose."""
    periods, missing = periods_in_force(medicine, product, facts, species)
    if not periods:
        return clear_from(course.moments[-1], None)
    found = [
        clear_from(course.moments[-1], period, milking_times=facts.milking_times, milk=product == "milk")
        for period in periods
    ]
    together = latest(found)
    return Clear(None, "not_stated", missing) if missing and together.state == "from" else together
