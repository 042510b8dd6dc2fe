"""Calculate a job of four medicines, reading left out; what it took, as JSON. Arguments: weighing, medicines."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from run_stages import peak_mb

from batchdose import job
from batchdose.model import Settings
from batchdose.read.inputs import read_inputs

#: The steps of the calculation; what lies between them is checking.
STEPS = ("with_unweighed", "plan_courses", "plan_course", "assured", "_joined", "_product", "clear_animals")


def main(weighing: Path, medicines: Path) -> None:
    """Plan once from what is read already, and add up the seconds of the steps."""
    inputs = read_inputs(weighing, medicines, Settings(on="2026-03-14"))
    before = peak_mb()
    seconds = dict.fromkeys(STEPS, 0.0)

    def timed(name):
        step = getattr(job, name)

        def run(*args, **kwargs):
            start = time.process_time()
            value = step(*args, **kwargs)
            value = list(value) if name == "assured" else value
            seconds[name] += time.process_time() - start
            return value

        return run

    for name in STEPS:
        setattr(job, name, timed(name))
    result = job._planned(inputs)
    print(  # noqa: T201
        json.dumps({"seconds": sum(seconds.values()), "rows": len(result.treatments), "memory": peak_mb() - before})
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
