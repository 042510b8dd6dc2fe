"""The calendar file, read with a second library: what is due, what moves, what is called off, what is not said."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import vobject
from openpyxl import load_workbook
from sheets import VACCINE, WORMER
from yard import ANIMALS, WHEN, Yard

from batchdose.write.zones import time_zone

GOOD = {"given": "yes", "when": WHEN, "by": "Operator 1"}
SESSION = "Species | sheep\nTime zone | Europe/London\nClient | Client A\n"
COURSE = WORMER | {"Medicine": "wormer A", "Doses": 3, "Every": "24 hours"}
LONDON = ZoneInfo("Europe/London")


class Calendar:
    """Events of a file by what they say; those called off apart."""

    def __init__(self, path):
        self.data = path.read_bytes()
        events = getattr(vobject.readOne(self.data.decode("utf-8")), "vevent_list", [])
        self.off = {e.summary.value: e for e in events if e.status.value == "CANCELLED"}
        self.due = {e.summary.value: e for e in events if e.status.value != "CANCELLED"}

    def at(self, says):
        return self.due[says].dtstart.value

    def sequence(self, says):
        return int((self.due | self.off)[says].sequence.value)


@pytest.fixture
def make(tmp_path):
    def made(*medicines, animals=ANIMALS, **sheets):
        yard = Yard(tmp_path, animals, *(medicines or (WORMER,)), **({"Session": SESSION} | sheets))
        yard.ics = yard.folder / "job" / "weighing-clear.ics"
        return yard

    return made


def plan_again(yard, on="2026-06-01"):
    return yard.run("dose", yard.folder / "weighing.xlsx", yard.folder / "medicines.xlsx", "--on", on, "--no-pdf",
                    "--out", yard.folder / "job")  # fmt: skip


class TestThePlan:
    def test_clear_from_stands_as_the_job_sheet_prints_it(self, make):
        found = Calendar(make().ics)
        assert found.at("Hill: meat clear") == datetime(2026, 6, 16, tzinfo=LONDON)
        assert found.at("Hill: milk clear") == datetime(2026, 6, 5, tzinfo=LONDON)

    def test_it_is_not_there_where_it_is_not_stated(self, make):
        found = Calendar(make(WORMER | {"Milk withdrawal": None}).ics)
        assert set(found.due) == {"Hill: meat clear"}

    def test_nothing_due_is_no_file(self, make):
        assert not make(WORMER | {"Milk withdrawal": None, "Meat withdrawal": None}).ics.exists()

    def test_further_doses_of_a_course(self, make):
        found = Calendar(make(COURSE).ics)
        assert found.at("Hill: wormer A, dose 2 of 3") == date(2026, 6, 2)
        assert found.at("Hill: wormer A, dose 3 of 3") == date(2026, 6, 3)
        assert "Hill: wormer A, dose 1 of 3" not in found.due

    def test_a_booster_only_where_the_course_has_one(self, make):
        vaccine = WORMER | VACCINE | {"Doses": 2, "Every": "28 days"}
        found = Calendar(make(vaccine).ics)
        assert found.at("Hill: vaccine V, booster 2 of 2") == date(2026, 6, 29)

    def test_no_booster_without_one(self, make):
        assert not any("booster" in says for says in Calendar(make(WORMER | VACCINE).ics).due)

    def test_the_last_day_of_an_opened_bottle(self, make):
        found = Calendar(
            make(Stock="Medicine | Pack size | Packs | Batch | Use within\nwormer A | 50 mL | 2 | B1 | 28 days").ics
        )
        assert found.at("wormer A, bottle B1: last day of use") == date(2026, 6, 28)

    def test_the_same_job_gives_the_same_bytes(self, make):
        yard = make()
        before = yard.ics.read_bytes()
        plan_again(yard)
        assert yard.ics.read_bytes() == before

    def test_a_change_moves_the_same_event(self, make):
        yard = make()
        before = Calendar(yard.ics)
        book = load_workbook(yard.folder / "medicines.xlsx")
        for cell in book["Medicines"][1]:
            if cell.value == "Meat withdrawal":
                book["Medicines"].cell(2, cell.column, "28 days")
        book.save(yard.folder / "medicines.xlsx")
        plan_again(yard)
        after = Calendar(yard.ics)
        assert after.at("Hill: meat clear") == datetime(2026, 6, 30, tzinfo=LONDON)
        assert after.due["Hill: meat clear"].uid.value == before.due["Hill: meat clear"].uid.value
        assert (after.sequence("Hill: meat clear"), after.sequence("Hill: milk clear")) == (1, 0)

    def test_what_is_no_longer_due_is_called_off_once(self, make):
        yard = make(COURSE)
        book = load_workbook(yard.folder / "medicines.xlsx")
        for cell in book["Medicines"][1]:
            if cell.value == "Doses":
                book["Medicines"].cell(2, cell.column, 2)
        book.save(yard.folder / "medicines.xlsx")
        plan_again(yard)
        after = Calendar(yard.ics)
        assert set(after.off) == {"Hill: wormer A, dose 3 of 3"}
        assert after.at("Hill: wormer A, dose 2 of 2") == date(2026, 6, 2)
        before = after.data
        plan_again(yard)
        assert yard.ics.read_bytes() == before

    def test_a_file_that_is_no_calendar_is_written_anew(self, make):
        yard = make()
        before = yard.ics.read_bytes()
        yard.ics.write_bytes(b"BEGIN:NOTHING\r\n\xff")
        plan_again(yard)
        assert yard.ics.read_bytes() == before


class TestAfterTheRecord:
    def test_clear_from_moves_to_what_was_given(self, make):
        yard = make()
        before = Calendar(yard.ics)
        yard.fill({tag: GOOD | {"when": "2026-06-02 16:45"} for tag in ("0412", "0413", "0415")})
        told = yard.record()
        assert f"Wrote {yard.ics}" in told.output
        after = Calendar(yard.ics)
        assert after.at("Hill: meat clear") == datetime(2026, 6, 16, 16, 45, tzinfo=LONDON)
        assert after.due["Hill: meat clear"].uid.value == before.due["Hill: meat clear"].uid.value
        assert after.sequence("Hill: meat clear") == 1

    def test_recording_twice_gives_the_same_bytes(self, make):
        yard = make()
        yard.fill(dict.fromkeys(("0412", "0413", "0415"), GOOD))
        yard.record()
        before = yard.ics.read_bytes()
        yard.record()
        assert yard.ics.read_bytes() == before

    def test_while_some_are_not_recorded_it_never_moves_forward(self, make):
        yard = make()
        yard.fill({"0412": GOOD})
        yard.record()
        assert Calendar(yard.ics).at("Hill: meat clear") == datetime(2026, 6, 16, tzinfo=LONDON)

    def test_what_is_not_clear_any_more_is_called_off(self, make):
        yard = make()
        yard.fill(dict.fromkeys(("0412", "0413"), GOOD) | {"0415": GOOD | {"needle": "yes"}})
        yard.record()
        after = Calendar(yard.ics)
        assert set(after.off) == {"Hill: meat clear", "Hill: milk clear"}
        assert not after.due

    def test_a_late_dose_moves_the_next(self, make):
        yard = make(COURSE)
        yard.fill({(tag, "wormer A", 1): GOOD | {"when": "2026-06-02 08:00"} for tag in ("0412", "0413", "0415")})
        yard.record()
        after = Calendar(yard.ics)
        assert after.at("Hill: wormer A, dose 2 of 3") == date(2026, 6, 3)
        assert after.at("Hill: wormer A, dose 3 of 3") == date(2026, 6, 4)

    def test_a_calendar_that_cannot_be_written_does_not_undo_the_record(self, make):
        yard = make()
        yard.ics.unlink()
        yard.ics.mkdir()
        yard.fill(dict.fromkeys(("0412", "0413", "0415"), GOOD))
        told = yard.record()
        assert told.exit_code == 0, told.output
        assert "The record is written, but the calendar is not" in told.output
        assert len(yard.rows()) == 3


@pytest.mark.parametrize(
    "name", ["Europe/London", "America/Chicago", "Australia/Sydney", "Asia/Kathmandu", "Europe/Dublin"]
)
def test_a_zone_says_every_moment_as_the_zone_itself(name):
    zone, component = ZoneInfo(name), time_zone(ZoneInfo(name), 2025, 2027)
    onsets = sorted(
        ((part.decoded("dtstart") - part.decoded("tzoffsetfrom")).replace(tzinfo=UTC), part.decoded("tzoffsetto"))
        for part in component.subcomponents
    )
    at = datetime(2025, 1, 2, tzinfo=UTC)
    while at.year < 2028:
        assert max(o for o in onsets if o[0] <= at)[1] == at.astimezone(zone).utcoffset(), at
        at += timedelta(hours=1)
