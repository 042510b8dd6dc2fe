"""Time and memory of the copy of a workbook against openpyxl loading and saving the same file, each alone.

`python -m pytest -m benchmark -s tests/benchmarks/test_copy_speed.py` prints the figures.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import click
import pytest
import xlsxwriter
from big_sheets import SEED
from test_speed import best, measure

if TYPE_CHECKING:
    from pathlib import Path

#: For each number of rows: the parts of openpyxl's time and memory that ours may take, and how often to measure.
MOST = {10_000: (1 / 3, 1, 3), 100_000: (1 / 4, 1 / 4, 1)}
COLUMNS = (
    "Tag", "EID", "Mob", "Species", "Sex", "Status", "Weight (kg)", "Weighed on", "Note", "Pen", "Score", "Seen by",
)  # fmt: skip


def write_sheet(path: Path, rows: int) -> Path:
    """A workbook of one sheet with 12 columns of texts and numbers."""
    chance = random.Random(SEED)  # noqa: S311 - weights for measuring, not a secret
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Weights")
        sheet.write_row(0, 0, COLUMNS)
        for row in range(1, rows + 1):
            weight = round(chance.gauss(43.5, 5.5) * 2) / 2
            animal = (f"{row:05d}", f"9990000{row:08d}", f"Mob {row // 50}", "sheep", "ewe", "dry", weight, 46094)
            sheet.write_row(row, 0, (*animal, f"note {row}", row % 20, row / 2, "Operator 1"))
    return path


@pytest.mark.benchmark
def test_the_copy_takes_a_part_of_what_openpyxl_takes(tmp_path):
    seconds = {}
    for rows, (of_time, of_memory, runs) in MOST.items():
        path = write_sheet(tmp_path / f"{rows}.xlsx", rows)
        ours, theirs = (
            best([measure("copy_workbook.py", which, path, str(rows)) for _ in range(runs)]).told
            for which in ("ours", "openpyxl")
        )
        ratios = {name: ours[name] / theirs[name] for name in ours}
        for name, told in (("ours", ours), ("openpyxl", theirs)):
            click.echo(f"{rows:>9,} rows {name:10}{told['seconds']:8.2f} s{told['memory']:8.0f} MB")
        click.echo(f"{'ratio':>26}{ratios['seconds']:8.2f}  {ratios['memory']:8.2f}")
        assert ratios["seconds"] <= of_time
        assert ratios["memory"] <= of_memory
        seconds[rows] = ours["seconds"]
    few, many = sorted(seconds)
    assert seconds[many] / seconds[few] <= 1.5 * many / few, "time grows as the number of rows"
