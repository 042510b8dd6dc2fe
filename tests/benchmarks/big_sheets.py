"""Workbooks of any number of animals, for measuring: invented sheep in mobs, three medicines, a few mistakes."""

from __future__ import annotations

import random
from datetime import date
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

SEED = 20260314
ANIMALS = (
    "Tag", "EID", "Mob", "Species", "Class", "Sex", "Born", "Status", "Weight (kg)", "Weighed on",
    "Last weight (kg)", "Note",
)  # fmt: skip
MEDICINES = (
    "Medicine", "Active substance", "Type", "Label source", "Species", "Route", "Strength", "Dose rate",
    "Dose by", "Graduation", "Device size", "Meat withdrawal", "Milk withdrawal",
)  # fmt: skip
INJECTION, DRENCH, VACCINE = "wormer injection", "wormer drench", "vaccine"
INVENTED = "invented for measuring"

#: Of every two hundred animals one was not weighed and one weight was mistyped.
MISTAKES = {57: None, 143: "4o.5"}


def write_sheets(folder: Path, animals: int) -> tuple[Path, Path]:
    """Write a weighing workbook and a medicines workbook; the same values for the same number of animals.

    Up to twenty mobs: every second is injected by weight, the others are drenched in drafts, and all are
    vaccinated, so every animal gets two medicines.
    """
    size = max(50, animals // 20)
    mobs = [f"Mob {number + 1}" for number in range(-(-animals // size))]
    packs = [(name, "500 mL", 100, f"B-{name}", date(2027, 5, 31)) for name in (INJECTION, DRENCH, VACCINE)]
    treatments = [(DRENCH if at % 2 else INJECTION, mob, "roundworms") for at, mob in enumerate(mobs)]
    weighing = {
        "Weights": [ANIMALS, *_animals(animals, size)],
        "Treatments": [("Medicine", "Mob", "Reason"), *treatments, (VACCINE, None, "yearly booster")],
        "Session": [
            ("Client", "Example Farm"), ("Date", date(2026, 3, 14)), ("Time", "09:00"),
            ("Time zone", "Europe/London"), ("Rules", "GB"), ("Spare", "5 %"), ("Largest number of drafts", 3),
        ],
    }  # fmt: skip
    medicines = {
        "Medicines": [
            MEDICINES,
            (INJECTION, "ivermectin", "wormer", INVENTED, "sheep", "SC", "10 mg/mL", "0.2 mg/kg", "animal",
             "0.1 mL", "5 mL", "42 days", "not permitted"),
            (DRENCH, "levamisole hydrochloride", "wormer", INVENTED, "sheep", "oral", "50 mg/mL", "8 mg/kg",
             "drafts", "0.5 mL", "20 mL", "3 days", None),
            (VACCINE, "clostridial toxoids", "vaccine", INVENTED, "sheep", "SC", None, "2 mL/head", "animal",
             "1 mL", "50 mL", "0 days", "0 days"),
        ],
        "Stock": [("Medicine", "Pack size", "Packs", "Batch number", "Expiry"), *packs],
    }  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    return _save(folder / "weighing.xlsx", weighing), _save(folder / "medicines.xlsx", medicines)


def _animals(animals: int, size: int) -> Iterable[tuple[Any, ...]]:
    chance = random.Random(SEED)  # noqa: S311 - weights for measuring, not a secret
    for number in range(animals):
        kilograms = round(chance.gauss(43.5, 5.5) * 2) / 2
        yield (
            f"{number + 1:05d}", f"9990000{number + 1:08d}", f"Mob {number // size + 1}", "sheep", "hogget",
            "wether" if number % 2 else "ewe", date(2025, 4, 1 + number % 30), "not in milk",
            MISTAKES.get(number % 200, kilograms), date(2026, 3, 13), kilograms - 2, None,
        )  # fmt: skip


def _save(path: Path, sheets: dict[str, Sequence[Sequence[object]]]) -> Path:
    book = Workbook(write_only=True)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path
