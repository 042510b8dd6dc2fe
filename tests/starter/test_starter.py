"""The starter workbooks: what they offer, and that filled in they pass without a finding."""

from __future__ import annotations

import shutil
import subprocess
from datetime import date

import pytest
from click.testing import CliRunner
from openpyxl import Workbook, load_workbook

from batchdose import Settings, UnusableInputError, plan_job
from batchdose.cli import cli
from batchdose.read.fields import MEDICINES as MEDICINE_FIELDS
from batchdose.read.fields import STOCK, TREATMENTS, WEIGHING, fields_by_heading, normal, withdrawal_fields
from batchdose.read.session_names import NAMES
from batchdose.starter import columns
from batchdose.starter.files import write_starters
from batchdose.texts import LANGUAGES

#: What somebody types over the example rows.
TYPED = {
    "Weights": {"Tag": "0412", "Weight (kg)": 41.5, "Mob": "Hill", "Status": "dry", "Sex": "female"},
    "Treatments": {"Medicine": "wormer A", "Mob": "Hill", "Reason": "worms"},
    "Medicines": {
        "Medicine": "wormer A", "Active substance": "ivermectin", "Type": "wormer", "Species": "sheep", "Route": "oral",
        "Strength": "10 mg/mL", "Dose rate": "0.2 mg/kg", "Graduation": "0.1 mL", "Meat withdrawal": "14 days",
        "Milk withdrawal": "72 h",
    },
}  # fmt: skip
SESSION = {
    "Date": date(2026, 6, 1),
    "Time zone": "UTC",
    "Species": "sheep",
    "Client": "Example Farm",
    "Milking times": "06:00, 18:00",
}


def headings(sheet) -> dict[str, int]:
    return {cell.value: cell.column for cell in sheet[1] if cell.value}


def fill(folder):
    """Replace the example row of each sheet, as a person does."""
    for name, sheets in (("weighing.xlsx", ("Weights", "Treatments")), ("medicines.xlsx", ("Medicines",))):
        book = load_workbook(folder / name)
        for sheet_name in sheets:
            sheet = book[sheet_name]
            for heading, column in headings(sheet).items():
                sheet.cell(2, column).value = TYPED[sheet_name].get(heading)
        if "Session" in book.sheetnames:
            for row in book["Session"].iter_rows():
                row[1].value = SESSION.get(row[0].value)
        book.save(folder / name)


@pytest.mark.parametrize("language", LANGUAGES)
def test_filled_in_they_pass_without_a_finding(tmp_path, language):
    write_starters(tmp_path, language=language)
    fill(tmp_path)
    result = plan_job(tmp_path / "weighing.xlsx", tmp_path / "medicines.xlsx")
    assert [str(finding) for finding in result.findings] == []
    assert [(row.tag, row.dose, row.held) for row in result.treatments.itertuples()] == [("0412", 0.9, False)]


def test_an_example_left_standing_is_never_dosed(tmp_path):
    """Whatever of the examples is left: it is told, and no dose comes of it."""
    write_starters(tmp_path)
    with pytest.raises(UnusableInputError, match=r"e\.g\."):
        plan_job(tmp_path / "weighing.xlsx", tmp_path / "medicines.xlsx", Settings(on="2026-06-01"))
    fill(tmp_path)
    book = load_workbook(tmp_path / "weighing.xlsx")
    sheet, at = book["Weights"], headings(book["Weights"])
    for heading, value in {"Tag": "e.g. 0413", "Weight (kg)": "e.g. 41.5", "Mob": "Hill"}.items():
        sheet.cell(3, at[heading]).value = value
    book.save(tmp_path / "weighing.xlsx")
    result = plan_job(tmp_path / "weighing.xlsx", tmp_path / "medicines.xlsx")
    assert [(row.tag, row.held) for row in result.treatments.itertuples()] == [("0412", False), ("e.g. 0413", True)]


@pytest.mark.parametrize(
    ("ours", "fields"),
    [
        (columns.WEIGHTS, WEIGHING),
        (columns.TREATMENTS, TREATMENTS),
        (columns.MEDICINES, MEDICINE_FIELDS),
        (columns.STOCK, STOCK),
    ],
)
def test_every_heading_is_one_that_the_program_reads(ours, fields):
    known = fields_by_heading(fields)
    for column in ours:
        assert len(known.get(normal(column.heading), ())) == 1 or withdrawal_fields(column.heading), column.heading


def test_every_name_of_the_session_is_one_that_the_program_reads():
    assert [
        column.heading
        for column in columns.SESSION
        if normal(column.heading) not in NAMES and column.heading != "Language"
    ] == []


def test_every_column_has_a_note_every_choice_comes_from_one_list_and_the_header_stays(tmp_path):
    write_starters(tmp_path)
    for name, sheets in (
        ("weighing.xlsx", ("Weights", "Treatments", "Mobs")),
        ("medicines.xlsx", ("Medicines", "Stock")),
    ):
        book = load_workbook(tmp_path / name)
        assert book.sheetnames[0] == "Read me first"
        assert book["Lists"].sheet_state == "hidden"
        for sheet_name in sheets:
            sheet = book[sheet_name]
            assert sheet.freeze_panes == "B2"
            assert all(cell.comment and len(cell.comment.text) > 10 for cell in sheet[1])
            for choice in sheet.data_validations.dataValidation:
                assert choice.formula1.removeprefix("=") in book.defined_names
            marked = {str(place.sqref).split(":")[0][0] for place in sheet.conditional_formatting}
            needed = [c for c in getattr(columns, sheet_name.upper()) if c.needed]
            assert len(marked) == len(needed)


def test_the_notes_are_in_the_language_asked_for(tmp_path):
    seen = set()
    for language in LANGUAGES:
        write_starters(tmp_path / language, language=language)
        book = load_workbook(tmp_path / language / "weighing.xlsx")
        seen.add((book["Read me first"]["A1"].value, book["Weights"]["A1"].comment.text))
    assert len(seen) == len(LANGUAGES)


def test_nothing_is_written_over(tmp_path):
    write_starters(tmp_path)
    before = (tmp_path / "weighing.xlsx").read_bytes()
    with pytest.raises(UnusableInputError, match="already"):
        write_starters(tmp_path)
    assert (tmp_path / "weighing.xlsx").read_bytes() == before


def test_like_takes_over_animals_and_medicines_but_not_the_day(tmp_path):
    write_starters(tmp_path)
    fill(tmp_path)
    paths, remarks = write_starters(tmp_path / "next", [tmp_path / "weighing.xlsx", tmp_path / "medicines.xlsx"])
    assert remarks == []
    book = load_workbook(paths[0])
    at = headings(book["Weights"])
    row = {heading: book["Weights"].cell(2, column).value for heading, column in at.items()}
    assert (row["Tag"], row["Mob"], row["Last weight"], row["Weight (kg)"], row["Status"]) == (
        "0412",
        "Hill",
        41.5,
        None,
        None,
    )
    assert {r[0].value: r[1].value for r in book["Session"].iter_rows()}["Date"] is None
    labels = load_workbook(paths[1])["Medicines"]
    kept = {heading: labels.cell(2, column).value for heading, column in headings(labels).items()}
    assert {name: kept[name] for name in TYPED["Medicines"]} == TYPED["Medicines"]
    book["Weights"].cell(2, at["Weight (kg)"]).value = 44
    book["Session"].cell([r[0].value for r in book["Session"].iter_rows()].index("Date") + 1, 2).value = date(
        2026, 7, 1
    )
    book.save(paths[0])
    result = plan_job(*paths)
    assert [(f.rule, f.level.word) for f in result.findings if f.level.word != "note"] == []
    assert list(result.treatments["dose"]) == [0.9]


def test_like_takes_over_an_example_with_everything_in_it(tmp_path):
    from pathlib import Path

    folder = Path(__file__).resolve().parents[2] / "example_sheets" / "hoggets"
    paths, _ = write_starters(tmp_path, [folder / "weighing.xlsx", folder / "medicines.xlsx"])
    old, new = load_workbook(folder / "medicines.xlsx")["Medicines"], load_workbook(paths[1])["Medicines"]
    assert new.max_row >= old.max_row
    tags = [cell.value for cell in load_workbook(paths[0])["Weights"]["A"]][1:121]
    assert "0412" in tags
    with pytest.raises(UnusableInputError, match="Neither animals nor medicines"):
        write_starters(tmp_path / "b", [_blank(tmp_path)])


def _blank(folder):
    from sheets import write_book

    return write_book(folder / "blank.xlsx", {"Sheet": "a | b"})


def test_the_command_says_where_they_are_and_what_comes_next(tmp_path):
    done = CliRunner().invoke(cli, ["new", str(tmp_path / "start"), "--lang", "fr"])
    assert done.exit_code == 0, done.output
    assert "batchdose check" in done.output
    assert (tmp_path / "start" / "weighing.xlsx").is_file()


@pytest.mark.office
@pytest.mark.skipif(not shutil.which("soffice"), reason="LibreOffice is not installed")
def test_libreoffice_keeps_drop_downs_notes_and_formats(tmp_path):
    write_starters(tmp_path)
    profile = (tmp_path / "profile").as_uri()
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--convert-to", "xlsx", "--outdir",
               str(tmp_path / "out"), str(tmp_path / "medicines.xlsx")]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    sheet = load_workbook(tmp_path / "out" / "medicines.xlsx")["Medicines"]
    assert len(sheet.data_validations.dataValidation) >= 6
    assert sheet["A1"].comment
    assert len(sheet.conditional_formatting) >= 5


def _book(path, **sheets):
    book = Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def test_like_takes_over_the_units_of_the_headings(tmp_path):
    heads = (
        "Medicine", "Species", "Route", "Strength (mg/mL)", "Dose rate (mg/kg)", "Graduation (mL)",
        "Meat withdrawal (days)", "Milk withdrawal (milkings)", "Doses", "Every (h)",
    )  # fmt: skip
    label = ("wormer A", "sheep", "oral", 10, "0.2", 0.1, 28, 6, 2, 24)
    old = _book(tmp_path / "old.xlsx", Medicines=[heads, label], Stock=[("Medicine", "Pack size (mL)", "Price (EUR)"),
                ("wormer A", 500, 20)])  # fmt: skip
    session = [("Species", "sheep"), ("Time zone", "UTC"), ("Date", "2026-06-01")]
    weights = _book(tmp_path / "weights.xlsx", Weights=[("Tag", "Weight (kg)"), ("1", 41.5)], Session=session)
    (_, medicines), _ = write_starters(tmp_path / "new", [old])
    before, after = (plan_job(weights, path, Settings()).medicines[0] for path in (old, medicines))
    for name in ("rate", "strength", "graduation", "withdrawal", "every_hours", "doses"):
        assert getattr(after, name) == getattr(before, name), name
    assert (after.withdrawal["meat"].days, after.withdrawal["milk"].milkings, after.every_hours) == (28, 6, 24)
    stock = load_workbook(medicines)["Stock"]
    assert (stock.cell(2, 2).value, stock.cell(2, headings(stock)["Price"]).value) == ("500 mL", 20)


@pytest.mark.parametrize(
    ("heading", "weight", "unit", "taken"),
    [("Weight", 90, "lb", "90 lb"), ("Weight (lb)", 90.5, "", "90.5 lb"), ("Weight", "41.5", "kg", "41.5"),
     ("Weight (kg)", 41.5, "lb", 41.5)],
)  # fmt: skip
def test_like_never_takes_pounds_for_kilograms(tmp_path, heading, weight, unit, taken):
    session = [("Weight unit", unit), ("Date order", "day first")] if unit else [("Date order", "day first")]
    old = _book(tmp_path / "old.xlsx", Weights=[("Tag", heading), ("1", weight)], Session=session)
    (weighing, _), remarks = write_starters(tmp_path / "new", [old])
    sheet = load_workbook(weighing)["Weights"]
    assert sheet.cell(2, headings(sheet)["Last weight"]).value == taken
    assert any("sheet Session: not taken over: " in line and "Date order" in line for line in remarks)


def test_like_says_why_no_animals_were_taken_over(tmp_path):
    animals = [("Tag", "Weight (kg)"), ("1", 41.5)]
    label = [("Medicine", "Species", "Route", "Dose rate"), ("wormer A", "sheep", "oral", "1 mL/10 kg")]
    old = _book(tmp_path / "old.xlsx", A=animals, B=animals, Medicines=label, Session=[("Species", "sheep")])
    _, remarks = write_starters(tmp_path / "new", [old])
    assert any("No animals were taken over." in line and "both have tags and weights" in line for line in remarks)
