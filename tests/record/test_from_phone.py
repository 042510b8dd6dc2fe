"""From the phone into the record: what is ticked on the job sheet, saved, and taken by `record --ticks`."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from sheets import WORMER
from yard import WHEN, Yard

pytestmark = pytest.mark.browser

ANIMALS = """
Tag  | EID             | Weight (kg) | Mob
0412 | 999000000000412 | 41.5        | Hill
0413 |                 | 38          | Hill
0414 |                 |             | Hill
0415 | 999000000000415 | 40          | Hill
"""
COURSE = WORMER | {"Medicine": "antibiotic Q", "Doses": 2, "Every": "24 h"}


class Phone:
    """The job sheet of a job in the yard, opened on a phone at half past nine."""

    def __init__(self, yard, opened):
        self.yard = yard
        self.page = opened((yard.folder / "job" / "weighing-job-sheet.html").read_text(encoding="utf-8"))
        self.page.clock.set_fixed_time("2026-06-01T09:30:00Z")

    def find(self, tag):
        self.page.get_by_label("Find a tag").fill(tag)
        return self.page.locator(".ticks")

    def record(self):
        """Save the ticks and take them into the record."""
        self.page.locator("summary").click()
        self.page.get_by_label("Given by (initials)").fill("OP")
        with self.page.expect_download() as waiting:
            self.page.get_by_role("button", name="Save ticks as .csv").click()
        path = self.yard.folder / "ticks.csv"
        path.write_bytes(Path(waiting.value.path()).read_bytes())
        return self.yard.record("--ticks", path)


@pytest.fixture
def phone_of(opened, tmp_path):
    def phone(*job, **sheets):
        return Phone(Yard(tmp_path, *job, **sheets), opened)

    return phone


@pytest.fixture
def two(phone_of):
    """Two medicines, the second in a course of two doses."""
    return phone_of(ANIMALS, WORMER, COURSE, Treatments="Medicine\nwormer A\nantibiotic Q")


def entered(yard):
    return [
        (row["Tag"], row["Medicine"], row["Planned for"][8:10], row["Given"], row["Amount"], row["Why not"],
         row["Note"], row["Needle broken"], row["Clear not stated because"])
        for row in yard.rows()
    ]  # fmt: skip


def press(doses, at, *names):
    """Open what is asked where a dose is not given as planned, and answer it."""
    doses.nth(at).get_by_role("button", name="Not given, part, note").click()
    for name in names:
        if name == "A needle broke":
            doses.nth(at).get_by_label(name).check()
        else:
            doses.nth(at).get_by_role("button", name=name, exact=True).click()


def test_each_dose_comes_back_as_it_was_said(two):
    two.find("999000000000412").nth(0).locator(".give").click()
    press(two.find("0413"), 0, "Got away")
    press(two.find("0413"), 1, "½", "Spat out or spilt")
    press(two.find("0415"), 0, "A needle broke", "All", "Sick or hurt")
    told = two.record()
    assert entered(two.yard) == [
        ("0412", "wormer A", "01", "yes", 0.9, None, None, None, None),
        ("0413", "wormer A", "01", "no", None, "Got away", None, None, None),
        ("0413", "antibiotic Q", "01", "part", 0.4, "Spat out or spilt", None, None, None),
        ("0415", "wormer A", "01", "yes", 0.8, None, "Sick or hurt", "yes", None),
    ]  # fmt: skip
    rules = set(re.findall(r"\[([a-z-]+)\]", told.stderr))
    assert rules == {"needle-broken", "course-half-done", "dose-not-accounted-for"}
    assert told.exit_code == 1
    assert {row["Given at"] for row in two.yard.rows() if row["Given"] != "no"} == {"2026-06-01T09:30:00+00:00"}
    assert {row["By"] for row in two.yard.rows()} == {"OP"}
    two.yard.record("--ticks", two.yard.folder / "ticks.csv")
    assert len(two.yard.rows()) == 4, "the same file twice changes nothing"


def test_the_second_dose_of_a_course_is_not_taken_for_the_first(two):
    press(two.find("0415"), 2, "Vet or owner said no")
    two.record()
    assert [row[:4] for row in entered(two.yard)] == [("0415", "antibiotic Q", "02", "no")]


def test_more_than_planned_is_recorded_as_more(two):
    doses = two.find("0412")
    doses.nth(0).get_by_role("button", name="Not given, part, note").click()
    two.page.get_by_label("Or the amount, in mL").fill("1.2")
    two.page.get_by_role("button", name="Keep this").click()
    assert "amount-not-planned" in two.record().stderr
    assert [row[3:5] + row[8:] for row in entered(two.yard)] == [("yes", 1.2, "more given than planned")]


def test_a_mob_treated_as_a_whole_and_a_tag_like_a_formula_find_their_plan(phone_of):
    mobs = "Mob | Head | Heaviest (kg)\n-x | 40 | 50"
    phone = phone_of([["Tag", "Mob", "Weight (kg)"], ["-7", "-x", 41.5]], WORMER | {"Dose by": "mob"}, Mobs=mobs)
    phone.page.locator("#left").evaluate("button => button.click()")
    for at in range(phone.page.locator(".give").count()):
        phone.page.locator(".give").nth(at).click()
    told = phone.record()
    assert "treatment-not-on-plan" not in told.stderr
    assert len(phone.yard.rows()) == 2
    assert {row["Clear not stated because"] for row in phone.yard.rows()} == {None}


def test_doses_from_two_bottles_name_both(phone_of):
    """Two packs, neither of which is enough for the mob."""
    stock = """
    Medicine | Pack size | Packs | Batch number | Expiry
    wormer A | 1 mL      | 1     | B-1          | 2027-01-31
    wormer A | 5 mL      | 1     | B-2          | 2027-02-28
    """
    phone = phone_of(ANIMALS, WORMER, Stock=stock)
    for tag in ("0412", "0413", "0415"):
        phone.find(tag).locator(".give").click()
    assert "bottle-not-on-plan" not in phone.record().stderr
    assert {bottle for row in phone.yard.rows() for bottle in row["Batch"].split("; ")} == {"B-1", "B-2"}


def test_only_the_exceptions_are_ticked_and_the_mob_is_said_to_be_done(phone_of):
    """What the phone says of an animal stands above "all given" of its mob."""
    phone = phone_of(ANIMALS, WORMER)
    press(phone.find("0413"), 0, "Got away")
    phone.yard.fill({}, {2: {"all_given": "yes", "when": WHEN, "by": "Operator 1"}})
    assert phone.record().exit_code == 0
    assert [(row["Tag"], row["Given"], row["Why not"]) for row in phone.yard.rows()] == [
        ("0412", "yes", None), ("0413", "no", "Got away"), ("0415", "yes", None),
    ]  # fmt: skip


def test_two_phones_at_one_job_are_recorded_one_after_the_other(phone_of):
    phone = phone_of(ANIMALS, WORMER)
    for tag in ("0412", "0413"):
        phone.find(tag).locator(".give").click()
    phone.record()
    phone.yard.record_path.unlink()
    ticks = phone.yard.folder / "ticks.csv"
    head, *lines = ticks.read_text(encoding="utf-8-sig").splitlines()
    for line in lines:
        ticks.write_text(f"{head}\n{line}\n", encoding="utf-8")
        phone.yard.record("--ticks", ticks)
    assert [(row["Tag"], row["Given"]) for row in phone.yard.rows()] == [("0412", "yes"), ("0413", "yes")]
