"""Settings of the device: each animal its own, or one for its mob or draft, and what one draft more would save."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import pandas as pd

from batchdose.amounts import amount_text, number_text, weight_text
from batchdose.calculate.doses import Bools, Doses
from batchdose.calculate.drafts import DraftCurve, Split, draft_curve
from batchdose.calculate.gun_use import gun_at, highest_dose
from batchdose.calculate.marks import Ints
from batchdose.calculate.rates import Limits
from batchdose.model import NG_PER_KG, Course, CurvePoint, Draft, Medicine, MobPlan, SessionFacts, WeighingSession
from batchdose.texts import Text, joined, say, say_many
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
    course: Course, animals: pd.DataFrame, doses: Doses, medicine: Medicine, session: WeighingSession,
    why: list[list[str]], bounds: Limits | None = None,
) -> tuple[Ints, list[str], tuple[MobPlan, ...]]:  # fmt: skip
    """Marks given to each animal: its own, or the setting of its mob or draft; and the plan of each mob.

    An animal for which the setting of its draft is too much, or that a measured gun cannot give it, is held: its
    reason is added to `why`.
    """
    _refuse_gun(doses, medicine, why)
    marks, draft = doses.marks.copy(), [""] * len(animals)
    free = np.array([not reasons for reasons in why], dtype=np.bool_)
    shared = medicine.dose_by != "animal" and medicine.needs_weight
    unweighed = confirmed(animals, medicine) & free
    head = animals["head"].to_numpy(np.int64)
    plans: list[MobPlan] = []
    given = _Given(animals, doses, medicine, session.facts, bounds, session.weight_unit)
    for mob, labels in animals.groupby("mob", sort=False).indices.items():
        inside = np.asarray(labels)
        members = inside[(free & doses.allowed)[inside]]
        drafts: tuple[Draft, ...] = ()
        remarks: tuple[str, ...] = ()
        points: tuple[CurvePoint, ...] = ()
        if shared and len(members):
            drafts, remarks, points = _split(given, members, marks, draft, why)
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
    return (replace(only, head=only.head + len(others)), *drafts[1:])


@dataclass(frozen=True, slots=True)
class _Given:
    """What one course gives to whom: the animals with their doses, and what limits those."""

    animals: pd.DataFrame
    doses: Doses
    medicine: Medicine
    facts: SessionFacts
    bounds: Limits | None
    unit: str


def _split(
    course: _Given, members: Ints, marks: Ints, draft: list[str], why: list[list[str]]
) -> tuple[tuple[Draft, ...], tuple[str, ...], tuple[CurvePoint, ...]]:
    """Split one mob: its drafts, what is to be said, and the curve of drafts against product.

    `marks`, `draft` and `why` are filled in for its members.
    """
    animals, doses, medicine, facts = course.animals, course.doses, course.medicine, course.facts
    weight = animals["weight_ng"].to_numpy(np.int64)[members]
    lightest = animals["lightest_ng"].to_numpy(np.int64)[members]
    head = animals["head"].to_numpy(np.int64)[members]
    most_drafts = 1 if medicine.dose_by == "mob" else facts.max_drafts or USUAL_DRAFTS
    cut = int((facts.cut_step_kg or 0) * NG_PER_KG)
    curve = draft_curve(
        weight, doses.marks[members], doses.most[members], most_drafts + 1, cut, head=head,
        least_head=facts.least_head, objective=facts.drafts_for,
    )  # fmt: skip
    split, of_scale = _by_scale(curve.split(most_drafts), weight, doses.most[members], head, course)
    marks[members] = split.setting
    drafts: list[Draft] = []
    for number in range(int(split.draft.max()) + 1):
        inside = split.draft == number
        given = inside & (split.setting <= doses.most[members])
        setting: Fraction = int(split.setting[inside][0]) * medicine.graduation
        for at in members[inside]:
            draft[at] = _letter(number)
        reason = say("the setting of {dose} is too much for it: use more weight groups",
                     dose=amount_text(setting, medicine.unit))  # fmt: skip
        for at in members[inside & ~given]:
            why[at].append(reason)
        if given.any():
            low, high = int(np.where(lightest > 0, lightest, weight)[given].min()), int(weight[given].max())
            gun = gun_at(setting, medicine, highest_dose(course.bounds, low))
            if gun is not None and gun.setting is None:
                for at in members[given]:
                    why[at].append(_cannot_give(setting, medicine))
                continue
            drafts.append(Draft(
                _letter(number), low / NG_PER_KG, high / NG_PER_KG, setting, int(head[given].sum()),
                gun.setting if gun else None,
            ))  # fmt: skip
    points = tuple(CurvePoint(step.drafts, step.total * medicine.graduation, step.over) for step in curve.steps)
    return tuple(drafts), (*_saving(curve, medicine, facts), *of_scale), points


def _by_scale(split: Split, weight: Ints, most: Ints, head: Ints, course: _Given) -> tuple[Split, tuple[str, ...]]:
    """Animals that the scale cannot tell from those of the next heavier draft go there, if the limits allow.

    That is where the weight and the scale's error (half its step, and its tolerance) together reach the lightest of
    the next draft. A draft keeps its setting, and the least head that it must have.
    """
    facts = course.facts
    error = int(((facts.scale_step_kg or 0) / 2 + (facts.scale_tolerance_kg or 0)) * NG_PER_KG)
    draft, setting, stay = split.draft.copy(), split.setting.copy(), 0
    for number in range(int(split.draft.max()) if error else 0):
        here, next_up = split.draft == number, split.draft == number + 1
        near = here & (head == 1) & (weight + error >= weight[next_up].min()) & (split.setting <= most)
        heavier = int(split.setting[next_up][0])
        moved = near & (heavier <= most)
        if head[here & ~moved].sum() < facts.least_head:
            moved = np.zeros_like(moved)
        stay += int((near & ~moved).sum())
        draft[moved], setting[moved] = number + 1, heavier
    count = int((draft != split.draft).sum())
    if not count and not stay:
        return split, ()
    left = np.unique(draft, return_inverse=True)[1]
    how = weight_text(Fraction(error, NG_PER_KG), course.unit)
    said = say_many(
        "{n} within the scale's error ({error}) of the next heavier weight group gets its setting.",
        "{n} within the scale's error ({error}) of the next heavier weight group get its setting.",
        count, n=count, error=how,
    )  # fmt: skip
    if stay:
        said = say_many(
            "{n} within the scale's error ({error}) of the next heavier weight group gets its setting; {stay} stay, "
            "for it would be too much, or leave their group too small.",
            "{n} within the scale's error ({error}) of the next heavier weight group get its setting; {stay} stay, "
            "for it would be too much, or leave their group too small.",
            count, n=count, error=how, stay=stay,
        )  # fmt: skip
    return replace(split, draft=left.astype(np.int64), setting=setting, total=int((setting * head).sum())), (said,)


def _refuse_gun(doses: Doses, medicine: Medicine, why: list[list[str]]) -> None:
    """Hold animals whose one dose for a head the measured gun cannot give."""
    if medicine.needs_weight or medicine.practice.gun is None:
        return
    for mark in np.unique(doses.marks[doses.marks > 0]).tolist():
        gun = gun_at(mark * medicine.graduation, medicine)
        for at in np.flatnonzero(doses.marks == mark) if gun is not None and gun.setting is None else ():
            why[at].append(_cannot_give(mark * medicine.graduation, medicine))


def _cannot_give(setting: Fraction, medicine: Medicine) -> Text:
    return say("the gun as measured cannot give {dose}: use another gun", dose=amount_text(setting, medicine.unit))


def _letter(number: int) -> str:
    return _LETTERS[number] if number < 26 else f"{_LETTERS[number // 26 - 1]}{_LETTERS[number % 26]}"


def _saving(curve: DraftCurve, medicine: Medicine, facts: SessionFacts) -> tuple[str, ...]:
    """The curve, the number of drafts that is recommended where the session says what another must save, and the rest.

    On paper a draft is a weight group.
    """
    if medicine.dose_by != "drafts":
        return ()
    return (*_recommended(curve, medicine, facts), *_one_more(curve, medicine), *_curve(curve, medicine))


def _curve(curve: DraftCurve, medicine: Medicine) -> tuple[str, ...]:
    """Drafts against product in one line, where there is anything to compare."""
    if len({(step.total, step.over) for step in curve.steps}) == 1:
        return ()
    points = [_point(step.drafts, amount_text(step.total * medicine.graduation, medicine.unit), step.over)
              for step in curve.steps]  # fmt: skip
    return (say("Product of a round by the number of weight groups: {points}.", points=joined("; ", points)),)


def _point(drafts: int, amount: str, over: int) -> str:
    if over:
        return say("{drafts}: {amount} ({over} left out)", drafts=drafts, amount=amount, over=over)
    return say("{name}: {text}", name=drafts, text=amount)


def _recommended(curve: DraftCurve, medicine: Medicine, facts: SessionFacts) -> tuple[str, ...]:
    """The number of drafts from which each further one saves less than the session asks for."""
    if facts.least_saving is None:
        return ()
    planned, best = curve.steps[-2], curve.recommended(least_share=facts.least_saving)
    share = number_text(facts.least_saving * 100)
    if best.used > planned.used:
        return (
            say_many("More than {n} weight group are recommended: one more saves {share} % or more.",
                     "More than {n} weight groups are recommended: one more saves {share} % or more.", planned.used,
                     n=planned.used, share=share),
        )  # fmt: skip
    if best.used == planned.used:
        return (
            say_many("{n} weight group: the number recommended, for each further one saves less than {share} %.",
                     "{n} weight groups: the number recommended, for each further one saves less than {share} %.",
                     best.used, n=best.used, share=share),
        )  # fmt: skip
    more = amount_text((best.total - planned.total) * medicine.graduation, medicine.unit)
    return (
        say_many("{n} weight group would do: {more} more a round, and each further one saves less than {share} %.",
                 "{n} weight groups would do: {more} more a round, and each further one saves less than {share} %.",
                 best.used, n=best.used, more=more, share=share),
    )  # fmt: skip


def _one_more(curve: DraftCurve, medicine: Medicine) -> tuple[str, ...]:
    step, more = curve.steps[-2:]
    if more.over < step.over:
        fewer = step.over - more.over
        return (say_many("One weight group more would let {n} more animal be dosed.",
                         "One weight group more would let {n} more animals be dosed.", fewer, n=fewer),)  # fmt: skip
    if more.total >= step.total:
        return (say("One weight group more would save nothing."),)
    saved = amount_text((step.total - more.total) * medicine.graduation, medicine.unit)
    return (say("One weight group more would save {amount} a round.", amount=saved),)
