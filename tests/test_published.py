"""What regulations, data sheets and handbooks print, against what the program computes.

Each table in `tests/published/` has a row per statement with its source, the tolerance that the printed
digits justify, and what is odd about it. Where a source contradicts itself or rounds, its number is kept
and the row says so; rows that are not tested say why.
"""

from __future__ import annotations

from collections import Counter
from datetime import datetime, time
from zoneinfo import ZoneInfo

import pytest
from published_sheets import checked, plan, rows, statement

from batchdose import UnusableInputError, clear_from, parse_period
from batchdose.model import Moment

#: Statements that were collected, by table: dose examples (DE), doses and withdrawal periods of labels (DW),
#: withdrawal examples (WE), worked figures of counting (WC).
COLLECTED = {
    ("doses.csv",): {"DE": 41, "DW": 47},
    ("withdrawal.csv", "clear_from.csv"): {"DW": 47, "WE": 23, "WC": 11},
}

DOSES = [row for row in checked("doses.csv") if row["check"] != "held"]
CONTRADICTIONS = [row for row in checked("doses.csv") if row["check"] == "held"]


@pytest.mark.parametrize("row", DOSES, ids=statement)
def test_dose_agrees_with_the_published_statement(row, tmp_path):
    got = plan(row, tmp_path).treatments.iloc[0]
    found = {"target": got["target"], "dose": got["dose"], "course": got["dose"] * got["doses"]}[row["check"]]
    assert not got["held"], got["why"]
    assert got["unit"] == row["unit"]
    assert found == pytest.approx(float(row["expected"]), rel=1e-12, abs=float(row["tolerance"])), row["why"]
    if row["sites"]:
        assert got["sites"] == int(row["sites"])
        assert sum(got["per_site"]) == pytest.approx(got["dose"])


@pytest.mark.parametrize("row", CONTRADICTIONS, ids=statement)
def test_printed_rates_that_contradict_each_other_are_refused(row, tmp_path):
    with pytest.raises(UnusableInputError, match="do not agree"):
        plan(row, tmp_path)


@pytest.mark.parametrize("row", checked("withdrawal.csv"), ids=statement)
def test_withdrawal_runs_from_the_last_dose_of_the_course(row, tmp_path):
    got = plan(row, tmp_path).treatments.iloc[0]
    for product in ("meat", "milk"):
        assert _shown(got[f"clear:{product}"]) == row[product], row["why"]


@pytest.mark.parametrize("row", checked("clear_from.csv"), ids=statement)
def test_period_ends_when_the_source_says(row):
    zone = ZoneInfo(row["zone"])
    last = Moment(datetime.fromisoformat(row["last"]).replace(tzinfo=zone), timed="T" in row["last"])
    milkings = [time.fromisoformat(at) for at in row["milking times"].split(", ") if at]
    period = parse_period(row["period"])
    got = clear_from(last, period, milking_times=milkings, milk=row["product"] == "milk")
    assert (got.state, _shown(got)) == (row["state"], row["clear"] or row["state"]), row["why"]


@pytest.mark.parametrize(("tables", "collected"), COLLECTED.items(), ids=str)
def test_no_published_statement_is_dropped(tables, collected):
    every = [row for table in tables for row in rows(table)]
    assert Counter(row_id[:2] for row_id in {row["id"] for row in every}) == collected
    assert all(row["source"] and row["printed"] for row in every)
    assert all(bool(row.get("not_tested")) != bool(row["tolerance"] and row["why"]) for row in every)


def _shown(clear) -> str:
    return clear.at.strftime("%Y-%m-%dT%H:%M") if clear.at else clear.state
