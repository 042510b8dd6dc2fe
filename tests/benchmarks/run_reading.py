"""Read and check one job, or read the same weighing workbook with the bare reader; what it took, as JSON.

Arguments: `check` or `bare`, weighing, medicines.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from run_stages import peak_mb


def main(what: str, weighing: Path, medicines: Path) -> None:
    """Do it once and print the seconds of the processor, loading left out on both sides, and the peak memory."""
    if what == "bare":
        from python_calamine import load_workbook

        start = time.process_time()
        book = load_workbook(str(weighing))
        rows = sum(len(book.get_sheet_by_name(name).to_python()) for name in book.sheet_names)
        seconds = time.process_time() - start
    else:
        from batchdose.calculate.courses import plan_courses
        from batchdose.check.context import Context
        from batchdose.check.rules import run_rules
        from batchdose.model import Settings
        from batchdose.read.inputs import read_inputs

        start = time.process_time()
        inputs = read_inputs(weighing, medicines, Settings())
        courses, found = plan_courses(inputs.session, inputs.medicines, inputs.planned)
        context = Context(inputs.session, inputs.medicines, inputs.stock, inputs.planned, tuple(courses))
        findings = run_rules(context, [*inputs.findings, *found])
        seconds = time.process_time() - start
        rows = len(inputs.session.animals) if findings else 0
    print(json.dumps({"seconds": seconds, "rows": rows, "memory": peak_mb()}))  # noqa: T201


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]))
