"""Untidy weighing sheets: headings over two rows, headings of two meanings, joined files, totals, merged cells."""

from __future__ import annotations

import pandas as pd
import pytest
from openpyxl import load_workbook
from sheets import ON, given, held, told, write_book, write_job

from batchdose import Settings, plan_job
from batchdose.findings import UnusableInputError

DOSES = {("0412", "wormer A"): 0.9, ("0413", "wormer A"): 1.0}


def kinds(result):
    return [(rule, cell) for rule, _, cell in told(result)]


# Headings over two rows.


@pytest.mark.parametrize(
    "rows",
    [
        "Tag | Weight | Mob\n | kg |\n0412 | 41.5 | Hill\n0413 | 48 | Hill",
        "Tag | Weight | Mob\n | (kg) |\n0412 | 41.5 | Hill\n0413 | 48 | Hill",
        "Ear | Live | \ntag | weight kg | Mob\n0412 | 41.5 | Hill\n0413 | 48 | Hill",
        "Animal | | Weighing\nTag | Mob | Weight (kg)\n0412 | Hill | 41.5\n0413 | Hill | 48",
        "Hoggets, spring\n\nTag | Weight, kg\n0412 | 41.5\n0413 | 48",
    ],
)
def test_a_heading_may_run_over_two_rows(job, rows):
    result = job(rows)
    assert (given(result), told(result)) == (DOSES, [])


def test_an_animal_below_the_heading_is_never_taken_for_its_second_row(job):
    result = job('Tag | Weight | Mob\n"A12" | "kg" | "Hill"\n0413 | "48 kg" | "Hill"')
    assert held(result) == [("A12", "wormer A")]
    assert given(result) == {("0413", "wormer A"): 1.0}


def test_a_two_row_heading_of_a_csv_file_is_read_alike(tmp_path):
    _, medicines = write_job(tmp_path, "Tag | Weight\n0412 | 1")
    rows = [["Tag", "Weight", "Mob"], ["", "kg", ""], ["0412", "41.5", "Hill"], ["0413", "48", "Hill"]]
    weighing = write_book(tmp_path / "scale.csv", {"scale": rows})
    assert given(plan_job(weighing, medicines, Settings(on=ON, species="sheep"))) == DOSES


# Headings of two meanings.


def test_a_heading_of_two_meanings_is_asked_about_and_not_used(job):
    result = job("Tag | Weight (kg) | Date\n0412 | 41.5 | 2026-06-02\n0413 | 48 | 2026-06-02")
    assert told(result) == [("heading-unclear", "warning", "Weights!C1")]
    assert "Born or Leaves on or Weighed on" in result.findings[0].message
    assert given(result) == DOSES


def test_a_heading_is_clear_where_all_that_it_could_mean_is_there_already(job):
    assert told(job("Tag | EID | Number | Weight (kg)\n0412 | | 1 | 41.5")) == []


def test_a_needed_column_with_a_heading_of_two_meanings_stops_with_the_question(job):
    with pytest.raises(UnusableInputError, match=r"Weights!A1.*no column Tag.*A1: .*Tag column"):
        job("Number | Weight (kg)\n0412 | 41.5")


@pytest.mark.parametrize("name", ["Number", " number ", "A", "a"])
def test_the_session_names_the_column(job, name):
    session = [["Species", "sheep"], ["Time zone", "UTC"], ["Tag column", name]]
    result = job("Number | Weight (kg)\n0412 | 41.5\n0413 | 48", Session=session)
    assert (given(result), told(result)) == (DOSES, [])


def test_the_session_chooses_between_two_columns_of_weights(job):
    rows = "Tag | Weaning weight (kg) | Live weight (kg)\n0412 | 30 | 41.5\n0413 | 31 | 48"
    with pytest.raises(UnusableInputError, match=r"Weights!C1.*Weight column"):
        job(rows)
    for name in ("Live weight", "C"):
        session = [["Species", "sheep"], ["Time zone", "UTC"], ["Weight column", name]]
        assert given(job(rows, Session=session)) == DOSES


def test_a_named_column_that_is_not_there_stops_the_run(job):
    session = [["Species", "sheep"], ["Time zone", "UTC"], ["Weight column", "Wt 3"]]
    with pytest.raises(UnusableInputError, match=r"Session.*Wt 3"):
        job("Tag | Weight (kg)\n0412 | 41.5", Session=session)


def test_a_withdrawal_period_of_no_product_is_asked_about(job):
    result = job("Tag | Weight (kg)\n0412 | 41.5", {"Meat withdrawal": None, "Withdrawal": "14 days"})
    assert [rule for rule, *_ in told(result)] == ["withdrawal-not-stated"]
    rows = [["Medicine", "Species", "Route", "Strength", "Dose rate", "Graduation", "Withdrawal"],
            ["wormer A", "sheep", "oral", "10 mg/mL", "0.2 mg/kg", "0.1 mL", "14 days"]]  # fmt: skip
    result = job("Tag | Weight (kg)\n0412 | 41.5", Medicines=rows)
    assert [rule for rule, *_ in told(result)] == ["heading-unclear", "withdrawal-not-stated"]


# Joined files: kg and lb, headings again, another table below.


@pytest.mark.parametrize(
    "rows",
    [
        "Tag | Weight (kg) | Weight (lb)\n0412 | 41.5 |\n0413 | | 105.8",
        "Tag | Weight (kg) | Weight (lb)\n0412 | 41.5 | 91.5\n0413 | 48 | 106",
        "Tag | Weight | Unit\n0412 | 41.5 | kg\n0413 | 105.8 | lb",
        "Tag | Weight | Unit\n0412 | 41.5 | KG\n0413 | 105.8 | lbs",
        "Tag | Weight (kg)\n0412 | 41.5\nTag | Weight (lb)\n0413 | 105.8",
        'Tag | Weight\n0412 | "41.5 kg"\n0413 | "105 lb 12.8 oz"',
    ],
)
def test_kg_and_lb_side_by_side_are_both_understood(job, rows):
    result = job(rows)
    assert (given(result), told(result)) == (DOSES, [])


def test_two_weights_that_disagree_hold_the_animal(job):
    result = job("Tag | Weight (kg) | Weight (lb)\n0412 | 41.5 | 41.5\n0413 | 48 | 106")
    assert told(result) == [("weights-disagree", "error", "Weights!B2")]
    assert (held(result), len(given(result))) == ([("0412", "wormer A")], 1)


def test_a_finding_names_the_second_column_where_the_weight_stands_there(job):
    result = job("Tag | Weight (kg) | Weight (lb)\n0412 | | 4o\n0413 | | 1058\n0414 | 48 |")
    assert kinds(result) == [("weight-unreadable", "Weights!C2"), ("weight-implausible", "Weights!C3")]


def test_a_unit_beside_the_weight_that_contradicts_the_heading_holds_the_animal(job):
    result = job("Tag | Weight (kg) | Unit\n0412 | 41.5 | lb\n0413 | 48 | kg\n0414 | 48 | stone")
    assert kinds(result) == [("weight-unreadable", "Weights!B2"), ("weight-unreadable", "Weights!B4")]
    assert "heading says kg" in result.findings[0].message
    assert given(result) == {("0413", "wormer A"): 1.0}


def test_a_unit_missing_from_headings_that_stand_again_is_asked_about(job):
    result = job("Tag | Weight (kg)\n0412 | 41.5\nTag | Weight\n0413 | 48")
    assert [rule for rule, *_ in told(result)] == ["weight-unit-missing"]
    assert held(result) == [("0413", "wormer A")]


def test_headings_again_in_another_order_end_the_table_with_an_error(job):
    result = job("Tag | Weight (kg)\n0412 | 41.5\n\nWeight (kg) | Tag\n48 | 0413")
    assert told(result) == [("second-table", "error", "Weights!A4")]
    assert given(result) == {("0412", "wormer A"): 0.9}
    assert result.exit_status == 1


def test_another_table_below_the_animals_is_no_animal(job):
    for below in ("Medicine | Reason\nwormer A | worms", "Sex | Note\newe | lame\nram | old"):
        result = job(f"Tag | Weight (kg)\n0412 | 41.5\n0413 | 48\n\n{below}")
        assert (given(result), told(result)) == (DOSES, [("second-table", "note", "Weights!A5")])


@pytest.mark.parametrize(
    ("cell", "read"), [("1.250", False), ("41.500", False), ("41.5", True), ("41,5", True), ("0.500", True)]
)
def test_a_point_before_three_digits_is_asked_about_where_others_write_a_decimal_comma(job, cell, read):
    rows = [["Tag", "Weight (kg)"], ["0411", "44,5"], ["0412", cell]]
    assert ("weight-unreadable" not in {rule for rule, *_ in told(job(rows))}) == read
    assert "weight-unreadable" not in {rule for rule, *_ in told(job([rows[0], rows[2]]))}


# Totals, mobs, merged cells.


@pytest.mark.parametrize("total", ["Total | 89.5", "Total: | 89.5", "Average weight | 44.75", "Sub-total | 89.5"])
def test_a_row_of_totals_is_no_animal(job, total):
    result = job(f"Tag | Weight (kg) | Note\n0412 | 41.5\n0413 | 48\n{total}")
    assert (given(result), told(result)) == (DOSES, [("totals-row", "note", "Weights!A4")])


def test_an_animal_with_an_eid_may_be_called_like_a_total(job):
    result = job([["Tag", "EID", "Weight (kg)"], ["Max", "826012345600001", 41.5]])
    assert (given(result), told(result)) == ({("Max", "wormer A"): 0.9}, [])


def test_a_mob_is_one_whatever_its_case_and_spaces(job):
    result = job(
        "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill  top\n0413 | 48 | hill top", {"Dose by": "mob"},
        Treatments="Medicine | Mob\nwormer A | HILL TOP",
    )  # fmt: skip
    assert [(mob.mob, mob.head) for mob in result.mobs] == [("Hill top", 2)]


def merged(tmp_path, rows, *areas):
    """The job after some cells of its weighing sheet were merged."""
    weighing, labels = write_job(tmp_path, rows)
    book = load_workbook(weighing)
    for area in areas:
        book["Weights"].merge_cells(area)
    book.save(weighing)
    return plan_job(weighing, labels, Settings(on=ON))


def test_a_merged_mob_is_that_of_every_row(tmp_path):
    result = merged(tmp_path, "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n0413 | 48 |\n0414 | 48 | River", "C2:C3")
    assert list(result.session.animals["mob"]) == ["Hill", "Hill", "River"]


def test_a_merged_heading_above_names_its_columns(tmp_path):
    rows = "Animal | | Weighing | \nTag | Mob | Date | Weight (kg)\n0412 | Hill | 2026-05-30 | 41.5"
    result = merged(tmp_path, rows, "A1:B1", "C1:D1")
    assert told(result) == []
    assert [f"{at:%d %B}" for at in result.session.animals["weighed_on"]] == ["30 May"]


def test_one_weight_over_two_animals_holds_both(tmp_path):
    result = merged(tmp_path, "Tag | Weight (kg)\n0412 | 83\n0413 | \n0414 | 48", "B2:B3")
    assert told(result) == [("weight-shared", "error", "Weights!B2")]
    assert held(result) == [("0412", "wormer A"), ("0413", "wormer A")]


def test_one_tag_over_two_weights_holds_both(tmp_path):
    result = merged(tmp_path, "Tag | Weight (kg)\n0412 | 41.5\n | 48\n0414 | 48", "A2:A3")
    assert told(result) == [("tag-repeated", "error", "Weights!A2")]
    assert given(result) == {("0414", "wormer A"): 1.0}


# Units in the headings and in the formats of the medicines sheet.


@pytest.mark.parametrize(
    ("heading", "cell"),
    [
        ("Strength (mg/mL)", 10), ("Strength [%]", 1), ("Strength (g/100 mL)", "1,0"), ("Strength (mg/mL)", "10 mg/mL"),
        ("Strength", "1 %"),
    ],
)  # fmt: skip
def test_the_unit_of_a_label_figure_may_stand_in_its_heading(job, heading, cell):
    rows = [["Medicine", "Species", "Route", heading, "Dose rate (mL per 50 kg)", "Graduation (mL)", "Meat withdrawal"],
            ["wormer A", "sheep", "oral", cell, "1", 0.1, "14 days"]]  # fmt: skip
    result = job("Tag | Weight (kg)\n0412 | 41.5", Medicines=rows)
    assert (given(result), told(result)) == ({("0412", "wormer A"): 0.9}, [])
    assert result.treatments["rate_given"].iloc[0] == pytest.approx(9 / 41.5)


def test_a_bare_share_under_a_heading_in_percent_is_asked_about(job):
    rows = [["Medicine", "Species", "Route", "Strength (%)", "Dose rate", "Graduation"],
            ["wormer A", "sheep", "oral", 0.01, "0.2 mg/kg", "0.1 mL"]]  # fmt: skip
    with pytest.raises(UnusableInputError, match=r"0\.01 % could be 1 %"):
        job("Tag | Weight (kg)\n0412 | 41.5", Medicines=rows)


@pytest.mark.parametrize(
    ("heading", "value", "code", "dose"),
    [
        ("Strength", 0.01, "0%", 0.9), ("Strength", 0.01, "0.0%", 0.9), ("Strength", 10, '0" mg/mL"', 0.9),
        ("Dose rate", 0.2, '0.0" mg/kg"', 0.9), ("Graduation", 0.5, '0.0" mL"', 1.0),
    ],
)  # fmt: skip
def test_a_label_figure_is_read_as_its_format_shows_it(tmp_path, heading, value, code, dose):
    weighing, labels = write_job(tmp_path, "Tag | Weight (kg)\n0412 | 41.5")
    book = load_workbook(labels)
    cell = next(cell for cell in book["Medicines"][1] if cell.value == heading).offset(row=1)
    cell.value, cell.number_format = value, code
    book.save(labels)
    result = plan_job(weighing, labels, Settings(on=ON))
    assert given(result) == {("0412", "wormer A"): dose}


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("20260602", "2026-06-02"), ("2026/06/02", "2026-06-02"), ("2026.6.2", "2026-06-02"),
        ("2-Jun-2026", "2026-06-02"), ("June 2, 2026", "2026-06-02"), ("25-06-2026", "2026-06-25"),
        ("02-06-2026", None), ("02/06/26", None), ("2-Jun-26", None), ("31 June 2026", None), ("2 Juin 2026", None),
        ("20261302", None), ("202606", None),
    ],
)  # fmt: skip
def test_dates_as_text_in_every_form_that_means_one_day(job, written, day):
    result = job([["Tag", "Weight (kg)", "Sale date"], ["0412", 41.5, written]])
    [sold] = result.session.animals["sold_on"]
    assert (None if pd.isna(sold) else f"{sold:%Y-%m-%d}") == day
    assert ("date-unreadable" in {rule for rule, *_ in told(result)}) == (day is None)


def test_a_year_of_two_digits_is_understood_where_the_session_gives_the_order(job):
    session = [["Species", "sheep"], ["Time zone", "UTC"], ["Date order", "day first"]]
    result = job([["Tag", "Weight (kg)", "Sale date"], ["0412", 41.5, "02/06/26"]], Session=session)
    assert [f"{at:%Y-%m-%d}" for at in result.session.animals["sold_on"]] == ["2026-06-02"]


@pytest.mark.parametrize(
    ("weight", "kilograms"),
    [
        ("91 lb 8 oz", 41.5037), ("91lbs 8oz", 41.5037), ("91 1/2 lb", 41.5037), ("91½ lb", 41.5037),
        ("41\u00a0kg", 41), ("\uff14\uff11 kg", 41), ("41 kg.", 41), ("91 lb 16 oz", None), ("41 stone", None),
        ("41-42", None), ("~41", None), ("41?", None), ("9O", None), ("-41", None),
    ],
)  # fmt: skip
def test_weights_as_people_type_them(job, weight, kilograms):
    result = job([["Tag", "Weight (kg)"], ["0412", weight], ["0413", 45]])
    if kilograms is None:
        assert [rule for rule, *_ in told(result)] == ["weight-unreadable"]
    else:
        assert result.treatments["weight_kg"].iloc[0] == pytest.approx(kilograms, abs=1e-4)
