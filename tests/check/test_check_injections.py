"""Rules same-site, needle-too-fine, opened-too-long and rate-unlike-other-rows."""

from __future__ import annotations

import pytest
from sheets import given, held, medicine_cell, told

ONE = "Tag | Weight (kg)\n0412 | 41.5\n0413 | 45"
BOTH = "Medicine\nmedicine A\nmedicine B"


def injected(name, site, route="SC", **changes):
    return {"Medicine": name, "Route": route, "Site": site, **changes}


@pytest.mark.parametrize(
    ("first", "second", "place"),
    [
        ("neck", "side of the neck", "neck"), ("left neck", "left side of neck", "neck"),
        ("left neck", "right neck", None), ("neck", "in front of the shoulder", None), ("neck", None, None),
        ("behind the elbow", "Elbow", "elbow"),
    ],
)  # fmt: skip
def test_two_medicines_into_one_place_are_told(job, first, second, place):
    medicines = (injected("medicine A", first), injected("medicine B", second, route="IM"))
    result = job(ONE, *medicines, Treatments=BOTH)
    cell = medicine_cell("Site", *medicines)
    assert told(result) == ([("same-site", "warning", cell)] if place else [])
    assert f"into the {place} of 2 animals" in result.findings[0].message if place else not result.findings
    assert len(given(result)) == 4


def test_places_do_not_meet_where_the_days_the_animals_or_the_routes_differ(job):
    a, b = injected("medicine A", "neck"), injected("medicine B", "neck")
    days = "Medicine | On\nmedicine A | 2026-06-01\nmedicine B | 2026-06-03"
    animals = "Medicine | Tag\nmedicine A | 0412\nmedicine B | 0413"
    assert told(job(ONE, a, b, Treatments=days)) == []
    assert told(job(ONE, a, b, Treatments=animals)) == []
    assert told(job(ONE, a, injected("medicine B", "neck", route="pour-on"), Treatments=BOTH)) == []


def test_courses_that_overlap_meet(job):
    a, b = injected("medicine A", "neck", Doses=3, Every="24 h"), injected("medicine B", "neck")
    result = job(ONE, a, b, Treatments="Medicine | On\nmedicine A | 2026-06-01\nmedicine B | 2026-06-03")
    assert [rule for rule, *_ in told(result)] == ["same-site"]


@pytest.mark.parametrize(
    ("needle", "viscous", "fine"),
    [
        ("21 G x 1 in", "yes", True), ("18 G x 1 in", "yes", False), ("16 gauge", "yes", False), ("20G", "yes", True),
        ("21 G x 1 in", "no", False), ("21 G x 1 in", None, False), ("short and wide", "yes", False),
        ("16 G or 20 G", "yes", False),
    ],
)  # fmt: skip
def test_a_needle_too_fine_for_a_thick_medicine_is_told(job, needle, viscous, fine):
    medicine = {"Route": "SC", "Needle": needle, "Viscous": viscous}
    result = job(ONE, medicine)
    assert told(result) == ([("needle-too-fine", "warning", medicine_cell("Needle", medicine))] if fine else [])
    assert held(result) == []


# A pack opened on 1 May with 28 days in use serves until 28 May.
@pytest.mark.parametrize(("on", "past"), [("2026-05-28", False), ("2026-05-29", True), ("2026-06-01", True)])
def test_a_pack_past_its_in_use_life_is_told_and_not_planned(job, on, past):
    stock = """
    Medicine | Pack size | Opened on  | Use within | Left  | Batch number
    wormer A | 100 mL    | 2026-05-01 | 28 days    | 60 mL | B1
    wormer A | 100 mL    |            |            |       | B2
    """
    result = job(ONE, on=on, Stock=stock)
    assert told(result) == ([("opened-too-long", "warning", "Stock!A2")] if past else [])
    assert {tuple(batches) for batches in result.treatments["batch_no"]} == {("B2",) if past else ("B1",)}


@pytest.mark.parametrize(
    ("rate", "other", "apart"),
    [("0.2 mg/kg", "0.3 mg/kg", False), ("0.2 mg/kg", "1.9 mg/kg", False), ("0.2 mg/kg", "2 mg/kg", True),
     ("2 mg/kg", "0.2 mg/kg", True), ("1 mL/50 kg", "1 mL/5 kg", True)],
)  # fmt: skip
def test_rows_of_one_medicine_ten_times_apart_hold_it(job, rate, other, apart):
    rows = ({"Dose rate": rate}, {"Dose rate": other, "Species": "cattle"}, {"Medicine": "wormer B"})
    result = job(ONE, *rows, Treatments="Medicine\nwormer A\nwormer B")
    assert told(result) == ([("rate-unlike-other-rows", "error", medicine_cell("Dose rate", *rows))] if apart else [])
    assert len(held(result)) == (2 if apart else 0)


def test_two_medicines_may_be_ten_times_apart(job):
    assert told(job(ONE, {}, {"Medicine": "wormer B", "Dose rate": "5 mg/kg"}, give=["wormer A"])) == []


# 15 mL into muscle of sheep: Small Ruminant Manual, C275. 10 mL for cattle: Georgia beef quality assurance slides.


@pytest.mark.parametrize(
    ("species", "route", "strength", "limit", "warned"),
    [("sheep", "IM", "0.5 mg/mL", None, True), ("sheep", "IM", "0.5 mg/mL", "10 mL", False),
     ("sheep", "IM", "0.6 mg/mL", None, False), ("sheep", "oral", "0.5 mg/mL", None, False),
     ("cattle", "SC", "0.8 mg/mL", None, True)],
)  # fmt: skip
def test_a_large_dose_without_a_limit_for_one_place_is_told(job, species, route, strength, limit, warned):
    label = {"Species": species, "Route": route, "Strength": strength, "Max per site": limit}
    result = job("Tag | Weight (kg)\n0412 | 41.5", label, Session=f"Species | {species}\nTime zone | UTC")
    cell = medicine_cell("Max per site", label)
    assert told(result) == ([("site-limit-not-stated", "warning", cell)] if warned else [])
