"""The sheet to fill in: what stands on it, its checks in the cells, and that it is never replaced once filled in."""

from __future__ import annotations

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook
from sheets import ON, WORMER, write_job

from batchdose.cli import cli

ANIMALS = """
Tag  | Weight (kg) | Mob
0412 | 41.5        | Hill
0413 | 38          | Hill
0414 |             | Hill
"""


def dose(folder, *more):
    return CliRunner().invoke(cli, ["dose", str(folder / "weighing.xlsx"), str(folder / "medicines.xlsx"),
                                    "--on", ON, "--no-pdf", "--out", str(folder / "job"), *more])  # fmt: skip


@pytest.fixture
def dosed(tmp_path):
    write_job(tmp_path, ANIMALS, WORMER)
    assert dose(tmp_path).exit_code == 1
    return tmp_path / "job" / "weighing-dosed.xlsx"


def test_a_line_a_dose_with_what_is_planned_and_room_for_what_was_given(dosed):
    rows = list(load_workbook(dosed)["Job given"].values)
    assert rows[0][:8] == ("Tag", "EID", "Mob", "Medicine", "Dose of course", "Planned for", "Dose", "Unit")
    assert rows[1][:8] == ("0412", None, "Hill", "wormer A", 1, "Mon 1 Jun 2026", 0.9, "mL")
    assert (rows[3][6], rows[3][9]) == ("DO NOT DOSE", "no weight")
    assert all(cell is None for row in rows[1:] for cell in row[10:18])


def test_the_cells_check_what_is_entered(dosed):
    checks = {str(check.sqref).split(":")[0]: check
              for check in load_workbook(dosed)["Job given"].data_validations.dataValidation}  # fmt: skip
    assert checks["K2"].formula1 == '"yes,no,part"'
    assert (checks["L2"].type, checks["L2"].operator, checks["L2"].formula1) == ("decimal", "greaterThan", "0")
    assert checks["M2"].type == "date"
    assert checks["K2"].showErrorMessage


def test_the_plan_is_kept_where_no_menu_shows_it(dosed):
    assert load_workbook(dosed)["Job plan kept"].sheet_state == "veryHidden"


def test_a_second_run_replaces_an_empty_sheet(dosed):
    before = dosed.read_bytes()
    assert dose(dosed.parent.parent).exit_code == 1
    assert dosed.read_bytes() == before


@pytest.mark.parametrize(
    ("sheet", "cell", "entry"),
    [
        ("Job given", "K2", "yes"),
        ("Job given by mob", "F2", "yes"),
        ("Job given", "Q4", "lame"),
        ("Job given", "A9", "7"),
    ],
)
def test_a_filled_in_sheet_is_never_replaced(dosed, sheet, cell, entry):
    book = load_workbook(dosed)
    book[sheet][cell] = entry
    book.save(dosed)
    before = {path: path.read_bytes() for path in dosed.parent.iterdir()}
    told = dose(dosed.parent.parent)
    assert told.exit_code == 2
    assert f"weighing-dosed.xlsx: {sheet}!{cell}" in told.stderr
    assert "Record it first" in told.stderr
    assert {path: path.read_bytes() for path in dosed.parent.iterdir()} == before


def test_nor_stripped_when_the_filled_in_workbook_is_the_input(dosed):
    book = load_workbook(dosed)
    book["Job given"]["K2"] = "yes"
    book.save(dosed)
    told = CliRunner().invoke(cli, ["dose", str(dosed), str(dosed.parent.parent / "medicines.xlsx"), "--no-pdf",
                                    "--out", str(dosed.parent / "again")])  # fmt: skip
    assert told.exit_code == 2
    assert not (dosed.parent / "again").exists()
