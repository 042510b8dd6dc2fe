"""Dates that could be two: refused, unless the session says which comes first."""

from __future__ import annotations

import pytest
from sheets import told

SESSION = "Species | sheep\nTime zone | UTC"
SOLD = "Tag | Weight (kg) | Slaughter on\n0412 | 41.5 | 03/04/2027"


def test_without_a_word_of_the_session_it_is_refused(job):
    result = job(SOLD, Session=SESSION)
    assert told(result) == [("date-unreadable", "error", "Weights!C2")]
    assert "Date order" in result.findings[0].fix


@pytest.mark.parametrize(("order", "month"), [("day first", 4), ("Month first", 3)])
def test_the_session_says_which_comes_first(job, order, month):
    result = job(SOLD, Session=f"{SESSION}\nDate order | {order}")
    assert told(result) == []
    assert result.session.animals["slaughter_on"].iloc[0].month == month


@pytest.mark.parametrize(("order", "month"), [("day first", 4), ("month first", 3)])
def test_the_date_of_the_session_and_of_a_treatment_follow_it(job, order, month):
    lines = "Medicine | On\nwormer A | 03/04/2026"
    session = f"{SESSION}\nDate order | {order}\nDate | 03/04/2026"
    result = job("Tag | Weight (kg)\n0412 | 41.5", on=None, Session=session, Treatments=lines)
    assert result.planned.at.month == month
    assert result.treatments["planned_for"].iloc[0][0].at.month == month


def test_a_date_that_cannot_be_in_that_order_is_refused(job):
    result = job(SOLD.replace("03/04", "25/04"), Session=f"{SESSION}\nDate order | month first")
    assert told(result) == [("date-unreadable", "error", "Weights!C2")]


def test_an_order_that_is_none_is_named(job):
    result = job("Tag | Weight (kg)\n0412 | 41.5", Session=f"{SESSION}\nDate order | any")
    assert told(result) == [("session-entry-unreadable", "error", "Session!B3")]
