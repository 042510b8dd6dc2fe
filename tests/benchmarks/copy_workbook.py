"""Copies one workbook, by ours or by openpyxl, in a process of its own; prints seconds and peak memory as JSON.

Arguments: `ours` or `openpyxl`, and the workbook. Loading of the libraries is not in the seconds, nor is
reading the file.
"""

from __future__ import annotations

import json
import sys
import time
from datetime import datetime
from io import BytesIO
from pathlib import Path

from run_stages import peak_mb

CLEAR = datetime(2026, 4, 11)  # noqa: DTZ001 - a cell holds no zone
#: The sheet has its headings in row 1 and the tags in column 1.
SHEET = "Weights"


def ours(data: bytes, rows: int) -> None:
    """The copy as the program makes it: the ten result columns of one medicine, and a result sheet."""
    from batchdose.write.earlier import Animals
    from batchdose.write.graft import Column, graft

    animals = range(rows)
    values: dict[str, list[object]] = {
        "Job: tag": [f"{animal:05d}" for animal in animals],
        "Job: medicine": ["wormer injection"] * rows,
        "Job: dose": [animal / 10 for animal in animals],
        "Job: unit": ["mL"] * rows,
        "Job: draft": [None] * rows,
        "Job: sites": [1] * rows,
        "Job: held and why": [None if animal % 50 else "DO NOT DOSE: there is no weight" for animal in animals],
        "Job: working": ["41.5 kg x 0.2 mg/kg / 10 mg/mL = 0.83 -> 0.9 mL"] * rows,
        "Job: meat clear from (expected)": [CLEAR] * rows,
        "Job: milk clear from (expected)": ["not stated"] * rows,
    }
    columns = [Column(heading, of_animals, 14) for heading, of_animals in values.items()]
    graft(data, SHEET, Animals(1, 1, [], range(2, rows + 2)), columns, _donor())


def _donor() -> bytes:
    from openpyxl import Workbook

    file = BytesIO()
    Workbook().save(file)
    return file.getvalue()


def theirs(data: bytes, _: int) -> None:
    """Loading and saving alone."""
    from openpyxl import load_workbook

    load_workbook(BytesIO(data)).save(BytesIO())


def main(which: str, path: Path, rows: int) -> None:
    """Copy the workbook and print what it took."""
    import openpyxl  # noqa: F401 - both need it, so neither is charged for it

    import batchdose.write.graft  # noqa: F401

    data = path.read_bytes()
    start = time.perf_counter()
    (ours if which == "ours" else theirs)(data, rows)
    seconds = time.perf_counter() - start
    print(json.dumps({"seconds": seconds, "memory": peak_mb()}))  # noqa: T201 - read by the test


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
