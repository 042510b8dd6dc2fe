"""Who is clear: from what was really given, per animal and product; and nobody by any doubt."""

from __future__ import annotations

import pytest
from sheets import WORMER
from yard import ANIMALS, WHEN, Yard

GOOD = {"given": "yes", "when": WHEN}


@pytest.fixture
def yard(tmp_path):
    return Yard(tmp_path)


def answer(yard, tag, on, product="meat"):
    """What the command says of one animal, and its exit status."""
    told = yard.clear("--animals", yard.list_of(tag), "--on", on, "--for", product)
    line = next((line for line in told.stdout.splitlines() if f"{product}: {tag}: " in line), "clear")
    return line.removeprefix(f"{product}: {tag}: "), told.exit_code


class TestFromWhatWasGiven:
    @pytest.mark.parametrize(
        ("when", "before", "clear"),
        [
            ("2026-06-01 09:30", "2026-06-15T09:29", "2026-06-15T09:30"),
            ("2026-06-03 09:30", "2026-06-17T09:29", "2026-06-17T09:30"),  # two days later than planned
            ("2026-06-01", "2026-06-15T23:59", "2026-06-16"),  # only the day is known
            ("2025-06-01 09:30", "2026-06-15T23:59", "2026-06-16"),  # a slip: counted from the plan
        ],
    )
    def test_the_period_runs_from_the_time_of_the_dose(self, yard, when, before, clear):
        yard.fill({"0412": GOOD | {"when": when}})
        yard.record()
        text, status = answer(yard, "0412", before)
        assert text.startswith("not clear until ")
        assert "wormer A" in text
        assert "row 1" in text
        assert status == 1
        assert answer(yard, "0412", clear) == ("clear", 0)

    def test_products_have_their_own(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        assert answer(yard, "0412", "2026-06-05", "milk") == ("clear", 0)
        assert answer(yard, "0412", "2026-06-05", "meat")[1] == 1

    def test_a_correction_moves_it(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        yard.fill({"0412": {"when": "2026-06-05 08:00"}})
        yard.record()
        assert answer(yard, "0412", "2026-06-16")[1] == 1
        assert answer(yard, "0412", "2026-06-19T08:00") == ("clear", 0)

    def test_what_was_not_given_holds_nothing(self, yard):
        yard.fill({"0412": {"given": "no"}})
        yard.record()
        assert answer(yard, "0412", "2026-06-01") == ("clear", 0)

    def test_a_course_cut_short_or_continued_moves_it(self, tmp_path):
        yard = Yard(tmp_path, ANIMALS, WORMER | {"Doses": 3, "Every": "24 h"})
        yard.fill({("0412", "wormer A", 1): GOOD})
        yard.record()
        assert answer(yard, "0412", "2026-06-15T09:30") == ("clear", 0)
        yard.fill({("0412", "wormer A", 2): {"given": "yes", "when": "2026-06-02 09:30"}})
        yard.record()
        assert answer(yard, "0412", "2026-06-15T09:30")[1] == 1
        assert answer(yard, "0412", "2026-06-16T09:30") == ("clear", 0)

    def test_it_is_what_the_plan_expected_where_all_was_done_as_planned(self, tmp_path):
        yard = Yard(tmp_path, ANIMALS, WORMER)
        yard.fill({"0412": {"given": "yes", "when": "2026-06-01"}})
        yard.record()
        import json

        results = json.loads((yard.folder / "job" / "weighing-results.json").read_text(encoding="utf-8"))
        expected = next(t["clear"]["meat"] for t in results["treatments"] if t["tag"] == "0412")
        assert expected == "2026-06-16T00:00:00+00:00"
        assert answer(yard, "0412", "2026-06-15T23:59:59")[1] == 1
        assert answer(yard, "0412", expected) == ("clear", 0)


LATE = "2030-01-01"


class TestNotStated:
    @pytest.mark.parametrize(
        ("tag", "entry", "why"),
        [
            ("0412", GOOD | {"amount": 1.2}, "more given than planned"),
            ("0414", GOOD | {"amount": 0.9}, "given though held"),
            ("0412", {"given": "yes"}, "the time is not known"),
            ("0412", GOOD | {"given": "some"}, "the entry is not clear"),
            ("0412", GOOD | {"needle": "yes"}, "a needle broke and was not released"),
            ("0412", {"given": "no", "needle": "yes"}, "a needle broke and was not released"),
        ],
    )
    def test_what_is_not_as_the_label_says(self, yard, tag, entry, why):
        yard.fill({tag: entry})
        yard.record()
        text, status = answer(yard, tag, LATE)
        assert why in text
        assert status == 1

    def test_less_than_planned_counts_in_full(self, yard):
        yard.fill({"0412": GOOD | {"given": "part", "amount": 0.4}})
        yard.record()
        assert answer(yard, "0412", "2026-06-15T09:29")[1] == 1
        assert answer(yard, "0412", "2026-06-15T09:30") == ("clear", 0)

    @pytest.mark.parametrize(("second", "clear"), [("2026-06-02 12:00", True), ("2026-06-03 09:30", False)])
    def test_another_interval_is_off_label(self, tmp_path, second, clear):
        yard = Yard(tmp_path, ANIMALS, WORMER | {"Doses": 2, "Every": "24 h"})
        yard.fill({("0412", "wormer A", 1): GOOD, ("0412", "wormer A", 2): {"given": "yes", "when": second}})
        yard.record()
        assert (answer(yard, "0412", LATE) == ("clear", 0)) is clear

    def test_a_blank_period_is_never_clear(self, tmp_path):
        yard = Yard(tmp_path, ANIMALS, WORMER | {"Meat withdrawal": None})
        yard.fill({"0412": GOOD})
        yard.record()
        assert "no withdrawal period is stated" in answer(yard, "0412", LATE)[0]

    def test_the_same_active_again_before_it_is_clear(self, tmp_path):
        two = (WORMER | {"Active substance": "activine"},
               WORMER | {"Medicine": "wormer B", "Active substance": "activine"})  # fmt: skip
        yard = Yard(tmp_path, ANIMALS, *two, Treatments="Medicine\nwormer A\nwormer B")
        yard.fill({("0412", "wormer A", 1): GOOD})
        yard.record()
        assert answer(yard, "0412", LATE) == ("clear", 0)
        yard.fill({("0412", "wormer B", 1): {"given": "yes", "when": "2026-06-08 10:00"}})
        yard.record()
        assert "the same active again" in answer(yard, "0412", LATE)[0]

    def test_the_prescribers_period_is_counted_and_the_label_stays_a_floor(self, yard):
        yard.fill({"0412": GOOD | {"amount": 1.2}})
        yard.record()
        ask = ["release", yard.record_path, "--row", "1", "--by", "Prescriber 1", "--reason", "more given"]
        assert yard.run(*ask, "--period", "meat=20 days").exit_code == 0
        assert answer(yard, "0412", "2026-06-21T09:29")[1] == 1
        assert answer(yard, "0412", "2026-06-21T09:30") == ("clear", 0)
        assert answer(yard, "0412", LATE, "milk")[1] == 1
        assert yard.run(*ask, "--period", "meat=2 days").exit_code == 0
        assert answer(yard, "0412", "2026-06-15T09:29")[1] == 1
        assert yard.run("check", yard.record_path).exit_code == 0

    def test_a_broken_needle_is_released_by_a_person_with_a_reason(self, yard):
        yard.fill({"0412": GOOD | {"needle": "yes"}})
        yard.record()
        ask = ["release", yard.record_path, "--row", "1", "--by", "Vet 1"]
        assert yard.run(*ask).exit_code == 2
        assert yard.run(*ask, "--reason", " ").exit_code == 2
        yard.fill({"0412": {"needle": "no"}})
        yard.record()
        assert answer(yard, "0412", LATE)[1] == 1, "a changed cell is no release"
        assert yard.run(*ask, "--reason", "found and taken out").exit_code == 0
        assert answer(yard, "0412", LATE) == ("clear", 0)


class TestConsignment:
    def test_may_go_may_not_and_not_known(self, yard):
        yard.fill({"0412": GOOD, "0413": GOOD | {"when": "2026-06-10 08:00"}})
        yard.record()
        told = yard.clear("--animals", yard.list_of("0412", "0413", "9999"), "--on", "2026-06-20", "--for", "meat")
        assert told.exit_code == 1
        assert "meat: 9999: not known: it is not in the record" in told.stdout
        assert "May go: 1 (0412)" in told.stdout
        assert "May not go: 2 (0413, 9999)" in told.stdout

    def test_all_may_go(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        told = yard.clear("--animals", yard.list_of("0412"), "--on", "2026-07-20")
        assert told.exit_code == 0
        assert "May not go: none" in told.stdout

    def test_a_tag_on_two_animals_is_not_known(self, tmp_path):
        yard = Yard(tmp_path, 'Tag | EID | Weight (kg)\n0412 | "982000000000001" | 41\n0413 | "982000000000002" | 41')
        yard.fill({"0412": GOOD})
        yard.add(tag="0412", eid="982000000000003", medicine="wormer A", given="yes", amount=1, when=WHEN)
        yard.record()
        assert answer(yard, "0412", LATE) == ("not known: this tag is on two animals: give the EID", 1)
        assert answer(yard, "982000000000001", LATE) == ("clear", 0)

    def test_a_mob_treated_as_a_whole_counts_for_its_animals(self, yard):
        yard.fill({"0412": GOOD})
        bare = yard.folder / "dip.csv"
        bare.write_text("Tag,Mob,Medicine,Given,When\n,Hill,dip D,yes,2026-06-20\n", encoding="utf-8")
        yard.record()
        yard.run("record", bare, "--to", yard.record_path, "--on", "2026-07-01")
        assert "dip D" in answer(yard, "0412", LATE)[0]

    def test_without_a_list_everyone_is_told_and_nothing_is_asked(self, yard):
        yard.fill({"0412": GOOD, "0413": GOOD})
        yard.record()
        told = yard.clear("--on", "2026-06-02", "--for", "meat")
        assert told.exit_code == 0
        assert told.stdout.count("not clear until") == 2

    def test_a_product_nobody_knows_is_refused(self, yard):
        yard.fill({"0412": GOOD})
        yard.record()
        assert yard.clear("--for", "meet").exit_code == 2

    def test_an_altered_record_makes_nobody_clear(self, yard):
        from openpyxl import load_workbook

        yard.fill({"0412": GOOD, "0413": GOOD})
        yard.record()
        book = load_workbook(yard.record_path)
        book["Record"]["O2"] = "2026-05-01T09:30:00+00:00"
        book.save(yard.record_path)
        text, status = answer(yard, "0413", LATE)
        assert text.startswith("not known")
        assert status == 1
