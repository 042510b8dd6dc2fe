"""The commands: what they print, what they write, and with which status they end."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tempfile
from errno import ENOSPC
from io import StringIO
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook
from sheets import ON, VACCINE, edit_part, medicine_rows, put_cell, write_book, write_job

from batchdose import __version__
from batchdose.cli import _progress, cli
from batchdose.write.pdf import PdfUnavailableError

TWO = "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n0413 | 45 | Hill"
B = {"Medicine": "wormer B"}
BOTH = "Medicine\nwormer A\nwormer B"
WRITTEN = {"weighing-dosed.xlsx", "weighing-job-sheet.html", "weighing-results.json", "weighing-clear.ics"}


def run(command, *arguments):
    return CliRunner().invoke(cli, [command, *map(str, arguments)])


def dose(*arguments):
    return run("dose", *arguments, "--no-pdf", "--on", ON)


def tree(folder):
    """Every file below a folder with its bytes, hidden ones too; folders with None."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None for path in folder.rglob("*")
    }


def stopped(folder, *arguments, command="dose"):
    """Run a command that cannot be done: status 2, one plain line on standard error, nothing written."""
    before = tree(folder)
    result = dose(*arguments) if command == "dose" else run(command, *arguments)
    assert result.exit_code == 2, result.output
    assert tree(folder) == before
    assert result.stdout == ""
    [line] = result.stderr.splitlines()
    assert line.startswith("Nothing was written.")
    assert "fault of the program" not in line
    return line


# What a job ends with.


def test_a_sound_job_is_written_beside_the_weighing_workbook(tmp_path):
    weighing, medicines = write_job(tmp_path, TWO)
    inputs = weighing.read_bytes(), medicines.read_bytes()
    result = dose(weighing, medicines)
    assert result.exit_code == 0
    assert result.stdout == ""
    assert {path.name for path in (tmp_path / "weighing-job").iterdir()} == WRITTEN
    assert result.stderr.splitlines()[-1] == "2 ready; no findings."
    assert f"Written into {tmp_path / 'weighing-job'}\n" in result.stderr
    assert all(f"\n  {name}\n" in result.stderr for name in WRITTEN)
    assert inputs == (weighing.read_bytes(), medicines.read_bytes())


def test_warnings_alone_end_with_status_0(tmp_path):
    result = dose(*write_job(tmp_path, TWO, {"Graduation": None}))
    assert (result.exit_code, result.stderr.splitlines()[-1]) == (0, "2 ready; 1 warning.")


def test_something_held_ends_with_status_1_and_is_written(tmp_path):
    result = dose(*write_job(tmp_path, f"{TWO}\n0414 | 4o | Hill"))
    assert result.exit_code == 1
    assert result.stderr.splitlines()[-1] == "2 ready, 1 not; 1 error."
    assert re.search(r"^error: weighing\.xlsx: Weights!B4: .*\(seen: 4o\)", result.stderr, re.MULTILINE)
    assert {path.name for path in (tmp_path / "weighing-job").iterdir()} == WRITTEN


def test_the_pdf_is_written_with_the_rest(tmp_path):
    weighing, medicines = write_job(tmp_path, TWO)
    result = run("dose", weighing, medicines, "--on", ON)
    assert result.exit_code == 0
    pdf = tmp_path / "weighing-job" / "weighing-job-sheet.pdf"
    assert pdf.read_bytes().startswith(b"%PDF") or "Pango" in result.stderr


def test_check_prints_the_same_findings_sheet_by_sheet_with_counts_and_writes_nothing(tmp_path):
    paths = write_job(tmp_path, f"{TWO}\n0414 | 4o | Hill\n0415 | | Hill", {"Graduation": None})
    before = tree(tmp_path)
    checked = run("check", *paths, "--on", ON)
    assert tree(tmp_path) == before
    assert checked.exit_code == 1
    lines = checked.stderr.splitlines()
    assert [line for line in lines if not line.startswith("  ")] == [
        "weighing.xlsx, sheet Weights: 2 errors", "medicines.xlsx, sheet Medicines: 1 warning",
        "2 ready, 2 not; 2 errors, 1 warning.",
    ]  # fmt: skip
    assert lines[1].startswith("  B4: error: The weight cannot be read")
    written = dose(*paths).stderr.splitlines()
    assert [line.split("[")[-1] for line in lines if line.startswith("  ")] == [
        line.split("[")[-1] for line in written if line.startswith(("error", "warning", "note"))
    ]


def test_check_names_line_and_column_of_a_csv_file(tmp_path):
    _, medicines = write_job(tmp_path, TWO)
    scale = tmp_path / "scale.csv"
    scale.write_text('Tag,Weight (kg)\n0412,41.5\n0413,"4o"\n')
    checked = run("check", scale, medicines, "--on", ON, "--species", "sheep")
    lines = checked.stderr.splitlines()
    assert lines[0] == "scale.csv: 1 error, 1 warning"
    assert lines[1].startswith("  as a whole: warning: No time zone is stated")
    assert lines[2].startswith("  line 3, column 2: error: The weight cannot be read")


@pytest.mark.parametrize(("animals", "status"), [(f"{TWO}\n0414 | 4o |", 1), ("Feet\n4", 2)])
def test_the_command_itself_ends_with_the_same_status(tmp_path, animals, status):
    write_job(tmp_path, animals)
    command = [sys.executable, "-m", "batchdose", "dose", "weighing.xlsx", "medicines.xlsx", "--no-pdf", "--on", ON]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=60)
    assert ended.returncode == status
    assert ended.stdout == ""
    assert "Traceback" not in ended.stderr
    assert (tmp_path / "weighing-job").exists() == (status < 2)


def test_a_fault_of_the_program_ends_in_one_plain_line(tmp_path, monkeypatch):
    def fail(*_):
        raise ZeroDivisionError("never mind")

    monkeypatch.setattr("batchdose.job.plan_job", fail)
    paths = write_job(tmp_path, TWO)
    result = dose(*paths)
    assert result.exit_code == 2
    [line] = result.stderr.splitlines()
    assert "fault of the program" in line
    assert "ZeroDivisionError" in line
    monkeypatch.setenv("BATCHDOSE_TRACEBACK", "1")
    assert isinstance(dose(*paths).exception, ZeroDivisionError)


# Inputs that cannot serve: one clear line with workbook, sheet and cell; nothing written.


def replaced(folder, name, content):
    paths = write_job(folder, TWO)
    (folder / name).write_bytes(content)
    return paths


OLE_FILE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504)
NO_WORKBOOK = [
    (OLE_FILE + "EncryptedPackage".encode("utf-16-le") + bytes(500), "password"),
    (OLE_FILE + bytes(500), "old .xls"),
    (b"PK\x03\x04 torn", "cannot be read"),
    (b"Tag,Weight\n0412,41.5\n", "cannot be read"),
    (b"", "empty"),
]


@pytest.mark.parametrize("name", ["weighing.xlsx", "medicines.xlsx"])
@pytest.mark.parametrize(("content", "problem"), NO_WORKBOOK, ids=[problem for _, problem in NO_WORKBOOK])
@pytest.mark.parametrize("command", ["dose", "check"])
def test_a_file_that_cannot_be_read(tmp_path, command, name, content, problem):
    line = stopped(tmp_path, *replaced(tmp_path, name, content), command=command)
    assert f"{name}: " in line
    assert problem in line


def test_a_workbook_damaged_inside(tmp_path):
    weighing, medicines = write_job(tmp_path, TWO)
    data = bytearray(weighing.read_bytes())
    at = data.index(b"xl/worksheets/sheet1.xml") + 60
    data[at : at + 40] = bytes(40)
    weighing.write_bytes(data)
    assert "weighing.xlsx: " in stopped(tmp_path, weighing, medicines)


@pytest.mark.parametrize("missing", [0, 1])
def test_a_missing_file(tmp_path, missing):
    paths = list(write_job(tmp_path, TWO))
    paths[missing] = tmp_path / "nowhere.xlsx"
    assert "nowhere.xlsx: There is no such file" in stopped(tmp_path, *paths)


@pytest.mark.parametrize("name", ["weighing.pdf", "weighing.xls", "weighing"])
def test_a_file_of_the_wrong_type(tmp_path, name):
    _, medicines = write_job(tmp_path, TWO)
    (tmp_path / name).write_bytes(b"anything")
    assert f"{name}: This is not a workbook" in stopped(tmp_path, tmp_path / name, medicines)


@pytest.mark.parametrize(
    ("animals", "problem"),
    [
        ([], "weighing.xlsx: No heading row"),
        ("Feet | Teeth\n4 | 8", "weighing.xlsx: No heading row"),
        ("Mob | Weight (kg)\nHill | 45", "weighing.xlsx: Weights!A1: There is no column Tag"),
        ("Tag | Mob\n0412 | Hill", "weighing.xlsx: Weights!A1: There is no column Weight"),
        ("Tag | Wieght\n0412 | 41.5", "weighing.xlsx: Weights!A1: There is no column Weight."),
        ("Tag | Weight (kg)", "weighing.xlsx: Weights!A1: There is no animal"),
        ("Tag | Weight (kg) | Liveweight\n0412 | 41.5 | 41", "weighing.xlsx: Weights!C1: Two columns"),
        ("Tag | Weight (cwt)\n0412 | 41.5", 'weighing.xlsx: Weights!B1: The unit "cwt"'),
    ],
)
@pytest.mark.parametrize("command", ["dose", "check"])
def test_a_weighing_sheet_that_cannot_serve(tmp_path, command, animals, problem):
    assert problem in stopped(tmp_path, *write_job(tmp_path, animals), command=command)


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        ("Medicine | Strength\nwormer A | 10 mg/mL", "medicines.xlsx: Medicines!A1: There is no column Dose rate"),
        ("Tea | Sugar\n1 | 2", "medicines.xlsx: Medicines: No list of medicines"),
        ([], "medicines.xlsx: Medicines: No list of medicines"),
        ("Medicine | Dose rate | Route", "medicines.xlsx: "),
    ],
)
def test_a_medicines_sheet_that_cannot_serve(tmp_path, rows, problem):
    assert problem in stopped(tmp_path, *write_job(tmp_path, TWO, Medicines=rows))


def test_an_unknown_spelling_of_the_only_medicines_rate(tmp_path):
    line = stopped(tmp_path, *write_job(tmp_path, TWO, {"Dose rate": "0.2 mg to the kilo"}))
    assert "medicines.xlsx: Medicines!E2: " in line
    assert "0.2 mg to the kilo" in line
    assert "0.2 mg/kg, 200 mcg/kg" in line


def test_an_unknown_spelling_of_one_of_two_rates_holds_that_medicine(tmp_path):
    label = B | {"Dose rate": "0.2 mg to the kilo"}
    result = dose(*write_job(tmp_path, TWO, {}, label, Treatments=BOTH))
    assert result.exit_code == 1
    assert "error: medicines.xlsx: Medicines!E3: " in result.stderr
    assert result.stderr.splitlines()[-1] == "0 ready, 2 not; 1 error."
    planned = json.loads((tmp_path / "weighing-job/weighing-results.json").read_text(encoding="utf-8"))["treatments"]
    assert {(row["medicine"], row["held"]) for row in planned} == {("wormer A", False), ("wormer B", True)}


def test_several_medicines_and_nothing_says_which(tmp_path):
    line = stopped(tmp_path, *write_job(tmp_path, TWO, {}, B))
    assert "wormer A; wormer B" in line
    assert "--give" in line


def test_give_names_the_medicine(tmp_path):
    paths = write_job(tmp_path, TWO, {}, B)
    assert dose(*paths, "--give", "wormer b").exit_code == 0
    assert dose(*paths, "--give", "wormer A", "--give", "wormer B").exit_code == 0


def test_give_of_an_unknown_medicine(tmp_path):
    line = stopped(tmp_path, *write_job(tmp_path, TWO, {}, B), "--give", "wormer C")
    assert '--give: "wormer C" is not on the medicines sheet, which has: wormer A; wormer B.' in line


def test_a_day_that_is_none(tmp_path):
    before = write_job(tmp_path, TWO)
    result = run("dose", *before, "--no-pdf", "--on", "soon")
    assert result.exit_code == 2
    assert "--on" in result.stderr
    assert not (tmp_path / "weighing-job").exists()


def test_species_on_the_command_line(tmp_path):
    paths = write_job(tmp_path, TWO, {"Species": "sheep; goats"}, Session="Time zone | UTC")
    assert "--species" in stopped(tmp_path, *paths)
    assert dose(*paths, "--species", "goats").exit_code == 0


@pytest.mark.parametrize(
    "arguments", [[], ["a.xlsx", "b.xlsx", "c.xlsx"], ["a.xlsx", "--json", "x"], ["a.xlsx", "--oops"]]
)
def test_wrong_usage(arguments):
    result = run("dose", *arguments)
    assert result.exit_code == 2
    assert "Usage:" in result.stderr
    assert result.stdout == ""


# What is printed where.


def test_json_alone_on_standard_output(tmp_path):
    weighing, medicines = write_job(tmp_path, f"{TWO}\n0414 | 4o | Hill")
    result = dose(weighing, medicines, "--json", "-")
    assert result.exit_code == 1
    printed = json.loads(result.stdout)
    assert (printed["batchdose"], printed["format"]) == (__version__, 1)
    assert [row["held"] for row in printed["treatments"]] == [False, False, True]
    assert result.stdout == (tmp_path / "weighing-job/weighing-results.json").read_text(encoding="utf-8")


def test_no_json_where_nothing_was_written(tmp_path):
    assert stopped(tmp_path, *write_job(tmp_path, "Feet\n4"), "--json", "-")


def test_the_json_is_utf8_whatever_the_terminal(tmp_path):
    write_job(tmp_path, "Tag | Weight (kg) | Mob\n0412 | 45 | Ωmega, Hügel")
    command = [sys.executable, "-m", "batchdose", "dose", "weighing.xlsx", "medicines.xlsx", "--no-pdf", "--json", "-"]
    environment = os.environ | {"PYTHONIOENCODING": "cp1252"}
    ended = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, check=False, timeout=60)
    assert ended.returncode == 0
    assert json.loads(ended.stdout.decode("utf-8"))["treatments"][0]["mob"] == "Ωmega, Hügel"


def test_help_loads_no_heavy_library():
    program = (
        "import sys\n"
        "from batchdose.cli import cli\n"
        "for arguments in ('--help', '-h', 'dose --help', 'check --help', '--version'):\n"
        "    cli(arguments.split(), standalone_mode=False)\n"
        "heavy = 'pandas pint jinja2 openpyxl weasyprint numpy python_calamine'.split()\n"
        "print('loaded:', [name for name in heavy if name in sys.modules])\n"
    )
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=60)
    assert ended.stdout.splitlines()[-1] == "loaded: []"


def test_help_names_every_option_and_status():
    text = " ".join(run("--help").stdout.split())
    assert "Exit status: 0 done; 1 done, but something is held or in error; 2 nothing written." in text
    options = run("dose", "--help").stdout
    assert all(name in options for name in ("--out", "--on", "--give", "--species", "--json", "--no-pdf"))


# Where it is written: all or none, and never over an input.


def test_out_may_be_a_new_folder_below_new_folders(tmp_path):
    paths = write_job(tmp_path, TWO)
    assert dose(*paths, "--out", tmp_path / "spring" / "hoggets").exit_code == 0
    assert {path.name for path in (tmp_path / "spring" / "hoggets").iterdir()} == WRITTEN
    assert not (tmp_path / "weighing-job").exists()


def test_files_of_others_in_the_folder_are_left_alone(tmp_path):
    paths = write_job(tmp_path, TWO)
    (tmp_path / "notes.txt").write_text("gate left open", encoding="utf-8")
    assert dose(*paths, "--out", tmp_path).exit_code == 0
    assert {path.name for path in tmp_path.iterdir()} == WRITTEN | {"weighing.xlsx", "medicines.xlsx", "notes.txt"}


def _refused(folder, paths, *arguments):
    """A job that is planned but cannot be put in place: status 2, and every file as before."""
    before = tree(folder)
    result = dose(*paths, *arguments)
    assert result.exit_code == 2, result.stderr
    assert tree(folder) == before
    line = result.stderr.splitlines()[-1]
    assert line.startswith("Nothing was written.")
    assert "fault of the program" not in line
    assert not re.search(r"^Wrote ", result.stderr, re.MULTILINE)
    return line


def test_out_that_is_a_file(tmp_path):
    paths = write_job(tmp_path, TWO)
    (tmp_path / "taken").write_text("here", encoding="utf-8")
    assert "taken" in _refused(tmp_path, paths, "--out", tmp_path / "taken")


@pytest.mark.parametrize("name", sorted(WRITTEN))
@pytest.mark.parametrize("first", [True, False], ids=["new", "again"])
def test_a_rename_that_fails_leaves_everything_as_it_was(tmp_path, monkeypatch, name, first):
    paths = write_job(tmp_path, TWO)
    if not first:
        dose(*paths)
        write_job(tmp_path, "Tag | Weight (kg)\n0499 | 60")
    whole, failed = os.replace, []

    def replace(source, target, **more):
        if Path(target).name == name and not failed:
            failed.append(target)
            raise OSError(ENOSPC, "No space left on device", str(source), None, str(target))
        whole(source, target, **more)

    monkeypatch.setattr(os, "replace", replace)
    monkeypatch.setattr(os, "rename", replace)
    assert "No space left on device" in _refused(tmp_path, paths)
    assert failed


def test_a_disk_that_fills_up_leaves_everything_as_it_was(tmp_path, monkeypatch):
    paths = write_job(tmp_path, TWO)
    dose(*paths)
    write_job(tmp_path, "Tag | Weight (kg)\n0499 | 60")
    whole, calls = tempfile.mkstemp, []

    def mkstemp(*arguments, **more):
        calls.append(arguments)
        if len(calls) == 3:
            raise OSError(ENOSPC, "No space left on device")
        return whole(*arguments, **more)

    monkeypatch.setattr(tempfile, "mkstemp", mkstemp)
    _refused(tmp_path, paths)


def test_folders_made_for_nothing_are_taken_away_again(tmp_path, monkeypatch):
    paths = write_job(tmp_path, TWO)

    def replace(*_, **__):
        raise OSError(ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "replace", replace)
    _refused(tmp_path, paths, "--out", tmp_path / "spring" / "hoggets")


@pytest.mark.parametrize("name", sorted(WRITTEN))
def test_a_folder_in_the_place_of_an_output_is_left_alone(tmp_path, name):
    paths = write_job(tmp_path, TWO)
    (tmp_path / "weighing-job" / name).mkdir(parents=True)
    (tmp_path / "weighing-job" / name / "kept.txt").write_text("here", encoding="utf-8")
    assert name in _refused(tmp_path, paths)


@pytest.mark.parametrize(
    ("lock", "name"),
    [
        (".~lock.{}#", "weighing-dosed.xlsx"),
        ("~${}", "weighing-dosed.xlsx"),
        (".~lock.{}#", "weighing-job-sheet.html"),
    ],
)
def test_a_file_that_is_open_elsewhere_is_not_replaced(tmp_path, lock, name):
    paths = write_job(tmp_path, TWO)
    dose(*paths)
    (tmp_path / "weighing-job" / lock.format(name)).write_text("Operator 1", encoding="utf-8")
    line = _refused(tmp_path, paths)
    assert name in line
    assert "open in another program" in line


def test_that_nothing_was_written_is_said_once(tmp_path):
    paths = write_job(tmp_path, TWO)
    (tmp_path / "weighing-job").mkdir()
    (tmp_path / "weighing-job" / ".~lock.weighing-dosed.xlsx#").touch()
    assert _refused(tmp_path, paths).casefold().count("nothing was written") == 1
    (tmp_path / "taken").touch()
    assert _refused(tmp_path, paths, "--out", tmp_path / "taken").casefold().count("nothing was written") == 1


def test_an_input_is_never_replaced(tmp_path):
    paths = write_job(tmp_path, TWO)
    dose(*paths)
    dosed = tmp_path / "weighing-job" / "weighing-dosed.xlsx"
    line = _refused(tmp_path, (dosed, paths[1]), "--out", dosed.parent)
    assert "weighing-dosed.xlsx: This file is an input, and an input is never replaced." in line
    link = tmp_path / "link"
    link.symlink_to(dosed.parent, target_is_directory=True)
    assert "never replaced" in _refused(tmp_path, (dosed, paths[1]), "--out", link)


def test_a_workbook_whose_copy_cannot_be_made_is_no_fault_of_the_program(tmp_path):
    weighing, medicines = write_job(tmp_path, TWO)
    whole_row = b'<dataValidation type="list" sqref="1:1"><formula1>"a,b"</formula1></dataValidation>'
    rules = b'<dataValidations count="1">' + whole_row + b"</dataValidations><pageMargins"
    edit_part(weighing, lambda xml: xml.replace(b"<pageMargins", rules))
    result = dose(weighing, medicines)
    assert "fault of the program" not in result.stderr
    assert result.exit_code == 0
    assert any(path.suffix == ".xlsx" for path in (tmp_path / "weighing-job").iterdir())


class _Printer:
    """Stands in for the printing of the PDF, which fails."""

    error: Exception = RuntimeError("the PDF could not be made: no ink")

    def begin(self, html, for_browser):
        assert html.startswith("<!DOCTYPE html>")
        assert for_browser != html

    def finish(self, progress):  # noqa: ARG002
        raise self.error

    def close(self):
        return None


def test_a_pdf_that_cannot_be_printed_leaves_everything_as_it_was(tmp_path, monkeypatch):
    paths = write_job(tmp_path, TWO)
    dose(*paths)
    write_job(tmp_path, "Tag | Weight (kg)\n0499 | 60")
    monkeypatch.setattr("batchdose.write.pdf.PdfPrinter", _Printer)
    before = tree(tmp_path)
    result = run("dose", *paths, "--on", ON)
    assert result.exit_code == 2
    assert tree(tmp_path) == before
    assert "no ink" in result.stderr.splitlines()[-1]
    assert "Wrote" not in result.stderr


def test_where_no_pdf_can_be_printed_the_rest_is_written_and_a_remark_says_so(tmp_path, monkeypatch):
    paths = write_job(tmp_path, TWO)
    monkeypatch.setattr(_Printer, "error", PdfUnavailableError("Pango is not installed."))
    monkeypatch.setattr("batchdose.write.pdf.PdfPrinter", _Printer)
    result = run("dose", *paths, "--on", ON)
    assert result.exit_code == 0
    assert "Pango is not installed." in result.stderr
    assert {path.name for path in (tmp_path / "weighing-job").iterdir()} == WRITTEN


def test_a_bar_is_drawn_on_a_terminal_alone_and_only_where_it_takes_long(monkeypatch):
    class Terminal(StringIO):
        def isatty(self):
            return self.terminal

    for terminal, long_s, drawn in ((True, -1.0, True), (False, -1.0, False), (True, 60.0, False)):
        stream = Terminal()
        stream.terminal = terminal
        monkeypatch.setattr("sys.stderr", stream)
        monkeypatch.setattr("batchdose.cli._LONG_S", long_s)
        with _progress("Printing") as progress:
            progress(1, 4)
            progress(4, 4)
        assert ("Printing" in stream.getvalue()) == drawn
        assert ("100%" in stream.getvalue()) == drawn


@pytest.mark.parametrize("option", [["--paper", "letter"], ["--lists-only"]])
def test_paper_and_lists_alone_change_the_job_sheet_and_nothing_else(tmp_path, option):
    paths = write_job(tmp_path, TWO)
    written = []
    for more in ([], option):
        assert run("dose", *paths, "--on", ON, "--no-pdf", "--out", tmp_path / "out", *more).exit_code == 0
        written.append({path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()})
    usual, changed = written
    assert {name for name in usual if usual[name] != changed[name]} == {"weighing-job-sheet.html"}
    assert (b"size: letter" in changed["weighing-job-sheet.html"]) == ("letter" in option)
    assert (b"Take along" in changed["weighing-job-sheet.html"]) == ("letter" in option)


# Again.


def test_the_same_inputs_give_the_same_bytes(tmp_path):
    animals = [["Tag", "Weight (kg)", "Mob", "Species"]]
    animals += [[f"{401 + at:04d}", 30 + at % 25, f"Mob {at % 3}", ("sheep", "goat")[at % 2]] for at in range(40)]
    labels = {"Species": "sheep; goats; deer", "Eggs withdrawal": "1 day"}, VACCINE | {"Species": "goats; sheep"}
    write_job(tmp_path, animals, *labels, Treatments="Medicine\nwormer A\nvaccine V")
    trees = []
    for seed in ("1", "2"):
        command = [sys.executable, "-m", "batchdose", "dose", "weighing.xlsx", "medicines.xlsx", "--no-pdf", "--on", ON]
        environment = os.environ | {"PYTHONHASHSEED": seed}
        subprocess.run(
            [*command, "--out", seed], cwd=tmp_path, env=environment, check=True, capture_output=True, timeout=60
        )
        trees.append(tree(tmp_path / seed))
    assert set(trees[0]) == WRITTEN
    assert trees[0] == trees[1]


def dosed_again(tmp_path, animals, *labels, change=lambda _: None, **sheets):
    """Rows of the weighing sheet, and the sheets' names, of a first run and of one on its result."""
    weighing, medicines = write_job(tmp_path, animals, *labels, **sheets)
    seen = []
    for number, source in enumerate((weighing, tmp_path / "1" / "weighing-dosed.xlsx"), 1):
        if number == 2:
            book = load_workbook(source)
            change(book)
            book.save(source)
        result = dose(source, medicines, "--out", tmp_path / str(number))
        assert result.exit_code < 2, result.stderr
        book = load_workbook(tmp_path / str(number) / "weighing-dosed.xlsx")
        seen.append(([[cell.value for cell in row] for row in book["Weights"].iter_rows()], book.sheetnames))
    return seen


def test_a_run_on_the_result_replaces_its_columns_and_sheets(tmp_path):
    first, second = dosed_again(tmp_path, TWO)
    assert second == first
    assert first[0][0][:4] == ["Tag", "Weight (kg)", "Mob", "Job: tag"]
    assert first[0][1][:4] == ["0412", 41.5, "Hill", "0412"]


def test_no_old_dose_stays_where_an_animal_is_gone(tmp_path):
    def gone(book):
        sheet = book["Weights"]
        sheet["A3"] = sheet["B3"] = sheet["C3"] = None
        sheet["B2"] = None

    (first, _), (second, _) = dosed_again(tmp_path, TWO, change=gone)
    at = first[0].index("Job: dose")
    assert [row[at] for row in first[1:]] == [0.9, 0.9]
    assert all(row[at] is None for row in second[1:])
    assert all(value is None for row in second[2:] for value in row[3:])


def test_a_column_written_beside_the_results_is_kept(tmp_path):
    def remark(book):
        sheet = book["Weights"]
        at = sheet.max_column + 1
        for row, text in enumerate(("Seen by", "Operator 1", "Operator 2"), 1):
            sheet.cell(row, at, text)
        book["Treatments"].append(["wormer B"])

    _, (second, _) = dosed_again(tmp_path, TWO, {}, B, change=remark, Treatments="Medicine\nwormer A")
    at = second[0].index("Seen by")
    assert [row[at] for row in second] == ["Seen by", "Operator 1", "Operator 2"]
    assert len({heading for heading in second[0] if heading}) == len([heading for heading in second[0] if heading])


def test_the_stem_of_the_result_is_that_of_the_session(tmp_path):
    _, medicines = write_job(tmp_path, TWO)
    again = write_book(
        tmp_path / "weighing-dosed.xlsx", {"Weights": TWO, "Session": "Species | sheep\nTime zone | UTC"}
    )
    assert dose(again, medicines).exit_code == 0
    assert {path.name for path in (tmp_path / "weighing-job").iterdir()} == WRITTEN


# What stands in the sheets stays text.

STARTS = ["=1+1", "=cmd|' /C calc'!A0", "+44 20", "-x", "@SUM(A1)", "\t=2+2"]


def formulas(path):
    book = load_workbook(path)
    return [
        (sheet.title, cell.coordinate, cell.value)
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    ]


@pytest.mark.parametrize("ending", [".csv", ".ods"])
def test_text_that_looks_like_a_formula_stays_text(tmp_path, ending):
    animals = [["Tag", "Weight (kg)", "Mob", "Species", "Note"]]
    animals += [[text, 45, text, "sheep", text] for text in STARTS]
    weighing = write_book(tmp_path / f"weighing{ending}", {"Weights": animals})
    label = {"Medicine": "=1+1", "Site": "@SUM(A1)", "Caution": "+44", "Prescriber": "-x"}
    medicines = write_book(tmp_path / "medicines.csv", {"Medicines": medicine_rows(label)})
    assert dose(weighing, medicines).exit_code == 0
    dosed = tmp_path / "weighing-job" / "weighing-dosed.xlsx"
    assert formulas(dosed) == []
    sheet = load_workbook(dosed).worksheets[0]
    column = [cell.value for cell in sheet[1]].index("Job: tag") + 1
    assert [sheet.cell(row, column).value for row in range(2, 8)] == [text.strip() for text in STARTS]


def test_text_of_a_workbook_that_looks_like_a_formula_stays_text_and_its_formulas_stay(tmp_path):
    sheet = [["Tag", "Weight (kg)", "Mob"], ["x", 45, "x"], ["0413", 46, "=B2"]]
    weighing, medicines = write_job(tmp_path, sheet)
    for cell in ("A2", "C2"):
        put_cell(weighing, cell, f'<c r="{cell}" t="inlineStr"><is><t>=HYPERLINK("x")</t></is></c>')
    dose(weighing, medicines)
    found = formulas(tmp_path / "weighing-job" / "weighing-dosed.xlsx")
    assert [(name, cell) for name, cell, _ in found] == [("Weights", "C3")]


def test_marks_of_html_in_the_sheets_are_shown_not_run(tmp_path):
    bad = "<script>alert(1)</script>"
    animals = [
        ["Tag", "Weight (kg)", "Mob", "Note", "Give anyway"],
        [f"1{bad}", 45, f"2{bad}", f"3{bad}", None],
        ["0413", 190, f"2{bad}", None, f"4{bad}"],
        [f"5{bad}", f"6{bad}", f"2{bad}", None, None],
    ]
    label = {"Medicine": f"7{bad}", "Caution": f"8{bad}", "Site": f"9{bad}", "Route": f"10{bad}", "Needle": f"11{bad}"}
    session = [["Species", "sheep"], ["Time zone", "UTC"], ["Client", f"12{bad}"], ["Operator", f"13{bad}"]]
    lines = [["Medicine", "Reason"], [f"7{bad}", f"14{bad}"]]
    assert dose(*write_job(tmp_path, animals, label, Session=session, Treatments=lines)).exit_code == 1
    html = (tmp_path / "weighing-job" / "weighing-job-sheet.html").read_text(encoding="utf-8")
    assert html.casefold().count("<script") == 2, "those of the template: its words, and what it does"
    assert "alert(1)</script" not in html.casefold()
    for number in (1, 2, 5, 7, 8, 9, 12, 13):
        assert f"{number}&lt;script&gt;alert(1)&lt;/script&gt;" in html, number
