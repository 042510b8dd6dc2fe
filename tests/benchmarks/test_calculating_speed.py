"""Time and memory of the calculation alone: four medicines for every animal of large mobs."""

from __future__ import annotations

import click
import pytest
from big_sheets import DRENCH, INJECTION, VACCINE, write_sheets
from openpyxl import load_workbook
from test_speed import measure

#: For 100,000 animals: seconds of the processor, and memory beyond that of what was read [MB]; growth by ten.
MOST_SECONDS, MOST_MEMORY_MB, MOST_GROWTH = 2, 300, 14


def four_medicines(folder, animals):
    """The sheets of `write_sheets` with a fourth medicine, each of them for all."""
    weighing, medicines = write_sheets(folder, animals)
    labels, treatments = load_workbook(medicines), load_workbook(weighing)
    rows = list(labels["Medicines"].values)
    fourth = dict(zip(rows[0], rows[1], strict=True)) | {
        "Medicine": "second injection", "Active substance": "doramectin", "Dose rate": "0.3 mg/kg",
    }  # fmt: skip
    labels["Medicines"].append([fourth[heading] for heading in rows[0]])
    labels.save(medicines)
    treatments["Treatments"].delete_rows(2, treatments["Treatments"].max_row)
    for name in (INJECTION, DRENCH, VACCINE, fourth["Medicine"]):
        treatments["Treatments"].append([name, None, "for measuring"])
    treatments.save(weighing)
    return weighing, medicines


@pytest.mark.benchmark
def test_the_calculation_is_quick_and_grows_no_faster_than_the_mob(tmp_path):
    told = {}
    for animals in (1_000, 10_000, 100_000):
        inputs = four_medicines(tmp_path / str(animals), animals)
        runs = [measure("run_calculating.py", *inputs).told for _ in range(3)]
        told[animals] = min(runs, key=lambda run: run["seconds"])
        click.echo(
            f"\n{animals:,} animals, four medicines: calculated in {told[animals]['seconds']:.2f} s, "
            f"{told[animals]['memory']:.0f} MB more than what was read"
        )
        assert told[animals]["rows"] == 4 * animals
    assert told[100_000]["seconds"] < MOST_SECONDS
    assert told[100_000]["memory"] < MOST_MEMORY_MB
    assert told[100_000]["seconds"] < MOST_GROWTH * told[10_000]["seconds"]
