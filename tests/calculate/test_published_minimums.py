"""Legal minimums, defaults and organic rules as they are printed, against what the program counts with.

`tests/published/minimums.csv` has a row or more for each printed rule: its article, whether it was read or
written from memory, an example, and the hours from the last dose; rows that are not tested say why.
"""

from __future__ import annotations

from datetime import UTC, time

import pytest
from published_sheets import checked, rows, statement
from small_jobs import MORNING, medicine

from batchdose import parse_period
from batchdose.calculate.courses import course_clear
from batchdose.calculate.minimums import minimums, periods_in_force
from batchdose.model import Course, SessionFacts

#: Printed rules that were collected, figures or not.
COLLECTED = 55
YES_NO = {"yes": True, "no": False, "": None}


def example(row):
    """Medicine, facts and species of a row; milkings are those of the hour of the dose and twelve hours later."""
    product = row["product"]
    longest = {product: parse_period(row["Longest label"])} if row["Longest label"] else {}
    given = medicine(
        withdrawal={product: parse_period(row["stated"])}, longest_label=longest, type=row["Type"],
        active=row["Active"], off_label=row["Off label"] == "yes", for_food_animals=YES_NO[row["For food animals"]],
    )  # fmt: skip
    facts = SessionFacts(rules=row["Rules"], organic=row["Organic"] == "yes", milking_times=(time(9), time(21)))
    return given, facts, frozenset({row["Species"]})


@pytest.mark.parametrize("row", checked("minimums.csv"), ids=statement)
def test_the_minimum_is_the_one_printed(row):
    given, facts, species = example(row)
    clear = course_clear(Course(0, None, (MORNING,), ()), given, row["product"], facts, species)
    if row["hours"] == "not_stated":
        assert (clear.state, clear.at) == ("not_stated", None), row["why"]
    else:
        elapsed = clear.at.astimezone(UTC) - MORNING.at
        later = elapsed.total_seconds() / 3600 - float(row["hours"])
        # Milk is clear at the next milking, which is at most twelve hours later; no example here needs it.
        assert later == float(row["tolerance"]), row["why"]


def test_no_printed_rule_is_dropped_and_each_has_its_source():
    every = rows("minimums.csv")
    assert {row["id"] for row in every} == {f"WM-{number:03d}" for number in range(1, COLLECTED + 1)}
    assert all(row["source"] and row["printed"] and row["state"] for row in every)
    assert all(bool(row["not_tested"]) != bool(row["tolerance"] and row["why"]) for row in every)


def test_every_row_of_the_program_s_table_is_used_by_a_printed_example():
    used = []
    for row in checked("minimums.csv"):
        given, facts, species = example(row)
        periods, _ = periods_in_force(given, row["product"], facts, species)
        used += [(row["Rules"], row["product"], period.text) for period in periods]
    for row in minimums():
        figure = f"{row['value']} x" if row["unit"] == "x" else f"{row['value']} {row['unit']}"
        texts = [text for rules, product, text in used if (rules, product) == (row["rules"], row["product"])]
        assert any(text.startswith(figure) and text.endswith(f"({row['article']})") for text in texts), row


def test_organic_rules_by_active_hold_only_where_every_active_and_species_is_listed():
    facts = SessionFacts(rules="US", organic=True)

    def state(active, *species):
        given = medicine(withdrawal={"milk": parse_period("0 days")}, active=active)
        return course_clear(Course(0, None, (MORNING,), ()), given, "milk", facts, frozenset(species)).state

    assert state("atropine", "sheep") == state("Atropine; butorphanol", "sheep") == "from"
    assert state("atropine; oxytetracycline", "sheep") == "not_stated"
    assert state("fenbendazole", "cattle") == state("fenbendazole", "cattle", "goat") == "from"
    assert state("fenbendazole", "cattle", "deer") == state("fenbendazole", "horse") == "not_stated"
    assert state("", "sheep") == "not_stated"
