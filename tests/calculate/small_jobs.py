"""Small medicines and mobs without any workbook, so that a test shows only what it is about.

Medicines are named by their active or by a letter; farms, tags and batches are invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
from hypothesis import settings

from batchdose import parse_dose_rate, parse_strength
from batchdose.calculate.treatments import PlannedCourse, plan_course
from batchdose.findings import CellRef, Hold
from batchdose.model import (
    ANIMAL_COLUMNS,
    NG_PER_KG,
    Course,
    DoseRate,
    InputFile,
    Medicine,
    Moment,
    SessionFacts,
    WeighingSession,
)

#: For properties that are quick and have many corners.
many = settings(max_examples=150)

MORNING = Moment(datetime(2026, 6, 1, 9, tzinfo=ZoneInfo("UTC")), timed=True)

_PLAIN = Medicine(
    row=2, name="wormer A", where=CellRef("medicines.xlsx", "Medicines", "A2"), cells={}, strength=None,
    rate=None, lowest=None, highest=None, bands=(), active="", species=frozenset({"sheep"}),
    kinds=frozenset(), min_weight_kg=None, max_weight_kg=None, min_age_days=None, not_for=frozenset(),
    route="oral", site="", needle="", max_per_site=None, graduation=Fraction(1, 10), graduation_given=True,
    largest_device=None, device_size=None, device="", dose_by="animal", rounding="up", narrow_margin=False, doses=1,
    every_hours=None, withdrawal={"meat": None, "milk": None}, off_label=False,
    longest_label={"meat": None, "milk": None}, for_food_animals=None, not_before_birth_days=None,
    milk_after_birth=None, shortest_dry_days=None, type="", prescriber="", prescription_no="", supplier="",
    label_source="", caution="", form="", automatic_injector=None, expiry=None,
)  # fmt: skip


def medicine(**facts: Any) -> Medicine:
    """A medicine by its label figures; rates and strength as text, the rest as they are kept."""
    for name in ("rate", "lowest", "highest"):
        if isinstance(facts.get(name), str):
            facts[name] = parse_dose_rate(facts[name])
    if isinstance(facts.get("strength"), str):
        facts["strength"] = parse_strength(facts["strength"])
    return replace(_PLAIN, **facts)


def per_kg(amount: Fraction, unit: str = "mL") -> DoseRate:
    """An exact rate for a kilogram bodyweight."""
    return DoseRate((amount,), (amount,), unit, "kg", f"{float(amount):g} {unit}/kg")


def per_head(amount: Fraction, unit: str = "mL") -> DoseRate:
    """An exact rate for a head."""
    return replace(per_kg(amount, unit), per="head", text=f"{float(amount):g} {unit}/head")


def ng(kilograms: str | int | Fraction) -> int:
    """Kilograms as whole nanograms, exact."""
    return int(Fraction(kilograms) * NG_PER_KG)


def mob_of(*kilograms: str | int | Fraction, facts: SessionFacts | None = None, **columns: Any) -> WeighingSession:
    """A session of one mob of sheep with these weights; `columns` replaces columns of the animals table."""
    size = len(kilograms)
    data: dict[str, Any] = dict.fromkeys(ANIMAL_COLUMNS, "")
    data |= {
        "cell": [f"Weights!A{row}" for row in range(2, size + 2)],
        "tag": [f"{401 + at:04d}" for at in range(size)], "mob": "Hill", "species": "sheep", "head": 1,
        "weight_ng": [ng(kg) for kg in kilograms], "lightest_ng": [ng(kg) for kg in kilograms],
        "born": None, "gave_birth": None,
    }  # fmt: skip
    animals = pd.DataFrame(data | columns, index=pd.RangeIndex(2, size + 2), columns=list(ANIMAL_COLUMNS))
    source = InputFile(Path("weighing.xlsx"), "")
    return WeighingSession(source, "Weights", 1, {}, animals, facts or SessionFacts(), (), [], b"")


def planned(given: Medicine, session: WeighingSession, *holds: Hold, **course: Any) -> PlannedCourse:
    """The course of one medicine for all animals of a session."""
    all_of_them = tuple(session.animals.index)
    whole = Course(**{"medicine": 0, "chosen_rate": None, "moments": (MORNING,), "animals": all_of_them} | course)
    return plan_course(whole, session, given, holds)
