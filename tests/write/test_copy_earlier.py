"""What a second run makes of the columns of the first: no old dose stays, and no column of the user's goes."""

from __future__ import annotations

from datetime import datetime

import pytest
from openpyxl import load_workbook
from sheets import ON, SESSION, write_book, write_job

from batchdose import Settings, plan_job
from batchdose.job import write_outputs
from batchdose.write.earlier import Animals, earlier_columns, notes_on

TWO = "Tag | Weight (kg)\n0001 | 40\n0002 | 20"
GIVEN = "Medicine\nwormer A"
#: The results of one medicine, from the third column on.
FIRST_RUN = [
    "Job: tag", "Job: medicine", "Job: dose", "Job: unit", "Job: draft", "Job: sites", "Job: held and why",
    "Job: working", "Job: meat clear from (expected)", "Job: milk clear from (expected)",
]  # fmt: skip


def run(weighing, medicines, out):
    """The copy of a job and the remarks."""
    paths, remarks = write_outputs(plan_job(weighing, medicines, Settings(on=ON)), out)
    return next(path for path in paths if path.suffix == ".xlsx"), remarks


def rows_of(path, sheet="Weights"):
    return [list(row) for row in load_workbook(path)[sheet].iter_rows(values_only=True)]


def column(rows, heading):
    """Cells below a heading that stands once on the sheet."""
    assert rows[0].count(heading) == 1
    return [row[rows[0].index(heading)] for row in rows[1:]]


@pytest.fixture
def dosed(tmp_path):
    """The copy of a first run, and its medicines."""
    weighing, medicines = write_job(tmp_path, TWO, Treatments=GIVEN)
    path, _ = run(weighing, medicines, tmp_path / "1")
    assert rows_of(path)[0] == ["Tag", "Weight (kg)", *FIRST_RUN]
    assert column(rows_of(path), "Job: dose") == [0.8, 0.4]
    return path, medicines


def changed(path, change, folder):
    """The workbook after a change by a program that leaves hidden names as they are."""
    book = load_workbook(path)
    change(book["Weights"])
    to = folder / "weighing2.xlsx"
    book.save(to)
    return to


def settled(copy, medicines, folder):
    """Whether further runs leave the sheet as it is, give the same bytes, and have nothing to say."""
    second, remarks = run(copy, medicines, folder / "second")
    third, _ = run(second, medicines, folder / "third")
    same = third.read_bytes() == second.read_bytes()
    return same and rows_of(third) == rows_of(copy) and remarks == []


class TestMarksLost:
    @pytest.mark.parametrize("first", ["Job: tag", "Number", None])
    def test_no_old_result_stays_wherever_its_column_stands(self, dosed, tmp_path, first):
        rows = rows_of(dosed[0])
        for row, note in zip(rows, ("My note", "lame", None), strict=True):
            row.insert(4, note)
        rows[1][1], rows[2][1], rows[0][2] = 25, None, first
        weighing = write_book(tmp_path / "new.xlsx", {"Weights": rows, "Session": SESSION, "Treatments": GIVEN})
        copy, remarks = run(weighing, dosed[1], tmp_path / "2")
        new = rows_of(copy)
        assert column(new, "Job: dose") == [0.5, None]
        assert column(new, "Job: held and why")[1].startswith("DO NOT DOSE")
        assert column(new, "My note") == ["lame", None]
        assert all(new[0].count(heading) == 1 for heading in FIRST_RUN)
        assert any("emptied before the new ones" in remark and '"Job: dose"' in remark for remark in remarks)

    def test_in_text_files_too(self, dosed, tmp_path):
        rows = [[cell.isoformat() if isinstance(cell, datetime) else cell for cell in row] for row in rows_of(dosed[0])]
        rows[1][1] = 25
        weighing = write_book(
            tmp_path / "new.csv", {"Weights": [[*rows[0], "Species"], *([*r, "sheep"] for r in rows[1:])]}
        )
        copy, remarks = run(weighing, dosed[1], tmp_path / "2")
        new = [list(row) for row in load_workbook(copy).worksheets[0].iter_rows(values_only=True)]
        assert column(new, "Job: dose") == [0.5, 0.4]
        assert any("emptied before the new ones" in remark for remark in remarks)

    def test_our_columns_outside_shifted_marks_are_emptied(self, dosed, tmp_path):
        def insert(sheet):
            sheet.insert_cols(2)
            for row, text in enumerate(("Note", "mine", "7"), 1):
                sheet.cell(row, 2, text)
            sheet["C2"] = 25

        copy, remarks = run(changed(dosed[0], insert, tmp_path), dosed[1], tmp_path / "2")
        rows = rows_of(copy)
        assert rows[0] == ["Tag", "Note", "Weight (kg)", *FIRST_RUN]
        assert (column(rows, "Note"), column(rows, "Weight (kg)")) == (["mine", "7"], [25, 20])
        assert column(rows, "Job: dose") == [0.5, 0.4]
        assert any('The column C ("Weight (kg)") stands where' in remark for remark in remarks)
        assert settled(copy, dosed[1], tmp_path)

    def test_a_column_put_between_ours_while_the_marks_stay_behind_is_kept(self, dosed, tmp_path):
        def insert(sheet):
            sheet.insert_cols(5)
            for row, value in enumerate(("Score", 3, 2.5), 1):
                sheet.cell(row, 5, value)

        copy, _ = run(changed(dosed[0], insert, tmp_path), dosed[1], tmp_path / "2")
        rows = rows_of(copy)
        assert (column(rows, "Score"), column(rows, "Job: dose")) == ([3, 2.5], [0.8, 0.4])
        assert settled(copy, dosed[1], tmp_path)

    def test_a_heading_that_only_begins_like_ours_stays_and_is_told(self, dosed, tmp_path):
        def put(sheet):
            sheet["M1"], sheet["M2"] = "Job: done by", "Operator 1"

        copy, remarks = run(changed(dosed[0], put, tmp_path), dosed[1], tmp_path / "2")
        assert column(rows_of(copy), "Job: done by") == ["Operator 1", None]
        assert any('The column M ("Job: done by") begins like a result' in remark for remark in remarks)


class TestPastedOver:
    def test_a_wider_table_over_the_results_stays_whole(self, dosed, tmp_path):
        wider = [["Tag", "Notes", "Breed", "Weight (kg)"], ["0001", "a", "Suffolk", 44], ["0002", "b", "Texel", 26]]

        def paste(sheet):
            for number, row in enumerate(wider, 1):
                for at, value in enumerate(row, 1):
                    sheet.cell(number, at, value)

        copy, remarks = run(changed(dosed[0], paste, tmp_path), dosed[1], tmp_path / "2")
        rows = rows_of(copy)
        assert [row[:4] for row in rows] == wider
        assert column(rows, "Job: dose") == [0.9, 0.6]  # 0.2 mg/kg of 10 mg/mL, up to the next 0.1 mL
        assert all(rows[0].count(heading) == 1 for heading in FIRST_RUN)
        assert [remark for remark in remarks if 'The column C ("Breed") stands where' in remark]
        assert settled(copy, dosed[1], tmp_path)

    def test_numbers_of_the_users_before_the_weight_stay(self, dosed, tmp_path):
        def paste(sheet):
            for row, values in enumerate((("Score", "Age", "Weight (kg)"), (3, 12, 44), (2, 14, 26)), 1):
                for at, value in enumerate(values, 2):
                    sheet.cell(row, at, value)

        copy, _ = run(changed(dosed[0], paste, tmp_path), dosed[1], tmp_path / "2")
        assert [row[:4] for row in rows_of(copy)][1:] == [["0001", 3, 12, 44], ["0002", 2, 14, 26]]

    def test_a_dose_column_that_was_headed_otherwise_is_emptied_and_named(self, dosed, tmp_path):
        def rename(sheet):
            sheet["E1"], sheet["B2"], sheet["B3"] = "mL", 25, None

        copy, remarks = run(changed(dosed[0], rename, tmp_path), dosed[1], tmp_path / "2")
        assert rows_of(copy)[0] == ["Tag", "Weight (kg)", *FIRST_RUN]
        assert column(rows_of(copy), "Job: dose") == [0.5, None]
        assert any('The column E ("mL") held results' in remark for remark in remarks)

    def test_results_that_were_all_headed_otherwise_are_emptied(self, dosed, tmp_path):
        def rename(sheet):
            sheet["B2"] = 25
            for at in range(3, 13):
                sheet.cell(1, at).value = f"Column {at}"

        copy, remarks = run(changed(dosed[0], rename, tmp_path), dosed[1], tmp_path / "2")
        assert 0.8 not in [cell for row in rows_of(copy) for cell in row]
        assert any('The column E ("Column 5") held results' in remark for remark in remarks)

    def test_notes_typed_among_the_results_are_told(self, dosed, tmp_path):
        def type_in(sheet):
            sheet["F8"], sheet["E3"], sheet["L2"] = "my note", "given 0.5 only", "ask"

        copy, remarks = run(changed(dosed[0], type_in, tmp_path), dosed[1], tmp_path / "2")
        [remark] = remarks
        for told in ('L2 ("ask")', 'E3 ("given 0.5 only")', 'F8 ("my note")'):
            assert told in remark
        assert column(rows_of(copy), "Job: dose")[:2] == [0.8, 0.4]

    def test_results_of_an_animal_that_went_are_no_notes(self, dosed, tmp_path):
        def take_out(sheet):
            sheet["A3"] = sheet["B3"] = None

        copy, remarks = run(changed(dosed[0], take_out, tmp_path), dosed[1], tmp_path / "2")
        assert column(rows_of(copy), "Job: dose")[0] == 0.8
        assert (rows_of(copy)[2:], remarks) in [([], []), ([[None] * 12], [])]


def test_results_of_an_earlier_run_on_another_sheet_are_kept_and_told(tmp_path):
    def session(name):
        return f"{SESSION}Weighing sheet | {name}"

    sheets = {"Later": TWO.replace("40", "25"), "Treatments": GIVEN}
    weighing, medicines = write_job(tmp_path, TWO, Session=session("Weights"), **sheets)
    first, remarks = run(weighing, medicines, tmp_path / "1")
    assert remarks == []
    book = load_workbook(first)
    cell = next(row[1] for row in book["Session"].iter_rows() if row[0].value == "Weighing sheet")
    cell.value = "Later"
    book.save(first)
    copy, remarks = run(first, medicines, tmp_path / "2")
    assert (column(rows_of(copy), "Job: dose"), column(rows_of(copy, "Later"), "Job: dose")) == ([0.8, 0.4], [0.5, 0.4])
    [remark] = remarks
    assert remark.startswith('The sheet "Weights" holds results of an earlier run in columns C to L')
    assert 'do not dose by them. The results of this run are on "Later"' in remark
    again, remarks = run(copy, medicines, tmp_path / "3")
    assert (again.read_bytes(), len(remarks)) == (copy.read_bytes(), 1)


def test_rows_of_one_medicine_spelt_with_other_capitals_share_their_columns(tmp_path):
    animals = "Tag | Weight (kg) | Species\n0001 | 40 | sheep\n0002 | 20 | goat"
    rows = [{"Medicine": "wormer A"}, {"Medicine": "Wormer  A", "Species": "goat", "Dose rate": "0.4 mg/kg"}]
    weighing, medicines = write_job(tmp_path, animals, *rows, Session="Time zone | UTC", Treatments=GIVEN)
    copy, _ = run(weighing, medicines, tmp_path / "1")
    assert rows_of(copy)[0] == ["Tag", "Weight (kg)", "Species", *FIRST_RUN]
    assert column(rows_of(copy), "Job: dose") == [0.8, 0.8]
    assert column(rows_of(copy), "Job: medicine") == ["wormer A", "wormer A"]


def on_sheet(*rows, marked, read=frozenset({1, 2})):
    animals = Animals(1, 1, rows[0], range(2, len(rows) + 1), rows, read)
    return animals, earlier_columns(animals, marked)


def test_what_this_run_reads_is_never_ours():
    _, found = on_sheet(["Tag", "Job: tag", "Weight"], ["1", "1", 40.0], marked=[2, 3], read=frozenset({1, 3}))
    assert (found.own, found.taken_over) == ([2], [3])


def test_a_column_with_no_heading_and_nothing_in_it_is_ours_still():
    animals, found = on_sheet(["Tag", "W", None, "Job: dose"], ["1", 40.0, None, 0.8], marked=[3, 4])
    assert (found.own, notes_on(animals, found)) == ([3, 4], [])


@pytest.mark.parametrize("cell", [0.8, "0.8 mL", "DO NOT DOSE: no weight", "not stated"])
def test_what_could_be_a_result_does_not_stay_under_another_heading(cell):
    _, found = on_sheet(["Tag", "W", "Job: tag", "Other"], ["1", 40.0, "1", cell], marked=[3, 4])
    assert found.own == [3, 4]


def test_words_that_no_run_writes_are_the_users():
    _, found = on_sheet(["Tag", "W", "Job: tag", "Other"], ["1", 40.0, "1", "lame"], marked=[3, 4])
    assert (found.own, found.taken_over) == ([3], [4])
