"""What the animals of a planned course may really get per kilogram, draft by draft: `assurance` on our own tables."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from batchdose.amounts import amount_text, number_text, weight_text
from batchdose.calculate.assurance import Device, Scale, dose_range
from batchdose.calculate.devices import Tolerance, of_share, of_syringe
from batchdose.calculate.treatments import PlannedCourse
from batchdose.model import NG_PER_KG, Assurance, Medicine, SessionFacts
from batchdose.texts import joined, say


def assured(
    planned: PlannedCourse, medicine: Medicine, facts: SessionFacts, weight_unit: str = "kg"
) -> Iterator[Assurance]:  # fmt: skip
    """The range of every mob and draft of a course; nothing where scale and device say nothing, or no weight counts."""
    tolerance, of_device = device_tolerance(medicine)
    step = facts.scale_step_kg
    if not medicine.needs_weight or tolerance is None or step is None:
        return
    table = planned.table[["mob", "draft", "weight_kg", "marks", "head", "held"]]
    table = table[~table["held"] & table["weight_kg"].notna() & (table["head"] == 1)]
    scale = Scale(int(step * NG_PER_KG), int((facts.scale_tolerance_kg or 0) * NG_PER_KG))
    active, unit = (medicine.strength.amounts[0], medicine.strength.unit) if medicine.strength else (Fraction(1), "")
    device = Device(medicine.graduation, tolerance)
    off, in_steps = facts.scale_tolerance_kg, weight_text(step, weight_unit)
    of_scale = say("scale in steps of {step}", step=in_steps)
    if off:
        right_to = weight_text(off, weight_unit)
        of_scale = say("scale in steps of {step}, right to {off}", step=in_steps, off=right_to)
    for (mob, draft), group in table.groupby(["mob", "draft"], sort=False):
        weight = np.rint(group["weight_kg"].to_numpy() * NG_PER_KG).astype(np.int64)
        found = dose_range(weight, group["marks"].to_numpy(np.int64), active, scale, device)
        yield Assurance(
            planned.course.medicine, str(mob), str(draft), float(found.low.min()), float(found.high.max()),
            float(found.rss_low.min()), float(found.rss_high.max()), f"{unit or medicine.unit}/kg",
            joined("; ", [of_scale, of_device]),
        )  # fmt: skip


def device_tolerance(medicine: Medicine) -> tuple[Tolerance | None, str]:
    """How far the device may be off, and in words: what the sheet states, else ISO 7886-1 for a syringe."""
    stated = medicine.practice.device_tolerance
    if stated is not None:
        return of_share(stated), say("device right to {share} %", share=number_text(stated * 100))
    if medicine.unit != "mL" or medicine.device_size is None or medicine.dose_by != "animal":
        return None, ""
    size = medicine.device_size
    return of_syringe(size), say("syringe of {size} to ISO 7886-1", size=amount_text(size, "mL"))
