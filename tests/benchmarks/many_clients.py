"""Many clients for measuring: `python tests/benchmarks/many_clients.py FOLDER 1000 300`, three hundred animals each."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import xlsxwriter

MEDICINES = [
    ("Medicine", "Species", "Route", "Strength", "Dose rate", "Graduation", "Meat withdrawal", "Milk withdrawal"),
    ("wormer A", "sheep", "oral", "10 mg/mL", "0.2 mg/kg", "0.1 mL", "14 days", "3 days"),
    ("vaccine V", "sheep", "SC", "", "2 mL/head", "1 mL", "0 days", "0 days"),
]
SESSION = [("Species", "sheep"), ("Time zone", "UTC"), ("Date", "2026-06-01")]


def write_clients(folder: Path, clients: int, animals: int) -> None:
    """Write the clients, each with a weighing workbook, and the medicines sheet for all beside the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    _book(folder.parent / "medicines.xlsx", {"Medicines": MEDICINES})
    numbers = random.Random(1)  # noqa: S311 - weights for a test
    for n in range(clients):
        rows = [("Tag", "Weight (kg)", "Mob"), *(
            (f"{n:04}-{animal:04}", round(numbers.gauss(45, 6), 1), ("Hill", "River")[animal % 2])
            for animal in range(animals)
        )]  # fmt: skip
        place = folder / f"client {n:04}"
        place.mkdir(exist_ok=True)
        treatments = [("Medicine",), *((row[0],) for row in MEDICINES[1:])]
        session = [*SESSION, ("Client", f"Client {n}")]
        _book(place / "weighing.xlsx", {"Weights": rows, "Session": session, "Treatments": treatments})


def _book(path: Path, sheets: dict[str, list[tuple[object, ...]]]) -> None:
    with xlsxwriter.Workbook(path) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                sheet.write_row(number, 0, row)


if __name__ == "__main__":
    write_clients(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
