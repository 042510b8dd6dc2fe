"""What `doctor` says of a whole installation, and of one where something is missing."""

from __future__ import annotations

import subprocess
import sys

import pytest
from click.testing import CliRunner

from batchdose import doctor
from batchdose.cli import cli


def test_all_is_well_here():
    done = CliRunner().invoke(cli, ["doctor"])
    assert done.exit_code == 0, done.output
    assert "Everything is there." in done.output
    assert "WeasyPrint with Pango" in done.output


def looked(monkeypatch, *, pango: bool, browsers: list[str]):
    status = 0 if pango else 1
    monkeypatch.setattr(subprocess, "run", lambda *a, **_: subprocess.CompletedProcess(a, status, b"100", b""))
    monkeypatch.setattr(doctor, "found_browsers", lambda: iter(browsers))
    return next(look for look in doctor.examined().needed if look.what == "PDF")


def test_without_pango_a_browser_does_and_without_both_it_says_what_to_install(monkeypatch):
    assert looked(monkeypatch, pango=False, browsers=["/usr/bin/chromium"]).well
    look = looked(monkeypatch, pango=False, browsers=[])
    assert not look.well
    assert "To mend it:" in str(look)
    assert "browsers" in look.mend
    assert doctor.examined().exit_status == 1


def test_a_folder_that_cannot_be_written_is_said(tmp_path):
    look = next(look for look in doctor.examined(tmp_path / "nowhere").needed if "nowhere" in look.found)
    assert not look.well
    assert "--out" in look.mend


def test_missing_templates_and_libraries_are_said(monkeypatch, tmp_path):
    monkeypatch.setattr(doctor, "template_folder", lambda: tmp_path)
    monkeypatch.setattr(doctor, "library_versions", lambda: {"pint": ""})
    found = {look.what: look for look in doctor.examined().needed}
    assert "job_sheet.html" in found["Templates and fonts"].found
    assert found["Libraries"].found == "not installed: pint"


def test_the_version_names_the_libraries():
    done = CliRunner().invoke(cli, ["--version"])
    assert done.output.startswith("batchdose ")
    for name in ("click ", "pandas ", "weasyprint "):
        assert name in done.output


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_can_complete_the_commands(shell):
    code = "from batchdose.cli import cli; cli(prog_name='batchdose')"
    environment = {"_BATCHDOSE_COMPLETE": f"{shell}_source", "PATH": "/usr/bin:/bin"}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    assert "_BATCHDOSE_COMPLETE" in done.stdout


def test_a_folder_that_was_removed_and_a_program_that_is_not_installed_are_said(monkeypatch):
    def removed():
        raise FileNotFoundError(2, "No such file or directory")

    def unknown(_):
        raise doctor.metadata.PackageNotFoundError

    monkeypatch.setattr(doctor.Path, "cwd", removed)
    monkeypatch.setattr(doctor.metadata, "requires", unknown)
    said = [str(look) for look in doctor.examined().needed if not look.well]
    assert any("No such file or directory" in text for text in said)
    assert any("not installed: batchdose" in text for text in said)
