"""Time and memory of a whole run against the bare libraries doing the same reading and printing.

`python -m pytest -m benchmark -s` prints the tables. The largest size takes minutes: set
BATCHDOSE_BENCHMARK_LARGEST to 1000 to leave it out. Every figure is that of a fresh process, from its start
to its end, so loading counts on both sides; the best of three runs for the smaller sizes.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pytest
from big_sheets import write_sheets

HERE = Path(__file__).parent
RUNS = {100: 3, 1000: 3, 10_000: 1}
LARGEST = int(os.environ.get("BATCHDOSE_BENCHMARK_LARGEST", max(RUNS)))

#: All of ours may take this many times what the bare libraries take, and calculating this part of all of ours.
MOST_TIMES_BARE = 1.25
MOST_FOR_CALCULATING = 0.05
#: Reading and checking may take this many times what the bare reader takes, and this much memory [MB].
MOST_TIMES_BARE_READER = 5
MOST_MEMORY_MB = 500


@dataclass(frozen=True)
class Measured:
    """One process: seconds from start to end, and what it printed of itself."""

    seconds: float
    told: dict[str, Any]


def measure(program: str, *arguments: str | Path) -> Measured:
    """Run a program of this folder in a fresh process.

    A shell stands between, because the peak memory of a process counts in that of the one that started it.
    """
    command = ["sh", "-c", '"$@"; exit', "sh", sys.executable, HERE / program, *arguments]
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)
    seconds = time.perf_counter() - start
    assert done.returncode == 0, done.stderr
    return Measured(seconds, json.loads(done.stdout.splitlines()[-1]))


@pytest.mark.benchmark
@pytest.mark.parametrize("animals", RUNS)
def test_a_run_takes_little_more_than_the_bare_libraries(animals, tmp_path):
    if animals > LARGEST:
        pytest.skip(f"BATCHDOSE_BENCHMARK_LARGEST is {LARGEST}")
    inputs = write_sheets(tmp_path, animals)
    html = tmp_path / "out" / "weighing-job-sheet.html"
    whole, bare, stages = [], [], []
    for _ in range(RUNS[animals]):
        whole.append(measure("run_command.py", "dose", *inputs, "--out", html.parent))
        bare.append(measure("bare_libraries.py", *inputs, html))
        stages.append(measure("run_stages.py", *inputs, tmp_path / "stages"))
    assert all(run.told["status"] == 1 for run in whole), "the mistakes in the sheets are held"
    ours, theirs = best(whole), best(bare)
    calculating = min(run.told["seconds"]["calculate"] for run in stages)
    click.echo(report(animals, ours, theirs, stages))
    assert ours.seconds <= MOST_TIMES_BARE * theirs.seconds
    assert calculating <= MOST_FOR_CALCULATING * ours.seconds


@pytest.mark.benchmark
def test_reading_and_checking_takes_a_few_times_what_reading_alone_takes(tmp_path):
    animals = 100_000
    inputs = write_sheets(tmp_path, animals)
    ours, bare = (
        min((measure("run_reading.py", what, *inputs).told for _ in range(3)), key=lambda told: told["seconds"])
        for what in ("check", "bare")
    )
    ratio = ours["seconds"] / bare["seconds"]
    click.echo(
        f"\n{animals:,} animals: read and checked in {ours['seconds']:.2f} s, {ours['memory']:.0f} MB; "
        f"read by the bare reader in {bare['seconds']:.2f} s, {bare['memory']:.0f} MB; ratio {ratio:.1f}"
    )
    assert ours["rows"] == animals
    assert ratio < MOST_TIMES_BARE_READER
    assert ours["memory"] < MOST_MEMORY_MB


def best(runs: list[Measured]) -> Measured:
    return min(runs, key=lambda run: run.seconds)


def report(animals: int, ours: Measured, theirs: Measured, stages: list[Measured]) -> str:
    """The table of one size: whole run against bare libraries, then each stage alone."""
    memory = ours.told["memory"]
    lines = [
        f"\n{animals:,} animals{'':22}seconds    ratio       MB",
        _line("batchdose dose", ours.seconds, f"{ours.seconds / theirs.seconds:.2f}", memory["ours"]),
        _line("  its printing process", None, "", memory["printing"]),
        _line("bare libraries", theirs.seconds, "1", theirs.told["memory"]["all"]),
        *(_line(f"  {name}", seconds, "", None) for name, seconds in theirs.told["seconds"].items()),
        "each stage alone                         of all",
    ]
    for name in stages[0].told["seconds"]:
        seconds = min(run.told["seconds"][name] for run in stages)
        share = f"{100 * seconds / ours.seconds:.0f} %"
        lines.append(_line(f"  {name}", seconds, share, min(run.told["memory"][name] for run in stages)))
    return "\n".join(lines)


def _line(name: str, seconds: float | None, ratio: str, megabytes: float | None) -> str:
    time_text = "" if seconds is None else f"{seconds:.3f}"
    return f"{name:28}{time_text:>12}{ratio:>9}{'' if megabytes is None else f'{megabytes:.0f}':>9}"
