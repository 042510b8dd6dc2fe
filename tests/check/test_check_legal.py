"""Rules of law that no date follows from: organic-courses, organic-antibiotic, horse-essential.

Figures: Regulation (EU) 2018/848 Annex II Part II 1.5.2.4 and Regulation (EU) 2019/6 Art. 115(5), both from memory;
7 CFR 205.238(c)(1), read.
"""

from __future__ import annotations

import pytest
from sheets import given, told

from batchdose.check.legal import rules_told

ORGANIC = "Species | sheep\nTime zone | UTC\nRules | EU\nOrganic | yes"
CURE = {"Medicine": "cure C", "Type": "antibiotic", "Meat withdrawal": "14 days"}


def found(result, rule):
    return [finding for finding in result.findings if finding.rule == rule]


def animals(earlier, born="", slaughter=""):
    return (
        f"Tag | Weight (kg) | Courses in 12 months | Born | Slaughter on\n0412 | 50 | {earlier} | {born} | {slaughter}"
    )


@pytest.mark.parametrize(("earlier", "over"), [(2, False), (3, True)])
def test_the_fourth_course_in_a_year_is_warned_of(job, earlier, over):
    result = job(animals(earlier), CURE, Session=ORGANIC, Treatments="Medicine\ncure C")
    warned = found(result, "organic-courses")
    assert [(f.level.word, f.where.place) for f in warned] == ([("warning", "Weights!C2")] if over else [])
    assert ("0412", "cure C") in given(result)


@pytest.mark.parametrize(("slaughter", "over"), [("2026-12-01", True), ("2027-03-01", False)])
def test_the_second_course_of_an_animal_slaughtered_within_its_first_year_is_warned_of(job, slaughter, over):
    result = job(animals(1, "2026-02-01", slaughter), CURE, Session=ORGANIC, Treatments="Medicine\ncure C")
    assert ["more than 1 courses" in f.message for f in found(result, "organic-courses")] == ([True] if over else [])


def test_what_is_not_on_the_sheet_is_said_not_to_be_checked(job):
    result = job("Tag | Weight (kg)\n0412 | 50", CURE, Session=ORGANIC, Treatments="Medicine\ncure C")
    [note] = found(result, "organic-courses")
    assert note.level.word == "note"
    assert "not checked" in note.message
    assert "from memory" in note.message


def test_wormers_and_vaccines_are_not_counted_nor_are_animals_that_are_not_organic(job):
    wormer = {"Type": "wormer"}
    assert found(job(animals(3), wormer, Session=ORGANIC), "organic-courses") == []
    session = ORGANIC.replace("yes", "no")
    assert found(job(animals(3), CURE, Session=session, Treatments="Medicine\ncure C"), "organic-courses") == []


def test_a_number_of_courses_that_cannot_be_read_is_told(job):
    result = job(animals("some"), CURE, Session=ORGANIC, Treatments="Medicine\ncure C")
    assert ("weighing-fact-unreadable", "warning", "Weights!C2") in told(result)
    assert [f.level.word for f in found(result, "organic-courses")] == ["note"]


@pytest.mark.parametrize(("rules", "warned"), [("US", 1), ("EU", 0)])
def test_an_antibiotic_ends_organic_sale_in_the_us(job, rules, warned):
    session = ORGANIC.replace("EU", rules)
    result = job("Tag | Weight (kg)\n0412 | 50", CURE, Session=session, Treatments="Medicine\ncure C")
    assert len(found(result, "organic-antibiotic")) == warned


@pytest.mark.parametrize(
    ("meat", "off_label", "rules", "warned"),
    [("28 days", "yes", "EU", 1), ("184 days", "yes", "EU", 0), ("not permitted", "yes", "EU", 0),
     ("28 days", "", "EU", 0), ("28 days", "yes", "GB", 0)],
)  # fmt: skip
def test_a_horse_off_the_label_may_have_to_wait_six_months(job, meat, off_label, rules, warned):
    label = {"Species": "horse", "Meat withdrawal": meat, "Off label": off_label, "Prescriber": "a vet",
             "Longest label meat": "10 days", "Milk withdrawal": "not permitted"}  # fmt: skip
    session = f"Species | horse\nTime zone | UTC\nRules | {rules}"
    result = job("Tag | Weight (kg)\n0412 | 450", label, Session=session)
    assert [f.level.word for f in found(result, "horse-essential")] == ["warning"] * warned


def test_every_rule_has_its_article_and_says_whether_it_was_read():
    assert all(row["article"] and row["state"] and row["value"] for row in rules_told())
