"""Where features meet: lines for one animal, rows of one medicine, held animals beside a mob, odd figures."""

from __future__ import annotations

import pytest
from sheets import given, held, told

from batchdose.findings import UnusableInputError
from batchdose.write.columns import animal_columns
from batchdose.write.job_sheet import build_job_sheet

OVER = ("dose-over-label", "mob-spread-wide")
B = {"Medicine": "wormer B"}
BOTH = "Medicine\nwormer A\nwormer B"


def rules(result):
    return [rule for rule, *_ in told(result, but=OVER)]


# Two lines for one animal.


@pytest.mark.parametrize(
    "line", ["| | 0412 | | 0.2 mg/kg", "| | 0412 | | 200 mcg/kg", "| | 0412 | 2026-06-01 |", "| | 0412 | | "]
)
def test_a_line_that_says_the_same_once_more_gives_nothing_more(job, line):
    rows = "Tag | Weight (kg) | Mob\n0412 | 40 | Hill\n0413 | 40 | Hill"
    session = "Species | sheep\nTime zone | UTC\nDate | 2026-06-01\nTime | 09:00"
    treatments = f"Medicine | Mob | Tag | On | Chosen rate\nwormer A | Hill | | |\nwormer A {line}"
    result = job(rows, Treatments=treatments, Session=session, on=None)
    assert (len(result.treatments), rules(result)) == (2, [])


@pytest.mark.parametrize("second", ["| | 0412 | | 0.3 mg/kg", "| | 0412 | 2026-06-02 |"])
def test_two_lines_that_meet_on_a_day_hold_the_animal(job, second):
    rows = "Tag | Weight (kg) | Mob\n0412 | 40 | Hill\n0413 | 40 | Hill"
    label = {"Dose rate": "0.2 mg/kg", "Highest rate": "0.4 mg/kg", "Doses": 3, "Every": "24 h"}
    treatments = f"Medicine | Mob | Tag | On | Chosen rate\nwormer A | Hill | | |\nwormer A {second}"
    result = job(rows, label, Treatments=treatments)
    assert "given-twice-a-day" in rules(result)
    assert {tag for tag, _ in given(result)} == {"0413"}
    assert {tag for tag, _ in held(result)} == {"0412"}


def test_a_reason_is_not_taken_away_by_a_line_without_one(job):
    label = {"Type": "antibiotic", "Prescriber": "Vet 1", "Dose by": "mob"}
    rows = "Tag | Weight (kg) | Mob\n0412 | 40 | Hill\n0413 | 40 | Hill"
    lines = ["wormer A | Hill | | foot rot", "wormer A | | 0412 |"]
    for order in (lines, lines[::-1]):
        result = job(rows, label, Treatments="\n".join(["Medicine | Mob | Tag | Reason", *order]))
        assert (len(given(result)), rules(result)) == (2, [])
    lines = ["Medicine | Mob | Tag | Reason", "wormer A | Hill | |", "wormer A | | 0412 | foot rot", "wormer B | | |"]
    alone = job(rows, label, B, Treatments="\n".join(lines))
    assert "antibiotic-by-mob" in rules(alone)


def test_a_course_that_is_held_stands_beside_the_one_that_is_given(job):
    treatments = "Medicine | Tag | On | Chosen rate\nwormer A | | 2026-06-01 |\nwormer A | 0412 | 2026-06-03 | 9 mg/kg"
    result = job("Tag | Weight (kg)\n0412 | 41.5", {"Highest rate": "0.3 mg/kg"}, Treatments=treatments)
    assert list(result.treatments["held"]) == [False, True]
    [[[row]]] = build_job_sheet(result).lists[0].pages
    [cell] = row.doses
    assert (cell.dose, cell.stop) == ("0.9 mL", False)
    assert cell.more == "1 Jun; DO NOT DOSE on 3 Jun"
    [beside] = [values for heading, values in animal_columns(result) if heading == "Job: held and why"]
    assert str(beside[2]).startswith("DO NOT DOSE on 3 Jun: ")
    [doses] = [values for heading, values in animal_columns(result) if heading == "Job: dose"]
    assert float(doses[2]) == 0.9


@pytest.mark.parametrize(("before", "shown"), [("2026-07-20", ["0413"]), ("2026-05-20", [])])
def test_an_earlier_treatment_of_a_held_animal_is_on_the_job_sheet_while_it_runs(job, before, shown):
    rows = f"Tag | Weight (kg) | Meat clear from\n0412 | 41.5 |\n0413 | | {before}"
    result = job(rows, {"Meat withdrawal": "1 day"})
    assert [tag for tag, _ in held(result)] == ["0413"]
    [mob] = build_job_sheet(result).clear
    lines = [(line.day, line.who) for line in mob.lines if line.product == "Meat"]
    assert [who for day, who in lines if day and day.month == 7] == shown
    assert len(lines) == 1 + len(shown)


# Rows of one medicine for other animals, in other units, with other devices.


def test_the_product_is_that_of_the_rows_in_use(job):
    bolus = {"Species": "cattle", "Strength": None, "Dose rate": "1 bolus/200 lb", "Graduation": "1 bolus",
             "Needle": "14 G x 2 in", "Device size": None, "Priming": None}  # fmt: skip
    stock = "Medicine | Pack size | Packs | Batch number\nwormer A | 100 mL | 1 | B1"
    result = job("Tag | Weight (kg)\n0412 | 41.5", bolus, {"Needle": "20 G x 1 in"}, Stock=stock)
    [plan] = result.product
    assert (float(plan.to_draw), plan.unit, plan.short, plan.packs[0].batch_no) == (0.9, "mL", 0, "B1")
    assert "bolus" not in str(build_job_sheet(result).take)


def test_two_units_of_one_medicine_are_two_products(job):
    tablet = {"Species": "cattle", "Strength": "50 mg/tablet", "Graduation": "1 tablet", "Dose rate": "0.2 mg/kg"}
    result = job("Tag | Weight (kg) | Species\n0412 | 41.5 | sheep\n0413 | 400 | cattle", tablet, {})
    assert {(plan.unit, float(plan.to_draw)) for plan in result.product} == {("tablet", 2.0), ("mL", 0.9)}


# Held animals never set a mob's dose; a whole mob must fit with both its ends.

TWELVE = "Tag | Weight (kg) | Mob\n" + "\n".join(f"{at:04d} | {40 + at % 5} | Hill" for at in range(401, 413))


@pytest.mark.parametrize("weight", ["60", "415"])
def test_an_outlier_sets_no_dose_for_those_that_are_not_weighed(job, weight):
    result = job(
        f"{TWELVE}\n0413 | {weight} | Hill", {"Dose by": "mob"}, Mobs="Mob | Head | Heaviest (kg)\nHill | 20 | 46"
    )
    assert [tag for tag, _ in held(result)] == ["0413"]
    assert set(given(result).values()) == {1.0}  # 46 kg x 0.2 mg/kg / 10 mg/mL


def test_a_held_animal_sets_no_dose_beside_a_stated_heaviest(job):
    rows = TWELVE.replace("| Mob", "| Mob | Status", 1) + "\n0413 | 56 | Hill | in milk"
    result = job(rows, {"Dose by": "mob", "Not for": "in milk"}, Mobs="Mob | Head | Heaviest (kg)\nHill | 20 | 46")
    assert set(given(result).values()) == {1.0}


def test_a_whole_mob_below_the_label_s_weight_is_held(job):
    mobs = "Mob | Head | Heaviest (kg) | Lightest (kg)\nHill | 20 | 50 | 26\nRiver | 20 | 50 | 31"
    label = {"Dose by": "mob", "Minimum weight": "30 kg"}
    result = job("Tag | Weight (kg)\n0412 | 41.5", label, Mobs=mobs)
    assert [name for name, _ in held(result)] == ["Hill"]
    rows = ({"Maximum weight": "30 kg", "Dose rate": "0.1 mg/kg"}, {"Minimum weight": "30.1 kg"})
    result = job("Tag | Weight (kg)\n0412 | 41.5", *({"Dose by": "mob"} | row for row in rows), Mobs=mobs)
    assert [name for name, _ in held(result)] == ["Hill"]


def test_a_corrected_gun_never_passes_the_highest_rate(job):
    label = {
        "Strength": "2 mg/mL",
        "Dose by": "mob",
        "Highest rate": "0.2 mg/kg",
        "Gun set to": "5 mL",
        "Gun gave": "47 mL",
    }
    [card] = build_job_sheet(job("Tag | Weight (kg)\n0412 | 50", label)).cards
    assert card.settings[0][2] == "5 mL (set to 5.3 mL)"  # 5.4 marks would give 5.08 mL


def test_milk_that_is_not_stated_for_this_animal_holds_it(job):
    label = {"Milk withdrawal": "35 days", "Milk after birth": "4 days", "Shortest dry period": "30 days"}
    rows = "Tag | Weight (kg) | Status | Gave birth\n0412 | 41.5 | in milk | 2026-03-10\n0413 | 41.5 | dry |"
    result = job(rows, label)
    assert held(result) == [("0412", "wormer A")]
    assert "product-not-permitted" in rules(result)


# Figures beyond sense are told at their cell, and never a fault of the program or a run without end.


@pytest.mark.parametrize(
    ("heading", "value"),
    [("Meat withdrawal", "4000000 days"), ("Milk withdrawal", "9999999 milkings"), ("Every", "99999999 days"),
     ("Every", "0 h"), ("Minimum age", "99999999 days"), ("Not within days before birth", 9999999),
     ("Shortest dry period", "9999999999 days"), ("Doses", 10_000_000)],
)  # fmt: skip
def test_figures_of_a_label_beyond_sense_hold_it(job, heading, value):
    label = {"Doses": 3, "Every": "24 h"} | {heading: value}
    result = job("Tag | Weight (kg)\n0412 | 41.5", label, B, Treatments=BOTH)
    assert "label-figure-unreadable" in rules(result)
    assert given(result).keys() == {("0412", "wormer B")}


@pytest.mark.parametrize("zone", ["UTC", "Australia/Sydney", "America/New_York"])
@pytest.mark.parametrize("date", ["0001-01-01", "9999-12-31", "9999-12-31 23:00"])
@pytest.mark.parametrize("heading", ["Born", "Slaughter on", "Sold on", "Gave birth", "Meat clear from", "Weighed on"])
def test_dates_beyond_sense_are_told(job, zone, date, heading):
    rows = f"Tag | Weight (kg) | {heading}\n0412 | 41.5 | {date}\n0413 | 41.5 |"
    result = job(rows, Session=f"Species | sheep\nTime zone | {zone}")
    assert {"date-unreadable", "weighing-fact-unreadable"} & set(rules(result))


def test_a_day_of_treatment_beyond_sense_stops_the_run(job):
    with pytest.raises(UnusableInputError, match="--on"):
        job("Tag | Weight (kg)\n0412 | 41.5", on="9999-12-31")


def test_drafts_heads_and_packs_beyond_sense_are_told(job):
    session = "Species | sheep\nTime zone | UTC\nLargest number of drafts | 1000000000"
    stock = "Medicine | Pack size | Packs\nwormer A | 100 mL | 100000000"
    result = job("Tag | Weight (kg)\n0412 | 41.5", {"Dose by": "drafts"}, Session=session, Stock=stock)
    assert set(rules(result)) == {"session-entry-unreadable", "entry-unreadable"}
