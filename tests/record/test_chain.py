"""The chain of hashes: it holds after any program has saved the record, and shows any cell that was changed."""

from __future__ import annotations

import shutil
import subprocess

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from yard import WHEN, Yard

from batchdose.record.rows import HEADINGS

GOOD = {"given": "yes", "when": WHEN, "by": "Operator 1"}


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A record of four rows, one of them a correction; tests change copies of it."""
    yard = Yard(tmp_path_factory.mktemp("chain"))
    yard.fill({"0412": GOOD | {"note": "quiet"}, "0413": GOOD, "0415": {"given": "no", "why_not": "absent"}})
    yard.record()
    yard.fill({"0412": {"amount": 0.8}})
    yard.record()
    return yard


def checked(kept, change):
    """What `check` says after a change to a copy of the record."""
    copy = kept.folder / "copy.xlsx"
    shutil.copy(kept.record_path, copy)
    book = load_workbook(copy)
    change(book)
    book.save(copy)
    return kept.run("check", copy)


def test_it_holds_and_gives_the_hash_to_keep(kept):
    told = kept.run("check", kept.record_path)
    assert told.exit_code == 0
    assert f"4 rows; the chain holds. Hash of the last row: {kept.rows()[-1]['Hash']}" in told.stderr


def test_it_holds_when_another_program_has_saved_it(kept):
    assert checked(kept, lambda book: book["Record"]).exit_code == 0


@pytest.mark.office
def test_it_holds_when_libreoffice_has_saved_it(kept, tmp_path):
    if not shutil.which("soffice"):
        pytest.skip("LibreOffice is not installed")
    shutil.copy(kept.record_path, tmp_path / "record.xlsx")
    (tmp_path / "out").mkdir()
    subprocess.run(
        ["soffice", f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless", "--convert-to", "xlsx",
         "--outdir", tmp_path / "out", tmp_path / "record.xlsx"], check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    assert kept.run("check", tmp_path / "out" / "record.xlsx").exit_code == 0


@settings(max_examples=40)
@given(st.integers(2, 5), st.integers(1, len(HEADINGS)), st.sampled_from(["x", "0", 7, 0.35, None, "2020-01-01"]))
def test_any_changed_cell_is_found(kept, row, column, value):
    old = load_workbook(kept.record_path)["Record"].cell(row, column).value
    if str(old) == str(value) or (old is None and value is None):
        return
    told = checked(kept, lambda book: setattr(book["Record"].cell(row, column), "value", value))
    assert told.exit_code in (1, 2)
    heading = list(HEADINGS.values())[column - 1]
    if heading != "Row":
        assert f"Row {row - 1} was altered" in told.stderr
        assert told.stderr.index(f"Row {row - 1} was altered") < told.stderr.index("rows;")


def test_a_changed_fact_is_found(kept):
    def shorter(book):
        cell = book["Record facts"]["B2"]
        cell.value = cell.value.replace('"days":"14"', '"days":"1"')

    told = checked(kept, shorter)
    assert told.exit_code == 1
    assert "Row 1 was altered (Facts no longer fits)" in told.stderr


def test_a_deleted_row_is_found(kept):
    told = checked(kept, lambda book: book["Record"].delete_rows(3))
    assert "Row 2 is missing" in told.stderr
    assert told.exit_code == 1


def test_a_copied_row_is_found(kept):
    told = checked(kept, lambda book: book["Record"].append([cell.value for cell in book["Record"][3]]))
    assert "Row 2 stands in the record twice" in told.stderr
    assert told.exit_code == 1


def test_sorted_rows_are_only_a_note(kept):
    def turned(book):
        rows = list(book["Record"].values)
        for number, row in enumerate(reversed(rows[1:]), 2):
            for column, value in enumerate(row, 1):
                book["Record"].cell(number, column).value = value

    told = checked(kept, turned)
    assert told.exit_code == 0
    assert "moved or sorted" in told.stderr


def test_a_missing_heading_is_told(kept):
    told = checked(kept, lambda book: setattr(book["Record"]["G1"], "value", "Group"))
    assert told.exit_code == 2
    assert "no column Mob" in told.stderr
