"""Faults while recording: whatever happens, the record is whole, old or new; and the sheet opens in LibreOffice."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from openpyxl import load_workbook
from yard import WHEN, Yard

from batchdose.write import files

GOOD = {"given": "yes", "when": WHEN}


@pytest.fixture
def yard(tmp_path):
    yard = Yard(tmp_path)
    yard.fill({"0412": GOOD})
    yard.record()
    yard.fill({"0413": GOOD})
    return yard


def test_a_full_disk_leaves_the_old_record(yard, monkeypatch):
    before = yard.record_path.read_bytes()

    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files.os, "fsync", full)
    told = yard.record()
    assert told.exit_code == 2
    assert "No space left" in told.stderr
    assert yard.record_path.read_bytes() == before


#: Ends the process at once, as a power cut would, at one step of writing.
CUT = """
import os, sys
from pathlib import Path
from batchdose.write import files
step = sys.argv.pop(1)
if step == "written":
    files.os.fsync = lambda _: os._exit(9)
elif step == "renamed":
    replace = Path.replace
    Path.replace = lambda self, target: (replace(self, target), os._exit(9))
elif step == "renaming":
    Path.replace = lambda self, target: os._exit(9)
from batchdose.cli import cli
cli()
"""


@pytest.mark.parametrize(("step", "rows"), [("written", 1), ("renaming", 1), ("renamed", 2)])
def test_a_power_cut_leaves_the_old_record_or_the_new_one(yard, step, rows):
    command = [sys.executable, "-c", CUT, step, "record", yard.dosed, "--to", yard.record_path, "--on", "2026-07-01"]
    root = Path(files.__file__).resolve().parents[2]
    cut = subprocess.run(command, capture_output=True, env=os.environ | {"PYTHONPATH": str(root)}, check=False)
    assert cut.returncode == 9, cut.stderr
    assert yard.run("check", yard.record_path).exit_code == 0
    assert len(yard.rows()) == rows
    assert yard.record().exit_code == 0, "the lock has ended with the process"
    assert len(yard.rows()) == 2


def test_what_is_no_record_is_told(yard):
    told = yard.run("record", yard.dosed, "--to", yard.folder / "weighing.xlsx")
    assert told.exit_code == 2
    assert "not a treatment record" in told.stderr


def test_a_workbook_without_the_sheet_is_told(yard):
    told = yard.run("record", yard.folder / "weighing.xlsx", "--to", yard.record_path)
    assert told.exit_code == 2
    assert 'No sheet has the headings "Medicine" and "Given"' in told.stderr


def test_a_changed_plan_behind_the_sheet_is_told(yard):
    book = load_workbook(yard.dosed)
    book["Job plan kept"]["B1"] = "{}"
    book.save(yard.dosed)
    told = yard.record()
    assert told.exit_code == 2
    assert "The plan kept behind the fill-in sheet was changed" in told.stderr


@pytest.mark.office
def test_drop_downs_and_entries_pass_through_libreoffice(yard, tmp_path):
    if not shutil.which("soffice"):
        pytest.skip("LibreOffice is not installed")
    (tmp_path / "out").mkdir()
    subprocess.run(
        ["soffice", f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless", "--convert-to", "xlsx",
         "--outdir", tmp_path / "out", yard.dosed], check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    saved = tmp_path / "out" / yard.dosed.name
    checks = load_workbook(saved)["Job given"].data_validations.dataValidation
    assert {check.type for check in checks} == {"list", "decimal", "date"}
    assert any(check.formula1 == '"yes,no,part"' for check in checks)
    yard.record()
    told = yard.run("record", saved, "--to", yard.record_path, "--on", "2026-07-01")
    assert "0 rows added" in told.stderr, told.output
