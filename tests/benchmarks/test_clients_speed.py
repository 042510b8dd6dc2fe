"""Many clients: clients a second with one process and with two, with the PDFs and without; memory over their number.

BATCHDOSE_CLIENTS sets how many (1000 for the figures in docs/limits.md; the usual run is short).
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
from many_clients import write_clients

CLIENTS = int(os.environ.get("BATCHDOSE_CLIENTS", "60"))
ANIMALS = 300
pytestmark = pytest.mark.benchmark


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("round") / "clients"
    write_clients(place, CLIENTS, ANIMALS)
    return place


def _run(folder: Path, out: Path, *options: str) -> float:
    """Seconds for all clients of a folder."""
    command = [sys.executable, "-m", "batchdose", "clients", str(folder), "--out", str(out), "--medicines",
               str(folder.parent / "medicines.xlsx"), *options]  # fmt: skip
    begun = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    seconds = time.perf_counter() - begun
    count = len(list(folder.iterdir()))
    assert f"{count} of {count} workbooks planned" in done.stderr, done.stderr[-2000:]
    return seconds


def _peak_mb() -> int:
    """The largest memory that any process has needed so far."""
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024


def test_memory_does_not_grow_with_the_number_of_clients(folder, tmp_path, capsys):
    write_clients(tmp_path / "few" / "clients", 12, ANIMALS)
    _run(tmp_path / "few" / "clients", tmp_path / "out", "--processes", "2")
    few = _peak_mb()
    _run(folder, tmp_path / "many", "--processes", "2")
    many = _peak_mb()
    with capsys.disabled():
        sys.stdout.write(f"\nLargest process: 12 clients {few} MB, {CLIENTS} clients {many} MB\n")
    assert many < 1.25 * few


@pytest.mark.parametrize("pdf", [False, True], ids=["without PDF", "with PDF"])
def test_two_processes_do_nearly_twice_as_many_clients_a_second(folder, tmp_path, capsys, pdf):
    options = () if pdf else ("--no-pdf",)
    one = _run(folder, tmp_path / "one", "--processes", "1", *options)
    two = _run(folder, tmp_path / "two", "--processes", "2", *options)
    again = _run(folder, tmp_path / "two", "--processes", "2", *options)
    with capsys.disabled():
        sys.stdout.write(
            f"\n{CLIENTS} clients of {ANIMALS}{', with PDF' if pdf else ''}: one process {CLIENTS / one:.2f} a second, "
            f"two {CLIENTS / two:.2f} ({one / two:.2f} times); again, nothing changed: {again:.1f} s\n"
        )
    # The start of the program weighs on a short run.
    assert one / two >= (1.8 if CLIENTS >= 200 else 1.5)
