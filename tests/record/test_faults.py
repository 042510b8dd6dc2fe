"""Faults while recording: whatever happens, the record is whole, old or new; and the sheet opens in LibreOffice."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from openpyxl import load_workbook
from yard import WHEN, Yard

from batchdose.record import lock
from batchdose.record.book import open_record
from batchdose.record.lock import locked
from batchdose.write import files

GOOD = {"given": "yes", "when": WHEN}


@pytest.fixture
def yard(tmp_path):
    yard = Yard(tmp_path)
    yard.fill({"0412": GOOD})
    yard.record()
    yard.fill({"0413": GOOD})
    return yard


def kinds(yard):
    """What lies in the folder of the record, hidden files by their first letters."""
    return sorted({path.name[:10] if path.name.startswith(".") else path.name for path in yard.folder.iterdir()})


def child(work):
    """Do something in a process of its own; gives its number at once."""
    number = os.fork()
    if number == 0:
        try:
            work()
        finally:
            os._exit(0)
    return number


def ended(number):
    return os.waitstatus_to_exitcode(os.waitpid(number, 0)[1])


class _Half:
    """A file on which only half of what is written arrives, and then something happens."""

    def __init__(self, file, then):
        self._file, self._then = file, then

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._file.close()

    def write(self, content):
        self._file.write(content[: len(content) // 2])
        self._file.flush()
        self._then()


def no_space(*_, **__):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def not_allowed(*_, **__):
    raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))


#: Every call that writes, in order, and how it can fail.
WRITES = {
    "lock": (lock.os, "open"), "new file": (files.tempfile, "mkstemp"), "contents": (files.os, "fdopen"),
    "to the disk": (files.os, "fsync"), "rights": (Path, "chmod"), "new name": (Path, "replace"),
}  # fmt: skip


@pytest.mark.parametrize("step", WRITES)
@pytest.mark.parametrize(
    ("fault", "words"), [(no_space, "No space left"), (not_allowed, "Permission denied")], ids=["full", "not allowed"]
)
def test_a_disk_that_fails_at_any_step_leaves_the_old_record(yard, monkeypatch, step, fault, words):
    before, there = yard.record_path.read_bytes(), kinds(yard)
    where, name = WRITES[step]
    if step == "contents":
        fdopen = os.fdopen
        monkeypatch.setattr(where, name, lambda *arguments: _Half(fdopen(*arguments), fault))
    else:
        monkeypatch.setattr(where, name, fault)
    told = yard.record()
    monkeypatch.undo()
    assert told.exit_code == 2
    assert words in told.stderr
    assert yard.record_path.read_bytes() == before
    assert kinds(yard) == there, "nothing is left behind"
    assert yard.record().exit_code == 0
    assert len(yard.rows()) == 2


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that share what is loaded")
def test_a_power_cut_at_any_step_leaves_the_old_record_or_the_new_one(yard):
    """The process is killed before every call that touches the folder, one run a call, until a run gets through."""
    before = yard.record_path.read_bytes()
    rows, step = [], 0
    while True:
        yard.record_path.write_bytes(before)
        if ended(child(lambda at=step: (_kill_at(at, yard.folder), yard.record()))) == 0:
            break
        assert yard.run("check", yard.record_path).exit_code == 0, step
        rows.append(len(yard.rows()))
        assert yard.record().exit_code == 0, "the lock has ended with the process"
        assert len(yard.rows()) == 2
        step += 1
    assert sorted(rows) == rows, "old until the rename, new from then on"
    assert set(rows) == {1, 2}
    assert step > 5


def _kill_at(step, folder):
    """Have this process killed at the nth call that opens, writes, renames or deletes anything in a folder."""
    left = [step]

    def count(event, arguments):
        touches = event in ("open", "os.rename", "os.remove", "os.chmod") and str(folder) in str(arguments)
        if touches or event == "fsync":
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            left[0] -= 1

    fsync, fdopen = os.fsync, os.fdopen
    files.os.fsync = lambda handle: (sys.audit("fsync"), fsync(handle))
    sys.addaudithook(count)
    if step == 3:
        files.os.fdopen = lambda *arguments: _Half(fdopen(*arguments), lambda: os.kill(os.getpid(), signal.SIGKILL))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that share what is loaded")
class TestTwoAtOnce:
    def test_the_second_is_told_and_may_go_on_when_the_first_has_died(self, yard):
        ready, tell = os.pipe()

        def hold():
            with locked(yard.record_path):
                os.write(tell, b"x")
                time.sleep(60)

        first = child(hold)
        os.read(ready, 1)
        told = yard.record()
        assert told.exit_code == 2
        assert "Someone else is recording into this workbook" in told.stderr
        assert len(yard.rows()) == 1
        os.kill(first, signal.SIGKILL)
        ended(first)
        assert (yard.folder / ".record.xlsx.lock").exists(), "left by who died"
        assert yard.record().exit_code == 0
        assert len(yard.rows()) == 2
        assert not (yard.folder / ".record.xlsx.lock").exists()

    def test_of_many_at_once_each_row_is_there_once_or_its_recorder_was_refused(self, yard):
        before = yard.rows()
        made = []
        for number in range(6):
            bare = yard.folder / f"bare{number}.csv"
            bare.write_text(f"Tag,Medicine,Given,When\n90{number},dip D,yes,2026-06-20\n", encoding="utf-8")

            def work(bare=bare):
                told = yard.run("record", bare, "--to", yard.record_path, "--on", "2026-07-01")
                os._exit(told.exit_code)

            made.append((f"90{number}", child(work)))
        done = [tag for tag, process in made if ended(process) != 2]
        assert sorted(row["Tag"] for row in yard.rows()[len(before) :]) == done
        assert done
        assert yard.run("check", yard.record_path).exit_code == 0

    def test_a_lock_taken_away_meanwhile_is_taken_again(self, yard):
        place = yard.folder / ".record.xlsx.lock"
        with locked(yard.record_path):
            place.unlink()
            with locked(yard.record_path):
                assert place.exists()


@pytest.mark.parametrize("owner", [".~lock.record.xlsx#", "~$record.xlsx"])
def test_a_record_open_in_a_spreadsheet_program_is_left_alone_but_can_be_asked(yard, owner):
    before = yard.record_path.read_bytes()
    (yard.folder / owner).write_text("someone")
    told = yard.record()
    assert told.exit_code == 2
    assert "The file is open in another program" in told.stderr
    assert yard.record_path.read_bytes() == before
    assert yard.clear().exit_code == 0
    (yard.folder / owner).unlink()
    assert yard.record().exit_code == 0


def test_asking_writes_nothing(yard):
    before = {path: path.read_bytes() for path in yard.folder.iterdir() if path.is_file()}
    yard.clear()
    yard.run("check", yard.record_path)
    assert {path: path.read_bytes() for path in yard.folder.iterdir() if path.is_file()} == before


def _sorted_by_hand(sheet):
    rows = list(sheet.values)
    for number, row in enumerate(reversed(rows[1:]), 2):
        for column, value in enumerate(row, 1):
            sheet.cell(number, column).value = value


def _moved_column(sheet):
    cells = [sheet.cell(row, 7).value for row in range(1, sheet.max_row + 1)]
    sheet.delete_cols(7)
    for row, value in enumerate(cells, 1):
        sheet.cell(row, 30).value = value


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (_sorted_by_hand, "moved or sorted"), (lambda sheet: sheet.insert_cols(4), ""),
        (_moved_column, ""), (lambda sheet: sheet.insert_rows(3), ""),
        (lambda sheet: sheet.delete_rows(2), "Row 1 is missing"),
        (lambda sheet: setattr(sheet["P3"], "value", "other"), "Row 2 was altered"),
        (lambda sheet: sheet.append([cell.value for cell in sheet[2]]), "Row 1 stands in the record twice"),
        (lambda sheet: setattr(sheet, "title", "Our record"), ""),
    ],
    ids=["sorted", "column added", "column moved", "blank row", "row deleted", "cell changed", "row copied", "renamed"],
)  # fmt: skip
def test_a_record_edited_by_hand_goes_on_and_says_what_happened(yard, edit, words):
    yard.record()
    book = load_workbook(yard.record_path)
    edit(book["Record"])
    book.save(yard.record_path)
    yard.fill({"0415": GOOD})
    told = yard.record()
    assert told.exit_code == int(words[:4] == "Row "), told.stderr
    assert words in told.stderr
    assert words in yard.run("check", yard.record_path).stderr
    assert {row.tag for row in open_record(yard.record_path).rows} == {"0412", "0413", "0415"}, "a lost row comes again"


@pytest.mark.office
def test_a_record_saved_by_libreoffice_goes_on(yard, tmp_path):
    if not shutil.which("soffice"):
        pytest.skip("LibreOffice is not installed")
    (tmp_path / "out").mkdir()
    subprocess.run(
        ["soffice", f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless", "--convert-to", "xlsx",
         "--outdir", tmp_path / "out", yard.record_path], check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    (tmp_path / "out" / "record.xlsx").replace(yard.record_path)
    assert "all its rows were read" in yard.clear().stderr
    assert yard.record().exit_code == 0
    assert [row["Row"] for row in yard.rows()] == [1, 2]
    assert "the chain holds" in yard.run("check", yard.record_path).stderr
    assert yard.clear().stderr == ""


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


def validations(path, sheet):
    """Kind, list or limit, and first cell of every check of a sheet."""
    checks = load_workbook(path)[sheet].data_validations.dataValidation
    return {(check.type, check.formula1.replace(" ", ""), str(check.sqref).split(":")[0]) for check in checks}


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
    for sheet in ("Job given", "Job given by mob"):
        assert validations(saved, sheet) == validations(yard.dosed, sheet)
    assert ("list", '"yes,no,part"', "K2") in validations(saved, "Job given")
    yard.record()
    told = yard.run("record", saved, "--to", yard.record_path, "--on", "2026-07-01")
    assert "0 rows added" in told.stderr, told.output
