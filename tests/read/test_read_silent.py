"""What a person reads one way must never be read another way in silence: each case is understood, or told."""

from __future__ import annotations

from datetime import datetime

import pytest
from openpyxl import load_workbook
from sheets import ON, given, held, table, told, write_book, write_job

from batchdose import Settings, plan_job
from batchdose.findings import UnusableInputError

TWO_MOBS = "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n0413 | 48 | River"
HILL = {("0412", "wormer A")}
VACCINE = {"Medicine": "vaccine V", "Strength": None, "Dose rate": "2 mL/head", "Graduation": "1 mL"}


def rules(result):
    return [rule for rule, *_ in told(result) if rule not in ("nothing-given", "dose-over-label")]


# For whom a line of Treatments is.


@pytest.mark.parametrize("heading", ["Mob", "Pen", "Herd", "Flock", "Group"])
def test_every_heading_of_a_mob_is_understood_on_treatments(job, heading):
    assert given(job(TWO_MOBS, Treatments=f"Medicine | {heading}\nwormer A | Hill")).keys() == HILL


@pytest.mark.parametrize("heading", ["Tag", "Ear tag", "Tag number", "Animal ID", "EID", "RFID"])
def test_every_heading_of_a_tag_is_understood_on_treatments(job, heading):
    assert given(job(TWO_MOBS, Treatments=f'Medicine | {heading}\nwormer A | "0412"')).keys() == HILL


@pytest.mark.parametrize("heading", ["To", "Mbo", "Tags", "Where", "Animals"])
def test_a_column_that_may_say_for_whom_never_gives_to_all(job, heading):
    result = job(TWO_MOBS, Treatments=f"Medicine | {heading}\nwormer A | Hill")
    assert given(result) == {}
    assert ("treatment-for-whom-unclear", "error", "Treatments!B2") in told(result)


def test_a_remark_and_a_blank_line_are_no_target(job):
    result = job(TWO_MOBS, Treatments="Medicine | Note | Mob\nwormer A | before turnout | ")
    assert (len(given(result)), rules(result)) == (2, [])


@pytest.mark.parametrize(("mob", "doses"), [("Hill; River", 2), ("all", 2), ("ALL", 2), ("hill", 1)])
def test_several_mobs_and_all_of_them(job, mob, doses):
    assert len(given(job(TWO_MOBS, Treatments=f"Medicine | Mob\nwormer A | {mob}"))) == doses


def test_a_comma_in_the_name_of_a_mob_parts_nothing(job):
    rows = [["Tag", "Weight (kg)", "Mob"], ["0412", 41.5, "Hoggets, hill"], ["0413", 48, "Hoggets, river"]]
    result = job(rows, Treatments=[["Medicine", "Mob"], ["wormer A", "Hoggets, hill"]])
    assert (given(result).keys(), rules(result)) == (HILL, [])


def test_a_merged_mob_on_treatments_is_that_of_every_line(tmp_path):
    weighing, labels = write_job(
        tmp_path, TWO_MOBS, {}, VACCINE, Treatments="Medicine | Mob\nwormer A | Hill\nvaccine V |"
    )
    book = load_workbook(weighing)
    book["Treatments"].merge_cells("B2:B3")
    book.save(weighing)
    result = plan_job(weighing, labels, Settings(on=ON))
    assert given(result).keys() == {("0412", "wormer A"), ("0412", "vaccine V")}


def test_a_chosen_rate_takes_the_unit_of_its_heading(job):
    result = job(TWO_MOBS, {"Dose rate": "0.2-0.3 mg/kg"}, Treatments="Medicine | Chosen rate (mg/kg)\nwormer A | 0.3")
    assert given(result)[("0412", "wormer A")] == 1.2  # 1.245 mL, and 1.3 mL would pass the highest rate


# Sheets that look like ours.


@pytest.mark.parametrize("name", ["Treatment", "Treatmnets", "Treatments 2026", "Treatment plan"])
def test_a_misnamed_sheet_of_treatments_stops_the_run(job, name):
    with pytest.raises(UnusableInputError, match=r"looks like the treatments.*Treatments"):
        job(TWO_MOBS, **{name: "Medicine | Mob\nwormer A | Hill"})
    assert len(given(job(TWO_MOBS, give=["wormer A"], **{name: "Medicine | Mob\nwormer A | Hill"}))) == 2


def test_another_misnamed_sheet_is_told(job, tmp_path):
    mobs = "Mob | Head | Heaviest (kg)\nCoast | 30 | 50"
    assert ("sheet-not-read", "error", "Mob!") in told(job(TWO_MOBS, Mob=mobs))
    _, labels = write_job(tmp_path, TWO_MOBS)
    weighing = write_book(tmp_path / "other.xlsx", {"Weights": TWO_MOBS, "Sessions": "Organic | yes"})
    result = plan_job(weighing, labels, Settings(on=ON, species="sheep"))
    assert ("sheet-not-read", "error", "Sessions!") in told(result)


def test_a_second_session_in_the_other_workbook_is_told(tmp_path):
    weighing, labels = write_job(tmp_path, TWO_MOBS)
    book = load_workbook(labels)
    book.create_sheet("Session").append(["Rules", "EU"])
    book.save(labels)
    [finding] = plan_job(weighing, labels, Settings(on=ON)).findings
    assert (finding.rule, str(finding.where)) == ("sheet-not-read", "medicines.xlsx: Session")


def test_a_medicine_in_the_column_that_treatments_does_not_give_holds_its_animal(job):
    rows = "Tag | Weight (kg) | Medicine\n0412 | 41.5 | vaccine V\n0413 | 48 | wormer A"
    result = job(rows, {}, VACCINE, Treatments="Medicine\nwormer A")
    assert ("medicine-said-twice", "error", "Weights!A2") in told(result)
    assert given(result).keys() == {("0413", "wormer A")}


# Tables: where they begin and end.


def test_a_richer_heading_further_down_never_hides_the_animals_above(job):
    rows = "Tag | Weight (kg)\n0412 | 41.5\n0415 | 44\nTag | Weight (kg) | Status\n0413 | 48 | dry"
    result = job(rows)
    assert given(result).keys() == {("0412", "wormer A"), ("0415", "wormer A")}
    assert told(result) == [("second-table", "error", "Weights!A4")]


def test_a_legend_with_more_headings_below_is_not_the_table(job):
    rows = "Tag | Weight (kg)\n0412 | 41.5\n\nMob | Species | Class | Sex | Status\nHill | sheep | hogget | ewe | dry"
    assert (len(given(job(rows))), rules(job(rows))) == (1, ["second-table"])


@pytest.mark.parametrize(
    "row", ["0413 | not weighed | Calving | calved", "0413 | | Lambing | Lambed", "0413 | missed | Group | Note"]
)
def test_words_of_headings_in_an_animal_s_row_never_end_the_table(job, row):
    result = job(f"Tag | Weight (kg) | Mob | Note\n0412 | 41.5 | Hill |\n{row}\n0414 | 48 | Hill |")
    assert {tag for tag, _ in given(result)} == {"0412", "0414"}
    assert [tag for tag, _ in held(result)] == ["0413"]


def test_animals_below_another_table_are_an_error(job):
    rows = "Tag | Weight (kg)\n0412 | 41.5\nSex | Note\newe | lame\n0413 | 48.5"
    assert told(job(rows)) == [("second-table", "error", "Weights!A3")]


def test_a_row_with_only_a_mob_is_told(job):
    assert rules(job("Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n | | Hill")) == ["row-without-animal"]


# Columns of weights, units and formats.


def test_a_weaning_weight_is_not_the_live_weight_in_another_unit(job):
    with pytest.raises(UnusableInputError, match="both mean"):
        job("Tag | Weaning weight (lb) | Live weight (kg)\n0412 | 62 |")


@pytest.mark.parametrize(
    ("heading", "asked"),
    [("New weight (kg)", True), ("Todays weight", True), ("Weight 2 (kg)", True), ("Last weight", False),
     ("Weight gain", False), ("Birth weight", False)],
)  # fmt: skip
def test_a_further_column_of_weights_is_asked_about(job, heading, asked):
    result = job(f"Tag | Weight (kg) | {heading}\n0412 | 41.5 | 44")
    assert rules(result) == (["weight-column-unused"] if asked else [])


def test_a_heading_merged_over_two_columns_of_weights_is_asked_about(tmp_path):
    weighing, labels = write_job(tmp_path, "Tag | Weight (kg) | \n0412 | 30 | 41.5")
    book = load_workbook(weighing)
    book["Weights"].merge_cells("B1:C1")
    book.save(weighing)
    with pytest.raises(UnusableInputError, match="B and C, both mean"):
        plan_job(weighing, labels, Settings(on=ON))


def test_a_heading_that_shows_an_error_is_told(tmp_path):
    weighing, labels = write_job(tmp_path, [["Tag", "Weight (kg)", "=1/0"], ["0412", 41.5, "in milk"]])
    assert rules(plan_job(weighing, labels, Settings(on=ON))) == ["heading-unreadable"]


@pytest.mark.parametrize("rows", ['0412 | "45 lb" | kg', '0412 | "45 kg" | lb'])
def test_a_unit_typed_against_the_unit_beside_it_holds(job, rows):
    assert rules(job(f"Tag | Weight | Unit\n{rows}")) == ["weight-unreadable"]


def test_a_heading_again_without_its_unit_is_asked_about_whatever_the_session_says(job):
    session = "Species | sheep\nTime zone | UTC\nWeight unit | kg"
    result = job("Tag | Weight (lb)\n0412 | 91.5\nTag | Weight\n0413 | 105", Session=session)
    assert told(result) == [("weight-unit-missing", "error", "Weights!B3")]
    assert given(result).keys() == HILL


@pytest.mark.parametrize(
    ("code", "kilograms"),
    [('0.0" lb"', 41.5), ("0.0 \\l\\b", 41.5), ('0.0" lbs"_)', 41.5), ('"lb "0.0', 41.5), ("[$lb] 0.0", 41.5),
     ("0,", None), ("0%", None), ("#,##0.0", 91.5)],
)  # fmt: skip
def test_a_unit_in_the_format_of_a_weight_is_seen(tmp_path, code, kilograms):
    weighing, labels = write_job(tmp_path, "Tag | Weight (kg)\n0412 | 91.5")
    book = load_workbook(weighing)
    book["Weights"]["B2"].number_format = code
    book.save(weighing)
    result = plan_job(weighing, labels, Settings(on=ON))
    if kilograms is None:
        assert rules(result) == ["weight-unreadable"]
    else:
        assert result.treatments["weight_kg"].iloc[0] == pytest.approx(kilograms, abs=0.01)


@pytest.mark.parametrize(
    "heading",
    ["Weight (kg):", "Weight (kg) *", "Weight (kg) (est.)", "WeightKg", "LW (kg)", "Lwt kg", "Mass (kg)",
     "Live weight kg"],
)  # fmt: skip
def test_headings_of_weights_as_people_write_them(job, heading):
    assert len(given(job([["Tag", heading], ["0412", 41.5]]))) == 1


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("Dose rate mg/kg", 0.2), ("Dose rate mL per 50 kg", 1), ("Dose rate (mg/kg)", 0.2), ("Dose rate", "0.2 mg/kg"),
    ],
)  # fmt: skip
def test_a_rate_takes_the_unit_of_its_heading(job, heading, field):
    rows = [["Medicine", "Species", "Route", "Strength", heading, "Graduation", "Withdrawal (meat)", "Withdrawal milk"],
            ["wormer A", "sheep", "oral", "10 mg/mL", field, "0.1 mL", "2 weeks", "3 days"]]  # fmt: skip
    result = job("Tag | Weight (kg)\n0412 | 41.5", Medicines=rows)
    assert (given(result), told(result)) == ({("0412", "wormer A"): 0.9}, [])
    assert f"{result.treatments['clear:meat'].iloc[0].at:%d %B}" == "16 June"


# Label figures with a point that may part thousands.


@pytest.mark.parametrize(
    ("strength", "rate"),
    [("300.000 IU/mL", "10 000 IU/kg"), ("300 000 IU/mL", "10.000 IU/kg"), ("1.000 mg/mL", "20 mg/kg"),
     ("10 mg/mL", "2.500 mg/kg")],
)  # fmt: skip
def test_a_point_before_three_digits_in_a_label_figure_is_asked_about(job, strength, rate):
    label = {"Strength": strength, "Dose rate": rate}
    result = job(TWO_MOBS, label, VACCINE, Treatments="Medicine\nwormer A\nvaccine V")
    assert "label-figure-unreadable" in rules(result)
    assert {name for _, name in given(result)} == {"vaccine V"}


def test_a_dose_larger_than_the_device_is_told(job):
    result = job(TWO_MOBS, {"Strength": "0.1 mg/mL", "Device size": "20 mL"})
    assert rules(result) == ["dose-over-device"]
    assert "2 get more than the device holds, which is 20 mL: up to 96 mL" in result.findings[0].message


# A .csv with unquoted decimal commas.


@pytest.mark.parametrize("text", ["Tag,Weight (kg),Mob\n0412,41,5,Hill\n", "Tag,Mob,Weight (kg)\n0412,Hill,41,5\n"])
def test_a_decimal_comma_without_quotes_holds_the_animal(tmp_path, text):
    _, labels = write_job(tmp_path, TWO_MOBS)
    weighing = tmp_path / "scale.csv"
    weighing.write_text(text)
    result = plan_job(weighing, labels, Settings(on=ON, species="sheep"))
    assert "row-too-long" in rules(result)
    assert given(result) == {}


# Totals.


@pytest.mark.parametrize("name", ["Subtotal", "Sub-total", "Grand total", "Totals (2)", "Total:2", "Overall average",
                                  "Median", "Stdev", "n = 2", "Av"])  # fmt: skip
def test_words_of_totals(job, name):
    result = job([["Tag", "Weight (kg)"], ["0412", 41.5], ["0413", 48], [name, 44.75]])
    assert (len(given(result)), rules(result)) == (2, ["totals-row"])


def test_a_count_in_the_column_of_tags_is_a_total_where_the_row_says_so(job):
    result = job("Mob | Tag | Weight (kg)\nHill | 0412 | 41.5\nHill | 0413 | 48\nTotal | 2 | 89.5")
    assert (len(given(result)), rules(result)) == (2, ["totals-row"])


def test_an_animal_called_max_is_one_where_more_is_said_of_it(job):
    result = job("Tag | Weight (kg) | Sex\nMax | 41.5 | ram\n0413 | 48 | ewe")
    assert (len(given(result)), rules(result)) == (2, [])


# Stock, bands, mobs, medicines.


def test_a_name_in_stock_that_is_on_no_row_is_told(job):
    stock = "Medicine | Pack size | Expiry\nwormerA | 100 mL | 2020-01"
    assert rules(job(TWO_MOBS, Stock=stock)) == ["name-on-no-row"]


def test_a_misspelt_heading_of_stock_is_told(job):
    assert "heading-near-miss" in rules(
        job(TWO_MOBS, Stock="Medicine | Pack size | Expirey\nwormer A | 100 mL | 2020-01")
    )


def test_bands_under_a_name_that_is_nearly_a_medicine_hold_it(job):
    bands = "Medicine | From | To | Dose\nwormerA | 0 kg | 100 kg | 1 mL"
    result = job(TWO_MOBS, {}, VACCINE, Dose_bands=bands, Treatments="Medicine\nwormer A\nvaccine V")
    assert rules(result) == ["name-on-no-row"]
    assert {name for _, name in held(result)} == {"wormer A"}


def test_a_band_without_from_goes_on_where_the_one_above_ends(job):
    label = {"Dose rate": None, "Strength": None}
    result = job(
        TWO_MOBS, label, Dose_bands="Medicine | From | To | Dose\nwormer A | | 45 kg | 1 mL\nwormer A | | | 2 mL"
    )
    assert given(result) == {("0412", "wormer A"): 1.0, ("0413", "wormer A"): 2.0}


def test_a_unit_column_on_mobs_counts(job):
    mobs = "Mob | Head | Heaviest | Unit\nCoast | 30 | 121 | lb"
    session = "Species | sheep\nTime zone | UTC\nWeight unit | kg"
    result = job("Tag | Weight (kg)\n0412 | 41.5", {"Dose by": "mob"}, Mobs=mobs, Session=session)
    assert given(result)[("Coast", "wormer A")] == 1.1  # 54.9 kg


def test_a_remark_on_the_medicines_sheet_is_no_medicine(tmp_path):
    weighing, labels = write_job(tmp_path, TWO_MOBS)
    book = load_workbook(labels)
    book["Medicines"].append(["copied from the labels in March"])
    book.save(labels)
    result = plan_job(weighing, labels, Settings(on=ON))
    assert (len(given(result)), rules(result)) == (2, ["medicine-without-figures"])


def test_a_cell_of_a_medicine_that_shows_an_error_holds_it(tmp_path):
    rows = table(
        "Medicine | Species | Route | Prescriber | Dose rate | Graduation\nwormer A | sheep | oral | | 2 mL/head | 1 mL"
    )
    rows[1][3] = "=1/0"
    weighing, _ = write_job(tmp_path, TWO_MOBS)
    labels = write_book(tmp_path / "labels.xlsx", {"Medicines": rows})
    with pytest.raises(UnusableInputError, match="Medicines!D2: No usable medicine is left"):
        plan_job(weighing, labels, Settings(on=ON))


# A run that stops names the cause.


def test_no_animal_left_names_the_line_and_what_was_meant(job):
    with pytest.raises(UnusableInputError, match=r'Treatments!A2: No animal gets a medicine.*Did you mean "Hill"'):
        job(TWO_MOBS, Treatments="Medicine | Mob\nwormer A | Hil")
    with pytest.raises(UnusableInputError, match=r"No treatment.*wormerA|wormerA.*not on the medicines sheet"):
        job(TWO_MOBS, Treatments="Medicine | Mob\nwormerA | Hill")


@pytest.mark.parametrize("period", ["72 h or 96 h", "72 h (3 doses), 96 h (4 doses)", "72 h / 96 h"])
def test_several_periods_on_a_label_are_asked_about(job, period):
    label = {"Milk withdrawal": period}
    result = job(TWO_MOBS, label, VACCINE, Treatments="Medicine\nwormer A\nvaccine V")
    [finding] = [finding for finding in result.findings if finding.rule == "label-figure-unreadable"]
    assert "gives more than one period. Ask which holds" in finding.message


# Expiry: the session's order of dates counts, and a date that is shown as a month means the whole month.


def test_the_order_of_dates_counts_for_stock_and_medicines(job):
    session = "Species | sheep\nTime zone | UTC\nDate order | day first"
    stock = [["Medicine", "Pack size", "Expiry", "Opened on", "Left"],
             ["wormer A", "100 mL", "03/04/2027", "01/05/2026", "50 mL"]]  # fmt: skip
    result = job(TWO_MOBS, {"Expiry": "03/04/2027"}, Session=session, Stock=stock)
    assert rules(result) == []
    assert f"{result.product[0].packs[0].expiry}" == "2027-04-03"


@pytest.mark.parametrize("code", ["mm/yy", "mmm-yy", "yyyy-mm", "mmmm yyyy"])
def test_an_expiry_shown_as_a_month_is_its_last_day(tmp_path, code):
    stock = "Medicine | Pack size | Expiry\nwormer A | 100 mL |"
    weighing, labels = write_job(tmp_path, TWO_MOBS, Stock=stock)
    book = load_workbook(labels)
    book["Stock"]["C2"].value, book["Stock"]["C2"].number_format = datetime(2026, 6, 1), code  # noqa: DTZ001
    book.save(labels)
    result = plan_job(weighing, labels, Settings(on="2026-06-15"))
    assert (rules(result), f"{result.product[0].packs[0].expiry}") == ([], "2026-06-30")


@pytest.mark.parametrize(("word", "species"), [("ewe", "sheep"), ("cows", "cattle"), ("doe", None), ("Sheep", "sheep")])
def test_words_for_one_species_are_understood_in_an_animal_s_row(job, word, species):
    result = job(f"Tag | Weight (kg) | Species\n0412 | 41.5 | {word}\n0413 | 48 | sheep")
    assert result.session.animals["species"].iloc[0] == (species or word)
