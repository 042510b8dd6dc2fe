"""What the tests of the outputs share: the examples planned and printed once, and what a list must show."""

from __future__ import annotations

from collections import defaultdict
from functools import cache
from pathlib import Path
from typing import Any

from batchdose import Result, plan_job
from batchdose.write.job_sheet import build_job_sheet
from batchdose.write.render import render_html, render_print
from batchdose.write.results import results

EXAMPLES = Path(__file__).resolve().parents[2] / "example_sheets"
NAMES = ("hoggets", "dairy_goats")
HELD = "DO NOT DOSE"

Row = dict[str, Any]


@cache
def example(name: str) -> Result:
    """The job of an example folder."""
    return plan_job(EXAMPLES / name / "weighing.xlsx", EXAMPLES / name / "medicines.xlsx")


@cache
def example_html(name: str) -> str:
    """The job sheet of an example folder."""
    return html_of(example(name))


@cache
def example_print(name: str) -> str:
    """The job sheet of an example folder as it is handed to the printer."""
    return render_print(build_job_sheet(example(name)))


def html_of(result: Result) -> str:
    """The job sheet of a job."""
    return render_html(build_job_sheet(result))


def listed(result: Result) -> list[tuple[str, str, tuple[str, ...]]]:
    """What the lists must show, from the results: mob, tag, and the dose text of each medicine of the mob.

    Mobs in sheet order, tags sorted; an animal's own medicines in the order of the medicines sheet.
    """
    order = {medicine.name: at for at, medicine in reversed(list(enumerate(result.medicines)))}
    mobs: dict[str, dict[str, list[Row]]] = defaultdict(lambda: defaultdict(list))
    for row in results(result)["treatments"]:
        mobs[row["mob"]][row["row"]].append(row)
    lines = []
    for mob, animals in mobs.items():
        names = sorted({row["medicine"] for rows in animals.values() for row in rows}, key=order.__getitem__)
        for rows in sorted(animals.values(), key=lambda rows: rows[0]["tag"]):
            doses = {row["medicine"]: HELD if row["held"] else f"{row['dose']:g} {row['unit']}" for row in rows}
            lines.append((mob, rows[0]["tag"], tuple(doses.get(name, "") for name in names)))
    return lines
