"""The untidy example: every finding is the right one, and every animal that can be dosed gets its dose.

The doses are worked out here by hand from the sheet as it was typed: 8 mg/kg at 49.6 mg/mL (21 CFR 520.1242a,
the same figures as on the medicine's row), a pound is 0.45359237 kg exactly (NIST SP 811, appendix B.8).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from sheets import told

from batchdose import plan_job

FOLDER = Path(__file__).resolve().parent.parent / "example_sheets" / "untidy_lambs"
POUND = Fraction("0.45359237")

#: Weights as a person reads them off the sheet [lb, kg], by tag, of all that can be dosed.
POUNDS = {
    "0301": "98.5", "0302": "101.5", "0303": "97.5", "0304": "92.5", "0305": "104", "0306": "95", "0312": "99",
    "0315": "106", "0316": "93.5", "0407": "96",
}  # fmt: skip
KILOGRAMS = {
    "0307": "46", "0401": "45.5", "0402": "43.5", "0403": "41", "0404": "47", "0406": "44", "0408": "19.5",
    "0409": "46", "0410": "42.5",
}  # fmt: skip

FINDINGS = [
    ("dose-over-label", "warning", "E8"), ("rows-hidden", "note", "A9"), ("eid-unlikely", "warning", "B9"),
    ("weight-missing", "error", "E12"), ("mob-near-miss", "warning", "C13"), ("weight-unreadable", "error", "E13"),
    ("weight-unreadable", "error", "E14"), ("weight-unreadable", "error", "E15"),
    ("weight-out-of-line", "error", "E18"), ("weight-changed", "warning", "E18"), ("tag-repeated", "error", "A19"),
    ("tag-repeated", "error", "A20"), ("totals-row", "note", "A24"), ("dose-over-label", "warning", "E28"),
    ("weight-implausible", "error", "E31"), ("weight-changed", "error", "E31"),
    ("weight-out-of-line", "warning", "I34"), ("weight-changed", "warning", "I34"),
    ("eid-unlikely", "warning", "B35"), ("totals-row", "note", "A38"),
    ("second-table", "note", "A40"),
]  # fmt: skip


@pytest.fixture(scope="module")
def result():
    return plan_job(FOLDER / "weighing.xlsx", FOLDER / "medicines.xlsx")


def test_every_finding_is_right_and_stands_at_its_cell(result):
    wanted = [(rule, level, f"race book!{cell}") for rule, level, cell in FINDINGS]
    assert told(result) == wanted


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("E13", "a nought is typed as 0"), ("E14", "could be 1.015 or 1015"), ("E15", "never calculated"),
        ("E18", "kg typed as lb: 47.5 kg would fit"), ("A20", "planned once"), ("E31", "44.8 kg would fit"),
        ("C13", 'write "North pen"'), ("I34", "Tag 0408 is given anyway"),
    ],
)  # fmt: skip
def test_a_finding_says_what_a_colleague_would_say(result, cell, words):
    assert any(words in str(finding) for finding in result.findings if finding.where.cell == cell)


def test_every_other_animal_gets_at_least_its_dose_and_shares_the_setting_of_its_draft(result):
    kilograms = {tag: Fraction(lb) * POUND for tag, lb in POUNDS.items()}
    kilograms |= {tag: Fraction(kg) for tag, kg in KILOGRAMS.items()}
    given = result.treatments[~result.treatments["held"]]
    assert sorted(given["tag"]) == sorted(kilograms)
    for row in given.to_dict("records"):
        target = kilograms[row["tag"]] * 8 / Fraction("49.6")
        assert row["target"] == pytest.approx(float(target), rel=1e-12)
        assert target <= Fraction(str(row["dose"])) <= 2 * target
    for (mob, draft), group in given.groupby(["mob", "draft"]):
        heaviest = max(kilograms[tag] for tag in group["tag"]) * 8 / Fraction("49.6")
        assert set(group["dose"]) == {float(-(-heaviest // Fraction(1, 2)) / 2)}, (mob, draft)


def test_the_untidy_mobs_are_as_a_person_reads_them(result):
    animals = result.session.animals.set_index("tag")
    assert set(animals.loc[[f"030{n}" for n in range(1, 9)], "mob"]) == {"North pen"}
    assert set(animals.loc[[f"04{n:02d}" for n in range(1, 11)], "mob"]) == {"Creek pen"}
    assert str(animals.at["0301", "weighed_on"].date()) == "2026-03-12"
    assert animals.at["0301", "eid"] == "840003000000301"
