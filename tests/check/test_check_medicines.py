"""Rules about the medicines in use: for each a row that passes and one that fails, and who still gets a dose."""

from __future__ import annotations

import pytest
from sheets import VACCINE, given, held, medicine_cell, told

TWO = "Tag | Weight (kg) | Mob\n0412 | 41.5 | Hill\n0413 | 45 | River"
B = {"Medicine": "wormer B"}
BOTH = "Medicine\nwormer A\nwormer B"
#: What wormer B gives when only wormer A is held.
ONLY_B = {("0412", "wormer B"): 0.9, ("0413", "wormer B"): 0.9}


def beside(job, label, *, animals=TWO, **sheets):
    """The job of a medicine beside a sound one: wormer A as `label` says, and wormer B."""
    return job(animals, label, B, **({"Treatments": BOTH} | sheets))


def holds_it_alone(result, label, heading, rule):
    """The rule is an error at the heading's cell of wormer A, which is held, and wormer B is given to all."""
    assert told(result) == [(rule, "error", medicine_cell(heading, label, B))]
    assert held(result) == [("0412", "wormer A"), ("0413", "wormer A")]
    assert given(result) == ONLY_B
    assert result.exit_status == 1


class TestLabelFieldMissing:
    def test_passes_with_species_and_route(self, job):
        assert told(beside(job, {})) == []

    @pytest.mark.parametrize("field", ["Species", "Route"])
    def test_an_empty_field_holds_that_medicine(self, job, field):
        label = {field: None}
        holds_it_alone(beside(job, label), label, field, "label-field-missing")


class TestLabelWordUnknown:
    CLASSES = """
    Tag  | Weight (kg) | Class  | Status
    0412 | 41.5        | hogget | dry
    0413 | 45          | ewe    | dry
    """

    @pytest.mark.parametrize("words", ["in milk; pregnant", "milking ewes & pregnant ewes", "none", "-", "no", None])
    def test_passes_words_that_are_known_or_say_nothing(self, job, words):
        assert told(beside(job, {"Not for": words, "Type": "wormer"}, animals=self.CLASSES)) == []

    @pytest.mark.parametrize(
        "words", ["in mlik", "milkers", "last month of pregnancy", "thin ewes", "hoggets under 30 kg", "hoget", "#N/A"]
    )
    def test_words_that_may_mean_animals_here_hold_that_medicine(self, job, words):
        label = {"Not for": words}
        holds_it_alone(beside(job, label, animals=self.CLASSES), label, "Not for", "label-word-unknown")

    def test_an_error_value_is_shown_as_it_stands(self, job):
        result = beside(job, {"Not for": "#N/A"}, animals=self.CLASSES)
        assert [f.seen for f in result.findings] == ["#N/A"]

    @pytest.mark.parametrize("label", [{"Not for": "thin animals"}, {"Type": "wurmer"}])
    def test_other_words_are_a_warning(self, job, label):
        result = beside(job, label, animals=self.CLASSES)
        assert told(result) == [("label-word-unknown", "warning", medicine_cell(next(iter(label)), label, B))]
        assert held(result) == []


class TestRatesDisagree:
    @pytest.mark.parametrize(
        "label",
        [
            {"Dose rate": "1 mL/50 kg (0.2 mg/kg)"},
            {"Dose rate": "1 mL/50 kg (0.203 mg/kg)"},  # within 2 %
            {"Dose rate": "1 mL/50 kg", "Strength": None},
            {"Lowest rate": "0.18 mg/kg", "Highest rate": "0.3 mg/kg"},
            {"Lowest rate": "0.9 mL/50 kg", "Highest rate": "1.5 mL/50 kg"},
            {"Dose rate": "0.2 mg/kg/day", "Doses": 3, "Every": "24 h"},
            {"Dose rate": "0.2 + 0.04 mg/kg", "Strength": "10 + 2 mg/mL"},
        ],
    )
    def test_passes_where_the_figures_agree(self, job, label):
        assert told(beside(job, label)) == []

    @pytest.mark.parametrize(
        "label",
        [
            {"Dose rate": "1 mL/50 kg (0.2 mg/kg)", "Strength": "1 mg/mL"},
            {"Dose rate": "1 mL/50 kg (0.205 mg/kg)"},  # 2.5 % off
            {"Highest rate": "0.1 mg/kg"},
            {"Lowest rate": "0.3 mg/kg"},
            {"Highest rate": "2 mL/head"},
            {"Dose rate": "0.2-0.4 mg/kg"},
            {"Dose rate": "0.2 mg/kg/day", "Doses": 3, "Every": "12 h"},
            {"Dose rate": "0.2 + 0.4 mg/kg", "Strength": "10 + 2 mg/mL"},
            {"Dose rate": "1 mL/50 kg (0.2-0.4 mg/kg)"},
        ],
    )
    def test_figures_that_do_not_agree_hold_that_medicine(self, job, label):
        holds_it_alone(beside(job, label), label, "Dose rate", "rates-disagree")

    @pytest.mark.parametrize("strength", [None, "10 IU/mL"])
    @pytest.mark.parametrize("graduation", ["0.1 mL", None])
    def test_a_rate_of_active_without_its_strength_is_never_given_in_milligrams(self, job, strength, graduation):
        # A dose of "9 mg" cannot be drawn: without the strength nobody knows how much product that is.
        result = beside(job, {"Strength": strength, "Graduation": graduation})
        assert held(result) == [("0412", "wormer A"), ("0413", "wormer A")]
        assert given(result) == ONLY_B
        assert ("rates-disagree", "error", "Medicines!E2") in told(result)

    def test_a_strength_of_nothing_holds_that_medicine(self, job):
        result = beside(job, {"Strength": "0 %"})
        assert held(result) == [("0412", "wormer A"), ("0413", "wormer A")]
        assert given(result) == ONLY_B

    def test_a_rate_chosen_within_the_range_is_given(self, job):
        lines = "Medicine | Chosen rate\nwormer A | 0.4 mg/kg\nwormer B |"
        result = beside(job, {"Dose rate": "0.2-0.4 mg/kg"}, animals="Tag | Weight (kg)\n0412 | 45", Treatments=lines)
        assert (told(result), given(result)["0412", "wormer A"]) == ([], 1.8)

    @pytest.mark.parametrize("rate", ["0.1 mg/kg", "0.5 mg/kg", "2 mL/head"])
    def test_a_rate_chosen_outside_the_range_holds_the_medicine(self, job, rate):
        lines = f"Medicine | Chosen rate\nwormer A | {rate}\nwormer B |"
        result = beside(job, {"Dose rate": "0.2-0.4 mg/kg"}, Treatments=lines)
        assert [row[:2] for row in told(result)] == [("rates-disagree", "error")]
        assert given(result) == ONLY_B

    def test_a_choice_missing_for_one_mob_does_not_cost_the_other_its_doses(self, job):
        lines = "Medicine | Mob | Chosen rate\nwormer A | Hill | 0.2 mg/kg\nwormer A | River |"
        result = job(TWO, {"Dose rate": "0.2-0.4 mg/kg"}, Treatments=lines)
        assert held(result) == [("0413", "wormer A")]
        assert given(result) == {("0412", "wormer A"): 0.9}


class TestIntervalMissing:
    @pytest.mark.parametrize("label", [{"Doses": 1}, {"Doses": None}, {"Doses": 3, "Every": "24 h"}])
    def test_passes_one_dose_or_a_stated_interval(self, job, label):
        assert told(beside(job, label)) == []

    def test_several_doses_without_an_interval_hold_that_medicine(self, job):
        label = {"Doses": 3, "Every": None}
        holds_it_alone(beside(job, label), label, "Every", "interval-missing")


class TestGraduationMissing:
    @pytest.mark.parametrize("mark", ["0.1 mL", "0.1", 0.1])
    def test_passes_with_a_stated_step(self, job, mark):
        assert told(beside(job, {"Graduation": mark})) == []

    def test_an_empty_step_is_a_warning_and_the_dose_is_planned(self, job):
        label = {"Graduation": None}
        result = beside(job, label)
        assert told(result) == [("graduation-missing", "warning", medicine_cell("Graduation", label, B))]
        assert "0.1 mL" in result.findings[0].message
        assert (held(result), result.exit_status) == ([], 0)

    def test_what_is_counted_needs_no_marks(self, job):
        label = {"Graduation": None, "Strength": "10 mg/tablet"}
        assert "graduation-missing" not in [row[0] for row in told(beside(job, label))]


class TestOffLabelWithoutPrescriber:
    @pytest.mark.parametrize("label", [{"Off label": "no"}, {"Off label": "yes", "Prescriber": "Prescriber 1"}])
    def test_passes_on_label_or_with_a_prescriber(self, job, label):
        assert told(beside(job, label)) == []

    def test_off_label_without_a_prescriber_holds_that_medicine(self, job):
        label = {"Off label": "yes"}
        holds_it_alone(beside(job, label), label, "Off label", "off-label-without-prescriber")


class TestAntibioticByMob:
    ANTIBIOTIC = {"Type": "antibiotic", "Dose by": "mob", "Prescriber": None}  # noqa: RUF012 - a label, never changed
    REASONS = "Medicine | Reason\nwormer A | foot rot\nwormer B | worms"

    @pytest.mark.parametrize(
        "change", [{"Dose by": "animal"}, {"Prescriber": "Prescriber 1"}, {"Type": "wormer"}], ids=str
    )
    def test_passes_each_by_weight_or_with_prescriber_and_reason(self, job, change):
        result = beside(job, self.ANTIBIOTIC | change, Treatments=self.REASONS)
        assert (told(result), held(result)) == ([], [])

    @pytest.mark.parametrize("by", ["mob", "drafts"])
    def test_by_mob_without_a_prescriber_is_held(self, job, by):
        label = self.ANTIBIOTIC | {"Dose by": by}
        holds_it_alone(beside(job, label, Treatments=self.REASONS), label, "Dose by", "antibiotic-by-mob")

    def test_by_mob_without_a_reason_is_held(self, job):
        label = self.ANTIBIOTIC | {"Prescriber": "Prescriber 1"}
        holds_it_alone(beside(job, label), label, "Dose by", "antibiotic-by-mob")


class TestMedicineExpired:
    @pytest.mark.parametrize("expiry", ["2026-06", "2026-06-01", "06/2026", "2027-03", None])
    def test_passes_in_date_on_the_day_of_treatment(self, job, expiry):
        assert told(beside(job, {"Expiry": expiry})) == []

    @pytest.mark.parametrize("expiry", ["2026-05-31", "2026-05", "2020-01-01"])
    def test_past_its_expiry_it_is_held(self, job, expiry):
        label = {"Expiry": expiry}
        holds_it_alone(beside(job, label), label, "Expiry", "medicine-expired")

    def test_the_last_dose_of_the_course_counts(self, job):
        label = {"Expiry": "2026-06-02", "Doses": 3, "Every": "24 h"}
        holds_it_alone(beside(job, label), label, "Expiry", "medicine-expired")
        assert told(beside(job, label | {"Expiry": "2026-06-03"})) == []

    def test_every_pack_past_its_expiry_holds_it(self, job):
        stock = "Medicine | Pack size | Expiry\nwormer A | 100 mL | 2026-04\nwormer A | 50 mL | 2026-05-31"
        result = beside(job, {}, Stock=stock)
        assert told(result) == [("medicine-expired", "error", "Stock!A2")]
        assert given(result) == ONLY_B

    def test_one_pack_past_its_expiry_is_a_warning_and_is_not_used(self, job):
        stock = """
        Medicine | Pack size | Batch number | Expiry
        wormer A | 100 mL    | LOT-1        | 2026-04
        wormer A | 100 mL    | LOT-2        | 2027-04
        """
        result = beside(job, {}, Stock=stock)
        assert told(result) == [("batch-expired", "warning", "Stock!A2")]
        assert held(result) == []
        batches = result.treatments[result.treatments["medicine"] == 0]["batch_no"].tolist()
        assert batches == [["LOT-2"], ["LOT-2"]]

    def test_an_earlier_course_that_is_in_date_is_not_held_with_a_later_one(self, job):
        lines = "Medicine | Mob | On\nwormer A | Hill | 2026-06-01\nwormer A | River | 2026-07-01"
        result = job(TWO, {"Expiry": "2026-06-15"}, Treatments=lines)
        assert held(result) == [("0413", "wormer A")]
        assert given(result) == {("0412", "wormer A"): 0.9}


class TestWithdrawalNotStated:
    @pytest.mark.parametrize("period", ["14 days", "0 days", "nil", "72 h"])
    def test_passes_with_a_stated_period(self, job, period):
        assert told(beside(job, {"Meat withdrawal": period})) == []

    @pytest.mark.parametrize("blank", [None, "-", "not stated"])
    def test_blank_is_not_zero_the_dose_is_planned_and_nothing_is_clear(self, job, blank):
        label = {"Meat withdrawal": blank}
        result = beside(job, label)
        assert told(result) == [("withdrawal-not-stated", "warning", medicine_cell("Meat withdrawal", label, B))]
        assert (held(result), result.exit_status) == ([], 0)
        assert {(clear.at, clear.state) for clear in result.treatments["clear:meat"]} == {(None, "not_stated")}

    def test_milk_is_asked_about_only_where_an_animal_is_in_milk(self, job):
        label = {"Milk withdrawal": None}
        animals = "Tag | Weight (kg) | Status\n0412 | 41.5 | dry\n0413 | 45 | {}"
        assert told(beside(job, label, animals=animals.format("dry"))) == []
        result = beside(job, label, animals=animals.format("in milk"))
        assert {rule for rule, *_ in told(result)} <= {"product-not-permitted", "withdrawal-not-stated"}
        assert held(result) == [("0413", "wormer A")]

    def test_off_label_without_the_longest_label_period_nothing_is_clear(self, job):
        label = {"Off label": "yes", "Prescriber": "Prescriber 1"}
        result = beside(job, label, Session="Species | sheep\nTime zone | UTC\nRules | GB")
        assert [row[:2] for row in told(result)] == [("withdrawal-not-stated", "warning")]
        assert {clear.state for clear in result.treatments["clear:meat"]} == {"not_stated"}


class TestSameActiveTwice:
    def actives(self, job, one, other, **sheets):
        return job(TWO, {"Active substance": one}, B | {"Active substance": other}, **({"Treatments": BOTH} | sheets))

    @pytest.mark.parametrize(("one", "other"), [("ivermectin", "levamisole"), (None, None), ("ivermectin", None)])
    def test_passes_with_different_actives(self, job, one, other):
        assert told(self.actives(job, one, other)) == []

    @pytest.mark.parametrize(
        ("one", "other"),
        [
            ("ivermectin", "Ivermectin"),
            ("ivermectin + clorsulon", "ivermectin"),
            ("ivermectin; clorsulon", "clorsulon"),
        ],
    )
    def test_the_same_active_twice_is_a_warning_and_nothing_is_clear(self, job, one, other):
        result = self.actives(job, one, other)
        assert told(result) == [("same-active-twice", "warning", "Weights!A2")]
        assert held(result) == []
        assert {clear.state for clear in result.treatments["clear:meat"]} == {"not_stated"}

    def test_only_animals_that_get_both_are_meant(self, job):
        lines = "Medicine | Mob\nwormer A |\nwormer B | River"
        result = self.actives(job, "ivermectin", "ivermectin", Treatments=lines)
        assert told(result) == [("same-active-twice", "warning", "Weights!A3")]
        states = dict(zip(result.treatments["tag"], result.treatments["clear:meat"], strict=True))
        assert (states["0412"].state, states["0413"].state) == ("from", "not_stated")

    def test_one_product_given_on_two_days_is_meant_too(self, job):
        lines = "Medicine | On\nwormer A | 2026-06-01\nwormer A | 2026-06-08"
        result = job(TWO, {"Active substance": "ivermectin"}, Treatments=lines)
        assert [row[:2] for row in told(result)] == [("same-active-twice", "warning")]


class TestNotUsed:
    """A medicine that nobody gets in this job gives no error."""

    @pytest.mark.parametrize(
        "label",
        [
            {"Dose rate": "some"}, {"Dose rate": None}, {"Strength": "strong"}, {"Route": None}, {"Expiry": "2020-01"},
            {"Doses": 3}, {"Off label": "yes"}, {"Dose rate": "0.2-0.4 mg/kg"}, {"Meat withdrawal": "long"},
            {"Graduation": None}, {"Type": "antibiotic", "Dose by": "mob"},
        ],
        ids=str,
    )  # fmt: skip
    def test_its_mistakes_are_at_most_warnings(self, job, label):
        result = job(TWO, B, label, give=["wormer B"])
        assert {level for _, level, _ in told(result)} <= {"warning"}
        assert given(result) == ONLY_B
        assert result.exit_status == 0

    @pytest.mark.parametrize(
        ("sheet", "rows"),
        [
            ("Stock", "Medicine | Pack size\nwormer A | a big one"),
            ("Dose_bands", "Medicine | From (kg) | To (kg) | Dose\nwormer A | 0 | 50 | lots"),
        ],
    )
    def test_nor_are_those_of_its_stock_and_bands(self, job, sheet, rows):
        result = job(TWO, B, {}, give=["wormer B"], **{sheet: rows})
        assert {level for _, level, _ in told(result)} <= {"warning"}
        assert result.exit_status == 0

    def test_a_label_that_is_used_by_one_animal_only_is_in_error(self, job):
        lines = "Medicine | Tag\nwormer B |\nwormer A | 0412"
        result = beside(job, {"Strength": "strong"}, Treatments=lines)
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == ONLY_B
        assert result.exit_status == 1


def test_a_vaccine_beside_a_held_wormer_is_given(job):
    result = job(TWO, {"Strength": "strong"}, VACCINE, Treatments="Medicine\nwormer A\nvaccine V")
    assert given(result) == {("0412", "vaccine V"): 2, ("0413", "vaccine V"): 2}
