"""What is left in which bottle after a job, and how the next job counts it: once, and it is said which count holds."""

from __future__ import annotations

import json
from datetime import date
from fractions import Fraction

import pytest
import vobject
from openpyxl import load_workbook
from sheets import WORMER
from yard import Yard

from batchdose.record.book import open_record
from batchdose.record.clear import Clearing
from batchdose.record.stock import stock_after

ANIMALS = """
Tag  | Weight (kg) | Mob
0412 | 50          | Hill
0413 | 50          | Hill
0414 | 50          | Hill
"""
#: 50 kg get 10 mL.
MEDICINE = WORMER | {"Strength": "10 mg/mL", "Dose rate": "2 mg/kg", "Graduation": "1 mL"}
STOCK = "Medicine | Pack size | Packs | Batch | Expiry | Use within\nwormer A | 25 mL | 3 | B1 | 2027-01 | 28 days\n"
TAGS = ("0412", "0413", "0414")


def good(batch="B1", day="2026-06-01", **more):
    return {"given": "yes", "when": f"{day} 09:30", "by": "O", "batch_no": batch} | more


@pytest.fixture
def make(tmp_path):
    def made(stock=STOCK, **medicine):
        return Yard(tmp_path, ANIMALS, MEDICINE | medicine, **({"Stock": stock} if stock else {}))

    return made


def left_in(yard, product=("wormer a", "mL")):
    record = open_record(yard.record_path)
    return stock_after(record, Clearing(record).zone)[product]


def packs_of(yard, batch="b1"):
    return [(p.packs, p.size, p.left, p.opened_on, p.punctures) for p in left_in(yard).packs[batch]]


def plan_again(yard, on="2026-06-20", **stock_cells):
    """The job planned anew beside the record, with cells of the stock's line changed; its results and words."""
    if stock_cells:
        book = load_workbook(yard.folder / "medicines.xlsx")
        heads = {cell.value: cell.column for cell in book["Stock"][1]}
        for name, value in stock_cells.items():
            book["Stock"].cell(2, heads[name], value)
        book.save(yard.folder / "medicines.xlsx")
    told = yard.run("dose", yard.folder / "weighing.xlsx", yard.folder / "medicines.xlsx", "--on", on, "--no-pdf",
                    "--out", yard.folder / "again")  # fmt: skip
    [product] = json.loads((yard.folder / "again/weighing-results.json").read_text(encoding="utf-8"))["product"]
    return product, told


class TestAfterTheJob:
    def test_bottles_are_emptied_one_after_the_other(self, make):
        yard = make()
        yard.fill({tag: good() for tag in TAGS})
        told = yard.record()
        # 30 mL: the first of 25 mL is empty, 5 mL are out of the second.
        assert packs_of(yard) == [(1, 25, 20, date(2026, 6, 1), 1), (1, 25, None, None, 0)]
        assert ("Left of wormer A, estimated: batch B1: about 20 mL in one of 25 mL (opened Monday 1 June 2026, use by "
                "Sunday 28 June 2026, stopper entered once) and 1 full of 25 mL. What was lost in drawing is not "
                "counted: the sheets do not state it.") in told.output  # fmt: skip

    def test_it_stands_on_a_sheet_of_the_record(self, make):
        yard = make()
        yard.fill({tag: good() for tag in TAGS})
        yard.record()
        head, *rows = load_workbook(yard.record_path)["Stock left"].values
        assert head[:3] == ("Medicine", "Batch", "Pack")
        assert [row[:8] for row in rows] == [
            ("wormer A", "B1", 25, 1, 20, "mL", "2026-06-01", "2026-06-28"),
            ("wormer A", "B1", 25, 1, None, "mL", None, None),
        ]
        before = yard.record_path.read_bytes()
        yard.record()
        assert yard.record_path.read_bytes() == before
        assert yard.run("check", yard.record_path).exit_code == 0

    def test_the_sheet_is_made_anew_after_a_correction(self, make):
        yard = make()
        yard.fill({tag: good() for tag in TAGS})
        yard.record()
        yard.fill({"0414": {"given": "no", "amount": None, "why_not": "broke away"}})
        yard.record()
        assert packs_of(yard) == [(1, 25, 5, date(2026, 6, 1), 1), (2, 25, None, None, 0)]
        _, *rows = load_workbook(yard.record_path)["Stock left"].values
        assert [row[4] for row in rows] == [5, None]

    def test_what_was_lost_is_counted_as_planned_and_said(self, make):
        yard = make(Loss="10 %")
        yard.fill({tag: good() for tag in TAGS})
        told = yard.record()
        assert packs_of(yard)[0][2] == 17
        assert "Counted as lost in drawing, as planned: 3 mL." in told.output

    def test_no_bottle_named_is_taken_by_expiry_and_said(self, make):
        stock = STOCK + "wormer A | 25 mL | 1 | A0 | 2026-09 | 28 days\n"
        yard = make(stock)
        yard.fill({"0412": good(batch=None)})
        told = yard.record()
        assert packs_of(yard, "a0")[0][2] == 15
        assert "10 mL name no bottle; taken from those of the earliest expiry." in told.output

    def test_more_than_the_stock_held(self, make):
        yard = make(STOCK.replace("| 3 |", "| 1 |"))
        yard.fill({tag: good() for tag in TAGS})
        assert "5 mL more were given than the stock held." in yard.record().output
        assert packs_of(yard) == []

    def test_a_batch_that_no_sheet_lists(self, make):
        yard = make()
        yard.fill({"0412": good(batch="X9")})
        assert "Not on any sheet Stock: X9." in yard.record().output
        assert packs_of(yard) == [(3, 25, None, None, 0)]

    def test_without_a_sheet_nothing_is_claimed(self, make):
        yard = make(None)
        yard.fill({"0412": good()})
        assert "Left of wormer A: not known, since no sheet Stock lists it." in yard.record().output

    def test_stoppers_are_entered_once_for_each_fill(self, make):
        yard = make(STOCK.replace("25 mL", "100 mL"), **{"Device size": "12 mL", "Priming": "2 mL"})
        yard.fill({tag: good() for tag in TAGS})
        yard.record()
        [(_, _, left, _, punctures), *_] = packs_of(yard)
        assert (left, punctures) == (100 - 36, 4)

    def test_the_calendar_has_the_last_day_of_what_is_open(self, make):
        yard = make()
        yard.fill({tag: good(day="2026-06-03") for tag in TAGS})
        yard.record()
        text = (yard.folder / "job/weighing-clear.ics").read_text(encoding="utf-8")
        events = {e.summary.value: e for e in vobject.readOne(text).vevent_list}
        assert events["wormer A, bottle B1: last day of use"].dtstart.value == date(2026, 6, 30)


class TestTheNextJob:
    @pytest.fixture
    def recorded(self, make):
        yard = make()
        yard.fill({tag: good() for tag in TAGS})
        yard.record()
        return yard

    def test_a_line_that_stands_as_it_stood_is_counted_less_what_was_given(self, recorded):
        product, told = plan_again(recorded)
        assert product["left_over"][0]["left"] == 15
        assert product["left_over"][0]["opened_on"] == "2026-06-20"
        assert "[left-from-record]" in told.stderr
        assert "medicines.xlsx: Stock!A2: wormer A: counted as the treatment record leaves it" in told.stderr

    def test_an_opened_bottle_past_its_in_use_life_is_not_planned(self, recorded):
        product, told = plan_again(recorded, on="2026-07-10")
        assert "[opened-too-long]" in told.stderr
        assert product["short"] == 5

    def test_what_is_gone_is_missing(self, recorded):
        book = load_workbook(recorded.folder / "weighing.xlsx")
        sheet = book["Weights"]
        for number in range(4):
            sheet.append([f"05{number}", 50, "Hill"])
        book.save(recorded.folder / "weighing.xlsx")
        product, _ = plan_again(recorded)
        assert product["short"] == 70 - 45
        assert [pack["packs"] for pack in product["packs"] if pack["batch_no"] is None] == [1]

    def test_a_line_changed_since_is_a_new_count_and_holds(self, recorded):
        product, told = plan_again(recorded, Packs=4)
        assert "[stock-sheet-holds]" in told.stderr
        assert product["short"] == 0
        assert [over["left"] for over in product["left_over"]] == [20]

    def test_a_batch_that_was_taken_off_the_sheet_is_still_there(self, recorded):
        product, told = plan_again(recorded, Batch="C3", Packs=1)
        assert "record.xlsx: Record!P2: wormer A: counted as the treatment record leaves it: batch B1" in told.stderr
        assert product["short"] == 0

    def test_a_bottle_thrown_away_is_entered_with_nothing_left(self, recorded):
        book = load_workbook(recorded.folder / "medicines.xlsx")
        sheet = book["Stock"]
        sheet["G1"], sheet["C2"], sheet["G2"] = "Left", 1, 0
        book.save(recorded.folder / "medicines.xlsx")
        product, _ = plan_again(recorded)
        assert product["short"] == 30

    def test_over_two_jobs_it_is_counted_once(self, recorded):
        recorded.run("dose", recorded.folder / "weighing.xlsx", recorded.folder / "medicines.xlsx", "--on",
                     "2026-06-20", "--no-pdf", "--out", recorded.folder / "again")  # fmt: skip
        dosed = recorded.folder / "again/weighing-dosed.xlsx"
        book = load_workbook(dosed)
        for row in book["Job given"].iter_rows(min_row=2):
            if row[0].value in TAGS:
                row[10].value, row[12].value, row[13].value = "yes", "2026-06-20 09:00", "B1"
        book.save(dosed)
        recorded.run("record", dosed, "--to", recorded.record_path, "--on", "2026-07-01T12:00")
        [pack] = left_in(recorded).packs["b1"]
        assert (pack.left, pack.opened_on) == (Fraction(15), date(2026, 6, 20))

    def test_an_altered_record_leaves_no_stock(self, recorded):
        book = load_workbook(recorded.record_path)
        book["Record"]["M2"] = 1
        book.save(recorded.record_path)
        product, told = plan_again(recorded)
        assert "[left-from-record]" not in told.stderr
        assert "[record-row-altered]" in told.stderr
        assert product["short"] == 0
