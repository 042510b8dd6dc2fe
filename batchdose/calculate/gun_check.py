"""Checking a drench or injection gun: shots into a measuring cylinder, and what to do with the volume read. Exact.

A gun is taken to give the same share of whatever it is set to, so a volume that is off tells the setting that
gives the dose. That is an assumption, and the new setting is always measured again before the gun is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from batchdose.amounts import amount_text, number_text
from batchdose.texts import Text, say

#: Doses into the measuring cylinder, and animals after which to check again. Source: Meat and Livestock Australia,
#: sheep husbandry guide, drenching section, as reported (Farming Ahead, "Best-practice drenching").
SHOTS = 10
CHECK_AGAIN_AFTER = 200
#: Error of a dose regarded as normal, to either side. Source: Kansas State study of weights and doses in cattle, as
#: quoted (Beef Magazine, "Weighted risk"): beyond 5 % it can matter.
USUAL_TOLERANCE = Fraction(5, 100)

State = Literal["use", "reset", "do not use"]


@dataclass(frozen=True, slots=True)
class GunCheck:
    """Shots of one dose, and the volume of all of them: expected, and from lowest to highest to accept."""

    dose: Fraction
    shots: int
    expected: Fraction
    lowest: Fraction
    highest: Fraction


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the measured volume says: use the gun, reset it to `setting` and measure again, or do not use it.

    `each` is what one shot gave, `off` its difference from the dose as a share of it (negative: too little).
    """

    state: State
    setting: Fraction | None
    each: Fraction
    off: Fraction
    why: str


def gun_check(dose: Fraction, *, tolerance: Fraction = USUAL_TOLERANCE, shots: int = SHOTS) -> GunCheck:
    """The check of a gun at one dose; `tolerance` is the share it may be off to either side.

    ValueError where the dose or the shots are not above nothing, or the tolerance is not a share.

    >>> check = gun_check(Fraction(5))
    >>> float(check.expected), float(check.lowest), float(check.highest)
    (50.0, 47.5, 52.5)
    """
    if dose <= 0 or shots < 1 or not 0 <= tolerance < 1:
        raise ValueError("A gun is checked at a dose above nothing, with one shot or more, within a share below 1.")
    expected = dose * shots
    return GunCheck(dose, shots, expected, expected * (1 - tolerance), expected * (1 + tolerance))


def verdict(
    check: GunCheck, measured: Fraction, graduation: Fraction, *, set_to: Fraction | None = None,
    largest: Fraction | None = None, highest_dose: Fraction | None = None,
) -> Verdict:  # fmt: skip
    """What a measured volume of all shots says. `graduation` is the step of the gun, `largest` its last mark.

    `set_to` is what the gun was set to: the dose, unless it had been corrected before.
    Within the band the gun is used as it is. Outside, the new setting is the smallest mark that gives the dose in
    full; where that gives more than the band, or than `highest_dose` (the most the animals of this setting may
    get), the largest mark that gives no more, if it is not under the band. If there is none, the gun is not used.
    ValueError for a volume below nothing, or a step or setting that is not above it.

    >>> verdict(gun_check(Fraction(5)), Fraction(45), Fraction(1, 10)).setting
    Fraction(28, 5)
    """
    set_to = check.dose if set_to is None else set_to
    if measured < 0 or graduation <= 0 or set_to <= 0:
        raise ValueError("A volume is not below nothing, and a gun has a step between its marks and a setting.")
    each = measured / check.shots
    off = each / check.dose - 1
    if check.lowest <= measured <= check.highest and (highest_dose is None or each <= highest_dose):
        return Verdict("use", set_to, each, off, say("the volume is within the band"))
    if measured == 0:
        return Verdict("do not use", None, each, off, say("it gives nothing"))
    lowest, highest = check.lowest / check.shots, check.highest / check.shots
    highest = highest if highest_dose is None else min(highest, highest_dose)
    by_mark = graduation * each / set_to
    marks = math.ceil(check.dose / by_mark)
    if marks * by_mark > highest:
        marks = math.floor(highest / by_mark)
    setting = marks * graduation
    if marks < 1 or marks * by_mark < lowest:
        why = say("no mark gives the dose within the band: a finer gun is needed")
        return Verdict("do not use", None, each, off, why)
    if largest is not None and setting > largest:
        return Verdict("do not use", None, each, off, say("it would have to be set past its last mark"))
    return Verdict("reset", setting, each, off, say("measure again at the new setting before using it"))


def check_text(check: GunCheck, unit: str = "mL") -> str:
    """What to do before starting, as to a farmer.

    >>> print(check_text(gun_check(Fraction(5))))
    Squirt 10 shots of 5 mL into a measuring cylinder: 50 mL is right, use the gun from 47.5 mL to 52.5 mL. \
Outside that, set it to 5 mL x 50 mL / what you measured, up to the next mark, and measure again; if that does not \
bring it within, use another gun. Check again after 200 animals.
    """
    return say(
        "Squirt {shots} shots of {dose} into a measuring cylinder: {expected} is right, use the gun from {lowest} to "
        "{highest}. Outside that, set it to {dose} x {expected} / what you measured, up to the next mark, and measure "
        "again; if that does not bring it within, use another gun. Check again after {animals} animals.",
        shots=check.shots, dose=amount_text(check.dose, unit), expected=amount_text(check.expected, unit),
        lowest=amount_text(check.lowest, unit), highest=amount_text(check.highest, unit), animals=CHECK_AGAIN_AFTER,
    )  # fmt: skip


def verdict_text(found: Verdict, unit: str = "mL") -> str:
    """What the measured volume says, as to a farmer.

    >>> verdict_text(verdict(gun_check(Fraction(5)), Fraction(45), Fraction(1, 10)))
    'The gun gives 4.5 mL a shot, 10 % too little. Set it to 5.6 mL: measure again at the new setting before using it.'
    """
    given = _given(found, unit)
    if found.setting is None:
        return say("{given} Do not use it: {why}.", given=given, why=found.why)
    if found.state == "use":
        return say("{given} Use it: {why}.", given=given, why=found.why)
    return say("{given} Set it to {dose}: {why}.", given=given, dose=amount_text(found.setting, unit), why=found.why)


def _given(found: Verdict, unit: str) -> Text:
    """What the gun gives a shot, and how far that is off."""
    each, off = amount_text(found.each, unit), number_text(abs(found.off) * 100, 1)
    if not found.off:
        return say("The gun gives {dose} a shot.", dose=each)
    if found.off < 0:
        return say("The gun gives {dose} a shot, {share} % too little.", dose=each, share=off)
    return say("The gun gives {dose} a shot, {share} % too much.", dose=each, share=off)
