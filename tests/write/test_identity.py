"""The name of a job: the same for the same plan, another for anything that the record would keep otherwise."""

from __future__ import annotations

import pytest

from batchdose.write.identity import job_identity

ROWS = "Tag | Weight (kg) | Status\n0412 | 41.5 | dry\n0413 | 45 |"
GIVEN = "Medicine | Reason\nwormer A | worms"


def test_the_same_plan_has_the_same_name(job):
    assert job_identity(job(ROWS, Treatments=GIVEN)) == job_identity(job(ROWS, Treatments=GIVEN))
    assert len(job_identity(job(ROWS, Treatments=GIVEN))) == 9


@pytest.mark.parametrize(
    ("rows", "label", "treatments"),
    [
        (ROWS.replace("41.5", "41.6"), {}, GIVEN),
        (ROWS.replace("0413", "0414"), {}, GIVEN),
        (ROWS.replace("dry", "pregnant"), {}, GIVEN),
        (ROWS, {"Meat withdrawal": "99 days"}, GIVEN),
        (ROWS, {"Dose rate": "0.4 mg/kg"}, GIVEN),
        (ROWS, {"Prescriber": "Vet 1"}, GIVEN),
        (ROWS, {}, GIVEN.replace("worms", "fluke")),
        (ROWS, {"Doses": 2, "Every": "24 h"}, GIVEN),
    ],
)
def test_what_the_record_would_keep_otherwise_has_another_name(job, rows, label, treatments):
    assert job_identity(job(rows, label, Treatments=treatments)) != job_identity(job(ROWS, Treatments=GIVEN))


def test_another_moment_is_another_job(job):
    assert job_identity(job(ROWS, on="2026-06-01 09:00")) != job_identity(job(ROWS, on="2026-06-02 09:00"))
