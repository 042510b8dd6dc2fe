"""Rules about who gets what: the label's limits, status, birth, and what happens to the animal afterwards.

Treatment is on 1 June 2026 with no hour known: 14 days are over at the start of 16 June.
"""

from __future__ import annotations

import pytest
from sheets import VACCINE, given, held, told

BOTH = "Medicine\nwormer A\nvaccine V"


def animal(heading, value, *more):
    """Two animals: 0412 with this entry, and 0413 with nothing to be found against it."""
    headings, values = zip((heading, value), *more, strict=True)
    return [["Tag", "Weight (kg)", *headings], ["0412", 45, *values], ["0413", 45, *[None] * len(headings)]]


def holds_that_animal_alone(result, rule, cell):
    """The rule is an error at this cell; 0412 is held from wormer A, and 0413 is not."""
    assert told(result) == [(rule, "error", cell)]
    assert held(result) == [("0412", "wormer A")]
    assert given(result)["0413", "wormer A"] == 0.9
    assert result.exit_status == 1


class TestOutsideLabelWeight:
    @pytest.mark.parametrize(
        "label", [{"Minimum weight": "45 kg"}, {"Maximum weight": "45 kg"}, {"Minimum weight": "99 lb"}]
    )
    def test_passes_at_the_limit(self, job, label):
        assert told(job("Tag | Weight (kg)\n0412 | 45", label)) == []

    @pytest.mark.parametrize("label", [{"Minimum weight": "45 kg"}, {"Minimum weight (kg)": 45}])
    def test_below_the_limit_holds_that_animal(self, job, label):
        result = job("Tag | Weight (kg)\n0412 | 44.9\n0413 | 45", label)
        holds_that_animal_alone(result, "outside-label-weight", "Weights!B2")

    def test_above_the_limit_holds_that_animal(self, job):
        result = job("Tag | Weight (kg)\n0412 | 45.1\n0413 | 45", {"Maximum weight": "45 kg"})
        holds_that_animal_alone(result, "outside-label-weight", "Weights!B2")

    def test_the_other_medicine_is_given(self, job):
        result = job("Tag | Weight (kg)\n0412 | 44.9", {"Minimum weight": "45 kg"}, VACCINE, Treatments=BOTH)
        assert held(result) == [("0412", "wormer A")]
        assert given(result) == {("0412", "vaccine V"): 2}

    def test_no_reason_softens_it(self, job):
        result = job("Tag | Weight (kg) | Give anyway\n0412 | 44.9 | nearly\n0413 | 45 |", {"Minimum weight": "45 kg"})
        assert held(result) == [("0412", "wormer A")]


class TestUnderAge:
    @pytest.mark.parametrize("born", ["2026-04-20", "2026-01-01"])
    def test_passes_at_the_age_the_label_asks_for(self, job, born):
        assert told(job([["Tag", "Weight (kg)", "Born"], ["0412", 45, born]], {"Minimum age": "6 weeks"})) == []

    def test_younger_is_held(self, job):
        animals = [["Tag", "Weight (kg)", "Born"], ["0412", 45, "2026-04-21"], ["0413", 45, "2026-01-01"]]
        holds_that_animal_alone(job(animals, {"Minimum age": "6 weeks"}), "under-age", "Weights!C2")

    def test_an_age_not_known_is_held(self, job):
        animals = [["Tag", "Weight (kg)", "Born"], ["0412", 45, None], ["0413", 45, "2026-01-01"]]
        result = job(animals, {"Minimum age": "42 days"})
        holds_that_animal_alone(result, "under-age", "Weights!C2")
        assert result.findings[0].seen == ""

    def test_nobody_is_asked_where_the_label_does_not_ask(self, job):
        assert told(job(animal("Born", "2026-05-30"))) == []


class TestExcludedStatus:
    @pytest.mark.parametrize("status", ["dry", "not in milk", "not pregnant"])
    def test_passes_another_status(self, job, status):
        animals = [["Tag", "Weight (kg)", "Status"], ["0412", 45, status]]
        assert told(job(animals, {"Not for": "milk, pregnant"})) == []

    @pytest.mark.parametrize(
        ("status", "not_for"),
        [
            ("in milk", "milk"), ("In Milk", "in milk"), ("lactating", "milk, pregnant"), ("pregnant", "pregnant"),
            ("in lamb", "milk; pregnant"), ("in milk; pregnant", "pregnant"), ("dry; in calf", "pregnant"),
        ],
    )  # fmt: skip
    def test_an_excluded_status_holds_that_animal(self, job, status, not_for):
        rows = [["Tag", "Weight (kg)", "Status", "Give anyway"], ["0412", 45, status, "seen by the vet"]]
        result = job([*rows, ["0413", 45, "dry", None]], {"Not for": not_for})
        holds_that_animal_alone(result, "excluded-status", "Weights!C2")

    @pytest.mark.parametrize(
        ("not_for", "of"),
        [
            ("lambs", ("lamb", "ewe")), ("Lamb", ("Lambs", "ewe")), ("lambs", ("ewe lamb", "ewe")),
            ("calves", ("calf", "ewe")), ("rams", ("ram", "ewe")), ("in milk, lambs", ("lamb", None)),
        ],
    )  # fmt: skip
    def test_a_class_is_the_same_in_the_plural(self, job, not_for, of):
        animals = [["Tag", "Weight (kg)", "Status", "Class"], ["0412", 45, "dry", of[0]], ["0413", 45, "dry", of[1]]]
        holds_that_animal_alone(job(animals, {"Not for": not_for}), "excluded-status", "Weights!C2")

    def test_males_by_any_word_for_them(self, job):
        animals = [["Tag", "Weight (kg)", "Status", "Sex"], ["0412", 45, None, "wether"], ["0413", 45, None, "ewe"]]
        holds_that_animal_alone(job(animals, {"Not for": "males"}), "excluded-status", "Weights!C2")

    @pytest.mark.parametrize(
        "not_for", ["animals in milk", "lactating ewes", "pregnancy", "Pregnant animals", "in-milk"]
    )
    def test_a_status_said_of_animals_is_understood(self, job, not_for):
        animals = [["Tag", "Weight (kg)", "Status"], ["0412", 45, "in milk; pregnant"], ["0413", 45, "dry"]]
        holds_that_animal_alone(job(animals, {"Not for": not_for}), "excluded-status", "Weights!C2")

    def test_it_is_one_line_for_the_mob(self, job):
        rows = [[f"{401 + at:04d}", 45, "Hill", "in milk"] for at in range(20)]
        result = job([["Tag", "Weight (kg)", "Mob", "Status"], *rows], {"Not for": "milk"})
        assert told(result) == [("excluded-status", "error", "Weights!D2")]
        assert "20 of mob" in result.findings[0].message
        assert len(held(result)) == 20


class TestProductNotPermitted:
    def animals(self, status):
        rows = [["Tag", "Weight (kg)", "Status"], ["0412", 45, status], ["0413", 45, "dry"]]
        return [[*row, note] for row, note in zip(rows, ("Give anyway", "seen by the vet", None), strict=True)]

    @pytest.mark.parametrize("period", ["72 h", "3 days", "0 days"])
    def test_passes_in_milk_with_a_stated_period(self, job, period):
        assert told(job(self.animals("in milk"), {"Milk withdrawal": period})) == []

    def test_not_permitted_holds_the_animal_in_milk(self, job):
        result = job(self.animals("in milk"), {"Milk withdrawal": "not permitted"})
        holds_that_animal_alone(result, "product-not-permitted", "Weights!C2")

    def test_not_stated_holds_the_animal_in_milk(self, job):
        result = job(self.animals("in milk"), {"Milk withdrawal": None})
        assert ("product-not-permitted", "error", "Weights!C2") in told(result)
        assert held(result) == [("0412", "wormer A")]

    @pytest.mark.parametrize("label", [{"Eggs withdrawal": "not permitted"}, {}])
    def test_the_same_holds_for_eggs(self, job, label):
        result = job(self.animals("laying"), label)
        holds_that_animal_alone(result, "product-not-permitted", "Weights!C2")
        assert told(job(self.animals("laying"), {"Eggs withdrawal": "10 days"})) == []

    def test_the_other_medicine_is_given(self, job):
        result = job(self.animals("in milk"), {"Milk withdrawal": "not permitted"}, VACCINE, Treatments=BOTH)
        assert held(result) == [("0412", "wormer A")]
        assert given(result)["0412", "vaccine V"] == 2


class TestTooNearBirth:
    LABEL = {"Not within days before birth": 30}  # noqa: RUF012 - a label, never changed

    @pytest.mark.parametrize("due", ["2026-07-01", "2026-08-01"])
    def test_passes_well_before_birth(self, job, due):
        assert told(job(animal("Due", due), self.LABEL)) == []

    @pytest.mark.parametrize("due", ["2026-06-30", "2026-06-02"])
    def test_too_near_is_held(self, job, due):
        holds_that_animal_alone(job(animal("Due", due), self.LABEL), "too-near-birth", "Weights!C2")

    def test_it_counts_from_the_last_dose(self, job):
        course = self.LABEL | {"Doses": 3, "Every": "24 h"}
        assert held(job(animal("Due", "2026-07-02"), course)) == [("0412", "wormer A")]
        assert held(job(animal("Due", "2026-07-03"), course)) == []

    def test_pregnant_without_a_date_is_held(self, job):
        result = job(animal("Due", None, ("Status", "pregnant")), self.LABEL)
        holds_that_animal_alone(result, "too-near-birth", "Weights!C2")

    def test_an_animal_that_has_given_birth_is_not_near_it(self, job):
        result = job(animal("Due", "2026-05-20", ("Gave birth", "2026-05-22")), self.LABEL)
        assert held(result) == []


class TestLeavesBeforeClear:
    def test_passes_slaughter_from_the_day_it_is_clear(self, job):
        assert told(job(animal("Slaughter on", "2026-06-16"))) == []

    @pytest.mark.parametrize("heading", ["Slaughter on", "Leaves on", "Slaughter date"])
    def test_slaughter_before_it_is_clear_holds_that_animal(self, job, heading):
        holds_that_animal_alone(job(animal(heading, "2026-06-15")), "leaves-before-clear", "Weights!C2")

    def test_slaughter_with_the_period_not_stated_holds_too(self, job):
        result = job(animal("Slaughter on", "2027-06-15"), {"Meat withdrawal": None})
        assert ("leaves-before-clear", "error", "Weights!C2") in told(result)
        assert held(result) == [("0412", "wormer A")]

    def test_a_reason_lets_a_person_decide_and_never_makes_it_clear(self, job):
        result = job(animal("Slaughter on", "2026-06-10", ("Give anyway", "emergency, Vet 1")))
        assert told(result) == [("leaves-before-clear", "warning", "Weights!D2")]
        assert result.findings[0].seen == "emergency, Vet 1"
        assert given(result)["0412", "wormer A"] == 0.9
        assert result.treatments["clear:meat"].iloc[0].at.isoformat() == "2026-06-16T00:00:00+00:00"
        assert result.exit_status == 0

    def test_a_reason_for_one_does_not_soften_it_for_another(self, job):
        rows = [["0412", 45, "2026-06-10", "emergency, Vet 1"], ["0413", 45, "2026-06-10", None]]
        result = job([["Tag", "Weight (kg)", "Slaughter on", "Give anyway"], *rows])
        assert sorted(row[1] for row in told(result)) == ["error", "warning"]
        assert held(result) == [("0413", "wormer A")]

    def test_first_milk_sold_before_milk_is_clear_holds(self, job):
        assert told(job(animal("First milk sold", "2026-06-05"))) == []
        result = job(animal("First milk sold", "2026-06-04"))
        holds_that_animal_alone(result, "leaves-before-clear", "Weights!C2")

    def test_milk_counted_from_birth_holds_too(self, job):
        label = {"Milk withdrawal": "0 days", "Milk after birth": "4 days"}
        dates = ("Gave birth", "2026-06-20")
        assert held(job(animal("First milk sold", "2026-06-25", dates), label)) == []
        assert held(job(animal("First milk sold", "2026-06-22", dates), label)) == [("0412", "wormer A")]

    def test_the_same_active_twice_is_never_clear_so_slaughter_holds(self, job):
        one, other = {"Active substance": "ivermectin"}, {"Medicine": "wormer B", "Active substance": "ivermectin"}
        lines = "Medicine\nwormer A\nwormer B"
        result = job(animal("Slaughter on", "2026-12-01"), one, other, Treatments=lines)
        assert {tag for tag, _ in held(result)} == {"0412"}

    def test_only_the_medicine_that_is_in_the_way_is_held(self, job):
        result = job(animal("Slaughter on", "2026-06-10"), {}, VACCINE, Treatments=BOTH)
        assert held(result) == [("0412", "wormer A")]
        assert given(result)["0412", "vaccine V"] == 2


class TestSoldBeforeClear:
    def test_passes_sold_after_it_is_clear(self, job):
        assert told(job(animal("Sold on", "2026-06-16"))) == []

    def test_sold_alive_inside_the_period_is_a_declaration_and_holds_nobody(self, job):
        result = job(animal("Sold on", "2026-06-10"))
        assert told(result) == [("sold-before-clear", "note", "Weights!C2")]
        assert "Tuesday 16 June 2026" in result.findings[0].fix
        assert (held(result), result.exit_status) == ([], 0)

    def test_sold_with_the_period_not_stated_is_declared_too(self, job):
        result = job(animal("Sold on", "2026-06-10"), {"Meat withdrawal": None})
        assert ("sold-before-clear", "note", "Weights!C2") in told(result)


@pytest.mark.parametrize(
    ("label", "entry"),
    [
        ({"Minimum age": "6 weeks"}, ("Born", "2026-05-30")), ({"Not for": "pregnant"}, ("Status", "pregnant")),
        ({"Milk withdrawal": "not permitted"}, ("Status", "in milk")),
        ({"Not within days before birth": 30}, ("Due", "2026-06-10")),
    ],
    ids=["under-age", "excluded-status", "product-not-permitted", "too-near-birth"],
)  # fmt: skip
def test_a_hard_hold_stays_whatever_stands_under_give_anyway(job, label, entry):
    rows = [["Tag", "Weight (kg)", entry[0], "Give anyway"], ["0412", 45, entry[1], "the vet said so"]]
    result = job(rows, label)
    assert held(result) == [("0412", "wormer A")]
    assert result.exit_status == 1


def test_what_was_seen_is_never_a_word_of_the_program(job):
    label = {"Minimum age": "6 weeks", "Not within days before birth": 30}
    result = job(animal("Born", None, ("Due", None), ("Status", "pregnant")), label)
    assert {f.seen for f in result.findings} & {"None", "NaT", "nan"} == set()
