"""Rows of the page of published statements that come from `tests/published/`: theirs, and ours as computed now."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime, time
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple
from zoneinfo import ZoneInfo

from published_sheets import Row, plan, rows
from small_jobs import MORNING
from test_published_minimums import example

from batchdose import UnusableInputError, clear_from, parse_period
from batchdose.amounts import number_text
from batchdose.calculate.courses import course_clear
from batchdose.calculate.tolerance import number_to_weigh, tolerance_factor
from batchdose.calculate.working import label_text
from batchdose.model import Clear, Course, Moment

MEMORY, NOT_TESTED = "From memory.", "Not tested:"
#: What a column `state` says of a source; in the table of periods it is the state of clear-from.
HOW_KNOWN = ("read", "from memory", "not verified")


class Line(NamedTuple):
    """One row of the page, in the order of its headings."""

    row: str
    source: str
    states: str
    theirs: str
    ours: str
    tolerance: str
    remark: str


def line(row: Row, theirs: str, ours: str, states: str = "") -> Line:
    """A row of a table in `tests/published/`; one that is not tested has nothing of ours."""
    if row.get("not_tested"):
        ours, tolerance, remarks = "", "", [f"{NOT_TESTED} {row['not_tested']}"]
    else:
        tolerance = "none" if float(row["tolerance"]) == 0 else row["tolerance"]
        remarks = [sentence(row["why"]), row.get("note", "")]
    known = row.get("state", "")
    remarks.insert(0, remembered(known) if known in HOW_KNOWN else "")
    source = ", ".join(filter(None, (row["source"], row["clause"])))
    return Line(row["id"], source, states or row["statement"], theirs, ours, tolerance, " ".join(filter(None, remarks)))


def sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "." if text else ""


def remembered(state: str) -> str:
    """Whether a figure was read in its source, as a table says it."""
    return MEMORY if state == "from memory" else sentence(state)


def shown(clear: Clear) -> str:
    return f"{clear.at:%Y-%m-%d %H:%M}" if clear.at else clear.state.replace("_", " ")


def doses() -> Iterator[Line]:
    with TemporaryDirectory() as folder:
        for row in rows("doses.csv"):
            rate = row["Chosen rate"] or row["Dose rate"] or "the bands"
            strength = f" of {row['Strength']}" if row["Strength"] else ""
            states = f"{row['statement']}: {row['printed']}"
            if row["not_tested"]:
                yield line(row, row["printed"], "", states)
                continue
            states += f" (here {row['Weight']}, {label_text(rate + strength)})"
            yield line(row, f"{row['expected']} {row['unit']}".strip(), _dose(row, Path(folder)), states)


def _dose(row: Row, folder: Path) -> str:
    try:
        got = plan(row, folder).treatments.iloc[0]
    except UnusableInputError:
        return "refused: what is printed does not agree with itself"
    found = {"target": got["target"], "dose": got["dose"], "course": got["dose"] * got["doses"]}[row["check"]]
    sites = f", {got['sites']} site{'s' if got['sites'] > 1 else ''}" if row["sites"] else ""
    return f"{number_text(float(found), 6)} {got['unit']}{sites}"


def withdrawals() -> Iterator[Line]:
    with TemporaryDirectory() as folder:
        for row in rows("withdrawal.csv"):
            got = plan(row, Path(folder)).treatments.iloc[0]
            ours = "; ".join(f"{product} {shown(got[f'clear:{product}'])}" for product in ("meat", "milk"))
            doses = f" ({row['Doses']} doses, every {row['Every']})" if row["Doses"] else ""
            yield line(row, row["printed"], ours, row["statement"] + doses)


def periods() -> Iterator[Line]:
    for row in rows("clear_from.csv"):
        if row["not_tested"]:
            yield line(row, row["printed"], "")
            continue
        last = Moment(datetime.fromisoformat(row["last"]).replace(tzinfo=ZoneInfo(row["zone"])), "T" in row["last"])
        milkings = [time.fromisoformat(at) for at in row["milking times"].split(", ") if at]
        period, milk = parse_period(row["period"]), row["product"] == "milk"
        ours = shown(clear_from(last, period, milking_times=milkings, milk=milk))
        states = f"{row['statement']} (last dose {row['last'].replace('T', ' ')}, {row['zone']}, {row['product']})"
        yield line(row, row["printed"], ours, states)


def printed_minimums() -> Iterator[Line]:
    for row in rows("minimums.csv"):
        if row["not_tested"]:
            yield line(row, row["printed"], "")
            continue
        given, facts, species = example(row)
        clear = course_clear(Course(0, None, (MORNING,), ()), given, row["product"], facts, species)
        ours = shown(clear) if clear.at is None else f"{_hours(clear)} h after the last dose"
        longest = f", longest on a label {row['Longest label']}" if row["Longest label"] else ""
        states = f"{row['statement']} (here {row['product']}, stated {row['stated']}{longest})"
        yield line(row, row["printed"], ours, states)


def _hours(clear: Clear) -> str:
    return number_text((clear.at.astimezone(UTC) - MORNING.at).total_seconds() / 3600)


def limits_of_samples() -> Iterator[Line]:
    for row in rows("tolerance.csv"):
        share, confidence = (Fraction(row[name]) / 100 for name in ("share %", "confidence %"))
        if row["kind"] == "to weigh":
            states = f"fewest to weigh, for the {_place(row['rank'])} of them"
            ours = number_text(number_to_weigh(share, confidence, rank=int(row["rank"])))
        else:
            factor, n = tolerance_factor(int(row["n"]), share, confidence), int(row["n"])
            states = f"{'factor k' if row['kind'] == 'factor' else 'k times the root of n'}, n = {n}"
            ours = f"{factor if row['kind'] == 'factor' else factor * math.sqrt(n):.6f}"
        yield line(row, row["printed"], ours, f"{states}: {row['share %']} % above, confidence {row['confidence %']} %")


def _place(rank: str) -> str:
    return {"1": "heaviest", "2": "second heaviest", "3": "third heaviest"}[rank]
