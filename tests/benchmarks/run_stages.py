"""One job, stage after stage, each timed; then what it took, as JSON. Arguments: weighing, medicines, folder.

The command runs some of this at the same time (see `write/pdf.py`); here every stage runs alone, and the
first of them is the loading of everything that the command loads.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

Value = TypeVar("Value")


def peak_mb(who: int = resource.RUSAGE_SELF) -> float:
    """Highest memory use until now of this process, or of its children [MB]."""
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(who).ru_maxrss * unit / 1e6


def main(weighing: Path, medicines: Path, folder: Path) -> None:
    """Run the stages and print the seconds and the peak memory of each."""
    seconds: dict[str, float] = {}
    memory: dict[str, float] = {}

    def stage(name: str, work: Callable[[], Value]) -> Value:
        start = time.perf_counter()
        value = work()
        seconds[name] = time.perf_counter() - start
        memory[name] = peak_mb()
        return value

    stage("import", _load)
    from batchdose import job
    from batchdose.model import Settings
    from batchdose.read.inputs import read_inputs
    from batchdose.write.files import save_all
    from batchdose.write.job_sheet import build_job_sheet
    from batchdose.write.pdf import PdfPrinter
    from batchdose.write.render import render_html
    from batchdose.write.results import results_json
    from batchdose.write.workbook import updated_workbook

    run_rules = job.run_rules
    inputs = stage("read", lambda: read_inputs(weighing, medicines, Settings()))
    job.read_inputs = lambda *_: inputs
    job.run_rules = lambda *args: stage("check", lambda: run_rules(*args))
    result = stage("calculate", lambda: job.plan_job(weighing, medicines))
    seconds["calculate"] -= seconds["check"]
    html = stage("html", lambda: render_html(build_job_sheet(result)))
    ending, workbook, *_ = stage("workbook", lambda: updated_workbook(result))

    def pdf() -> bytes:
        printer = PdfPrinter()
        printer.begin(html)
        return printer.finish()

    contents = {f"job{ending}": workbook, "job.html": html.encode(), "job.pdf": stage("pdf", pdf)}

    def write() -> None:
        contents["job.json"] = results_json(result).encode()
        save_all(folder, contents, [weighing, medicines])

    stage("write", write)
    print(json.dumps({"seconds": seconds, "memory": memory}))  # noqa: T201 - read by the test


def _load() -> None:
    """Load what the command loads, python-calamine with it, which is loaded for the first workbook."""
    modules = ("cli", "job", "write.files", "write.pdf", "write.render", "write.results", "write.workbook")
    for module in modules:
        import_module(f"batchdose.{module}")
    import_module("python_calamine")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))
