"""The same work on a Dask cluster: a scheduler and two workers, each a process, one of them killed half way."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from clients_farm import write_client

from batchdose import UnusableInputError
from batchdose.clients.engines import cluster, processes
from batchdose.clients.kept import jobs_in
from batchdose.clients.plan import plan_clients
from batchdose.clients.work import Options

pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
# Dask warns of its own doings (unclosed loops, slow ticks); they are not ours to mend.
pytestmark = pytest.mark.filterwarnings("ignore")

OPTIONS = Options(pdf=False)
_FARMS = 6


def _start(*arguments: str, folder: Path) -> subprocess.Popen[str]:
    kind, *others = arguments
    command = [sys.executable, "-c", f"from distributed.cli.dask_{kind} import main; main()", *others]
    log = (folder / f"{arguments[0]}-{len(list(folder.iterdir()))}.log").open("w", encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    return subprocess.Popen(command, stderr=log, stdout=log, text=True, cwd=folder, env=environment)


@pytest.fixture
def scheduler(tmp_path):
    """Address of a scheduler with two workers of one thread, and the processes of the workers."""
    folder = tmp_path / "cluster"
    folder.mkdir()
    started = [_start("scheduler", "--port", "0", "--no-dashboard", "--host", "127.0.0.1", folder=folder)]
    try:
        address = _said(folder, re.compile(r"Scheduler at:\s+(tcp://\S+)"))
        workers = [
            _start("worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard", "--name", name, folder=folder)
            for name in ("one", "two")
        ]
        started += workers
        _said(folder, re.compile(r"Registered to:(?s:.*)Registered to:"))
        yield address, workers
    finally:
        for process in reversed(started):
            process.kill()
            process.wait()


def _said(folder: Path, pattern: re.Pattern[str]) -> str:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        text = "".join(path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.log")))
        if found := pattern.search(text):
            return found[found.lastindex or 0]
        time.sleep(0.1)
    raise AssertionError(text)


def test_a_worker_is_killed_half_way_and_nothing_is_lost_and_nothing_done_twice(tmp_path, scheduler):
    address, workers = scheduler
    folder, out = tmp_path / "clients", tmp_path / "out"
    for n in range(_FARMS):
        write_client(folder / f"farm {n:02}", str(n), f"Farm {n}", {})
    seen: list[str] = []

    def told(done: int, _of: int, name: str) -> None:
        if name.startswith("Farm"):
            seen.append(name)
            if done == 3:
                workers[0].send_signal(signal.SIGKILL)

    with cluster(address) as engine:
        planned = plan_clients(folder, out, OPTIONS, engine=engine, told=told)
    assert sorted(seen) == sorted(f"Farm {n}" for n in range(_FARMS))
    assert [job.client for job in planned.jobs] == [f"Farm {n}" for n in range(_FARMS)]
    assert not [job.failed for job in planned.jobs if job.failed]
    assert workers[0].wait(timeout=10) == -signal.SIGKILL
    with processes(1, pdf=False) as engine:
        here = plan_clients(folder, tmp_path / "here", OPTIONS, engine=engine)
    assert [job.files for job in here.jobs] == [job.files for job in planned.jobs]
    for written in (written for job in planned.jobs for written in job.files):
        assert (out / written.path).is_file()
    assert len(jobs_in(out)) == _FARMS
    assert not list(out.rglob(".batchdose-*"))


def test_a_scheduler_that_is_not_there_is_said():
    with pytest.raises(UnusableInputError, match=r"no scheduler at tcp://127\.0\.0\.1:9"), cluster("tcp://127.0.0.1:9"):
        pass
