"""Prints one HTML file in this process and those that it starts; seconds and memory as JSON.

Arguments: `ours` or `bare`, the HTML, the number of processes. The seconds are those after loading WeasyPrint, on the
clock and, for this process and its children, on the processor.
"""

from __future__ import annotations

import gc
import json
import resource
import sys
import time
from pathlib import Path

from run_stages import peak_mb


def main(what: str, html: Path, processes: int) -> None:
    """Print, and say what it took."""
    gc.disable()
    import weasyprint

    text = html.read_text(encoding="utf-8")
    gc.freeze()
    begun, used = time.perf_counter(), _used()
    if what == "ours":
        from batchdose.write.printing import print_pdf

        print_pdf(text, processes)
    else:
        weasyprint.HTML(string=text).write_pdf(pdf_tags=True)
    seconds = {"clock": time.perf_counter() - begun, "processor": _used() - used}
    memory = peak_mb() + (processes * peak_mb(resource.RUSAGE_CHILDREN) if processes > 1 else 0)
    print(json.dumps({"seconds": seconds, "memory": memory}))  # noqa: T201 - read by the test


def _used() -> float:
    who = (resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in who)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
