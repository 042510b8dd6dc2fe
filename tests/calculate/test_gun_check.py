"""The gun check: published figures, the band, and a corrected setting that no better mark stands beside."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from small_jobs import many

from batchdose.calculate.gun_check import (
    CHECK_AGAIN_AFTER,
    SHOTS,
    USUAL_TOLERANCE,
    check_text,
    gun_check,
    verdict,
    verdict_text,
)

TENTH = Fraction(1, 10)


def test_the_figures_are_those_published():
    # Meat and Livestock Australia, sheep husbandry guide, drenching section, as reported: ten doses into a measuring
    # cylinder, again after 200 sheep. Kansas State study, as quoted: 5 % either way is regarded as normal.
    assert (10, 200, Fraction(5, 100)) == (SHOTS, CHECK_AGAIN_AFTER, USUAL_TOLERANCE)
    check = gun_check(Fraction("7.5"))
    assert (check.expected, check.lowest, check.highest) == (75, Fraction("71.25"), Fraction("78.75"))


@pytest.mark.parametrize(
    ("measured", "state", "setting"),
    [
        ("50", "use", "5"), ("47.5", "use", "5"), ("52.5", "use", "5"),
        ("47.4", "reset", "5.3"),  # 4.74 mL at 5 mL: 5.3 mL give 5.0244 mL
        ("45", "reset", "5.6"),  # 4.5 mL: 5.6 mL give 5.04 mL
        ("60", "reset", "4.2"),  # 6 mL: 4.2 mL give 5.04 mL
        ("30", "do not use", None),  # 3 mL: 8.4 mL would be past the last mark
        ("0", "do not use", None),
    ],
)  # fmt: skip
def test_a_gun_set_to_5_ml_with_marks_up_to_8_ml(measured, state, setting):
    found = verdict(gun_check(Fraction(5)), Fraction(measured), TENTH, largest=Fraction(8))
    assert (found.state, found.setting) == (state, setting and Fraction(setting))


def test_a_gun_of_coarse_steps_may_have_no_mark_that_does():
    # 4.5 mL at 5 mL, so 0.9 mL a mark: six marks give 5.4 mL, over 5.25 mL; five give 4.5 mL, under 4.75 mL.
    found = verdict(gun_check(Fraction(5)), Fraction(45), Fraction(1))
    assert (found.state, found.why) == ("do not use", "no mark gives the dose within the band: a finer gun is needed")


def test_where_a_full_dose_would_be_too_much_the_mark_below_is_taken_if_it_is_in_the_band():
    # 6 mL at 5 mL, so 0.6 mL for each half: nine give 5.4 mL, over the band; eight give 4.8 mL, within it.
    found = verdict(gun_check(Fraction(5)), Fraction(60), Fraction(1, 2))
    assert (found.state, found.setting) == ("reset", 4)


def test_a_volume_within_the_band_is_not_enough_where_the_animals_may_not_get_so_much():
    found = verdict(gun_check(Fraction(5)), Fraction(52), TENTH, highest_dose=Fraction("5.1"))
    assert (found.state, found.setting) == ("reset", Fraction("4.9"))  # 4.9 mL give 5.096 mL


settings_ml = st.integers(5, 300).map(lambda n: Fraction(n, 10))
steps = st.sampled_from([Fraction(1, 20), TENTH, Fraction(1, 4), Fraction(1, 2), Fraction(1)])
tolerances = st.fractions(0, Fraction(1, 4), max_denominator=40)


@many
@given(settings_ml, st.fractions(Fraction(1, 2), 2, max_denominator=200), steps, tolerances, st.integers(1, 20))
def test_the_new_setting_gives_the_dose_in_full_if_any_mark_in_the_band_does(dose, share, step, tolerance, shots):
    check = gun_check(dose, tolerance=tolerance, shots=shots)
    found = verdict(check, dose * shots * share, step)
    lowest, highest = dose * (1 - tolerance), dose * (1 + tolerance)
    in_band = [mark * step for mark in range(1, int(dose / step) * 3 + 3) if lowest <= mark * step * share <= highest]
    full = [setting for setting in in_band if setting * share >= dose]
    if lowest <= dose * share <= highest:
        assert found.state == "use"
    elif in_band:
        assert (found.state, found.setting) == ("reset", full[0] if full else in_band[-1])
    else:
        assert found.state == "do not use"


@many
@given(settings_ml, st.fractions(Fraction(1, 2), 2, max_denominator=200), steps)
def test_a_gun_that_was_reset_passes_when_it_is_measured_again(dose, share, step):
    check = gun_check(dose)
    found = verdict(check, check.expected * share, step)
    assume(found.state == "reset")
    again = verdict(check, found.setting * share * check.shots, step, set_to=found.setting)
    assert (again.state, again.setting) == ("use", found.setting)


@many
@given(settings_ml, settings_ml, st.fractions(Fraction(1, 2), 2, max_denominator=200), steps)
def test_a_correction_starts_from_what_the_gun_was_set_to(dose, dial, share, step):
    check = gun_check(dose)
    found = verdict(check, dial * share * check.shots, step, set_to=dial)
    if found.state == "reset":
        assert dose * (1 - USUAL_TOLERANCE) <= found.setting * share <= dose * (1 + USUAL_TOLERANCE)


def test_it_is_told_in_plain_words():
    check = gun_check(Fraction(5))
    assert check_text(check).startswith("Squirt 10 shots of 5 mL into a measuring cylinder: 50 mL is right")
    told = [verdict_text(verdict(check, Fraction(ml), TENTH)) for ml in (50, 51, 0)]
    assert told[0] == "The gun gives 5 mL a shot. Use it: the volume is within the band."
    assert told[1].startswith("The gun gives 5.1 mL a shot, 2 % too much. Use it")
    assert told[2] == "The gun gives 0 mL a shot, 100 % too little. Do not use it: it gives nothing."


@pytest.mark.parametrize(("setting", "facts"), [(0, {}), (5, {"shots": 0}), (5, {"tolerance": Fraction(1)})])
def test_a_check_that_makes_no_sense_is_refused(setting, facts):
    with pytest.raises(ValueError, match="A gun is checked"):
        gun_check(Fraction(setting), **facts)


@pytest.mark.parametrize(("measured", "step"), [(-1, 1), (50, 0)])
def test_a_volume_that_makes_no_sense_is_refused(measured, step):
    with pytest.raises(ValueError, match="not below nothing"):
        verdict(gun_check(Fraction(5)), Fraction(measured), Fraction(step))
