"""Rules about the animals and their weights: for each a sheet that passes and one that fails."""

from __future__ import annotations

import pytest
from sheets import VACCINE, given, held, told

ALONE = "Tag | Weight (kg)\n0412 | 41.5\n0413 | 45"
BOTH = "Medicine\nwormer A\nvaccine V"
#: Twelve hoggets around 45 kg.
HOGGETS = [[f"{401 + at:04d}", kg] for at, kg in enumerate([43, 43.5, 44, 44.5, 44.5, 45, 45, 45.5, 46, 46, 46.5, 47])]


def hoggets(*more, headings=("Tag", "Weight (kg)", "Mob", "Give anyway")):
    rows = [[tag, kg, "Hill", None] for tag, kg in HOGGETS]
    return [list(headings), *rows, *([*row, *[None] * (len(headings) - len(row))] for row in more)]


class TestTagRepeated:
    def test_passes_every_tag_once(self, job):
        assert told(job(ALONE)) == []

    def test_the_same_weight_twice_is_planned_once(self, job):
        result = job(f"{ALONE}\n0412 | 41.5")
        assert told(result) == [("tag-repeated", "error", "Weights!A4")]
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == {("0412", "wormer A"): 0.9, ("0413", "wormer A"): 0.9}
        assert result.treatments["held"].tolist() == [False, False, True]

    def test_two_weights_hold_both_rows(self, job):
        result = job(f"{ALONE}\n0412 | 47")
        assert told(result) == [("tag-repeated", "error", "Weights!A2")]
        assert held(result) == [("0412", "wormer A"), ("0412", "wormer A")]
        assert given(result) == {("0413", "wormer A"): 0.9}

    def test_case_does_not_make_another_animal(self, job):
        result = job([["Tag", "Weight (kg)"], ["a12", 41.5], ["A12", 47], ["0413", 45]])
        assert told(result) == [("tag-repeated", "error", "Weights!A2")]

    def test_every_medicine_is_held_also_one_that_needs_no_weight(self, job):
        result = job(f"{ALONE}\n0412 | 47", {}, VACCINE, Treatments=BOTH)
        assert held(result) == [("0412", "wormer A"), ("0412", "vaccine V")] * 2

    def test_an_animal_is_the_same_by_its_electronic_number(self, job):
        # The visual tag was typed wrong once; the number read is the same animal.
        animals = "Tag | EID | Weight (kg)\n0412 | 982000100000001 | 41.5\n0421 | 982000100000001 | 47\n0413 | | 45"
        result = job(animals)
        assert [row[:2] for row in told(result)] == [("tag-repeated", "error")]
        assert given(result) == {("0413", "wormer A"): 0.9}


class TestWeightImplausible:
    @pytest.mark.parametrize("kg", [1.5, 41.5, 180])
    def test_passes_within_the_limits_of_the_species(self, job, kg):
        assert "weight-implausible" not in [row[0] for row in told(job([["Tag", "Weight (kg)"], ["0412", kg]]))]

    @pytest.mark.parametrize("kg", [415, 180.1, 1.4])
    def test_a_slipped_point_holds_that_animal(self, job, kg):
        result = job([["Tag", "Weight (kg)"], ["0412", kg], ["0413", 45]])
        assert told(result) == [("weight-implausible", "error", "Weights!B2")]
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == {("0413", "wormer A"): 0.9}

    def test_give_anyway_makes_it_a_warning(self, job):
        result = job("Tag | Weight (kg) | Give anyway\n0412 | 190 | weighed twice, Operator 1\n0413 | 45")
        assert told(result) == [("weight-implausible", "warning", "Weights!C2")]
        assert result.findings[0].seen == "weighed twice, Operator 1"
        assert given(result)["0412", "wormer A"] == 3.8
        assert result.exit_status == 0

    def test_a_dose_per_head_does_not_wait_for_it(self, job):
        result = job("Tag | Weight (kg)\n0412 | 415", {}, VACCINE, Treatments=BOTH)
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == {("0412", "vaccine V"): 2}

    def test_a_species_without_limits_is_not_judged(self, job):
        result = job(ALONE, {"Species": "rabbit"}, Session="Species | rabbit\nTime zone | UTC")
        assert (told(result), len(given(result))) == ([], 2)


class TestWeightOutOfLine:
    def test_passes_in_line_with_the_mob(self, job):
        assert told(job(hoggets())) == []

    def test_passes_far_off_by_spread_but_less_than_a_quarter(self, job):
        assert told(job(hoggets(["0500", 54, "Hill"]))) == []

    def test_passes_more_than_a_quarter_off_in_a_mob_of_all_sizes(self, job):
        rows = [[f"{401 + at:04d}", 30 + 4 * at, "Hill"] for at in range(12)]
        assert told(job([["Tag", "Weight (kg)", "Mob"], *rows])) == []

    def test_a_weight_far_from_its_mob_holds_that_animal(self, job):
        result = job(hoggets(["0500", 90, "Hill"]))
        assert told(result) == [("weight-out-of-line", "error", "Weights!B14")]
        assert held(result) == [("0500", "wormer A")]
        assert len(given(result)) == 12

    def test_it_never_sets_the_dose_of_the_mob(self, job):
        result = job(hoggets(["0500", 90, "Hill"]), {"Dose by": "mob"})
        assert set(given(result).values()) == {1.0}
        assert held(result) == [("0500", "wormer A")]

    def test_give_anyway_makes_it_a_warning(self, job):
        result = job(hoggets(["0500", 90, "Hill", "a ram lamb of the year before"]))
        assert told(result) == [("weight-out-of-line", "warning", "Weights!D14")]
        assert given(result)["0500", "wormer A"] == 1.8

    def test_a_mob_under_ten_is_not_judged(self, job):
        rows = [[tag, kg, "Hill"] for tag, kg in HOGGETS[:8]]
        assert told(job([["Tag", "Weight (kg)", "Mob"], *rows, ["0500", 90, "Hill"]])) == []

    def test_each_mob_and_species_is_judged_by_itself(self, job):
        rows = [["Tag", "Weight (kg)", "Mob", "Species"]]
        rows += [[tag, kg, "Hill", "sheep"] for tag, kg in HOGGETS] + [["0500", 90, "River", "sheep"]]
        assert told(job([*rows, ["0600", 90, "Hill", "goat"]], {"Species": "sheep; goats"})) == []


class TestWeightMissing:
    """Only a medicine that needs the weight waits for it."""

    ANIMALS = "Tag | Weight (kg)\n0412 |\n0413 | 45"

    def test_it_holds_what_follows_the_weight(self, job):
        result = job(self.ANIMALS, {}, VACCINE, Treatments=BOTH)
        assert told(result) == [("weight-missing", "error", "Weights!B2")]
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == {("0412", "vaccine V"): 2, ("0413", "wormer A"): 0.9, ("0413", "vaccine V"): 2}

    @pytest.mark.parametrize("weight", [None, "1,250", "4o"])
    def test_a_dose_per_head_is_planned_without(self, job, weight):
        result = job([["Tag", "Weight (kg)"], ["0412", weight]], VACCINE)
        assert given(result) == {("0412", "vaccine V"): 2}
        assert held(result) == []

    def test_where_nothing_waits_for_it_nothing_is_in_error(self, job):
        result = job("Tag | Weight (kg)\n0412 |\n0413 |", VACCINE)
        assert [f for f in result.findings if f.level.word == "error"] == []
        assert result.exit_status == 0

    def test_the_mobs_heaviest_need_not_be_known_for_a_dose_per_head(self, job):
        for heaviest in ("", "4o"):
            result = job(self.ANIMALS, VACCINE, Mobs=f"Mob | Head | Heaviest (kg)\nRiver | 40 | {heaviest}")
            assert held(result) == []

    def test_an_animal_confirmed_not_heavier_gets_the_setting_of_its_mob(self, job):
        animals = (
            "Tag | Weight (kg) | Mob | Give anyway\n0412 | | Hill | no heavier than the others\n0413 | 45 | Hill |"
        )
        result = job(animals, {"Dose by": "mob"})
        assert given(result) == {("0412", "wormer A"): 0.9, ("0413", "wormer A"): 0.9}

    def test_many_without_a_weight_are_one_line_a_mob(self, job):
        rows = [[f"{401 + at:04d}", None, "Hill"] for at in range(30)]
        result = job([["Tag", "Weight (kg)", "Mob"], *rows, ["0500", 45, "Hill"]])
        assert len(held(result)) == 30
        assert [row[:2] for row in told(result)] == [("weight-missing", "error")]


class TestStatusUnknown:
    CLOSED = {"Milk withdrawal": "not permitted"}  # noqa: RUF012 - a label, never changed

    def animals(self, *statuses, sex=None):
        rows = [[f"{401 + at:04d}", 45, "Hill", status, sex] for at, status in enumerate(statuses)]
        return [["Tag", "Weight (kg)", "Mob", "Status", "Sex"], *rows]

    @pytest.mark.parametrize("status", ["dry", "not in milk", "pregnant", "Empty"])
    def test_passes_where_the_status_is_written(self, job, status):
        assert told(job(self.animals(status), self.CLOSED)) == []

    def test_passes_where_no_medicine_depends_on_it(self, job):
        assert told(job(self.animals(None, None))) == []

    @pytest.mark.parametrize(
        "label", [{"Milk withdrawal": "not permitted"}, {"Not for": "pregnant"}, {"Not for": "milk"}]
    )
    def test_an_empty_status_is_asked_once_for_the_mob_and_holds_nobody(self, job, label):
        result = job(self.animals(None, "dry", None), label)
        assert told(result) == [("status-unknown", "warning", "Weights!D2")]
        assert "tags 0401 and 0403" in result.findings[0].message
        assert (held(result), result.exit_status) == ([], 0)

    @pytest.mark.parametrize("sex", ["ram", "M", "wether", "Male"])
    def test_males_are_not_asked_about(self, job, sex):
        assert told(job(self.animals(None, sex=sex), self.CLOSED)) == []

    @pytest.mark.parametrize("status", ["hospital pen", "twins", "?"])
    def test_a_status_that_says_nothing_of_it_is_asked_about_too(self, job, status):
        result = job(self.animals(status), self.CLOSED)
        assert told(result) == [("status-unknown", "warning", "Weights!D2")]


class TestStatusNearMiss:
    LABEL = {"Not for": "in milk, pregnant"}  # noqa: RUF012 - a label, never changed

    def animals(self, status):
        return [["Tag", "Weight (kg)", "Status"], ["0412", 45, status], ["0413", 45, "dry"]]

    @pytest.mark.parametrize(
        "status",
        ["in milk & pregnant", "Milking cow", "Pregnant (twins)", "in-milk", "dry + in calf", "lactating and pregnant",
         "in milk/pregnant"],
    )  # fmt: skip
    def test_words_that_are_clear_are_understood(self, job, status):
        result = job(self.animals(status), self.LABEL)
        assert {row[0] for row in told(result)} == {"excluded-status"}
        assert given(result) == {("0413", "wormer A"): 0.9}

    @pytest.mark.parametrize("status", ["dry cow", "Dry.", "not in milk", "not pregnant", "Empty ewe", "not lactating"])
    def test_passes_what_is_known_to_be_neither(self, job, status):
        assert told(job(self.animals(status), self.LABEL)) == []

    @pytest.mark.parametrize("status", ["preg", "lact", "milker", "in mlk", "mlik", "milk fever", "in milk?", "dry?"])
    def test_nearly_a_known_word_holds_the_animal_and_is_told_once(self, job, status):
        result = job(self.animals(status), self.LABEL)
        assert told(result) == [("status-near-miss", "error", "Weights!C2")]
        assert held(result) == [("0412", "wormer A")]

    def test_another_word_holds_nobody(self, job):
        assert told(job(self.animals("hospital pen"))) == []


class TestSpeciesNotOnLabel:
    def test_an_animal_of_another_species_is_held_and_stays_on_the_sheet(self, job):
        result = job("Tag | Weight (kg) | Species\n0412 | 41.5 |\n0413 | 45 | goat")
        assert told(result) == [("species-not-on-label", "error", "Weights!C3")]
        assert held(result) == [("0413", "wormer A")]
        assert given(result) == {("0412", "wormer A"): 0.9}

    def test_each_species_gets_its_own_row_of_the_medicine(self, job):
        goats = {"Species": "goats", "Dose rate": "0.4 mg/kg", "Meat withdrawal": "28 days"}
        result = job("Tag | Weight (kg) | Species\n0412 | 45 |\n0413 | 45 | goat", {}, goats)
        assert given(result) == {("0412", "wormer A"): 0.9, ("0413", "wormer A"): 1.8}
        assert [clear.at.day for clear in result.treatments["clear:meat"]] == [16, 30]

    @pytest.mark.parametrize("label", ["lamb", "Lambs", "lambs; kids"])
    def test_an_animal_of_another_class_than_the_row_names_is_held(self, job, label):
        animals = "Tag | Weight (kg) | Class\n0412 | 45 | lamb\n0413 | 45 | ewe"
        result = job(animals, {"Class": label})
        assert held(result) == [("0413", "wormer A")]
        assert given(result) == {("0412", "wormer A"): 0.9}


class TestMedicineRowUnclear:
    LIGHT = {"Maximum weight": "44 kg"}  # noqa: RUF012 - a label, never changed

    def test_rows_set_apart_by_weight_each_serve_their_animals(self, job):
        heavy = {"Minimum weight": "44.5 kg", "Dose rate": "0.4 mg/kg"}
        result = job(ALONE, self.LIGHT, heavy)
        assert (told(result), given(result)) == ([], {("0412", "wormer A"): 0.9, ("0413", "wormer A"): 1.8})

    def test_an_animal_that_two_rows_fit_is_held(self, job):
        result = job(ALONE, self.LIGHT, {"Minimum weight": "40 kg", "Dose rate": "0.4 mg/kg"})
        assert told(result) == [("medicine-row-unclear", "error", "Weights!A2")]
        assert held(result) == [("0412", "wormer A")]

    def test_an_animal_that_no_row_fits_is_held(self, job):
        result = job(ALONE, self.LIGHT, {"Minimum weight": "60 kg"})
        assert ("medicine-row-unclear", "error", "Weights!A3") in told(result)
        assert held(result) == [("0413", "wormer A")]
