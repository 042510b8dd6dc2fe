"""Which workbooks are jobs, and with which medicines."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from clients_farm import write_client, write_shared
from sheets import medicine_rows, write_book

from batchdose import UnusableInputError, plan_job, write_outputs
from batchdose.clients.find import kind_of, sessions, workbooks_below


def found(folder: Path, shared: Path | None = None):
    """Sessions as (weighing, medicines, whose), and what was left out, below a folder."""
    books = workbooks_below(folder, *((shared,) if shared else ()))
    kinds = {path: kind_of(path) for paths in books.values() for path in paths}
    jobs, left = sessions(books, kinds, shared)
    told = [
        (s.weighing.relative_to(folder).as_posix(), s.medicines.name if s.medicines else None, s.whose) for s in jobs
    ]
    return told, [(other.path.name, other.why) for other in left]


def test_own_medicines_come_before_the_shared_ones(tmp_path):
    shared = write_shared(tmp_path / "all.xlsx")
    write_client(tmp_path / "a", "1", "A", {})
    write_client(tmp_path / "b", "2", "B")
    write_book(write_client(tmp_path / "c", "3", "C"), {
        "Weights": "Tag | Weight (kg)\n1 | 40", "Medicines": medicine_rows({}),
    })  # fmt: skip
    jobs, left = found(tmp_path, shared)
    assert jobs == [
        ("a/weighing.xlsx", "medicines.xlsx", "its own"),
        ("b/weighing.xlsx", "all.xlsx", "the shared one"),
        ("c/weighing.xlsx", None, "its own"),
    ]
    assert left == []


def test_without_medicines_or_with_too_many_nothing_is_guessed(tmp_path):
    write_client(tmp_path / "a", "1", "A")
    write_client(tmp_path / "b", "2", "B", {})
    shutil.copy(tmp_path / "b" / "medicines.xlsx", tmp_path / "b" / "old.xlsx")
    jobs, left = found(tmp_path)
    assert jobs == []
    assert [name for name, _ in left] == ["weighing.xlsx", "weighing.xlsx"]
    assert "no list of medicines" in left[0][1]
    assert "medicines.xlsx and old.xlsx" in left[1][1]


def test_a_misspelt_heading_is_told_and_not_passed_over(tmp_path):
    write_client(tmp_path / "a", "1", "A", {})
    write_book(tmp_path / "a" / "second.xlsx", {"Weights": "Tag | Wieght\n1 | 40"})
    _, left = found(tmp_path)
    assert [name for name, _ in left] == ["second.xlsx"]
    assert "Weight" in left[0][1]


def test_what_an_earlier_run_wrote_is_no_new_job(tmp_path):
    weighing = write_client(tmp_path / "a", "1", "A", {})
    result = plan_job(weighing, tmp_path / "a" / "medicines.xlsx")
    write_outputs(result, None)
    dosed = tmp_path / "a" / "weighing-job" / "weighing-dosed.xlsx"
    shutil.copy(dosed, tmp_path / "a")
    assert [job[0] for job in found(tmp_path)[0]] == ["a/weighing.xlsx"]
    weighing.unlink()
    assert [job[0] for job in found(tmp_path)[0]] == ["a/weighing-dosed.xlsx"]


def test_hidden_and_open_files_are_no_clients(tmp_path):
    write_client(tmp_path / "a", "1", "A", {})
    for name in ("~$weighing.xlsx", ".hidden.xlsx"):
        shutil.copy(tmp_path / "a" / "weighing.xlsx", tmp_path / "a" / name)
    shutil.copytree(tmp_path / "a", tmp_path / ".old")
    assert [job[0] for job in found(tmp_path)[0]] == ["a/weighing.xlsx"]


def test_an_address_list_and_a_record_are_told_apart(tmp_path):
    contacts = write_book(tmp_path / "list.xlsx", {"Contacts": "Client | To\nA | a@example.org"})
    assert kind_of(contacts) == "contacts"
    (tmp_path / "torn.xlsx").write_bytes(b"PK\x03\x04 torn")
    assert "cannot be read" in kind_of(tmp_path / "torn.xlsx")


def test_a_folder_that_is_not_there_is_said():
    with pytest.raises(UnusableInputError, match="no such folder"):
        workbooks_below(Path("nowhere"))
