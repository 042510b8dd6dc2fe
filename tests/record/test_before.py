"""A job planned while the client's record lies beside it: what was given before is counted, and never guessed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from openpyxl import load_workbook
from sheets import WORMER
from untold import untold
from yard import ANIMALS, WHEN, Yard

from batchdose import Settings, plan_job

GOOD = {"given": "yes", "when": WHEN, "by": "Operator 1"}
LATER, THREE_DAYS_LATER = "2026-06-12", "2026-06-04"
#: Another active, and a period that ends before that of wormer A.
SHORT = WORMER | {"Medicine": "wormer B", "Active substance": "active b", "Meat withdrawal": "1 day",
                  "Milk withdrawal": "1 day"}  # fmt: skip
WITH_ACTIVE = WORMER | {"Active substance": "active a"}
BOTH = (WITH_ACTIVE, SHORT)


def yard_of(tmp_path, *, animals=ANIMALS, medicines=BOTH, **sheets):
    return Yard(tmp_path, animals, *medicines, Treatments="Medicine | Mob\nwormer A | Hill\n", **sheets)


def give_now(yard, name):
    """What the next job gives."""
    book = load_workbook(yard.folder / "weighing.xlsx")
    book["Treatments"]["A2"] = name
    book.save(yard.folder / "weighing.xlsx")


class Again:
    """The job planned once more: its findings and results."""

    def __init__(self, yard, on, *more):
        self.told = yard.run("dose", yard.folder / "weighing.xlsx", yard.folder / "medicines.xlsx", "--on", on,
                             "--no-pdf", "--out", yard.folder / "again", *more)  # fmt: skip
        self.rules = re.findall(r"\[([a-z-]+)\]", self.told.stderr)
        path = yard.folder / "again" / "weighing-results.json"
        self.results = json.loads(path.read_text(encoding="utf-8")) if self.told.exit_code < 2 else {}
        self.html = path.with_name("weighing-job-sheet.html")
        if self.told.exit_code < 2:
            record = more[more.index("--record") + 1] if "--record" in more else None
            sheets = (yard.folder / "weighing.xlsx", yard.folder / "medicines.xlsx")
            assert not untold(plan_job(*sheets, Settings(on=on, record=record)))

    def clear(self, tag, product="meat"):
        [row] = [row for row in self.results["treatments"] if row["tag"] == tag]
        return row["clear_state"][product], row["clear"][product]

    def held(self, tag):
        [row] = [row for row in self.results["treatments"] if row["tag"] == tag]
        return "; ".join(row["why"])


@pytest.fixture
def recorded(tmp_path):
    """Wormer A given to 0412 and 0413 on 1 June; 0415 not."""
    yard = yard_of(tmp_path)
    yard.fill({"0412": GOOD, "0413": GOOD, "0415": {"given": "no", "why_not": "lame"}})
    yard.record()
    return yard


class TestWhatStillRuns:
    def test_the_later_clear_from_holds(self, recorded):
        give_now(recorded, "wormer B")
        again = Again(recorded, THREE_DAYS_LATER)
        assert again.clear("0412") == ("from", "2026-06-15T09:30:00+00:00")
        assert again.clear("0415") == ("from", "2026-06-06T00:00:00+00:00")
        assert "still-not-clear" in again.rules
        assert "record-read" in again.rules
        assert "16 June 2026" in again.html.read_text(encoding="utf-8")

    def test_it_does_not_once_it_is_over(self, recorded):
        give_now(recorded, "wormer B")
        again = Again(recorded, "2026-06-15T09:30")
        assert again.clear("0412") == ("from", "2026-06-16T09:30:00+00:00")
        assert "still-not-clear" not in again.rules

    def test_it_is_told_in_the_zone_of_the_job(self, recorded):
        book = load_workbook(recorded.folder / "weighing.xlsx")
        book["Session"]["B2"] = "Pacific/Auckland"
        book.save(recorded.folder / "weighing.xlsx")
        give_now(recorded, "wormer B")
        assert Again(recorded, THREE_DAYS_LATER).clear("0412") == ("from", "2026-06-15T21:30:00+12:00")

    def test_the_record_is_an_input_and_is_named(self, recorded):
        again = Again(recorded, THREE_DAYS_LATER)
        assert [source["name"] for source in again.results["job"]["inputs"]][-1] == "record.xlsx"
        schema = json.loads((Path(__file__).parents[2] / "docs" / "results.schema.json").read_text(encoding="utf-8"))
        Draft202012Validator(schema).validate(again.results)

    def test_slaughter_before_it_is_over_is_held(self, tmp_path):
        animals = """
            Tag  | Weight (kg) | Mob  | Slaughter on
            0412 | 41.5        | Hill | 2026-06-10
            0413 | 38          | Hill | 2026-06-20
            """
        yard = yard_of(tmp_path, animals=animals, medicines=(WITH_ACTIVE | {"Meat withdrawal": "1 day"}, SHORT))
        yard.fill({"0412": GOOD, "0413": GOOD})
        yard.record()
        told = yard.run("release", yard.record_path, "--row", 1, "--row", 2, "--by", "Vet 1", "--reason", "checked",
                        "--period", "meat=14 days")  # fmt: skip
        assert told.exit_code == 0, told.output
        give_now(yard, "wormer B")
        again = Again(yard, THREE_DAYS_LATER)
        assert again.held("0412") == "leaves before meat is clear"
        assert again.held("0413") == ""
        assert "meat is clear from Monday 15 June 2026 after an earlier treatment" in again.told.stderr

    def test_what_is_not_stated_stays_so_and_nobody_leaves_on_it(self, tmp_path):
        animals = """
            Tag  | Weight (kg) | Mob  | Slaughter on
            0412 | 41.5        | Hill | 2026-12-31
            """
        yard = yard_of(tmp_path, animals=animals)
        yard.fill({"0412": GOOD | {"amount": 1.5}})
        yard.record()
        give_now(yard, "wormer B")
        again = Again(yard, LATER)
        assert again.clear("0412") == ("not_stated", None)
        assert again.held("0412") == "leaves before meat is clear"

    def test_a_broken_needle_is_carried_until_it_is_released(self, recorded):
        recorded.fill({"0412": GOOD | {"needle": "yes"}})
        recorded.record()
        give_now(recorded, "wormer B")
        again = Again(recorded, "2026-08-01")
        assert "needle-left-in" in again.rules
        assert again.clear("0412") == ("not_stated", None)
        assert again.clear("0413")[0] == "from"
        recorded.run("release", recorded.record_path, "--row", 1, "--by", "Vet 1", "--reason", "taken out")
        assert "needle-left-in" not in Again(recorded, "2026-08-01").rules

    def test_a_product_of_the_record_alone_is_carried(self, tmp_path):
        yard = yard_of(tmp_path, medicines=(WITH_ACTIVE | {"Wool withdrawal": "60 days"},))
        yard.fill({"0412": GOOD})
        yard.record()
        book = load_workbook(yard.folder / "medicines.xlsx")
        sheet = book["Medicines"]
        [column] = [cell.column for cell in sheet[1] if cell.value == "Wool withdrawal"]
        sheet.delete_cols(column)
        sheet["A2"] = "wormer C"
        for cell in sheet[1]:
            if cell.value == "Active substance":
                sheet.cell(2, cell.column, "active c")
        book.save(yard.folder / "medicines.xlsx")
        give_now(yard, "wormer C")
        again = Again(yard, "2026-06-20")
        assert again.clear("0412", "wool")[0] == "not_stated"
        assert "not clear for wool, until Friday 31 July 2026" in again.told.stderr


class TestAProductThatOnlyThisJobNames:
    """The labels of the record have no period for wool; that of the medicine given now has."""

    def again(self, folder, entry, spoil=None):
        yard = yard_of(folder, medicines=(WITH_ACTIVE,))
        yard.fill({"0412": entry})
        yard.record()
        if spoil:
            spoil(yard.record_path)
        (folder / "next").mkdir()
        second = yard_of(folder / "next", medicines=(WITH_ACTIVE, SHORT | {"Wool withdrawal": "2 days"}))
        give_now(second, "wormer B")
        return Again(second, THREE_DAYS_LATER, "--record", yard.record_path)

    def test_it_is_not_stated_after_a_label_without_it(self, tmp_path):
        again = self.again(tmp_path, GOOD)
        assert again.clear("0412", "wool") == ("not_stated", None)
        assert again.clear("0415", "wool") == ("from", "2026-06-07T00:00:00+00:00")

    def test_it_is_not_stated_with_a_needle_left_in(self, tmp_path):
        assert self.again(tmp_path, GOOD | {"needle": "yes"}).clear("0412", "wool") == ("not_stated", None)

    def test_it_is_not_stated_for_anyone_by_an_altered_record(self, tmp_path):
        def spoil(path):
            book = load_workbook(path)
            book["Record"]["L2"] = "no"
            book.save(path)

        assert self.again(tmp_path, GOOD, spoil).clear("0415", "wool") == ("not_stated", None)


class TestRepeats:
    def test_a_dose_without_plan_and_time_counts_from_its_recording(self, tmp_path):
        """It is in the record since 1 July, and nothing else says when it was given."""
        yard = yard_of(tmp_path, medicines=(WITH_ACTIVE,))
        yard.add(tag="0499", medicine="wormer A", given="yes", amount=1, unit="mL")
        yard.record()
        book = load_workbook(yard.folder / "weighing.xlsx")
        book["Weights"]["A2"] = "0499"
        book.save(yard.folder / "weighing.xlsx")
        [day] = {row["Recorded on"][:10] for row in yard.rows()}
        assert "given already on" in Again(yard, day).held("0499")

    def test_the_same_day_again_is_held_and_a_reason_lets_it_through(self, recorded):
        again = Again(recorded, "2026-06-01")
        assert again.held("0412") == "given already on Monday 1 June 2026"
        assert again.held("0415") == ""
        assert again.clear("0412") == ("from", "2026-06-15T09:30:00+00:00")
        book = load_workbook(recorded.folder / "weighing.xlsx")
        sheet = book["Weighing"] if "Weighing" in book.sheetnames else book.worksheets[0]
        sheet["D1"], sheet["D2"] = "Give anyway", "the vet asked for a second dose"
        book.save(recorded.folder / "weighing.xlsx")
        again = Again(recorded, "2026-06-01")
        assert again.held("0412") == ""
        assert again.clear("0412") == ("not_stated", None)

    def test_another_day_is_no_repeat_but_the_active_runs(self, recorded):
        again = Again(recorded, THREE_DAYS_LATER)
        assert again.held("0412") == ""
        assert "same-active-running" in again.rules
        assert again.clear("0412") == ("not_stated", None)
        assert again.clear("0415")[0] == "from"

    def test_a_product_that_is_over_is_stated_again(self, recorded):
        # Milk of wormer A is clear on 4 June at 9:30, meat on 15 June.
        again = Again(recorded, "2026-06-05")
        assert again.clear("0412") == ("not_stated", None)
        assert again.clear("0412", "milk") == ("from", "2026-06-09T00:00:00+00:00")

    def test_the_plan_says_what_clear_says_once_it_is_recorded(self, recorded):
        again = Again(recorded, "2026-06-05")
        dosed = recorded.folder / "again" / "weighing-dosed.xlsx"
        book = load_workbook(dosed)
        for row in book["Job given"].iter_rows(min_row=2):
            if row[0].value == "0412":
                row[10].value, row[12].value = "yes", "2026-06-05 10:00"
        book.save(dosed)
        told = recorded.run("record", dosed, "--to", recorded.record_path, "--on", "2026-07-01T12:00")
        assert "given-too-soon" not in told.stderr
        states = recorded.clear("--on", "2026-06-06T00:00").output
        assert "meat: 0412: not clear: the same active again" in states
        assert again.clear("0412")[0] == "not_stated"

    def test_a_dose_at_an_unknown_time_counts_on_its_planned_day(self, tmp_path):
        yard = yard_of(tmp_path)
        yard.fill({"0412": {"given": "yes"}})
        yard.record()
        assert Again(yard, "2026-06-01").held("0412") == "given already on Monday 1 June 2026"

    def test_the_labels_shortest_time_holds(self, tmp_path):
        medicine = WITH_ACTIVE | {"Repeat after": "7 days"}
        yard = yard_of(tmp_path, medicines=(medicine,))
        yard.fill({"0412": GOOD})
        yard.record()
        assert Again(yard, "2026-06-07").held("0412") == "given already on Monday 1 June 2026"
        assert Again(yard, "2026-06-08").held("0412") == ""

    def test_a_course_with_doses_left_is_found_while_they_are_due(self, tmp_path):
        medicine = WITH_ACTIVE | {"Doses": 3, "Every": "24 hours"}
        yard = yard_of(tmp_path, medicines=(medicine,))
        yard.fill({("0412", "wormer A", 1): GOOD})
        yard.record()
        assert "course-still-running" in Again(yard, "2026-06-03").rules
        assert "course-still-running" not in Again(yard, "2026-06-20").rules


class TestWhoIsWho:
    EIDS = """
        Tag  | EID             | Weight (kg) | Mob
        0412 | 982000000000001 | 41.5        | Hill
        0413 | 982000000000002 | 38          | Hill
        """

    def again_as(self, tmp_path, animals, on=THREE_DAYS_LATER, name="wormer B", first=None):
        yard = yard_of(tmp_path, animals=first or self.EIDS)
        yard.fill({key[0]: GOOD for key in yard.lines})
        yard.record()
        yard.folder = tmp_path / "next"
        yard.folder.mkdir()
        second = yard_of(yard.folder, animals=animals)
        give_now(second, name)
        return Again(second, on, "--record", tmp_path / "record.xlsx")

    def test_by_eid_whatever_the_tag(self, tmp_path):
        again = self.again_as(tmp_path, self.EIDS.replace("0412", "N7"))
        assert again.clear("N7") == ("from", "2026-06-15T09:30:00+00:00")

    def test_by_the_official_number_in_both_forms(self, tmp_path):
        first = """
            Tag                | Weight (kg) | Mob
            UK 0123456 00001   | 41.5        | Hill
            """
        again = self.again_as(tmp_path, self.EIDS.replace("982000000000001", "826012345600001"), first=first)
        assert again.clear("0412") == ("from", "2026-06-15T09:30:00+00:00")
        assert again.clear("0413") == ("from", "2026-06-06T00:00:00+00:00")

    def test_a_tag_on_two_animals_is_held(self, tmp_path):
        yard = yard_of(tmp_path, animals=self.EIDS)
        yard.fill({"0412": GOOD, "0413": GOOD})
        yard.record()
        second = tmp_path / "second"
        second.mkdir()
        other = yard_of(second, animals=self.EIDS.replace("0413", "0412").replace("0412", "0413", 1))
        other.fill({"0412": GOOD})
        other.record_path = yard.record_path
        other.record()
        third = tmp_path / "third"
        third.mkdir()
        last = yard_of(third, animals=ANIMALS)
        give_now(last, "wormer B")
        again = Again(last, LATER, "--record", yard.record_path)
        assert again.held("0412") == "its tag is on two animals in the treatment record"
        assert again.clear("0412") == ("not_stated", None)

    def test_a_tag_with_another_eid_counts_what_the_other_got(self, tmp_path):
        again = self.again_as(tmp_path, self.EIDS.replace("982000000000001", "982000000000009"))
        assert "tag-with-other-eid" in again.rules
        assert again.clear("0412") == ("from", "2026-06-15T09:30:00+00:00")

    def test_a_known_eid_with_the_tag_of_another_animal_counts_what_both_got(self, tmp_path):
        """One of the two names is wrong, and nobody knows which."""
        yard = yard_of(tmp_path, animals=self.EIDS)
        yard.fill({"0412": GOOD, "0413": GOOD | {"given": "no", "when": None}})
        yard.record()
        give_now(yard, "wormer B")
        book = load_workbook(yard.folder / "weighing.xlsx")
        book["Weights"]["A2"], book["Weights"]["A3"] = "0413", "0412"
        book.save(yard.folder / "weighing.xlsx")
        again = Again(yard, THREE_DAYS_LATER)
        assert "tag-with-other-eid" in again.rules
        assert again.clear("0412") == ("from", "2026-06-15T09:30:00+00:00")
        assert again.clear("0413") == ("from", "2026-06-15T09:30:00+00:00")

    def test_a_mob_given_as_a_whole_counts_for_its_animals(self, tmp_path):
        yard = yard_of(tmp_path, animals=ANIMALS)
        book = load_workbook(yard.dosed)
        sheet = book["Job given"]
        row = len(yard.lines) + 2
        for column, value in {"C": "Hill", "D": "wormer A", "K": "yes", "M": WHEN}.items():
            sheet[f"{column}{row}"] = value
        book.save(yard.dosed)
        yard.record()
        give_now(yard, "wormer B")
        assert Again(yard, LATER).clear("0412") == ("not_stated", None)


class TestWhichRecord:
    CLIENT = "Species | sheep\nTime zone | UTC\nClient | Client {}\n"

    def recorded(self, folder, client):
        folder.mkdir(exist_ok=True)
        yard = yard_of(folder, Session=self.CLIENT.format(client))
        yard.fill({"0412": GOOD})
        yard.record()
        give_now(yard, "wormer B")
        return yard

    def test_of_another_client_is_not_read_and_it_is_said(self, tmp_path):
        one, two = self.recorded(tmp_path / "one", "A"), self.recorded(tmp_path / "two", "B")
        one.record_path.unlink()
        (one.folder / "theirs.xlsx").write_bytes(two.record_path.read_bytes())
        again = Again(one, THREE_DAYS_LATER)
        assert "theirs.xlsx: This treatment record is not read: it is of Client B" in again.told.stderr
        assert again.clear("0412") == ("from", "2026-06-06T00:00:00+00:00")
        told = Again(one, THREE_DAYS_LATER, "--record", two.record_path).told
        assert told.exit_code == 2
        assert "This is the record of Client B, and the job is of Client A." in told.stderr

    def test_the_clients_own_is_read_among_others(self, tmp_path):
        one, two = self.recorded(tmp_path / "one", "A"), self.recorded(tmp_path / "two", "B")
        (one.folder / "theirs.xlsx").write_bytes(two.record_path.read_bytes())
        assert Again(one, THREE_DAYS_LATER).clear("0412") == ("from", "2026-06-15T09:30:00+00:00")

    def test_of_two_of_the_client_none_is_read(self, tmp_path):
        one = self.recorded(tmp_path / "one", "A")
        (one.folder / "record 2.xlsx").write_bytes(one.record_path.read_bytes())
        again = Again(one, THREE_DAYS_LATER)
        assert again.rules.count("record-not-used") == 2
        assert again.clear("0412") == ("from", "2026-06-06T00:00:00+00:00")

    def test_a_job_that_names_no_client_goes_with_no_clients_record(self, tmp_path):
        one = self.recorded(tmp_path / "one", "A")
        book = load_workbook(one.folder / "weighing.xlsx")
        book["Session"]["B3"] = None
        book.save(one.folder / "weighing.xlsx")
        assert "and the job names no client" in Again(one, THREE_DAYS_LATER).told.stderr


class TestAnAlteredRecord:
    def test_nobody_is_called_clear_and_nothing_is_dropped(self, recorded):
        book = load_workbook(recorded.record_path)
        book["Record"]["O2"] = "2026-05-01T09:30:00+00:00"
        book.save(recorded.record_path)
        give_now(recorded, "wormer B")
        again = Again(recorded, LATER)
        assert again.told.exit_code == 1
        assert "record-row-altered" in again.rules
        assert {again.clear(tag)[0] for tag in ("0412", "0413", "0415")} == {"not_stated"}
        give_now(recorded, "wormer A")
        assert Again(recorded, "2026-06-01").held("0413") == "given already on Monday 1 June 2026"

    def test_facts_that_were_altered_do_not_hide_the_record(self, recorded):
        book = load_workbook(recorded.record_path)
        book["Record facts"]["B2"] = "{"
        book.save(recorded.record_path)
        again = Again(recorded, LATER)
        assert "record-row-altered" in again.rules
        assert {again.clear(tag)[0] for tag in ("0412", "0413", "0415")} == {"not_stated"}

    def test_check_says_it_too(self, recorded):
        told = recorded.run("check", recorded.folder / "weighing.xlsx", recorded.folder / "medicines.xlsx", "--on",
                            "2026-06-01", "--record", recorded.record_path)  # fmt: skip
        assert "given-too-soon" in told.stderr
