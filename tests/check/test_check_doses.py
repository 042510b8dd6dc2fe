"""Rules about the doses that were worked out, the stock, and the rules as a whole."""

from __future__ import annotations

import pytest
from sheets import given, held, told

from batchdose.check.rules import RULES

B = {"Medicine": "wormer B"}


class TestDoseOverLabel:
    def test_passes_within_a_tenth_over_the_label(self, job):
        result = job("Tag | Weight (kg)\n0412 | 41.5")  # 0.83 mL given as 0.9
        assert (told(result), given(result)) == ([], {("0412", "wormer A"): 0.9})

    def test_more_is_a_warning_of_one_line_for_each_mob(self, job):
        animals = """
        Tag  | Weight (kg) | Mob
        0412 | 45          | Hill
        0413 | 11          | Hill
        0414 | 11.5        | Hill
        0415 | 12          | River
        """
        result = job(animals)
        assert told(result) == [("dose-over-label", "warning", f"Weights!B{row}") for row in (3, 5)]
        assert "2 of 3 of mob" in result.findings[0].message
        assert "30 to 36 %" in result.findings[0].message
        assert "this program's, not the label's" in result.findings[0].fix
        assert (held(result), result.exit_status) == ([], 0)

    def test_a_highest_rate_on_the_sheet_takes_its_place(self, job):
        result = job("Tag | Weight (kg)\n0413 | 11", {"Highest rate": "0.4 mg/kg"})
        assert (told(result), given(result)) == ([], {("0413", "wormer A"): 0.3})


class TestNoMarkAllowed:
    def test_passes_with_a_mark_between_lowest_and_highest(self, job):
        assert told(job("Tag | Weight (kg)\n0412 | 41.5", {"Highest rate": "0.22 mg/kg"})) == []

    def test_more_than_twice_the_label_holds_that_animal_and_names_the_marks_that_would_do(self, job):
        result = job("Tag | Weight (kg)\n0412 | 2\n0413 | 45")  # 0.04 mL on a device of 0.1 mL
        assert told(result) == [("no-mark-allowed", "error", "Weights!B2")]
        assert "a graduation of 0.05 mL would do" in result.findings[0].message
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == {("0413", "wormer A"): 0.9}

    def test_exactly_twice_is_given(self, job):
        result = job("Tag | Weight (kg)\n0412 | 2.5")  # 0.05 mL given as 0.1
        assert held(result) == []

    def test_a_highest_rate_is_never_passed(self, job):
        label = {"Highest rate": "0.2 mg/kg", "Lowest rate": "0.2 mg/kg"}
        result = job("Tag | Weight (kg)\n0412 | 41.5\n0413 | 45", label)
        assert told(result) == [("no-mark-allowed", "error", "Weights!B2")]
        assert held(result) == [("0412", "wormer A")]

    def test_it_is_one_line_for_the_mob(self, job):
        rows = [[f"{401 + at:04d}", 2, "Hill"] for at in range(20)]
        result = job([["Tag", "Weight (kg)", "Mob"], *rows, ["0500", 45, "River"]])
        assert [row[0] for row in told(result)] == ["no-mark-allowed"]
        assert len(held(result)) == 20

    def test_the_other_medicine_is_given(self, job):
        fine = B | {"Graduation": "0.01 mL"}
        result = job("Tag | Weight (kg)\n0412 | 2", {}, fine, Treatments="Medicine\nwormer A\nwormer B")
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == {("0412", "wormer B"): 0.04}

    def test_an_animal_in_no_band_is_held(self, job):
        bands = "Medicine | From (kg) | To (kg) | Dose\nwormer A | 0 | 42 | 5 mL"
        result = job("Tag | Weight (kg)\n0412 | 41.5\n0413 | 45", {"Dose rate": None}, Dose_bands=bands)
        assert told(result) == [("no-mark-allowed", "error", "Weights!B3")]
        assert held(result) == [("0413", "wormer A")]


class TestStockShort:
    ANIMALS = "Tag | Weight (kg)\n0412 | 50\n0413 | 50"  # 2 mL

    @pytest.mark.parametrize(
        "stock", [None, "Medicine | Pack size\nwormer A | 2 mL", "Medicine | Pack size\nwormer A | 100 mL"]
    )
    def test_passes_with_enough_or_with_no_stock_listed(self, job, stock):
        assert told(job(self.ANIMALS, **({"Stock": stock} if stock else {}))) == []

    def test_what_is_missing_is_a_warning(self, job):
        result = job(self.ANIMALS, Stock="Medicine | Pack size\nwormer A | 1.5 mL")
        assert told(result) == [("stock-short", "warning", "Stock!A2")]
        assert result.findings[0].message.startswith("0.5 mL of wormer A")
        assert (held(result), result.exit_status) == ([], 0)

    def test_packs_past_their_expiry_or_in_use_life_do_not_count(self, job):
        stock = """
        Medicine | Pack size | Expiry  | Opened on  | Use within | Left
        wormer A | 100 mL    | 2026-05 |            |            |
        wormer A | 100 mL    | 2027-05 | 2026-05-01 | 28 days    | 60 mL
        wormer A | 1.5 mL    | 2027-05 |            |            |
        """
        assert {row[0] for row in told(job(self.ANIMALS, Stock=stock))} == {
            "batch-expired", "opened-too-long", "stock-short",
        }  # fmt: skip

    def test_it_stands_at_the_line_of_its_own_medicine(self, job):
        stock = "Medicine | Pack size\nwormer B | 100 mL\nwormer A | 1.5 mL"
        result = job(self.ANIMALS, {}, B, Treatments="Medicine\nwormer A\nwormer B", Stock=stock)
        assert told(result) == [("stock-short", "warning", "Stock!A3")]


def test_every_rule_says_what_passes_what_fails_and_why_it_matters():
    for rule in RULES:
        text = " ".join((rule.__doc__ or "").split())
        assert "Passes" in text, rule.__name__
        assert "Fails" in text or "Noted" in text, rule.__name__


def test_every_finding_says_where_what_and_what_to_do(job):
    animals = """
    Tag   | Weight (kg) | Mob  | Status   | Slaughter on | Sold on
    0412  | 41.5        | Hill | in milk  |              |
    0412  | 47          | Hill |          |              |
    0413  |             | Hill |          |              |
    0414  | 4o          | Hill |          |              |
    0415  | 415         | Hill |          |              |
    0416  | 2           | Hill |          |              |
    0417  | 45          | Hill | pregnant | 2026-06-05   | 2026-06-05
    Total | 595         |      |          |              |
    """
    labels = {"Not for": "milk, pregnant", "Graduation": None, "Meat withdrawal": None}, B | {"Strength": "strong"}
    stock = "Medicine | Pack size | Expiry\nwormer A | 0.1 mL | 2027-01\nwormer A | 0.1 mL | 2020-01"
    result = job(animals, *labels, Treatments="Medicine\nwormer A\nwormer B", Stock=stock)
    assert len({f.rule for f in result.findings}) > 10
    for finding in result.findings:
        assert finding.where.workbook in ("weighing.xlsx", "medicines.xlsx")
        assert finding.where.sheet
        assert finding.where.cell
        assert finding.message.endswith((".", "!", "?"))
        assert finding.fix.endswith((".", "?"))
        assert finding.rule == finding.rule.lower()
    levels = {f.level.word for f in result.findings}
    assert levels == {"error", "warning", "note"}


def test_findings_stand_in_sheet_order(job):
    animals = "Tag | Weight (kg)\n0412 | 4o\n0413 | 45\n0414 |\n0415 | 415"
    result = job(animals, {"Graduation": None})
    assert [row[2] for row in told(result)] == ["Weights!B2", "Weights!B4", "Weights!B5", "Medicines!F2"]


def test_one_bad_row_never_costs_the_others_their_doses(job):
    sound = [[f"{401 + at:04d}", 45, "Hill"] for at in range(5)]
    bad = [
        ["0402", 50, "Hill"], ["0501", None, "Hill"], ["0502", "4o", "Hill"], ["0503", 415, "Hill"],
        ["0504", 2, "Hill"], [None, 45, "Hill"], ["0505", "1,250", "Hill"], ["0506", True, "Hill"],
    ]  # fmt: skip
    result = job([["Tag", "Weight (kg)", "Mob"], *sound, *bad])
    kept = {tag for tag, *_ in sound} - {"0402"}
    assert given(result) == {(tag, "wormer A"): 0.9 for tag in kept}
    assert len(result.treatments) == len(sound) + len(bad)


def test_a_job_in_which_every_animal_is_held_is_still_written_down(job):
    result = job("Tag | Weight (kg)\n0412 |\n0413 | 4o")
    assert (len(held(result)), given(result), result.exit_status) == (2, {}, 1)
