"""Which row of a medicine is for which animal: by class, weight and age, where the rows differ in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from fractions import Fraction

import numpy as np
import pandas as pd

from batchdose.calculate import problems
from batchdose.calculate.doses import Bools
from batchdose.findings import Finding
from batchdose.model import NG_PER_KG, Medicine, Moment, WeighingSession
from batchdose.words import singular, words


def by_row(
    rows: list[int], group: pd.DataFrame, medicines: Sequence[Medicine], session: WeighingSession, when: Moment,
    findings: list[Finding],
) -> Iterator[tuple[int, list[int]]]:  # fmt: skip
    """Rows of one medicine with the animals of each. Animals of none, or of two, go to the first row, with a finding.

    `rows` are positions in the list of medicines, `group` rows of the animals table, `when` the first dose.
    """
    if len(rows) == 1 and not medicines[rows[0]].kinds:
        yield rows[0], [int(i) for i in group.index]
        return
    fits = np.array([suits(medicines[i], group, when, alone=len(rows) == 1) for i in rows])
    count = fits.sum(axis=0)
    of = np.where(count == 1, fits.argmax(axis=0), 0)
    for pattern in np.unique(fits[:, count != 1], axis=1).T:
        alike = group[(fits == pattern[:, None]).all(axis=0)]
        which = [i for i, fit in zip(rows, pattern, strict=True) if fit] or rows
        findings += _unclear(alike, medicines, which, rows[0], session, fitting=int(pattern.sum()))
    for position, row in enumerate(rows):
        if labels := [int(label) for label in group.index[of == position]]:
            yield row, labels


def _unclear(
    animals: pd.DataFrame, medicines: Sequence[Medicine], which: list[int], first: int, session: WeighingSession, *,
    fitting: int,
) -> Iterator[Finding]:  # fmt: skip
    """One finding for each mob whose animals fit the same rows, two or more or none."""
    for _, of_mob in animals.groupby("mob", sort=False):
        held = tuple(int(label) for label in of_mob.index)
        names = [str(tag or mob) for tag, mob in zip(of_mob["tag"], of_mob["mob"], strict=True)]
        where, rows = session.cell(held[0], "tag"), [medicines[i].row for i in which]
        yield problems.medicine_row_unclear(where, names, medicines[first].name, rows, fitting, held, first)


def suits(medicine: Medicine, animals: pd.DataFrame, when: Moment, *, alone: bool) -> Bools:
    """Which animals are of the class, weight and age of a row; of an only row the latter two are looked at later."""
    wanted = {singular(kind) for kind in medicine.kinds}
    kinds = {
        text: not wanted or bool(wanted & {singular(kind) for kind in words(text)}) for text in animals["kind"].unique()
    }
    fits = animals["kind"].map(kinds).to_numpy(np.bool_)
    if alone:
        return fits
    # A mob given as a whole fits a row only with its lightest and its heaviest animal.
    weight, lightest = (animals[name].to_numpy(np.int64) for name in ("weight_ng", "lightest_ng"))
    lightest = np.where(lightest > 0, lightest, weight)
    if medicine.min_weight_kg is not None:
        fits = fits & (lightest >= -(-medicine.min_weight_kg * NG_PER_KG // 1))
    if medicine.max_weight_kg is not None:
        fits = fits & (weight <= medicine.max_weight_kg * NG_PER_KG // 1)
    if medicine.min_age_days is not None:
        fits = fits & (_born(animals) <= _days_before(when, medicine.min_age_days))
    if medicine.max_age_days is not None:
        fits = fits & (_born(animals) >= _days_before(when, medicine.max_age_days))
    return fits


def _days_before(when: Moment, days: Fraction) -> pd.Timestamp:
    day = when.at.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    return pd.Timestamp(day - timedelta(days=float(days)))


def _born(animals: pd.DataFrame) -> pd.Series[pd.Timestamp]:
    """Days of birth without their zone; an unknown one is neither before nor after any day."""
    if animals["born"].isna().all():
        return pd.Series(pd.NaT, index=animals.index)
    return pd.to_datetime(animals["born"]).dt.tz_localize(None)
