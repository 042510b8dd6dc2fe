"""Many clients from the folder to the summary."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from urllib.parse import unquote

import pytest
from click.testing import CliRunner
from clients_farm import write_client, write_shared
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook
from sheets import medicine_rows, write_book

from batchdose import UnusableInputError
from batchdose.cli import cli
from batchdose.clients.bring import to_bring
from batchdose.clients.engines import processes
from batchdose.clients.jobs import ClientJob, Need
from batchdose.clients.kept import Kept, jobs_in
from batchdose.clients.plan import plan_clients
from batchdose.clients.summary import job_lines, write_summary
from batchdose.clients.work import NOT_SHARED, Options, do_task

NO_PDF = Options(pdf=False)


@pytest.fixture(scope="module")
def engine():
    with processes(1, pdf=False) as found:
        yield found


@pytest.fixture
def farm(tmp_path):
    """Three clients: one with its own sheet, one with the shared one, one whose workbook is torn."""
    folder = tmp_path / "clients"
    write_client(folder / "a", "1", "Ash", {})
    write_client(folder / "b", "2", "Beech")
    (folder / "c").mkdir()
    (folder / "c" / "weighing.xlsx").write_bytes(b"PK\x03\x04 torn")
    return folder, tmp_path / "out", write_shared(tmp_path / "all.xlsx")


def plan(farm, engine, **more):
    folder, out, shared = farm
    return plan_clients(folder, out, NO_PDF, engine=engine, medicines=shared, **more)


def stamps(out: Path) -> dict[str, int]:
    """When each output was written."""
    paths = [path for path in out.rglob("*-*") if path.is_file()]
    return {path.relative_to(out).as_posix(): path.stat().st_mtime_ns for path in paths}


def test_one_bad_workbook_never_stops_the_rest(farm, engine):
    planned = plan(farm, engine)
    assert [(job.client, job.ready, job.whose, job.failed) for job in planned.jobs] == [
        ("Ash", 2, "its own", ""), ("Beech", 2, "the shared one", ""),
    ]  # fmt: skip
    assert [other.path.parent.name for other in planned.not_taken] == ["c"]
    assert planned.exit_status == 1
    for job in planned.jobs:
        assert {Path(written.path).suffix for written in job.files} >= {".xlsx", ".html", ".json"}
        assert all((planned.out / written.path).is_file() for written in job.files)
    assert any("Beech: 2 ready; the shared one medicines sheet (all.xlsx)" in line for _, line in job_lines(planned))


def test_a_rerun_does_only_what_changed(farm, engine):
    folder, out, shared = farm
    plan(farm, engine)
    before = stamps(out)
    again = plan(farm, engine)
    assert {key.split("/")[0] for key in again.unchanged} == {"a", "b"}
    assert stamps(out) == before
    write_client(folder / "b", "3", "Beech")
    changed = plan(farm, engine)
    assert changed.unchanged == {"a/weighing.xlsx"}
    assert {name for name, at in stamps(out).items() if before.get(name) != at and name.startswith(("a/", "b/"))} == {
        written.path for job in changed.jobs if job.client == "Beech" for written in job.files
    }
    write_book(shared, {"Medicines": medicine_rows({"Meat withdrawal": "20 days"})})
    assert plan(farm, engine).unchanged == {"a/weighing.xlsx"}
    assert plan(farm, engine, again=True).unchanged == frozenset()


def test_other_options_missing_outputs_and_another_day_are_changes_too(farm, engine):
    folder, out, shared = farm
    plan(farm, engine)
    other = plan_clients(folder, out, replace(NO_PDF, order="weight"), engine=engine, medicines=shared)
    assert other.unchanged == frozenset()
    plan(farm, engine)
    shutil.rmtree(out / "a")
    assert plan(farm, engine).unchanged == {"b/weighing.xlsx"}
    kept = Kept(out)
    job = jobs_in(out)[0]
    kept.keep(replace(job, today="2001-01-01 UTC"), "mark")
    assert kept.job(job.key, "mark") is None
    kept.keep(job, "mark")
    assert kept.job(job.key, "mark") == job
    assert kept.job(job.key, "another") is None


def _filled_in(dosed):
    """Enter what was given, as staff do; gives the contents."""
    book = load_workbook(dosed)
    sheet = book["Job given"]
    heads = {cell.value: cell.column for cell in sheet[1]}
    sheet.cell(2, heads["Given"], "yes")
    book.save(dosed)
    return dosed.read_bytes()


def test_a_filled_in_workbook_is_not_replaced_and_the_client_is_named(farm, engine):
    folder, out, _ = farm
    plan(farm, engine)
    dosed = out / "a" / "weighing" / "weighing-dosed.xlsx"
    content = _filled_in(dosed)
    write_client(folder / "a", "7", "Ash", {})
    planned = plan(farm, engine)
    failed = next(job for job in planned.jobs if job.key.startswith("a/"))
    assert "filled-in sheet is never replaced" in failed.failed
    assert dosed.read_bytes() == content


def test_the_summary_says_who_what_why_and_where(farm, engine):
    folder, out, _ = farm
    write_client(
        folder / "d #1",
        "4",
        "Dogwood & Sons",
        {},
        Stock="Medicine | Pack size | Packs | Price\nwormer A | 1 mL | 1 | 3",
    )
    write_client(folder / "e", "5", "ASH", {})
    planned = plan(farm, engine)
    assert sorted(write_summary(planned)) == ["clients-summary.html", "clients-summary.xlsx"]
    page = (out / "clients-summary.html").read_text(encoding="utf-8")
    assert "Dogwood &amp; Sons" in page
    for link in re.findall(r'href="([^"#][^"]*)"', page):
        assert (out / unquote(link)).is_file(), link
    assert "Ash and ASH" in page
    book = load_workbook(out / "clients-summary.xlsx")
    assert book.sheetnames[:5] == ["Clients", "Do not dose", "To bring", "Clear from", "Not planned"]
    rows = list(book["Clients"].iter_rows(values_only=True))
    assert {row[0] for row in rows[1:]} == {"Ash", "ASH", "Beech", "Dogwood & Sons"}
    links = [cell.hyperlink.target for row in book["Clients"].iter_rows() for cell in row if cell.hyperlink]
    assert links
    assert all((out / unquote(link)).is_file() for link in links)
    (line,) = book["To bring"].iter_rows(min_row=2, values_only=True)
    # Ash, ASH and Beech draw 0.9 + 1.1 mL each; Dogwood has 1 mL and is 1 mL short.
    assert line[:4] == ("wormer A", "8 mL", "7 mL", "7 x 1 mL")
    assert (book["Not planned"].cell(2, 2).value, "cannot be read" in book["Not planned"].cell(2, 3).value) == (
        "c/weighing.xlsx",
        True,
    )


def need(draw, short="", shared=False, listed="", sizes=(("10", "4"), ("50", "15"))):
    return Need("wormer A", "mL", str(draw), short, "", listed, sizes, shared)


def test_a_shared_stock_is_counted_once_for_all_clients():
    jobs = [ClientJob(str(n), str(n), needs=(need(60, "0", shared=True, listed="100"),)) for n in range(3)]
    (line,) = to_bring(jobs)
    assert (line.to_draw, line.to_bring, line.clients) == ("180 mL", "180 mL", 3)
    assert line.remark.startswith("The shared sheet lists 100 mL in date: 80 mL to buy.")


@given(st.lists(st.tuples(st.integers(1, 400), st.integers(0, 400) | st.none()), min_size=1, max_size=8))
def test_the_packs_hold_what_is_brought(clients):
    jobs = []
    for n, (draw, short) in enumerate(clients):
        missing = "" if short is None else str(Fraction(min(short, draw), 10))
        jobs.append(ClientJob(str(n), str(n), needs=(need(Fraction(draw, 10), missing),)))
    (line,) = to_bring(jobs)
    expected = sum(Fraction(draw if short is None else min(short, draw), 10) for draw, short in clients)
    held = sum(int(packs) * int(size) for packs, size in re.findall(r"(\d+) x (\d+) mL", line.packs))
    assert Fraction(line.to_bring.removesuffix(" mL").replace(",", "")) == expected
    assert held >= expected
    assert held - expected < 50


def test_a_worker_without_the_folders_gets_the_files_and_gives_the_same_outputs(farm, engine, tmp_path, monkeypatch):
    plan(farm, engine)
    folder, _, shared = farm
    by_path = {job.key: [written.sha256 for written in job.files] for job in jobs_in(farm[1])}
    elsewhere = tmp_path / "elsewhere"
    _workers_see_nothing(monkeypatch, elsewhere)
    sent = plan_clients(folder, elsewhere, NO_PDF, engine=engine, medicines=shared)
    assert {job.key: [written.sha256 for written in job.files] for job in sent.jobs} == by_path
    assert all((elsewhere / written.path).is_file() for job in sent.jobs for written in job.files)


def _workers_see_nothing(monkeypatch, out):
    """As on a cluster without shared storage: no worker finds the mark of the run."""
    monkeypatch.setattr(Kept, "mark", property(lambda kept: out / ".batchdose" / "not there" / f"{kept}"))
    monkeypatch.setattr(Path, "touch", lambda *_, **__: None)
    monkeypatch.setattr(Path, "mkdir", _mkdir_but(Path.mkdir, "not there"))


def _mkdir_but(mkdir, name):
    return lambda path, *args, **more: None if name in path.parts else mkdir(path, *args, **more)


def test_a_fault_of_the_program_is_told_and_stops_nobody(farm, engine, monkeypatch):
    plan(farm, engine)
    import batchdose.job

    monkeypatch.setattr(batchdose.job, "plan_job", lambda *_: 1 / 0)
    from batchdose.clients.find import Session
    from batchdose.clients.plan import _tasks

    folder, out, shared = farm
    (task,) = _tasks(
        folder, out, [Session(folder / "a" / "weighing.xlsx", shared, "the shared one")], NO_PDF, Kept(out)
    )
    assert do_task(task) == NOT_SHARED
    task.mark.touch()
    assert "fault of the program" in do_task(task).job.failed


@pytest.mark.parametrize(
    ("folder", "medicines", "match"),
    [
        ("nowhere", None, "no such folder"),
        ("clients", "nowhere.xlsx", "no such medicines sheet"),
        ("empty", None, "Tag and Weight"),
    ],
)
def test_what_cannot_be_done_at_all_is_said(farm, engine, tmp_path, folder, medicines, match):
    (tmp_path / "empty").mkdir()
    with pytest.raises(UnusableInputError, match=match):
        plan_clients(tmp_path / folder, farm[1], NO_PDF, engine=engine, medicines=medicines)


def test_outputs_never_lie_among_the_inputs(farm, engine):
    with pytest.raises(UnusableInputError, match="among the inputs"):
        plan_clients(farm[0], farm[0], NO_PDF, engine=engine)


def test_the_command_prints_a_line_a_client_and_ends_with_one_where_something_is_wrong(farm):
    folder, out, shared = farm
    done = CliRunner().invoke(
        cli, ["clients", str(folder), "--medicines", str(shared), "--out", str(out), "--no-pdf", "--processes", "1"]
    )
    assert done.exit_code == 1, done.output
    assert "Ash: 2 ready; its own medicines sheet (medicines.xlsx)" in done.output
    assert "2 of 3 workbooks planned; 4 animals ready, 0 not." in done.output


def test_ctrl_c_leaves_what_is_done_whole_and_the_rest_for_the_next_run(tmp_path):
    folder, out = tmp_path / "clients", tmp_path / "out"
    for n in range(8):
        write_client(folder / f"farm {n:02}", str(n), f"Farm {n}", {})
    command = [
        sys.executable,
        "-m",
        "batchdose",
        "clients",
        str(folder),
        "--out",
        str(out),
        "--no-pdf",
        "--processes",
        "1",
    ]
    running = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, start_new_session=True)
    deadline = time.monotonic() + 120
    while len(jobs_in(out)) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    os.killpg(running.pid, signal.SIGINT)
    _, said = running.communicate(timeout=120)
    assert running.returncode == 130, said
    assert "the same command goes on with the rest" in said
    done = jobs_in(out)
    assert 2 <= len(done) < 8
    for folder_done in (path for path in out.glob("*/weighing") if path.is_dir()):
        endings = {p.name.removeprefix("weighing-") for p in folder_done.iterdir()}
        assert endings >= {"dosed.xlsx", "job-sheet.html", "results.json"}
        assert not [name for name in endings if name.startswith(".batchdose-")]
    planned = plan_clients(folder, out, NO_PDF)
    assert len(planned.jobs) == 8
    assert {job.key for job in done} <= planned.unchanged


def test_a_workbook_that_is_not_taken_is_told_by_its_place(farm, engine):
    folder, _, _ = farm
    for name in ("d", "e"):
        (folder / name).mkdir()
        (folder / name / f"{name}.xlsx").write_bytes(b"")  # the same contents: each has its own name all the same
    planned = plan(farm, engine)
    lines = [line for _, line in job_lines(planned)]
    assert any(line.startswith("not planned: d/d.xlsx: The file is empty.") for line in lines)
    assert any(line.startswith("not planned: e/e.xlsx: The file is empty.") for line in lines)
    write_summary(planned)
    sheet = load_workbook(planned.out / "clients-summary.xlsx")["Not planned"]
    assert {row[1].value for row in sheet.iter_rows(min_row=2)} == {"c/weighing.xlsx", "d/d.xlsx", "e/e.xlsx"}


def test_beside_a_list_that_cannot_be_opened_the_shared_one_is_not_taken(farm, engine):
    folder, _, _ = farm
    (folder / "b" / "medicines.xlsx").write_bytes(b"PK\x03\x04 torn")
    planned = plan(farm, engine)
    assert [job.client for job in planned.jobs] == ["Ash"]
    assert any("medicines.xlsx in the same folder cannot be opened" in line for _, line in job_lines(planned))


@pytest.mark.parametrize("kept", ["[]", '{"version": "0', '{"kinds": 1}', "null"])
def test_what_was_kept_and_is_damaged_is_found_again(farm, engine, kept):
    _, out, _ = farm
    plan(farm, engine)
    for path in (out / ".batchdose").glob("*.json"):
        path.write_text(kept, encoding="utf-8")
    assert [job.client for job in plan(farm, engine).jobs] == ["Ash", "Beech"]


def test_the_outputs_of_another_round_are_no_clients(farm, engine):
    folder, _, shared = farm
    plan_args = {"engine": engine, "medicines": shared}
    write_summary(plan_clients(folder, folder / "first", NO_PDF, **plan_args))
    planned = plan_clients(folder, folder / "second", NO_PDF, **plan_args)
    assert [other.path.parent.name for other in planned.not_taken] == ["c"]


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has names that are no letters")
def test_a_name_that_cannot_be_read_stops_nobody_else(farm, engine):
    folder, _, _ = farm
    write_client(Path(os.fsdecode(os.fsencode(folder) + b"/bad\xff")), "9")
    planned = plan(farm, engine)
    write_summary(planned)
    assert [job.client for job in planned.jobs] == ["Ash", "Beech"]
    assert any(line.startswith("not planned: bad?/weighing.xlsx: Its name") for _, line in job_lines(planned))


def test_a_shared_sheet_that_cannot_be_opened_is_told(farm, engine, monkeypatch):
    from batchdose.clients import plan as planning

    _, _, shared = farm
    real = planning.sha256_of

    def locked(path):
        if path == shared:
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(planning, "sha256_of", locked)
    with pytest.raises(UnusableInputError, match=r"all\.xlsx: The file cannot be opened: Permission denied"):
        plan(farm, engine)


def test_a_worker_without_the_folders_replaces_no_filled_in_workbook(farm, engine, monkeypatch):
    folder, out, _ = farm
    plan(farm, engine)
    dosed = out / "a" / "weighing" / "weighing-dosed.xlsx"
    content = _filled_in(dosed)
    write_client(folder / "a", "7", "Ash", {})
    _workers_see_nothing(monkeypatch, out)
    failed, other = plan(farm, engine, again=True).jobs
    assert "filled-in sheet is never replaced" in failed.failed
    assert dosed.read_bytes() == content
    assert not other.failed


def test_a_workbook_that_goes_while_it_is_to_be_sent_stops_nobody_else(farm, engine, monkeypatch):
    folder, out, _ = farm
    _workers_see_nothing(monkeypatch, out)
    from batchdose.clients import plan as planning

    real = planning.fingerprint

    def gone(*facts):
        (folder / "a" / "weighing.xlsx").unlink(missing_ok=True)
        return real(*facts)

    monkeypatch.setattr(planning, "fingerprint", gone)
    lost, other = plan(farm, engine).jobs
    assert "weighing.xlsx: The file cannot be opened" in lost.failed
    assert other.ready == 2


def test_the_bar_of_the_second_part_begins_anew(monkeypatch):
    import io

    from batchdose.cli_round import _progress

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with _progress() as told:
        told(3, 3, "looking into the workbooks")
        for n in (1, 2, 3):
            told(n, 3, f"Client {n}")
    assert all(re.search(rf"{share}%  Client {n}", terminal.getvalue()) for n, share in ((1, 33), (2, 66), (3, 100)))


def test_a_summary_that_is_open_elsewhere_does_not_hide_what_was_written(farm):
    folder, out, shared = farm
    out.mkdir()
    (out / ".~lock.clients-summary.xlsx#").touch()
    arguments = ["clients", str(folder), "--medicines", str(shared), "--out", str(out), "--no-pdf", "--processes", "1"]
    done = CliRunner().invoke(cli, arguments)
    assert done.exit_code == 1
    assert "Nothing was written" not in done.output
    assert "Ash: 2 ready" in done.output
    assert "The summary was not written. clients-summary.xlsx: The file is open in another program." in done.output


def test_in_a_folder_of_many_clients_a_torn_workbook_stops_none_of_the_others(farm, engine):
    folder, _, _ = farm
    for name in ("a", "b"):
        (folder / name / "weighing.xlsx").rename(folder / f"{name}.xlsx")
    (folder / "c" / "weighing.xlsx").rename(folder / "c.xlsx")
    planned = plan(farm, engine)
    assert [(job.client, job.ready) for job in planned.jobs] == [("Ash", 2), ("Beech", 2)]
    assert [other.path.name for other in planned.not_taken] == ["c.xlsx"]


def test_a_full_disk_is_told_where_the_notes_are_kept(farm, engine, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(UnusableInputError, match="cannot be noted: No space left on device"):
        plan(farm, engine)
