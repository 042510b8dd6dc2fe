"""What a person may decide under `Give anyway`: what is a reason, and what is said of whom."""

from __future__ import annotations

import pytest
from sheets import given, held, told


def leaving(*reasons, mobs=None):
    rows = [
        [f"{412 + at:04d}", 45, (mobs or ["Hill"] * len(reasons))[at], "2026-06-10", reason]
        for at, reason in enumerate(reasons)
    ]
    return [["Tag", "Weight (kg)", "Mob", "Slaughter on", "Give anyway"], *rows]


@pytest.mark.parametrize("reason", ["emergency, Vet 1", "weighed twice", "No other pen; agreed with Vet 1"])
def test_a_reason_makes_the_hold_a_warning(job, reason):
    result = job(leaving(reason))
    assert told(result) == [("leaves-before-clear", "warning", "Weights!E2")]
    assert (held(result), result.findings[0].seen) == ([], reason)


@pytest.mark.parametrize("blank", ["no", "No", "-", "--", "0", 0, False, "FALSE", "n/a", "never", "none", None])
def test_a_word_for_no_is_as_good_as_blank(job, blank):
    result = job(leaving(blank))
    assert told(result) == [("leaves-before-clear", "error", "Weights!D2")]
    assert "gives no reason" not in result.findings[0].message
    assert len(held(result)) == 1


@pytest.mark.parametrize("bare", ["x", "X", "yes", "Yes!", "?", "ok", "1", True, "y", "give anyway"])
def test_what_gives_no_reason_keeps_the_hold_and_is_said(job, bare):
    result = job(leaving(bare))
    assert told(result) == [("leaves-before-clear", "error", "Weights!D2")]
    assert "gives no reason" in result.findings[0].message
    assert len(held(result)) == 1


def test_those_left_are_named_and_counted_alone(job):
    result = job(leaving("emergency, Vet 1", None))
    assert sorted(told(result)) == [
        ("leaves-before-clear", "error", "Weights!D3"), ("leaves-before-clear", "warning", "Weights!E2"),
    ]  # fmt: skip
    [error] = [f for f in result.findings if f.level.word == "error"]
    [warning] = [f for f in result.findings if f.level.word == "warning"]
    assert '(1 of mob "Hill": tag 0413)' in error.message
    assert '(1 of mob "Hill": tag 0412)' in warning.message
    assert "Tag 0412 is given anyway" in warning.message
    assert held(result) == [("0413", "wormer A")]


def test_one_warning_for_each_reason_and_mob(job):
    reasons = ["emergency, Vet 1", "emergency, Vet 1", "emergency, Vet 1", "agreed with the buyer"]
    result = job(leaving(*reasons, mobs=["Hill", "Hill", "River", "Hill"]))
    messages = [f.message for f in result.findings]
    assert len(messages) == 3
    assert '(2 of mob "Hill": tags 0412 and 0413). Tags 0412 and 0413 are given anyway' in messages[0]
    assert '(1 of mob "River": tag 0414). Tag 0414 is given anyway' in messages[1]
    assert len(given(result)) == 4


def test_of_animals_without_a_weight_those_left_are_named(job):
    animals = """
    Tag  | Weight (kg) | Mob  | Give anyway
    0412 |             | Hill | no heavier than the others
    0413 |             | Hill | x
    0414 | 45          | Hill |
    """
    result = job(animals, {"Dose by": "mob"})
    [error] = [f for f in result.findings if f.level.word == "error"]
    assert (error.where.cell, "This animal has no weight." in error.message) == ("B3", True)
    assert held(result) == [("0413", "wormer A")]


def test_of_weights_that_changed_those_left_are_named(job):
    animals = "Tag | Weight (kg) | Last weight | Give anyway\n0412 | 82.5 | 41 | weighed twice, right\n0413 | 85 | 41 |"
    result = job(animals)
    messages = {f.level.word: f.message for f in result.findings if f.rule == "weight-changed"}
    assert messages["error"].startswith("1 weighs less than half")
    assert "(tag 0413)" in messages["error"]
    assert "Tag 0412 is given anyway" in messages["warning"]
