"""Rule 3, proved: a dose is a mark, within what the label allows, and one that is refused could not be set."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheets import VACCINE, held
from small_jobs import many, medicine, mob_of, ng, per_head, per_kg, planned
from test_marks import bodyweights, graduations

from batchdose.amounts import amount_text
from batchdose.calculate.doses import doses_by_band, doses_by_rate, exact_targets
from batchdose.calculate.marks import USUAL_STEPS
from batchdose.calculate.rates import RatesDisagreeError, limits
from batchdose.findings import Hold
from batchdose.model import NG_PER_KG, Band

# The limits as the rule has them: twice the label rate where no highest is stated, 10 % with a narrow
# margin; the label rate as the lowest for "up", 5 % under it for "nearest" or where highest and label are one.
TWICE, TEN_PERCENT_OVER, FIVE_PERCENT_UNDER = Fraction(2), Fraction(11, 10), Fraction(19, 20)

labels = st.fractions(Fraction(1, 1000), 1, max_denominator=5000)
shares_under = st.one_of(st.none(), st.fractions(Fraction(1, 2), 1, max_denominator=100))
shares_over = st.one_of(st.none(), st.fractions(1, 3, max_denominator=100))


@st.composite
def medicines(draw):
    """A medicine in mL, and the ends between which its dose for a kilogram must lie."""
    label, under, over = draw(labels), draw(shares_under), draw(shares_over)
    up, narrow = draw(st.booleans()), draw(st.booleans())
    given = medicine(
        rate=per_kg(label), lowest=under and per_kg(label * under), highest=over and per_kg(label * over),
        rounding="up" if up else "nearest", narrow_margin=narrow, graduation=draw(graduations),
    )  # fmt: skip
    if narrow:
        over = min(over or TEN_PERCENT_OVER, TEN_PERCENT_OVER)
    if under is None:
        one = over is not None and over - 1 <= Fraction(2, 100) * over  # the same figure, within 2 %
        under = FIVE_PERCENT_UNDER if one or not up else Fraction(1)
    return given, label * under, label * (TWICE if over is None else over)


def right_dose(given, target, lowest, highest) -> Fraction | None:
    """The dose that rule 3 asks for, found by looking at every mark; None where no mark is allowed."""
    step = given.graduation
    near = range(max(1, math.floor(lowest / step)), math.ceil(highest / step) + 1)
    allowed = [mark * step for mark in near if lowest <= mark * step <= highest]
    if not allowed:
        return None
    if given.rounding == "nearest":
        return min(allowed, key=lambda dose: (abs(dose - target), -dose))
    return next((dose for dose in allowed if dose >= target), allowed[-1])


@many
@given(medicines(), st.lists(bodyweights, min_size=1, max_size=4))
def test_the_dose_is_the_one_that_rule_3_asks_for(figures, weights):
    given, low, high = figures
    basis, bounds = np.array([ng(kg) for kg in weights]), limits(given, None)
    doses = doses_by_rate(basis, bounds, given.graduation, up=given.rounding == "up")
    for at, kg in enumerate(weights):
        target = bounds.label * kg
        right = right_dose(given, target, low * kg, high * kg)
        assert doses.allowed[at] == (right is not None)
        assert right is None or int(doses.marks[at]) * given.graduation == right
        assert doses.target[at] == float(target), "the float nearest to the exact target"


@given(medicines(), bodyweights)
def test_a_dose_lies_between_its_ends_and_over_ten_percent_is_flagged(figures, kg):
    given, low, high = figures
    row = planned(given, mob_of(kg)).table.iloc[0]
    target = limits(given, None).label * kg
    if row["held"]:
        assert row["marks"] == 0
        assert np.isnan(row["dose"])
        return
    dose = int(row["marks"]) * given.graduation
    assert row["dose"] == float(dose)
    assert low * kg <= dose <= high * kg
    if given.rounding == "up" and dose + given.graduation <= high * kg:
        assert dose >= target, "a dose under the target is given only where the next mark is over the highest rate"
    own_limit = given.highest is None and not given.narrow_margin
    assert row["over"] == (own_limit and dose > target * TEN_PERCENT_OVER)


@given(medicines(), bodyweights)
def test_where_no_mark_is_allowed_the_coarsest_graduation_that_would_do_is_named(figures, kg):
    given, low, high = figures
    row = planned(given, mob_of(kg)).table.iloc[0]
    if not row["held"]:
        assert row["why"] == []
        return
    would_do = [step for step in USUAL_STEPS if low * kg <= math.floor(high * kg / step) * step > 0]
    said = f"; a graduation of {amount_text(would_do[0], 'mL')} would do" if would_do else ""
    mark = amount_text(given.graduation, "mL")
    assert row["why"] == [f"no mark of {mark} lies between its lowest and its highest dose{said}"]


@given(medicines(), bodyweights)
def test_twice_the_weight_is_twice_the_target(figures, kg):
    given, _, _ = figures
    one, two = exact_targets(np.array([ng(kg), 2 * ng(kg)]), limits(given, None).label)
    assert two == 2 * one


@given(medicines(), st.lists(bodyweights, min_size=2, max_size=6))
def test_many_animals_at_once_are_as_one_by_one_and_in_any_order(figures, weights):
    given, _, _ = figures
    shown = ["marks", "held", "why", "target", "dose", "rate_given", "per_site", "over", "working"]
    together = planned(given, mob_of(*weights)).table[shown].to_dict("records")
    backwards = planned(given, mob_of(*weights[::-1])).table[shown].to_dict("records")
    alone = [planned(given, mob_of(kg)).table[shown].to_dict("records")[0] for kg in weights]
    assert str(together) == str(alone) == str(backwards[::-1])


@pytest.mark.parametrize(
    ("target_ml", "graduation", "dose", "over"),
    [
        ("0.05", "0.1", 0.1, True),  # exactly twice is given, with the warning
        ("0.0499", "0.1", None, False),  # more than twice is held
        ("1", "1.1", 1.1, False),  # exactly 10 % over needs no warning
        ("0.9999", "1.1", 1.1, True),
        ("0.3", "0.1", 0.3, False),  # a target on a mark is that mark
        ("0.30001", "0.1", 0.4, True),
    ],
)
def test_limits_where_the_sheet_gives_no_highest_rate(target_ml, graduation, dose, over):
    given = medicine(rate=per_kg(Fraction(target_ml) / 50), graduation=Fraction(graduation))
    row = planned(given, mob_of(50)).table.iloc[0]
    assert (None if row["held"] else row["dose"], bool(row["over"])) == (dose, over)


@pytest.mark.parametrize(
    ("figures", "dose"),
    [
        ({"highest": "0.28 mg/kg"}, 0.3),  # 0.23 mL goes up to 0.3 mL, under the highest of 0.322 mL
        ({"highest": "0.24 mg/kg"}, None),  # 0.3 mL is over the highest, 0.2 mL under the label rate
        ({"highest": "0.24 mg/kg", "lowest": "0.15 mg/kg"}, 0.2),  # the largest mark within both
        ({"highest": "0.2 mg/kg"}, None),  # highest and label rate are one: 0.2 mL is 13 % under
        ({"highest": "0.2 mg/kg", "graduation": Fraction(1, 50)}, 0.22),  # ... and 0.22 mL 4 % under
        ({"narrow_margin": True}, None),  # nothing from 0.23 to 0.253 mL
        ({"narrow_margin": True, "graduation": Fraction(1, 20)}, 0.25),
        ({"narrow_margin": True, "highest": "0.21 mg/kg", "graduation": Fraction(1, 20)}, None),
        ({"rounding": "nearest"}, 0.3),  # 0.2 mL is nearer, but more than 5 % under the label rate
        ({"rounding": "nearest", "lowest": "0.17 mg/kg"}, 0.2),
    ],
)
def test_an_animal_whose_target_is_a_little_over_a_mark(figures, dose):
    given = medicine(**{"rate": "0.2 mg/kg", "strength": "10 mg/mL"} | figures)
    row = planned(given, mob_of("11.5")).table.iloc[0]
    assert row["target"] == 0.23
    assert (None if row["held"] else row["dose"]) == dose


def test_the_over_and_the_held_of_a_mob_are_one_line_each(job):
    result = job("""
        Tag  | Weight (kg) | Mob
        0401 | 11.5        | Lambs
        0402 | 13          | Lambs
        0403 | 50          | Lambs
        0404 | 2.2         | Lambs
        0405 | 2.4         | Lambs
    """)
    said = {finding.rule: finding.message for finding in result.findings}
    assert said["dose-over-label"] == '2 of 3 of mob "Lambs" get wormer A 15 to 30 % over the label rate.'
    assert '2 of mob "Lambs" held (tags 0404 and 0405)' in said["no-mark-allowed"]
    assert "a graduation of 0.05 mL would do" in said["no-mark-allowed"]
    assert result.exit_status == 1


# Rates: what the prescriber chose, and what the working shows.


def test_a_range_is_held_until_one_rate_is_chosen_and_its_ends_are_the_limits():
    given = medicine(rate="10-20 mg/kg", strength="100 mg/mL")
    assert "the prescriber must choose one" in planned(given, mob_of(50)).table["why"].iloc[0][0]
    bounds = limits(given, medicine(rate="15 mg/kg").rate)
    assert [bounds.lowest, bounds.label, bounds.highest] == [Fraction(n, 1000) for n in (100, 150, 200)]
    for outside in ("9 mg/kg", "21 mg/kg"):
        with pytest.raises(RatesDisagreeError, match=r"is (below the lowest|above the highest) rate"):
            limits(given, medicine(rate=outside).rate)


@pytest.mark.parametrize(("label", "chosen"), [("0.2 mg/kg", "2 mL/head"), ("2 mL/head", "1 mg/kg")])
def test_a_chosen_rate_by_head_for_a_label_by_weight_is_never_taken_for_the_other(label, chosen):
    # 2 mL a head must not become 2 mL a kilogram, nor 0.1 mL a kilogram 0.1 mL a head.
    given = medicine(rate=label, strength="10 mg/mL")
    row = planned(given, mob_of(50), chosen_rate=medicine(rate=chosen).rate).table.iloc[0]
    right = {"2 mL/head": 2.0, "1 mg/kg": 5.0}[chosen]
    assert row["held"] or row["dose"] == right


@pytest.mark.parametrize("lowest", [None, "0.15 mg/kg"])
@pytest.mark.parametrize("chosen", ["0.4 mg/kg", "2 mg/kg"])
def test_a_chosen_rate_over_the_label_rate_is_never_given_as_if_it_were_the_label(job, chosen, lowest):
    # Design, corrections: a rate over the highest on the label is off label, the label period only a floor.
    result = job(
        "Tag | Weight (kg)\n0401 | 50",
        {"Lowest rate": lowest},
        VACCINE,
        Treatments=f"Medicine | Chosen rate\nwormer A | {chosen}\nvaccine V |",
    )
    row = result.treatments.iloc[0]
    assert row["held"] or row["clear:meat"].state == "not_stated"


@pytest.mark.parametrize(
    ("label", "chosen", "working"),
    [
        ("0.2 mg/kg", None, "62.5 kg x 0.2 mg/kg / 10 mg/mL = 1.25 -> 1.3 mL"),
        ("1 mL/50 kg", None, "62.5 kg x 1 mL/50 kg = 1.25 -> 1.3 mL"),
        ("0.1-0.3 mg/kg", "0.2 mg/kg", "62.5 kg x 0.2 mg/kg / 10 mg/mL = 1.25 -> 1.3 mL"),
        ("1 mL/50 kg", "0.2 mg/kg", "62.5 kg x 0.2 mg/kg / 10 mg/mL = 1.25 -> 1.3 mL"),
        ("0.2 mg/kg", "1 mL/50 kg", "62.5 kg x 1 mL/50 kg = 1.25 -> 1.3 mL"),
        ("2 mL/head", None, "2 mL/head = 2 -> 2 mL"),
    ],
)
def test_the_working_can_be_checked_by_hand(label, chosen, working):
    given = medicine(rate=label, strength="10 mg/mL")
    chosen_rate = chosen and medicine(rate=chosen).rate
    assert planned(given, mob_of("62.5"), chosen_rate=chosen_rate).table["working"].tolist() == [working]


def test_target_and_rate_are_given_for_a_held_animal_and_its_dose_is_not():
    given = medicine(rate="0.2 mg/kg", strength="10 mg/mL")
    row = planned(given, mob_of(50), Hold("not today", animals=(2,))).table.iloc[0]
    assert row[["held", "target", "rate_given", "sites", "per_site"]].tolist() == [True, 1.0, 0.2, 0, []]
    assert np.isnan(row["dose"])
    assert row["working"] == "50 kg x 0.2 mg/kg / 10 mg/mL = 1 mL"


def test_an_animal_without_a_weight_gets_no_dose_by_weight_and_one_by_head():
    no_weight = Hold("no weight", animals=(2,), needs_weight=True)
    by_weight = planned(medicine(rate="1 mL/50 kg"), mob_of(0), no_weight).table.iloc[0]
    by_head = planned(medicine(rate=per_head(Fraction(2))), mob_of(0), no_weight).table.iloc[0]
    assert (by_weight["held"], by_head["held"], by_head["dose"]) == (True, False, 2.0)
    assert np.isnan(by_weight["target"])


# Dose bands.


def bands(*rows: tuple[int, int | None, str]) -> tuple[Band, ...]:
    return tuple(
        Band(Fraction(low), None if high is None else Fraction(high), Fraction(dose), "mL") for low, high, dose in rows
    )


BANDS = bands((10, 20, "1"), (20, 30, "1.5"), (35, 50, "2.5"), (45, None, "3"))


@pytest.mark.parametrize(
    ("kg", "dose"),
    [
        ("9.9999", None),
        ("10", 1.0),  # nothing ends at 10 kg: the edge is in
        ("20", 1.0),  # the edge of two bands is in the lower one
        ("20.0001", 1.5),
        ("30", 1.5),
        ("32", None),  # a gap
        ("35", 2.5),
        ("47", None),  # two bands claim it
        ("50.0001", 3.0),
        ("900", 3.0),
    ],
)
def test_a_band_holds_its_upper_edge_and_an_animal_in_none_or_in_two_is_held(kg, dose):
    row = planned(medicine(bands=BANDS), mob_of(kg)).table.iloc[0]
    assert (None if row["held"] else row["dose"]) == dose
    assert row["why"] == ([] if dose else ["its weight is in no dose band, or in two"])


@given(st.lists(st.integers(1, 60), min_size=1, max_size=8))
def test_bands_give_what_looking_through_them_gives(weights):
    doses, band = doses_by_band(np.array([kg * NG_PER_KG for kg in weights]), BANDS, Fraction(1, 2))
    for at, kg in enumerate(weights):
        lower_edges = {b.from_kg for b in BANDS} & {b.to_kg for b in BANDS}
        fits = [
            n for n, b in enumerate(BANDS)
            if (b.from_kg < kg or (b.from_kg == kg and kg not in lower_edges)) and (b.to_kg is None or kg <= b.to_kg)
        ]  # fmt: skip
        assert doses.allowed[at] == (len(fits) == 1)
        if len(fits) == 1:
            assert band[at] == fits[0]
            assert doses.target[at] == float(BANDS[fits[0]].dose)


def test_the_dose_of_a_band_must_be_a_mark():
    row = planned(medicine(bands=bands((10, 20, "1.25"))), mob_of(15)).table.iloc[0]
    assert row["why"] == ["the dose of its band is not a mark on the device"]
    assert row["target"] == 1.25
    assert "->" not in row["working"], "a dose that is not given does not stand in the working"


def test_bands_in_two_units_are_held(job):
    # A table that goes from mL to tablets may be meant so, but 2 tablets are never 2 mL.
    result = job(
        "Tag | Weight (kg)\n0401 | 15\n0402 | 25",
        {"Dose rate": None, "Strength": None, "Graduation": "1 mL"},
        VACCINE,
        Dose_bands="""
            Medicine | From (kg) | To (kg) | Dose
            wormer A | 10        | 20      | 5 mL
            wormer A | 20        | 30      | 2 tablets
        """,
        give=["wormer A", "vaccine V"],
    )
    assert ("0402", "wormer A") in held(result)


# A mob known only by its head and its heaviest.


@pytest.mark.parametrize(
    ("lightest", "held"),
    [(0, False), (25, False), ("24.9", True)],  # half the heaviest gets twice the label rate: the most allowed
)
def test_a_whole_mob_is_held_where_its_lightest_would_get_more_than_twice_the_label_rate(lightest, held):
    mob = mob_of(50, head=120, tag="", lightest_ng=ng(lightest))
    assert planned(medicine(rate="1 mL/50 kg"), mob).table["held"].tolist() == [held]


def test_a_whole_mob_is_held_where_its_lightest_is_in_a_lower_band():
    mob = mob_of(25, head=120, tag="", lightest_ng=ng(15))
    assert planned(medicine(bands=BANDS), mob).table["held"].tolist() == [True]
