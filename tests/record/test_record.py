"""The record: what was given is read back, checked against the plan, and added; each rule passes and fails."""

from __future__ import annotations

import re

import pytest
from openpyxl import load_workbook
from sheets import WORMER
from yard import ANIMALS, WHEN, Yard

GOOD = {"given": "yes", "when": WHEN, "by": "Operator 1"}


@pytest.fixture
def yard(tmp_path):
    return Yard(tmp_path)


def rules(told):
    """Rules of the findings; most tests fill in one line only, so that of the others is left out."""
    return [rule for rule in re.findall(r"\[([a-z-]+)\]", told.stderr) if rule != "dose-not-accounted-for"]


class TestWhatIsRecorded:
    def test_a_dose_as_planned_is_one_row_with_all_that_was_planned(self, yard):
        yard.fill({"0412": GOOD})
        told = yard.record()
        assert told.exit_code == 0, told.output
        (row,) = yard.rows()
        assert (row["Tag"], row["Medicine"], row["Given"], row["Amount"], row["Unit"]) == (
            "0412", "wormer A", "yes", 0.9, "mL",
        )  # fmt: skip
        assert (row["Given at"], row["By"], row["Row"]) == ("2026-06-01T09:30:00+00:00", "Operator 1", 1)
        assert rules(told) == []

    def test_no_is_recorded_with_its_reason(self, yard):
        yard.fill({"0412": {"given": "no", "why_not": "lame"}})
        assert yard.record().exit_code == 0
        assert [(row["Given"], row["Why not"], row["Amount"]) for row in yard.rows()] == [("no", "lame", None)]

    def test_all_given_except_covers_the_mob(self, yard):
        yard.fill({"0412": {"note": "coughs"}}, {2: {"all_given": "yes", "except": "0413", "when": WHEN, "by": "O"}})
        assert yard.record().exit_code == 0
        assert [(row["Tag"], row["Given"], row["Note"]) for row in yard.rows()] == [
            ("0412", "yes", "coughs"), ("0413", "no", None), ("0415", "yes", None),
        ]  # fmt: skip

    def test_ticks_from_the_phone_stand_above_the_sheet(self, yard):
        yard.fill({"0412": GOOD, "0413": GOOD})
        ticks = yard.folder / "ticks.csv"
        ticks.write_text(
            "tag,eid,mob,medicine,given,amount,when,batch_no,by,note\n"
            "0412,,Hill,wormer A,part,0.5,2026-06-01T10:15,,Operator 2,spat\n",
            encoding="utf-8",
        )
        assert yard.record("--ticks", ticks).exit_code == 0
        assert [(row["Tag"], row["Given"], row["Amount"]) for row in yard.rows()] == [
            ("0412", "part", 0.5), ("0413", "yes", 0.8),
        ]  # fmt: skip

    def test_yes_on_the_sheet_and_no_on_the_phone_is_neither(self, yard):
        yard.fill({"0412": GOOD})
        ticks = yard.folder / "ticks.csv"
        ticks.write_text("tag,medicine,given\n0412,wormer A,no\n", encoding="utf-8")
        told = yard.record("--ticks", ticks)
        assert told.exit_code == 1
        assert "(seen: yes and no)" in told.stderr
        assert [row["Given"] for row in yard.rows()] == ["unclear"]

    def test_two_lines_for_one_animal_are_two_treatments(self, yard):
        book = load_workbook(yard.dosed)
        book["Job given"]["A2"] = "0413"
        book.save(yard.dosed)
        yard.fill({"0412": {"given": "no"}, "0413": GOOD})
        yard.record()
        assert [(row["Tag"], row["Given"], row["Clear not stated because"]) for row in yard.rows()] == [
            ("0413", "no", None), ("0413", "yes", "not on the plan"),
        ]  # fmt: skip

    def test_ticks_of_another_job_are_refused(self, yard):
        yard.fill({"0412": GOOD})
        ticks = yard.folder / "ticks.csv"
        ticks.write_text("tag,medicine,given,when,job\n0412,wormer A,yes,2026-06-01,0000-0000\n", encoding="utf-8")
        told = yard.record("--ticks", ticks)
        assert told.exit_code == 2
        assert "0000-0000" in told.stderr
        assert not yard.record_path.exists()

    def test_a_treatment_with_no_plan_can_be_recorded(self, yard):
        bare = yard.folder / "calving.csv"
        bare.write_text("Tag,Medicine,Given,Amount,Unit,When\n77,antibiotic Q,yes,3,mL,2026-06-02\n", encoding="utf-8")
        told = yard.run("record", bare, "--to", yard.record_path, "--on", "2026-07-01")
        assert rules(told) == ["treatment-not-on-plan"]
        assert yard.rows()[0]["Clear not stated because"] == "not on the plan"

    def test_nothing_filled_in_writes_nothing(self, yard):
        assert yard.record().exit_code == 0
        assert not yard.record_path.exists()


class TestRules:
    @pytest.mark.parametrize(
        ("entry", "rule", "status"),
        [
            (GOOD, None, 0),
            (GOOD | {"amount": 0.9}, None, 0),
            (GOOD | {"amount": 0.7}, "amount-not-planned", 0),
            (GOOD | {"amount": 1.2}, "amount-not-planned", 0),
            ({"given": "part", "when": WHEN}, "amount-not-known", 0),
            (GOOD | {"given": "some"}, "entry-unclear", 1),
            (GOOD | {"amount": "a little"}, "entry-unclear", 1),
            (GOOD | {"when": "03/04/2026"}, "entry-unclear", 1),
            ({"note": "went lame"}, "entry-unclear", 1),
            ({"given": "yes"}, "time-not-known", 1),
            (GOOD | {"when": "2025-06-01 09:30"}, "given-before-plan", 0),
            (GOOD | {"when": "2027-06-01"}, "given-in-future", 1),
            (GOOD | {"needle": "yes"}, "needle-broken", 1),
            (GOOD | {"batch_no": "ZZ"}, "bottle-not-on-plan", 0),
        ],
    )  # fmt: skip
    def test_an_entry(self, yard, entry, rule, status):
        yard.fill({"0412": entry})
        told = yard.record()
        found = rules(told)
        assert (rule in found) if rule else not found
        assert told.exit_code == status
        assert len(yard.rows()) == 1
        if rule:
            line = next(line for line in told.stderr.splitlines() if f"[{rule}]" in line)
            assert re.match(r"(error|warning): weighing-dosed.xlsx: Job given![A-Z]2: ", line)

    def test_lines_that_say_nothing_are_told_once_others_do(self, yard):
        yard.fill({"0412": GOOD, "0415": {"given": "no"}})
        told = yard.record()
        assert "weighing-dosed.xlsx: Job given!K3: Nothing is entered for wormer A: 0413. " in told.stderr
        yard.fill({"0413": {"given": "no"}})
        assert "dose-not-accounted-for" not in yard.record().stderr

    def test_given_though_held(self, yard):
        yard.fill({"0414": GOOD | {"amount": 0.9}})
        told = yard.record()
        assert told.exit_code == 1
        assert "given-but-held" in rules(told)
        assert yard.rows()[0]["Clear not stated because"] == "given though held"

    def test_not_given_and_held_is_as_planned(self, yard):
        yard.fill({"0414": {"given": "no"}})
        assert rules(yard.record()) == []

    def test_a_bottle_past_its_expiry(self, tmp_path):
        stock = "Medicine | Pack size | Packs | Batch number | Expiry\nwormer A | 100 mL | 1 | B1 | 2026-06-15"
        yard = Yard(tmp_path, ANIMALS, WORMER, Stock=stock)
        yard.fill({"0412": GOOD | {"batch_no": "B1"}, "0413": GOOD | {"batch_no": "B1", "when": "2026-06-20"}})
        told = yard.record()
        assert rules(told) == ["bottle-expired"]
        assert "0413" in told.stderr
        assert "0412" not in told.stderr

    def test_an_animal_that_is_not_on_the_plan(self, yard):
        yard.add(tag="0999", medicine="wormer A", given="yes", amount=1, when=WHEN)
        told = yard.record()
        assert rules(told) == ["treatment-not-on-plan"]

    def test_a_tag_typed_over_a_planned_one_is_not_taken_for_it(self, yard):
        book = load_workbook(yard.dosed)
        book["Job given"]["A2"] = "0999"
        book.save(yard.dosed)
        yard.fill({"0412": GOOD | {"amount": 1}})
        yard.record()
        assert [(row["Tag"], row["Clear not stated because"]) for row in yard.rows()] == [("0999", "not on the plan")]

    @pytest.mark.parametrize(("tags", "found"), [("0413", []), ("0999", ["except-not-in-mob", "entry-unclear"])])
    def test_tags_left_out_are_of_the_mob(self, yard, tags, found):
        yard.fill({}, {2: {"all_given": "yes", "except": tags, "when": WHEN}})
        assert rules(yard.record()) == found

    def test_a_course_half_done(self, tmp_path):
        yard = Yard(tmp_path, ANIMALS, WORMER | {"Doses": 2, "Every": "24 h"})
        yard.fill({("0412", "wormer A", 1): GOOD})
        told = yard.record()
        assert rules(told) == ["course-half-done"]
        yard.fill({("0412", "wormer A", 2): GOOD | {"when": "2026-06-02 09:30"}})
        assert rules(yard.record()) == []
        assert [row["Row"] for row in yard.rows()] == [1, 2]


class TestTheRecordGrows:
    def test_the_same_job_twice_changes_nothing(self, yard):
        yard.fill({"0412": GOOD, "0413": GOOD | {"note": "=1+1 <b> _x0041_ é"}})
        yard.record()
        before = yard.record_path.read_bytes()
        told = yard.record()
        assert "0 rows added" in told.stderr
        assert yard.record_path.read_bytes() == before
        assert yard.run("check", yard.record_path).exit_code == 0

    def test_a_correction_is_a_new_row_that_names_the_old_one(self, yard):
        yard.fill({"0412": GOOD, "0413": GOOD})
        yard.record()
        first = yard.rows()
        yard.fill({"0412": {"when": "2026-06-01 11:00"}})
        told = yard.record()
        rows = yard.rows()
        assert rows[:2] == first
        assert [(row["Row"], row["Tag"], row["Concerns row"]) for row in rows[2:]] == [(3, "0412", 1)]
        assert "1 of them corrections" in told.stderr

    def test_what_a_person_added_to_the_record_stays(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        book = load_workbook(yard.record_path)
        book["Record"].insert_cols(3)
        book["Record"]["C1"], book["Record"]["C2"] = "My remark", "seen"
        book.create_sheet("My notes")["A1"] = "buy more"
        book.save(yard.record_path)
        yard.fill({"0413": GOOD})
        assert yard.record().exit_code == 0
        book = load_workbook(yard.record_path)
        assert book["Record"]["C2"].value == "seen"
        assert book["My notes"]["A1"].value == "buy more"
        assert yard.run("check", yard.record_path).exit_code == 0

    def test_the_record_of_another_client_is_refused(self, tmp_path):
        for name in ("one", "two"):
            (tmp_path / name).mkdir()
            yard = Yard(tmp_path / name, Session=f"Species | sheep\nTime zone | UTC\nClient | Farm {name}")
            yard.fill({"0412": GOOD})
            yard.record_path = tmp_path / "record.xlsx"
            told = yard.record()
        assert told.exit_code == 2
        assert "Farm one" in told.stderr
        assert len(yard.rows()) == 1

    def test_a_record_open_elsewhere_is_left_alone(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        before = yard.record_path.read_bytes()
        (yard.folder / ".~lock.record.xlsx#").write_text("someone")
        yard.fill({"0413": GOOD})
        told = yard.record()
        assert told.exit_code == 2
        assert "open in another program" in told.stderr
        assert yard.record_path.read_bytes() == before

    def test_two_at_once_do_not_mix(self, yard):
        from batchdose.record.lock import locked

        yard.fill({"0412": GOOD})
        with locked(yard.record_path):
            told = yard.record()
        assert told.exit_code == 2
        assert "Someone else is recording" in told.stderr
        assert yard.record().exit_code == 0
