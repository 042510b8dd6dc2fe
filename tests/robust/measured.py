"""Run a command within a time limit; print its exit status, seconds and peak memory as JSON on the last line.

A process of its own, because the peak memory of a process counts in that of the one that started it.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time


def main(limit_s: float, command: list[str]) -> None:
    """Run it; a status of None says that it was stopped at the limit."""
    start = time.perf_counter()
    try:
        status = subprocess.run(command, timeout=limit_s, check=False, stdout=subprocess.DEVNULL).returncode
    except subprocess.TimeoutExpired:
        status = None
    unit = 1 if sys.platform == "darwin" else 1024
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * unit / 1e6
    told = {"status": status, "seconds": time.perf_counter() - start, "peak_mb": peak_mb}
    print(json.dumps(told))  # noqa: T201 - read by the test


if __name__ == "__main__":
    main(float(sys.argv[1]), sys.argv[2:])
