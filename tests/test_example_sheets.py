"""The example sheets as a whole: how many are ready, and every finding where it should stand."""

from __future__ import annotations

from pathlib import Path

import pytest
from sheets import told

from batchdose import plan_job
from batchdose.write.job_sheet import summary_text

EXAMPLES = Path(__file__).resolve().parent.parent / "example_sheets"
EXPECTED = {
    "hoggets": (
        "114 ready, 6 not",
        [
            ("dose-over-label", "warning", "Weights!G7"), ("weight-missing", "error", "Weights!G19"),
            ("weight-unreadable", "error", "Weights!G40"), ("species-not-on-label", "error", "Weights!D57"),
            ("dose-over-label", "warning", "Weights!G68"), ("tag-repeated", "error", "Weights!A69"),
            ("weight-implausible", "error", "Weights!G94"), ("same-site", "warning", "Medicines!O3"),
            ("same-site", "warning", "Medicines!O3"), ("same-site", "warning", "Medicines!O5"),
            ("batch-expired", "warning", "Stock!A3"),
        ],
    ),
    "dairy_goats": (
        "23 ready, 1 not",
        [
            ("product-not-permitted", "error", "Weights!F7"), ("withdrawal-not-stated", "warning", "Medicines!AA4"),
            ("withdrawal-not-stated", "warning", "Medicines!AB4"),
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", EXPECTED)
def test_an_example_gives_what_its_mistakes_deserve(name):
    result = plan_job(EXAMPLES / name / "weighing.xlsx", EXAMPLES / name / "medicines.xlsx")
    summary, findings = EXPECTED[name]
    assert (summary_text(result), told(result)) == (summary, findings)
