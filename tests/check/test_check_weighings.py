"""Rules on last weights, old weights, mob names, who gets nothing, and slips that a colleague would name."""

from __future__ import annotations

import pytest
from sheets import given, held, told

LAST = "Tag | Weight (kg) | Last weight (kg) | Last weighed on | Weighed on"


# weight-changed: a quarter within 30 days is asked about, half or double is held. The limits are the program's.


@pytest.mark.parametrize(
    ("weights", "level"),
    [
        ("45 | 41 | 2026-05-01 | 2026-05-31", None),
        ("51.25 | 41 | 2026-05-01 | 2026-05-31", None),
        ("51.3 | 41 | 2026-05-01 | 2026-05-31", "warning"),
        ("51.3 | 41 | 2026-04-01 | 2026-05-31", None),
        ("51.3 | 41 | |", "warning"),
        ("82 | 41 | 2026-05-01 | 2026-05-31", "warning"),
        ("82.5 | 41 | 2026-05-01 | 2026-05-31", "error"),
        ("82.5 | 41 | 2026-03-01 | 2026-05-31", None),
        ("82.5 | 41 | |", "error"),
        ("41 | 82.5 | 2025-05-01 | 2026-05-31", "error"),
        ("41 | 55 | 2026-05-10 |", "warning"),
    ],
)
def test_a_weight_is_in_line_with_the_last_weighing(job, weights, level):
    result = job(f"{LAST}\n0412 | {weights}\n0413 | 45 | 44 | 2026-05-01 | 2026-05-31")
    assert told(result) == ([("weight-changed", level, "Weights!B2")] if level else [])
    assert held(result) == ([("0412", "wormer A")] if level == "error" else [])


def test_a_person_may_decide_that_a_changed_weight_is_right(job):
    result = job("Tag | Weight (kg) | Last weight | Give anyway\n0412 | 82.5 | 41 | weighed twice, right")
    assert told(result) == [("weight-changed", "warning", "Weights!D2")]
    assert held(result) == []


def test_a_last_weight_that_cannot_be_read_holds_nobody(job):
    result = job([["Tag", "Weight (kg)", "Last weight", "Weighed on"], ["0412", 41.5, "4o", "03/04/2026"]])
    assert told(result) == [
        ("weighing-fact-unreadable", "warning", "Weights!C2"),
        ("weighing-fact-unreadable", "warning", "Weights!D2"),
    ]
    assert held(result) == []


# weight-old: 30 days unless the session says otherwise; the limit is the program's.


@pytest.mark.parametrize(("weighed", "told_of"), [("2026-05-02", False), ("2026-05-01", True), ("2026-06-02", True)])
def test_an_old_weight_and_one_of_tomorrow_are_told(job, weighed, told_of):
    result = job(f"Tag | Weight (kg) | Weighed on\n0412 | 41.5 | {weighed}\n0413 | 45 | {weighed}")
    assert told(result) == ([("weight-old", "warning", "Weights!C2")] if told_of else [])
    assert held(result) == []


def test_the_session_says_how_old_a_weight_may_be(job):
    rows = "Tag | Weight (kg) | Weighed on\n0412 | 41.5 | 2026-05-20"
    for entry, told_of in (("7", True), ("12 days", False), ("2 weeks", False), ("soon", True)):
        session = [["Species", "sheep"], ["Time zone", "UTC"], ["Oldest weight", entry]]
        rules = {rule for rule, *_ in told(job(rows, Session=session))}
        assert rules == ({"weight-old"} if entry == "7" else {"session-entry-unreadable"} if told_of else set())


def test_the_age_of_a_weight_that_no_dose_needs_does_not_matter(job):
    vaccine = {"Medicine": "vaccine V", "Strength": None, "Dose rate": "2 mL/head", "Graduation": "1 mL"}
    assert told(job("Tag | Weight (kg) | Weighed on\n0412 | 41.5 | 2020-01-01", vaccine)) == []


# mob-near-miss and nothing-given.


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("Hill paddock", "Hil paddock", True), ("Hill", "Hills", True), ("Hoggets", "Hogets", True),
        ("Hill top", "Hilltop", True), ("Hill-top", "Hill top", True), ("Pen 1", "Pen 2", False),
        ("Pen A", "Pen B", False), ("Hill", "River", False), ("Ewes 2024", "Ewes 2025", False),
        ("North field", "South field", False), ("Lambs", "Ewes", False),
    ],
)  # fmt: skip
def test_names_of_mobs_that_differ_by_a_slip_are_told(job, one, other, alike):
    rows = [["Tag", "Weight (kg)", "Mob"], ["0412", 41.5, one], ["0413", 45, one], ["0414", 45, other]]
    result = job(rows)
    assert told(result) == ([("mob-near-miss", "warning", "Weights!C4")] if alike else [])
    assert len(given(result)) == 3


def test_who_gets_nothing_is_noted_mob_by_mob(job):
    rows = "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n0413 | 45 | River\n0414 | 45 | River"
    result = job(rows, Treatments="Medicine | Mob\nwormer A | Hill")
    assert told(result) == [("nothing-given", "note", "Weights!A3")]
    assert "2 animals of mob" in result.findings[0].message
    assert result.exit_status == 0


# Offers: the tag or mob that was meant.


@pytest.mark.parametrize(
    ("line", "rule", "offer"),
    [
        ("Medicine | Tag\nwormer A | 412", "animal-not-weighed", "0412"),
        ("Medicine | Tag\nwormer A | 999", "animal-not-weighed", None),
        ("Medicine | Mob\nwormer A | Hil", "mob-unknown", "Hill"),
        ("Medicine | Mob\nwormer A | Orchard", "mob-unknown", None),
    ],
)
def test_a_line_for_nobody_offers_what_was_meant(job, line, rule, offer):
    rows = "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n0413 | 45 | River"
    result = job(rows, Treatments=f"{line}\nwormer A | 0413" if "Tag" in line else f"{line}\nwormer A | River")
    [finding] = [f for f in result.findings if f.rule == rule]
    assert (f'Did you mean "{offer}"?' in finding.fix) == (offer is not None)
    assert set(given(result)) == {("0413", "wormer A")}


@pytest.mark.parametrize("tag", ["UK 0123456 00001", "uk0123456 00001", " UK012345600001"])
def test_a_tag_on_treatments_is_found_whatever_its_case_and_spaces(job, tag):
    result = job(
        [["Tag", "Weight (kg)"], ["UK0123456 00001", 41.5], ["0413", 45]],
        Treatments=[["Medicine", "Tag"], ["wormer A", tag], ["wormer A", "0413"]],
    )
    assert (len(given(result)), told(result)) == (2, [])


@pytest.mark.parametrize(
    ("weight", "hint"),
    [(415, "slipped point: 41.5 kg"), (800, None), (1, None)],
)
def test_the_one_slip_that_would_bring_a_weight_near_its_mob_is_named(job, weight, hint):
    result = job(f"Tag | Weight (kg)\n0411 | 40\n0412 | {weight}\n0413 | 43\n0414 | 45\n0415 | 42")
    fixes = " ".join(finding.fix for finding in result.findings if finding.rule == "weight-implausible")
    assert (hint in fixes) if hint else ("would fit" not in fixes)


def test_lb_typed_as_kg_are_named(job):
    rows = "Tag | Weight (kg)\n0411 | 700\n0412 | 1580\n0413 | 710\n0414 | 690"
    cattle = {"Species": "cattle"}
    result = job(rows, cattle, Session="Species | cattle\nTime zone | UTC")
    [finding] = [finding for finding in result.findings if finding.rule == "weight-implausible"]
    assert "lb typed as kg: 1,580 lb would fit" in finding.fix


# status-near-miss: a word that is nearly one of ours holds its animals.


@pytest.mark.parametrize(
    ("status", "meant"),
    [("in mlik", "in milk"), ("pregnent", "pregnant"), ("dry; in milkk", "in milk"), ("dyr", None), ("hospital", None),
     ("in milk", None), ("In Calf", None)],
)  # fmt: skip
def test_a_status_that_is_nearly_known_holds_its_animals(job, status, meant):
    result = job([["Tag", "Weight (kg)", "Status"], ["0412", 41.5, status], ["0413", 45, "dry"]])
    assert told(result) == ([("status-near-miss", "error", "Weights!C2")] if meant else [])
    assert held(result) == ([("0412", "wormer A")] if meant else [])
    assert not meant or f'Did you mean "{meant}"?' in result.findings[0].fix
