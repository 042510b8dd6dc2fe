"""Settings of the device: each animal its own, or one for its mob or draft, and what one draft more would save."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pandas as pd

from batchdose.amounts import amount_text, number_text
from batchdose.calculate.doses import Bools, Doses
from batchdose.calculate.drafts import DraftCurve, draft_curve
from batchdose.calculate.marks import Ints
from batchdose.model import NG_PER_KG, Course, CurvePoint, Draft, Medicine, MobPlan, SessionFacts
from batchdose.texts import say, say_many
from batchdose.words import is_reason

#: Settings a mob may be split into where the session does not say (`Largest number of drafts`).
USUAL_DRAFTS = 3
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def confirmed(animals: pd.DataFrame, medicine: Medicine) -> Bools:
    """Animals without a weight that a person confirms not to be heavier than their mob, which has one setting."""
    if medicine.dose_by != "mob" or not medicine.needs_weight:
        return np.zeros(len(animals), np.bool_)
    said = animals["give_anyway"].isin([text for text in animals["give_anyway"].unique() if is_reason(str(text))])
    return ((animals["weight_ng"] == 0) & said & (animals["head"] == 1)).to_numpy(np.bool_)


def mob_settings(
    course: Course, animals: pd.DataFrame, doses: Doses, medicine: Medicine, facts: SessionFacts, why: list[list[str]]
) -> tuple[Ints, list[str], tuple[MobPlan, ...]]:
    """Marks given to each animal: its own, or the setting of its mob or draft; and the plan of each mob.

    An animal for which the setting of its draft is too much is held: its reason is added to `why`.
    """
    marks, draft = doses.marks.copy(), [""] * len(animals)
    free = np.array([not reasons for reasons in why], dtype=np.bool_)
    shared = medicine.dose_by != "animal" and medicine.needs_weight
    unweighed = confirmed(animals, medicine) & free
    head = animals["head"].to_numpy(np.int64)
    plans: list[MobPlan] = []
    for mob, labels in animals.groupby("mob", sort=False).indices.items():
        inside = np.asarray(labels)
        members = inside[(free & doses.allowed)[inside]]
        drafts: tuple[Draft, ...] = ()
        remarks: tuple[str, ...] = ()
        points: tuple[CurvePoint, ...] = ()
        if shared and len(members):
            drafts, remarks, points = _split(animals, doses, medicine, facts, members, marks, draft, why)
            members = np.array([at for at in members if not why[at]], dtype=np.int64)
        others = inside[unweighed[inside]]
        drafts = _with_unweighed(drafts, others, marks, draft, medicine, why)
        members = np.concatenate([members, [at for at in others if not why[at]]]).astype(np.int64)
        total = int((marks[members] * head[members]).sum()) * medicine.graduation * len(course.moments)
        count = int(head[members].sum())
        plans.append(MobPlan(str(mob), course.medicine, count, drafts, total, medicine.unit, remarks, points))
    return marks, draft, tuple(plans)


def _with_unweighed(
    drafts: tuple[Draft, ...], others: Ints, marks: Ints, draft: list[str], medicine: Medicine, why: list[list[str]]
) -> tuple[Draft, ...]:
    """Animals confirmed not heavier get the one setting of their mob; without one they are held."""
    if not len(others):
        return drafts
    if not drafts:
        reason = say("no weight, and its mob has no setting")
        for at in others:
            why[at].append(reason)
        return drafts
    only = drafts[0]
    marks[others] = int(only.setting / medicine.graduation)
    for at in others:
        draft[at] = only.label
    return (Draft(only.label, only.from_kg, only.to_kg, only.setting, only.head + len(others)), *drafts[1:])


def _split(
    animals: pd.DataFrame, doses: Doses, medicine: Medicine, facts: SessionFacts, members: Ints,
    marks: Ints, draft: list[str], why: list[list[str]],
) -> tuple[tuple[Draft, ...], tuple[str, ...], tuple[CurvePoint, ...]]:  # fmt: skip
    """Split one mob: its drafts, what is to be said, and the curve of drafts against product.

    `marks`, `draft` and `why` are filled in for its members.
    """
    weight = animals["weight_ng"].to_numpy(np.int64)[members]
    lightest = animals["lightest_ng"].to_numpy(np.int64)[members]
    head = animals["head"].to_numpy(np.int64)[members]
    most_drafts = 1 if medicine.dose_by == "mob" else facts.max_drafts or USUAL_DRAFTS
    cut = int((facts.cut_step_kg or 0) * NG_PER_KG)
    curve = draft_curve(
        weight, doses.marks[members], doses.most[members], most_drafts + 1, cut, head=head,
        least_head=facts.least_head, objective=facts.drafts_for,
    )  # fmt: skip
    split = curve.split(most_drafts)
    marks[members] = split.setting
    drafts: list[Draft] = []
    for number in range(int(split.draft.max()) + 1):
        inside = split.draft == number
        given = inside & (split.setting <= doses.most[members])
        setting: Fraction = int(split.setting[inside][0]) * medicine.graduation
        for at in members[inside]:
            draft[at] = _letter(number)
        reason = say("the setting of {dose} is too much for it: use more drafts",
                     dose=amount_text(setting, medicine.unit))  # fmt: skip
        for at in members[inside & ~given]:
            why[at].append(reason)
        if given.any():
            low = int(np.where(lightest > 0, lightest, weight)[given].min()) / NG_PER_KG
            high = int(weight[given].max()) / NG_PER_KG
            drafts.append(Draft(_letter(number), low, high, setting, int(head[given].sum())))
    points = tuple(CurvePoint(step.drafts, step.total * medicine.graduation, step.over) for step in curve.steps)
    return tuple(drafts), _saving(curve, medicine, facts), points


def _letter(number: int) -> str:
    return _LETTERS[number] if number < 26 else f"{_LETTERS[number // 26 - 1]}{_LETTERS[number % 26]}"


def _saving(curve: DraftCurve, medicine: Medicine, facts: SessionFacts) -> tuple[str, ...]:
    """What fewer drafts would do, where the session says what another must save; and what one more would save."""
    if medicine.dose_by != "drafts":
        return ()
    return (*_recommended(curve, medicine, facts), *_one_more(curve, medicine))


def _recommended(curve: DraftCurve, medicine: Medicine, facts: SessionFacts) -> tuple[str, ...]:
    """Fewer drafts than planned, where each further one saves less than the session asks for."""
    if facts.least_saving is None:
        return ()
    planned, best = curve.steps[-2], curve.recommended(least_share=facts.least_saving)
    if best.used >= planned.used:
        return ()
    more = amount_text((best.total - planned.total) * medicine.graduation, medicine.unit)
    return (
        say_many("{n} draft would do: {more} more a round, and each further one saves less than {share} %.",
                 "{n} drafts would do: {more} more a round, and each further one saves less than {share} %.", best.used,
                 n=best.used, more=more, share=number_text(facts.least_saving * 100)),
    )  # fmt: skip


def _one_more(curve: DraftCurve, medicine: Medicine) -> tuple[str, ...]:
    step, more = curve.steps[-2:]
    if more.over < step.over:
        fewer = step.over - more.over
        return (say_many("One draft more would let {n} more animal be dosed.",
                         "One draft more would let {n} more animals be dosed.", fewer, n=fewer),)  # fmt: skip
    if more.total >= step.total:
        return (say("One draft more would save nothing."),)
    saved = amount_text((step.total - more.total) * medicine.graduation, medicine.unit)
    return (say("One draft more would save {amount} a round.", amount=saved),)
