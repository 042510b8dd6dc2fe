"""Damaged, runaway and hostile workbooks: one plain sentence or a sound plan, in little time and memory.

By default each of the small ones goes through the command in this process, and a few large ones through a
process of their own. With BATCHDOSE_FUZZ set in the environment (to any number), every one of them gets a
process of its own, with time and memory measured.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import hostile
import pytest
from click.testing import CliRunner
from sheets import given as doses_of
from sheets import write_job

from batchdose import UnusableInputError, plan_job
from batchdose.cli import cli
from batchdose.model import Settings

HERE = Path(__file__).parent
EVERY = "BATCHDOSE_FUZZ" in os.environ
MOST_SECONDS, MOST_MB = 20, 1000
ANIMALS = "Tag|Weight (kg)|Mob\n0412|41.5|Hill\n0413|43|Hill\n0414|40|Hill"
CLEAN = {("0412", "wormer A"): 0.9, ("0413", "wormer A"): 0.9, ("0414", "wormer A"): 0.8}

#: Large enough for time and memory to matter.
LARGE = (
    "zip bomb", "zip bomb that lies", "deep xml", "deep workbook", "many texts", "one long text in many cells",
    "a very long text", "a million blank styled rows", "a million blank styled cells", "all columns filled",
    "a million rows of one value", "more rows than there are", "many merged areas", "many styles", "a huge file",
    "a link to a device", "a pipe", "ods rows without end", "ods deep", "csv of commas", "csv of lines",
    "csv of quotes", "csv too large",
)  # fmt: skip
#: Of these, what is measured on every run.
ALWAYS = ("one long text in many cells", "many texts", "a link to a device")


@pytest.fixture
def sound(tmp_path):
    return write_job(tmp_path, ANIMALS)


def arguments(weighing, medicines, out):
    return [
        "dose",
        str(weighing),
        str(medicines),
        "--out",
        str(out),
        "--on",
        "2026-06-01",
        "--species",
        "sheep",
        "--no-pdf",
    ]


@pytest.mark.parametrize("name", [name for name in hostile.MAKERS if name not in LARGE])
def test_a_bad_workbook_ends_in_a_sentence_or_a_sound_plan(sound, tmp_path, name):
    weighing = hostile.MAKERS[name](sound[0])
    out = tmp_path / "out"
    run = CliRunner().invoke(cli, arguments(weighing, sound[1], out))
    told = run.stderr
    assert run.exit_code in (0, 1, 2)
    assert "Traceback" not in told
    assert "fault of the program" not in told
    assert out.exists() == (run.exit_code != 2)
    if run.exit_code == 2:
        assert len(told.strip().splitlines()) == 1
    assert_no_dose_is_wrong(weighing, sound[1])


def assert_no_dose_is_wrong(weighing, medicines):
    """Animals in their own rows have the dose of the clean sheet, or none; only row 2 was touched."""
    try:
        result = plan_job(weighing, medicines, Settings(on="2026-06-01", species="sheep"))
    except UnusableInputError:
        return
    if weighing.suffix == ".xlsx":
        given = {animal: dose for animal, dose in doses_of(result).items() if animal in CLEAN}
        assert given.items() <= CLEAN.items()


@pytest.mark.parametrize("name", list(hostile.MAKERS if EVERY else ALWAYS))
def test_a_bad_workbook_takes_little_time_and_memory(sound, tmp_path, name):
    weighing = hostile.MAKERS[name](sound[0])
    command = [sys.executable, "-m", "batchdose", *arguments(weighing, sound[1], tmp_path / "out")]
    done = subprocess.run(
        [sys.executable, HERE / "measured.py", str(MOST_SECONDS), *command],
        capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["status"] in (0, 1, 2), done.stderr
    assert "Traceback" not in done.stderr
    assert "panicked" not in done.stderr
    assert "fault of the program" not in done.stderr
    assert told["seconds"] < MOST_SECONDS
    assert told["peak_mb"] < MOST_MB
