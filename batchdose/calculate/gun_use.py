"""A gun that was measured, at the settings of a job: what it must be set to, or that it cannot give a setting."""

from __future__ import annotations

from fractions import Fraction

from batchdose.calculate.gun_check import USUAL_TOLERANCE, Verdict, gun_check, verdict
from batchdose.calculate.rates import Limits
from batchdose.model import NG_PER_KG, Medicine


def gun_at(setting: Fraction, medicine: Medicine, highest_dose: Fraction | None = None) -> Verdict | None:
    """What the measured gun must be set to for a setting; None where it was not measured, or the setting is right.

    `highest_dose` is the most that the lightest animal of the setting may get. A verdict without a setting says that
    no mark of the gun gives it.
    """
    gun = medicine.practice.gun
    if gun is None:
        return None
    tolerance = medicine.practice.device_tolerance or USUAL_TOLERANCE
    found = verdict(
        gun_check(setting, tolerance=tolerance, shots=gun.shots), gun.gave * setting / gun.set_to, medicine.graduation,
        largest=medicine.device_size, highest_dose=highest_dose,
    )  # fmt: skip
    return None if found.state == "use" else found


def highest_dose(bounds: Limits | None, lightest_ng: int) -> Fraction | None:
    """The most that an animal may get by the highest rate of the sheet; None where it states none."""
    if bounds is None or not bounds.highest_stated or bounds.per_head:
        return None
    return bounds.highest * Fraction(lightest_ng, NG_PER_KG)
