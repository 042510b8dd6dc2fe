"""Many clients: clients a second with one process and with two, with the PDFs and without; memory over their number.

BATCHDOSE_CLIENTS sets how many (1000 for the figures in docs/limits.md; the usual run is short).
"""

from __future__ import annotations

import os
import re
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


def _run(folder: Path, out: Path, *options: str) -> tuple[float, int]:
    """Seconds, and the largest memory [MB] of one of the processes."""
    command = [sys.executable, "-m", "batchdose", "clients", str(folder), "--out", str(out), "--medicines",
               str(folder.parent / "medicines.xlsx"), *options]  # fmt: skip
    begun = time.perf_counter()
    done = subprocess.run(
        ["/usr/bin/env", "time", "-f", "peak %M", *command], capture_output=True, text=True, check=False
    )
    seconds = time.perf_counter() - begun
    assert f"{CLIENTS} of {CLIENTS} workbooks planned" in done.stderr, done.stderr[-2000:]
    peak = re.search(r"peak (\d+)", done.stderr)
    return seconds, int(peak[1]) // 1024 if peak else 0


@pytest.mark.parametrize("pdf", [False, True], ids=["without PDF", "with PDF"])
def test_clients_a_second(folder, tmp_path, pdf):
    options = () if pdf else ("--no-pdf",)
    one, _ = _run(folder, tmp_path / "one", "--processes", "1", *options)
    two, _ = _run(folder, tmp_path / "two", "--processes", "2", *options)
    again, _ = _run(folder, tmp_path / "two", "--processes", "2", *options)
    print(f"\n{CLIENTS} clients of {ANIMALS}: one process {CLIENTS / one:.1f} a second, two {CLIENTS / two:.1f} "
          f"({one / two:.2f} times); again, nothing changed: {again:.1f} s")  # fmt: skip
    assert one / two > 1.6 if CLIENTS < 200 else one / two >= 1.8
