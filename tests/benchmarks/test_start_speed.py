"""How quickly the command is there: its help against the bare library of commands."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

pytestmark = pytest.mark.benchmark
_TIMES = 15


def _best(*code: str) -> float:
    """The shortest of several runs of the interpreter [s]."""
    times = []
    for _ in range(_TIMES):
        begun = time.perf_counter()
        subprocess.run([sys.executable, *code], check=True, capture_output=True)
        times.append(time.perf_counter() - begun)
    return min(times)


def test_help_takes_at_most_half_as_long_again_as_loading_click(capsys):
    bare, ours = _best("-c", "import click"), _best("-m", "batchdose", "--help")
    with capsys.disabled():
        sys.stdout.write(f"\nimport click {bare * 1000:.0f} ms, --help {ours * 1000:.0f} ms: {ours / bare:.2f} times\n")
    assert ours <= 1.5 * bare
