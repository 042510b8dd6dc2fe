"""The page on limits says what the program holds to."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from batchdose.read import limits
from batchdose.write.record_book import LARGEST_RECORD, MOST_ROWS

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "limits.md").read_text(encoding="utf-8")
STATED = {row.split("|")[1].strip(): row.split("|")[2].strip() for row in PAGE.splitlines() if row.startswith("| ")}
ROWS = {
    "LARGEST_FILE": "workbook on the disk", "LARGEST_CSV": ".csv file",
    "LARGEST_UNPACKED": "workbook unpacked (all its parts)", "LARGEST_SMALL_PART": "list of sheets, or of styles",
    "MOST_PARTS": "parts in a workbook", "MOST_SHEETS": "sheets", "LAST_ROW": "last row with a value",
    "LAST_COLUMN": "last column with a value", "MOST_CELLS": "rows times columns up to the last value, all sheets",
    "MOST_ROWS_DESCRIBED": "rows described on a sheet, blank ones included",
    "MOST_TEXTS": "texts kept for the cells", "LONGEST_TEXT": "characters in one cell",
    "MOST_CHARACTERS": "characters in all cells", "DEEPEST_XML": "elements within elements",
}  # fmt: skip


@pytest.mark.parametrize("name", ROWS)
def test_the_page_states_each_limit(name):
    value = getattr(limits, name)
    megabytes = name in ("LARGEST_FILE", "LARGEST_CSV", "LARGEST_UNPACKED", "LARGEST_SMALL_PART")
    assert STATED[ROWS[name]] == (f"{value // limits.MEGABYTE} MB" if megabytes else f"{value:,}")


def test_the_page_states_the_room_of_a_record():
    assert limits.RECORD_ROOM == 3
    assert f"A record takes {MOST_ROWS:,} rows, or {LARGEST_RECORD // limits.MEGABYTE} MB unpacked" in PAGE
    assert "on cells and on characters are three times as high" in " ".join(PAGE.split())


def test_no_limit_is_left_out():
    constants = {name for name in vars(limits) if re.fullmatch("[A-Z][A-Z_]+", name)}
    assert constants == {*ROWS, "MEGABYTE", "RECORD_ROOM"}
    assert set(ROWS.values()) == STATED.keys() - {"What"}
