"""The copy as the command writes it: names of the files, remarks, and what is in them."""

from __future__ import annotations

import shutil
import zipfile

import pytest
from click.testing import CliRunner
from copies import parts
from corpus import FEATURES, SHEET_PART, edited
from openpyxl import load_workbook
from sheets import ON, put_cell, write_book, write_job

from batchdose.cli import cli

TWO = "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n0413 | 45 | Hill"
OUR_SHEETS = ["Job settings", "Job product", "Job findings", "Job given", "Job given by mob", "Job plan kept"]


def dose(*arguments):
    return CliRunner().invoke(cli, ["dose", *map(str, arguments), "--no-pdf", "--on", ON])


def edit(path, changes, added=None):
    path.write_bytes(edited(path.read_bytes(), changes, added))


@pytest.mark.parametrize(
    ("part", "why"),
    [("_xmlsignatures/origin.sigs", "it is signed"), ("xl/revisions/userNames.xml", "tracked changes")],
)
def test_where_no_copy_can_be_made_the_results_go_into_a_workbook_of_their_own(tmp_path, part, why):
    weighing, medicines = write_job(tmp_path, TWO)
    edit(weighing, {}, {part: b"<a/>"})
    result = dose(weighing, medicines)
    assert result.exit_code == 0
    [remark] = [line for line in result.stderr.splitlines() if line.startswith("A copy of weighing.xlsx")]
    assert why in remark
    folder = tmp_path / "weighing-job"
    assert not (folder / "weighing-dosed.xlsx").exists()
    book = load_workbook(folder / "weighing-results.xlsx")
    assert [cell.value for cell in book["Weights"][2]][:6] == ["0412", 41.5, "Hill", "0412", "wormer A", 0.9]
    assert book.sheetnames == ["Weights", *OUR_SHEETS]


def test_a_workbook_with_macros_stays_one_and_its_code_is_untouched(tmp_path):
    _, medicines = write_job(tmp_path, TWO)
    weighing = tmp_path / "weighing.xlsm"
    weighing.write_bytes(FEATURES["macro with a button"]())
    result = dose(weighing, medicines, "--species", "sheep")
    assert result.exit_code == 0, result.stderr
    before, after = (parts(path.read_bytes()) for path in (weighing, tmp_path / "weighing-job" / "weighing-dosed.xlsm"))
    for part in ("xl/vbaProject.bin", "xl/drawings/vmlDrawing1.vml"):
        assert after[part] == before[part]
    assert b"macroEnabled" in after["[Content_Types].xml"]


def test_stored_results_charts_and_pictures_are_kept_without_a_word(tmp_path):
    _, medicines = write_job(tmp_path, TWO)
    for name in ("chart sheet", "picture", "totals below"):
        weighing = tmp_path / f"{name.split()[0]}.xlsx"
        weighing.write_bytes(FEATURES[name]())
        result = dose(weighing, medicines, "--species", "sheep", "--out", tmp_path / name)
        assert "copy" not in result.stderr
        after = parts((tmp_path / name / f"{weighing.stem}-dosed.xlsx").read_bytes())
        kept = [part for part in parts(weighing.read_bytes()) if "chart" in part or "media" in part]
        assert all(after[part] == parts(weighing.read_bytes())[part] for part in kept)
        assert b"<f>B4-30</f><v>11.5</v>" in after[SHEET_PART]


def test_a_protected_sheet_is_told(tmp_path):
    weighing, medicines = write_job(tmp_path, TWO)
    edit(weighing, {SHEET_PART: lambda xml: xml.replace(b"<pageMargins", b'<sheetProtection sheet="1"/><pageMargins')})
    assert 'The sheet "Weights" is protected and stays so' in dose(weighing, medicines).stderr


def test_a_third_run_gives_the_bytes_of_the_second(tmp_path):
    weighing, medicines = write_job(tmp_path, f"{TWO}\n0414 | 4o | Hill")
    source = weighing
    written = []
    for number in range(3):
        folder = tmp_path / str(number)
        assert dose(source, medicines, "--out", folder).exit_code == 1
        source = folder / "weighing-dosed.xlsx"
        written.append(source.read_bytes())
    assert written[1] == written[2]
    shutil.copy(tmp_path / "0" / "weighing-dosed.xlsx", weighing)
    assert dose(weighing, medicines, "--out", tmp_path / "again").exit_code == 1
    again = (tmp_path / "again" / "weighing-dosed.xlsx").read_bytes()
    assert again == written[0]


def test_an_animal_that_is_held_now_keeps_no_old_dose_and_no_old_colour(tmp_path):
    weighing, medicines = write_job(tmp_path, f"{TWO}\n0414 | 4o | Hill")
    dose(weighing, medicines)
    dosed = tmp_path / "weighing-job" / "weighing-dosed.xlsx"
    put_cell(dosed, "B2", '<c r="B2" t="inlineStr"><is><t>4o</t></is></c>')
    put_cell(dosed, "B4", '<c r="B4"><v>41.5</v></c>')
    assert dose(dosed, medicines, "--out", tmp_path / "2").exit_code == 1
    sheet = load_workbook(tmp_path / "2" / "weighing-dosed.xlsx")["Weights"]
    head = {cell.value: cell.column for cell in sheet[1]}
    told = {row: sheet.cell(row, head["Job: held and why"]) for row in (2, 4)}
    assert [sheet.cell(row, head["Job: dose"]).value for row in (2, 3, 4)] == [None, 0.9, 0.9]
    assert told[2].value.startswith("DO NOT DOSE")
    assert told[2].fill.fgColor.rgb == "FFF4CCCC"
    assert (told[4].value, told[4].fill.fill_type) == (None, None)


def test_a_cell_that_shows_an_error_is_written_as_what_it_shows(tmp_path):
    weighing, medicines = write_job(tmp_path, f"{TWO}\n0414 | 43 | Hill")
    put_cell(weighing, "C4", '<c r="C4" t="e"><v>#N/A</v></c>')
    edit(weighing, {}, {"_xmlsignatures/origin.sigs": b""})
    dose(weighing, medicines)
    book = load_workbook(tmp_path / "weighing-job" / "weighing-results.xlsx")
    assert book["Weights"]["C4"].value == "#N/A"


def test_control_characters_are_written_as_the_format_asks(tmp_path):
    rows = [
        ["Tag", "Weight (kg)", "Mob", "Species"],
        ["04\x0712", 45, "a\x01b", "sheep"],
        ["0413", "4\x02o", "c", "sheep"],
    ]
    weighing = write_book(tmp_path / "weighing.csv", {"Weights": rows})
    _, medicines = write_job(tmp_path, TWO)
    result = dose(weighing, medicines)
    assert result.exit_code < 2, result.stderr
    with zipfile.ZipFile(tmp_path / "weighing-job" / "weighing-dosed.xlsx") as package:
        assert package.testzip() is None
    assert load_workbook(tmp_path / "weighing-job" / "weighing-dosed.xlsx").worksheets[0]["C2"].value == "a\ufffdb"


def test_markup_that_makes_no_sense_costs_the_copy_and_not_the_results(tmp_path):
    _, medicines = write_job(tmp_path, TWO)
    weighing = tmp_path / "weighing.xlsx"
    sense = {"xl/tables/table1.xml": lambda xml: xml.replace(b'tableColumn id="1"', b'tableColumn id="one"')}
    weighing.write_bytes(edited(FEATURES["table"](), sense))
    result = dose(weighing, medicines, "--species", "sheep")
    assert result.exit_code == 0, result.stderr
    assert "written in an unusual way" in result.stderr
    assert (tmp_path / "weighing-job" / "weighing-results.xlsx").exists()
