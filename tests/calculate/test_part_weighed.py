"""Mobs of which only some are weighed: what the others are dosed to, and when they are held."""

from __future__ import annotations

from math import comb

import pytest
from sheets import given, held, told

BY_MOB = {"Dose by": "mob"}
OVER = ["dose-over-label"]  # the light ones of a mob with one setting


def flock(weights, mob="Hill"):
    return [["Tag", "Weight (kg)", "Mob"], *([f"{at:04d}", kg, mob] for at, kg in enumerate(weights, 401))]


def session(**entries):
    rows = {"Species": "sheep", "Time zone": "UTC"} | {k.replace("_", " "): v for k, v in entries.items()}
    return [[name, value] for name, value in rows.items()]


SURE = session(**{"Under-dosed_share": "10 %", "Confidence": "90 %"})


def test_the_heaviest_that_the_sheet_states_serves_the_others(job):
    result = job(flock([40, 42, 44]), BY_MOB, Mobs="Mob | Head | Heaviest (kg)\nHill | 10 | 48")
    assert told(result, but=OVER) == [("mob-weighed-in-part", "note", "Mobs!A2")]
    assert set(given(result).values()) == {1.0}  # 48 kg x 0.2 mg/kg / 10 mg/mL = 0.96 mL
    assert [(mob.head, [draft.head for draft in mob.drafts]) for mob in result.mobs] == [(10, [10])]


def test_a_weighed_animal_heavier_than_the_stated_heaviest_counts(job):
    result = job(flock([40, 42, 56]), BY_MOB, Mobs="Mob | Head | Heaviest (kg)\nHill | 10 | 48")
    assert set(given(result).values()) == {1.2}


def test_without_heaviest_and_without_a_share_the_others_are_held(job):
    result = job(flock([40, 42, 44]), BY_MOB, Mobs="Mob | Head\nHill | 10")
    assert told(result, but=OVER) == [("mob-weighed-in-part", "error", "Mobs!A2")]
    assert held(result) == [("Hill", "wormer A")]
    assert len(given(result)) == 3
    assert any("Under-dosed share" in finding.message for finding in result.findings)


# 22 of 40 weighed at random: with 90 % confidence the heaviest of them leaves at most 10 % of the mob (4 head) heavier.
# P(none of the 5 heaviest among the sample) = C(35, n) / C(40, n); for n = 15 it is 0.081, for n = 14 it is 0.0999...


@pytest.mark.parametrize(("weighed", "enough"), [(14, True), (13, False)])
def test_enough_weighed_at_random_serve_and_fewer_say_how_many_more(job, weighed, enough):
    chance = comb(40 - 5, weighed) / comb(40, weighed)  # none of the five heaviest is in the sample
    assert (chance <= 0.1) == enough
    weights = [40 + at * 0.5 for at in range(weighed)]
    result = job(flock(weights), BY_MOB, Mobs="Mob | Head\nHill | 40", Session=SURE)
    [finding] = [finding for finding in result.findings if finding.rule == "mob-weighed-in-part"]
    assert (finding.level.word, "Weigh 1 more" in finding.message) == (("note", False) if enough else ("error", True))
    assert held(result) == ([] if enough else [("Hill", "wormer A")])


def test_a_mob_that_is_all_weighed_says_nothing(job):
    for head in (3, 2):
        assert told(job(flock([40, 42, 44]), BY_MOB, Mobs=f"Mob | Head\nHill | {head}"), but=OVER) == []


def test_what_goes_by_each_animals_weight_holds_the_others_and_a_dose_per_head_does_not(job):
    vaccine = {"Medicine": "vaccine V", "Strength": None, "Dose rate": "2 mL/head", "Graduation": "1 mL"}
    result = job(
        flock([40, 42, 44]), {}, vaccine, Mobs="Mob | Head | Heaviest (kg)\nHill | 10 | 48",
        Treatments="Medicine\nwormer A\nvaccine V",
    )  # fmt: skip
    assert held(result) == [("Hill", "wormer A")]
    assert ("unweighed-of-mob", "error", "Mobs!A2") in told(result)
    assert given(result)[("Hill", "vaccine V")] == 2.0
    assert result.product[1].to_draw == 20


def test_the_light_ones_of_those_not_weighed_are_never_overdosed(job):
    result = job(flock([20, 22, 60]), BY_MOB, Mobs="Mob | Head | Heaviest (kg)\nHill | 10 | 60")
    assert ("Hill", "wormer A") in held(result)


def test_a_row_that_repeats_another_is_no_further_head(job):
    rows = [*flock([40, 42, 44]), ["0403", 44, "Hill"]]
    result = job(rows, BY_MOB, Mobs="Mob | Head | Heaviest (kg)\nHill | 10 | 48")
    assert sum(mob.head for mob in result.mobs) == 10
    [finding] = [finding for finding in result.findings if finding.rule == "mob-weighed-in-part"]
    assert finding.message.startswith('3 of the 10 head of mob "Hill" are weighed.')
    result = job(rows, BY_MOB, Mobs="Mob | Head | Heaviest (kg)\nHill | 4 | 48")
    assert sum(mob.head for mob in result.mobs) == 4


def test_what_is_said_of_weights_is_in_pounds_where_the_session_reads_pounds(job):
    pounds = session(**{"Weight_unit": "lb", "Under-dosed_share": "50 %", "Confidence": "50 %"})
    rows = [["Tag", "Weight", "Mob"], *([f"{at:04d}", lb, "Hill"] for at, lb in enumerate((90, 95, 100, 900), 401))]
    result = job(rows, BY_MOB | {"Minimum weight": "41 kg"}, Mobs="Mob | Head\nHill | 8", Session=pounds)
    said = " ".join(finding.message for finding in result.findings)
    assert "Dose to 95 lb" in said
    assert "A sheep of 900 lb lies outside" in said
    assert "below the label's 90.39 lb (41 kg)" in said
