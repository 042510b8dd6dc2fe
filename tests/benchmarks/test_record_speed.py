"""A record of 200,000 rows: adding a job of 500 animals, and who is clear, as the commands do it, start-up included.

The commands are one process at work, so on a quiet machine the clock shows their processor time. On a busy one, where
they wait for others, that time alone is held to the limits.
"""

from __future__ import annotations

import resource
import sys
from datetime import UTC, datetime
from pathlib import Path

import click
import pytest
from test_speed import measure

from batchdose.kept import facts_key
from batchdose.record.append import record_of_new, store
from batchdose.record.opened import Opened
from batchdose.record.rows import NO_ROW_BEFORE, Row

sys.path.append(str(Path(__file__).parents[1] / "record"))

ROWS, ANIMALS, JOB = 200_000, 50_000, 500
#: At most so many seconds on two cores, and so much memory [MB].
MOST_TO_APPEND, MOST_TO_ANSWER, MOST_MB = 3.0, 2.0, 600


def write_record(path: Path, key: str, text: str) -> None:
    """Four years of one treatment a year of every animal."""
    rows = [
        Row(
            line=f"job {at // JOB}/{at % JOB}/0/1", tag=f"{at % ANIMALS:05d}", eid=f"98200000{at % ANIMALS:07d}",
            mob=f"Mob {at % 40}", head="1", medicine="A", planned_for=f"{2022 + at // ANIMALS}-06-01", planned="0.9",
            given="yes", amount="0.9", unit="mL", given_at=f"{2022 + at // ANIMALS}-06-01T09:{at % 60:02d}:00+01:00",
            batch_no="B1234", by="Operator 1", about=f'{{"kg":{40 + at % 397 / 10},"species":"sheep"}}', facts=key,
        )
        for at in range(ROWS)
    ]  # fmt: skip
    new = Opened(record_of_new(path), 0, NO_ROW_BEFORE, frozenset(), frozenset(), ())
    store(new, rows, {key: text}, path, datetime(2025, 7, 1, tzinfo=UTC))


def processor_seconds() -> float:
    """What all processes that this one has started and that have ended have worked, in the system too [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.mark.benchmark
def test_a_large_record_is_added_to_and_asked_quickly(tmp_path):
    from season import FACTS
    from sheets import WORMER
    from yard import Yard

    text = FACTS["A", "L"]
    table = "\n".join(f'{at:05d} | "98200000{at:07d}" | 41.5 | Mob {at % 40}' for at in range(JOB))
    yard = Yard(tmp_path, f"Tag | EID | Weight (kg) | Mob\n{table}", WORMER,
                Session="Species | sheep\nTime zone | Europe/London\nClient | Farm")  # fmt: skip
    yard.fill({f"{at:05d}": {"given": "yes", "when": "2026-06-01 09:30"} for at in range(JOB)})
    write_record(yard.record_path, facts_key(text), text)
    old = yard.record_path.read_bytes()
    few = yard.list_of("00000", "40000")
    asked = {
        "record 500 doses": ("record", yard.dosed, "--to", yard.record_path, "--on", "2026-06-02"),
        "clear, a list": ("clear", yard.record_path, "--on", "2026-06-10", "--animals", few),
        "clear, everyone": ("clear", yard.record_path, "--on", "2026-06-10"),
        "check": ("check", yard.record_path),
    }
    for name, arguments in asked.items():
        runs = []
        for _ in range(3):
            if arguments[0] == "record":
                yard.record_path.write_bytes(old)
            before = processor_seconds()
            done = measure("run_command.py", *arguments)
            runs.append((done.seconds, processor_seconds() - before))
            assert done.told["status"] == int(name == "clear, a list")
            assert done.told["memory"]["ours"] < MOST_MB
        seconds, worked = min(runs, key=lambda run: run[1])
        memory = done.told["memory"]["ours"]
        click.echo(f"{ROWS:,} rows, {name}: {seconds:.2f} s, of these at work {worked:.2f} s; {memory:.0f} MB")
        most = {"record": MOST_TO_APPEND, "clear": MOST_TO_ANSWER}.get(str(arguments[0]))
        assert most is None or (worked if seconds > 1.3 * worked else seconds) < most, name
