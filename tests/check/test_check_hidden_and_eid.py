"""Rules on what a sheet hides and on electronic numbers: rows-hidden, columns-hidden, eid-unlikely."""

from __future__ import annotations

import pytest
from openpyxl import load_workbook
from sheets import ON, given, told, write_job

from batchdose import Settings, plan_job

THREE = "Tag | Weight (kg) | Note\n0412 | 41.5 | a\n0413 | 45 | b\n0414 | 43 | c"


def planned(tmp_path, change):
    """The job after a change to its weighing sheet, as a spreadsheet program would save it."""
    weighing, labels = write_job(tmp_path, THREE)
    book = load_workbook(weighing)
    change(book["Weights"])
    book.save(weighing)
    return plan_job(weighing, labels, Settings(on=ON))


def test_hidden_rows_are_read_and_a_note_says_so(tmp_path):
    def hide(sheet):
        sheet.row_dimensions[3].hidden = sheet.row_dimensions[4].hidden = True

    result = planned(tmp_path, hide)
    assert told(result) == [("rows-hidden", "note", "Weights!A3")]
    assert "2 rows of animals are hidden" in result.findings[0].message
    assert (len(given(result)), result.exit_status) == (3, 0)


def test_filtered_rows_are_read_and_a_note_says_so(tmp_path):
    def filter_out(sheet):
        sheet.auto_filter.ref = "A1:C4"
        sheet.row_dimensions[3].hidden = True

    result = planned(tmp_path, filter_out)
    assert "1 rows of animals are filtered out" in result.findings[0].message
    assert len(given(result)) == 3


def test_a_hidden_column_is_read_and_a_note_says_so(tmp_path):
    def hide(sheet):
        sheet.column_dimensions["B"].hidden = True

    result = planned(tmp_path, hide)
    assert told(result) == [("columns-hidden", "note", "Weights!B1")]
    assert len(given(result)) == 3


def test_all_in_view_gives_no_note(tmp_path):
    assert told(planned(tmp_path, lambda _: None)) == []


# ISO 11784: three digits of country or maker, twelve of national code, at most 2^38 - 1 = 274 877 906 943.
# 826 is the United Kingdom, 372 Ireland (ISO 3166-1 numeric), 900 to 998 makers, 999 for tests.


@pytest.mark.parametrize(
    "eid",
    ["826012345600001", "372000000000012", "900123456789012", "999000001000401", "826274877906943",
     "826 0123 4560 0001", "UK0123456 00001", 982000100000000],
)  # fmt: skip
def test_an_eid_of_iso_11784_or_another_kind_of_number_passes(job, eid):
    assert told(job([["Tag", "EID", "Weight (kg)"], ["0412", eid, 41.5]])) == []


@pytest.mark.parametrize(
    "eid", ["8,26012E+14", "8.26E+14", "82601234560000", "8260123456000011", "826274877906944", "000012345678901"]
)
def test_a_damaged_eid_is_found_and_holds_nobody(job, eid):
    result = job([["Tag", "EID", "Weight (kg)"], ["0412", eid, 41.5], ["0413", "826012345600001", 45]])
    assert told(result) == [("eid-unlikely", "warning", "Weights!B2")]
    assert len(given(result)) == 2


def test_many_damaged_eids_are_one_line_a_mob(job):
    rows = [[f"{401 + at:04d}", "8.26E+14", 45 + at, "Hill"] for at in range(8)]
    result = job([["Tag", "EID", "Weight (kg)", "Mob"], *rows])
    assert told(result) == [("eid-unlikely", "warning", "Weights!B2")]
    assert len(given(result)) == 8
