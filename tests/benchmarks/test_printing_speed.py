"""Printing the job sheet, pictures included, against WeasyPrint printing the same cells as one plain table.

`python -m pytest -m benchmark -s tests/benchmarks/test_printing_speed.py` prints the figures. Both are printed in the
same run, in turns, and the best of each counts. They are those of the clock, from when WeasyPrint is loaded.
"""

from __future__ import annotations

import re

import click
import pytest
from big_sheets import write_sheets
from test_speed import measure

from batchdose import plan_job
from batchdose.write.job_sheet import build_job_sheet
from batchdose.write.render import render_print

#: Five hundred animals may take this many times what the plain table takes, a hundred so long [s].
MOST_TIMES_PLAIN = 1.5
MOST_FOR_A_HUNDRED_S = 0.9
#: Two processes may take this part of what one takes, and so much memory in all [MB].
MOST_OF_ONE_PROCESS = 0.7
MOST_MEMORY_MB = 600
_ROW = re.compile(r'<tr[^>]*>(<th scope="row">[^<]*</th><td class="weight">.*?)</tr>')
_CELL = re.compile(r"<t[hd][^>]*>(.*?)</t[hd]>")


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    """HTML files of so many animals: the job sheet for print, and the cells of its lists as a plain table."""

    def make(animals: int):
        folder = tmp_path_factory.mktemp(str(animals))
        html = render_print(build_job_sheet(plan_job(*write_sheets(folder, animals))))
        rows = [[re.sub("<[^>]+>", "", cell) for cell in _CELL.findall(row)] for row in _ROW.findall(html)]
        assert len(rows) == animals
        cells = "".join(f"<tr>{''.join(f'<td>{cell}</td>' for cell in row)}</tr>" for row in rows)
        plain = f'<!DOCTYPE html><html lang="en"><title>plain</title><table>{cells}</table></html>'
        paths = folder / "sheet.html", folder / "plain.html"
        for path, text in zip(paths, (html, plain), strict=True):
            path.write_text(text, encoding="utf-8")
        return paths

    return make


def best(runs):
    return min(runs, key=lambda told: told["seconds"]["clock"])


def in_turns(times: int, *commands):
    """The best of each command, all of them run in turns."""
    told = [[measure("run_printing.py", *command).told for command in commands] for _ in range(times)]
    return [best(runs) for runs in zip(*told, strict=True)]


@pytest.mark.benchmark
def test_five_hundred_animals_take_little_more_than_a_plain_table(sheet):
    html, plain = sheet(500)
    ours, bare, alone = in_turns(5, ("ours", html, "2"), ("bare", plain, "1"), ("ours", html, "1"))
    ratio = ours["seconds"]["clock"] / bare["seconds"]["clock"]
    by_one = alone["seconds"]["clock"] / bare["seconds"]["clock"]
    used = alone["seconds"]["processor"] / bare["seconds"]["processor"]
    click.echo(
        f"\n500 animals on two processors {ours['seconds']['clock']:.2f} s, plain table "
        f"{bare['seconds']['clock']:.2f} s: ratio {ratio:.2f}; by one process {by_one:.2f} (processor time {used:.2f})"
    )
    assert ratio <= MOST_TIMES_PLAIN


@pytest.mark.benchmark
def test_a_hundred_animals_are_printed_at_once(sheet):
    [ours] = in_turns(5, ("ours", sheet(100)[0], "2"))
    click.echo(f"\n100 animals {ours['seconds']['clock']:.2f} s, processors {ours['seconds']['processor']:.2f} s")
    assert ours["seconds"]["clock"] <= MOST_FOR_A_HUNDRED_S


@pytest.mark.benchmark
def test_five_thousand_animals_are_printed_by_two_processes_at_once(sheet):
    html, _ = sheet(5000)
    two, one = in_turns(2, ("ours", html, "2"), ("ours", html, "1"))
    share = two["seconds"]["clock"] / one["seconds"]["clock"]
    click.echo(
        f"\n5,000 animals: one process {one['seconds']['clock']:.1f} s, {one['memory']:.0f} MB; "
        f"two {two['seconds']['clock']:.1f} s, {two['memory']:.0f} MB; share {share:.2f} "
        f"(processors {one['seconds']['processor']:.1f} s and {two['seconds']['processor']:.1f} s)"
    )
    assert two["memory"] <= MOST_MEMORY_MB
    assert share <= MOST_OF_ONE_PROCESS
