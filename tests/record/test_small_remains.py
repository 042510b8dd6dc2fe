"""Repeats found when recording, treatments without a plan, one animal with two names, sheets that may be replaced."""

from __future__ import annotations

import re

import pytest
from openpyxl import load_workbook
from sheets import WORMER, write_book
from yard import NOW, WHEN, Yard

GOOD = {"given": "yes", "when": WHEN, "by": "Operator 1"}


def rules(told):
    return re.findall(r"\[([a-z-]+)\]", told.stderr)


def unplanned(yard, *lines, heads="Tag | EID | Medicine | Given | Date and time | Meat withdrawal | Milk withdrawal"):
    """A sheet of treatments without a plan, recorded."""
    path = write_book(yard.folder / "unplanned.xlsx", {"Given": "\n".join([heads, *lines])})
    return yard.run("record", path, "--to", yard.record_path, "--on", NOW)


@pytest.fixture
def yard(tmp_path):
    return Yard(tmp_path)


def test_a_needle_left_in_is_told_beside_whatever_else_holds(yard):
    yard.fill({"0412": GOOD | {"given": "perhaps", "needle": "yes"}})
    yard.record()
    told = yard.clear("--on", "2027-06-01", "--for", "meat", "--animals", yard.list_of("0412"))
    assert told.exit_code == 1
    assert "not clear: a needle broke and was not released; the entry is not clear (wormer A" in told.output
    yard.run("release", yard.record_path, "--row", 1, "--by", "Vet 1", "--reason", "out")
    told = yard.clear("--on", "2027-06-01", "--for", "meat", "--animals", yard.list_of("0412"))
    assert "not clear: the entry is not clear (wormer A" in told.output


def test_no_after_yes_is_recorded_and_told(yard):
    """A second phone may say so whose person did not know of the first."""
    ticks = yard.folder / "ticks.csv"
    head = "tag,mob,medicine,given,amount,when,by,why_not\n"
    ticks.write_text(f"{head}0412,Hill,wormer A,yes,0.9 mL,2026-06-01T09:30+00:00,AB,\n", encoding="utf-8")
    assert "given-taken-back" not in rules(yard.record("--ticks", ticks))
    ticks.write_text(f"{head}0412,Hill,wormer A,no,,,CD,not seen\n", encoding="utf-8")
    told = yard.record("--ticks", ticks)
    assert "given-taken-back" in rules(told)
    assert "recorded as not given: 0412" in told.stderr
    assert "given-taken-back" not in rules(yard.record("--ticks", ticks))


class TestRepeats:
    def test_two_sheets_of_one_day_without_a_plan_are_two_treatments(self, yard):
        """The evening's dose is recorded first; the morning's, from another sheet, does not take its place."""
        heads = "Tag | EID | Medicine | Given | Date and time | Meat withdrawal | Milk withdrawal | Amount | Unit"
        for at in ("18:00", "08:00"):
            line = f"0412 | | drench Y | yes | 2026-06-01 {at} | 10 days | 0 days | 5 | mL"
            told = unplanned(yard, line, heads=heads)
            assert "1 rows added to record.xlsx; 0 there already" in told.output
        assert "0 rows added to record.xlsx; 1 there already" in unplanned(yard, line, heads=heads).output
        assert "repeated-too-soon" in rules(told)
        assert [row["Concerns row"] for row in yard.rows()] == [None, None]
        assert yard.clear("--on", "2026-06-11T09:00", "--for", "meat", "--animals", yard.list_of("0412")).exit_code == 1

    def test_twice_on_one_day_is_an_error_and_not_clear(self, yard):
        yard.fill({"0412": GOOD})
        assert "repeated-too-soon" not in rules(yard.record())
        yard.add(tag="0412", medicine="wormer A", unit="mL", amount=0.9, given="yes", when="2026-06-01 16:00")
        told = yard.record()
        assert told.exit_code == 1
        assert "wormer A was given to 0412 too soon after wormer A on Monday 1 June 2026." in told.stderr

    def test_four_weeks_apart_is_none(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        yard.add(tag="0412", medicine="wormer A", unit="mL", amount=0.9, given="yes", when="2026-06-29 16:00")
        assert "repeated-too-soon" not in rules(yard.record())

    def test_a_period_of_no_days_does_not_hide_a_double_dose(self, tmp_path):
        yard = Yard(tmp_path, "Tag | Weight (kg)\n0412 | 41.5", WORMER | {"Meat withdrawal": "0 days"})
        yard.fill({"0412": GOOD})
        yard.record()
        unplanned(yard, "0412 | | wormer A | yes | 2026-06-01 10:00 | 0 days | 3 days")
        assert "meat: 0412: not clear: the same active again" in yard.clear("--on", "2026-12-01").output

    def test_doses_of_one_course_are_no_repeats(self, tmp_path):
        yard = Yard(tmp_path, "Tag | Weight (kg)\n0412 | 41.5", WORMER | {"Doses": 2, "Every": "24 hours"})
        yard.fill({("0412", "wormer A", 1): GOOD, ("0412", "wormer A", 2): GOOD | {"when": "2026-06-02 09:00"}})
        assert "repeated-too-soon" not in rules(yard.record())


class TestWithoutAPlan:
    def test_the_period_that_is_stated_holds(self, yard):
        assert unplanned(yard, "0412 | | drench Z | yes | 2026-06-01 09:30 | 7 days | 2 days").exit_code == 0
        assert "meat: 0412: not clear until Monday 8 June 2026, 09:30" in yard.clear("--on", "2026-06-08T09:29").output
        assert "meat: clear: 1 (0412)" in yard.clear("--on", "2026-06-08T09:30").output

    def test_a_blank_is_not_zero(self, yard):
        unplanned(yard, "0412 | | drench Z | yes | 2026-06-01 09:30 | 7 days |")
        assert "milk: 0412: not clear: not on the plan" in yard.clear("--on", "2027-06-08").output

    def test_a_period_that_cannot_be_read_is_not_stated(self, yard):
        told = unplanned(yard, "0412 | | drench Z | yes | 2026-06-01 09:30 | a week or so |")
        assert "entry-unclear" in rules(told)
        assert "meat: 0412: not clear" in yard.clear("--on", "2027-06-08").output

    def test_an_entry_that_is_not_clear_stays_so_whatever_the_period(self, yard):
        unplanned(yard, "0412 | | drench Z | some | 2026-06-01 09:30 | 7 days | 2 days")
        assert (
            "meat: 0412: not clear: not on the plan; the entry is not clear" in yard.clear("--on", "2027-01-01").output
        )

    def test_a_period_entered_later_is_a_correction(self, yard):
        unplanned(yard, "0412 | | drench Z | yes | 2026-06-01 09:30 | |")
        told = unplanned(yard, "0412 | | drench Z | yes | 2026-06-01 09:30 | 7 days | 2 days")
        assert "1 rows added to record.xlsx, 1 of them corrections" in told.output
        assert "meat: clear: 1 (0412)" in yard.clear("--on", "2026-06-09").output


class TestOneAnimalUnderTwoNames:
    LINES = ("0412 | | drench Y | yes | 2026-06-01 09:30 | 60 days | 0 days",
             "| 982000000000001 | drench Z | yes | 2026-06-02 09:30 | 1 day | 0 days")  # fmt: skip

    def listed(self, yard, text):
        path = yard.folder / "list.csv"
        path.write_text(text, encoding="utf-8")
        return yard.clear("--on", "2026-07-01", "--for", "meat", "--animals", path)

    def test_a_list_that_has_both_asks_for_both(self, yard):
        unplanned(yard, *self.LINES)
        assert self.listed(yard, "EID\n982000000000001\n").exit_code == 0
        told = self.listed(yard, "EID,Tag\n982000000000001,0412\n")
        assert told.exit_code == 1
        assert "meat: 982000000000001: not clear until Friday 31 July 2026, 09:30 (drench Y" in told.output

    def test_a_row_of_the_record_that_has_both_joins_them(self, yard):
        unplanned(yard, *self.LINES, "0412 | 982000000000001 | drench X | no | | |")
        for text in ("EID\n982000000000001\n", "Tag\n0412\n"):
            told = self.listed(yard, text)
            assert told.exit_code == 1
            assert "until Friday 31 July 2026" in told.output

    def test_an_eid_that_is_new_with_a_tag_of_another_is_not_known(self, yard):
        unplanned(yard, "0412 | 982000000000001 | drench X | yes | 2026-06-01 | 0 days | 0 days")
        told = self.listed(yard, "EID,Tag\n982000000000009,0412\n")
        assert "not known: this tag is in the record with another EID" in told.output

    def test_an_eid_that_is_known_with_a_tag_of_another_is_not_known(self, yard):
        """The EID alone would be clear, and the tag alone would not: one of them is wrong."""
        unplanned(
            yard, "0411 | 982000000000001 | drench X | yes | 2026-06-01 | 0 days | 0 days",
            "0412 | 982000000000002 | drench Y | yes | 2026-06-01 | 60 days | 0 days",
        )  # fmt: skip
        assert self.listed(yard, "EID\n982000000000001\n").exit_code == 0
        told = self.listed(yard, "EID,Tag\n982000000000001,0412\n")
        assert told.exit_code == 1
        assert "not known: this tag is in the record with another EID" in told.output

    def test_the_printed_official_number_is_the_electronic_one(self, yard):
        unplanned(yard, "UK 0123456 00001 | | drench Y | yes | 2026-06-01 09:30 | 60 days | 0 days")
        assert "until Friday 31 July 2026" in self.listed(yard, "EID\n826012345600001\n").output


class TestASheetThatIsRecorded:
    @pytest.fixture
    def again(self, yard):
        def run(*more):
            return yard.run("dose", yard.folder / "weighing.xlsx", yard.folder / "medicines.xlsx", "--on", "2026-07-01",
                            "--no-pdf", "--out", yard.folder / "job", *more)  # fmt: skip

        return run

    def test_it_may_be_replaced_once_all_of_it_is_in_the_record(self, yard, again):
        yard.fill({"0412": GOOD})
        assert again().exit_code == 2
        yard.record()
        told = again()
        assert told.exit_code < 2, told.output
        assert load_workbook(yard.dosed)["Job given"]["K2"].value is None

    @pytest.mark.parametrize(
        "entry", [{"0413": GOOD}, {"0412": GOOD | {"amount": 0.5}}, {"0412": GOOD | {"note": "x"}}]
    )
    def test_not_with_one_more_entry(self, yard, again, entry):
        yard.fill({"0412": GOOD})
        yard.record()
        yard.fill(entry)
        told = again()
        assert told.exit_code == 2
        assert "a filled-in sheet is never replaced" in told.stderr

    def test_not_with_a_note_on_a_mob_alone(self, yard, again):
        yard.fill({"0412": GOOD})
        yard.record()
        yard.fill({}, {2: {"note": "two were not seen"}})
        assert again().exit_code == 2

    def test_not_where_the_record_was_altered_or_is_not_there(self, yard, again):
        yard.fill({"0412": GOOD})
        yard.record()
        book = load_workbook(yard.record_path)
        book["Record"]["Q2"] = "Somebody"
        book.save(yard.record_path)
        assert again().exit_code == 2
        yard.record_path.unlink()
        assert again().exit_code == 2

    def test_the_recorded_workbook_may_be_the_input(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        told = yard.run("dose", yard.dosed, yard.folder / "medicines.xlsx", "--on", "2026-07-01", "--no-pdf", "--out",
                        yard.folder / "next", "--record", yard.record_path)  # fmt: skip
        assert told.exit_code < 2, told.output
