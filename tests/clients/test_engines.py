"""Work given to processes: each task is answered once, whatever happens to a worker."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context

import pytest
from clients_farm import double, double_or_die, double_or_die_once, hears_ctrl_c

from batchdose.clients.engines import Engine, run


@contextmanager
def processes(width: int) -> Iterator[Engine]:
    """As the program's own, without its libraries."""
    engine = Engine(lambda: ProcessPoolExecutor(width, get_context("spawn")), width)
    yield engine
    engine.close()


def test_every_task_is_answered_once():
    with processes(2) as engine:
        assert sorted(run(engine, double, range(20), lambda _: -1)) == [(n, 2 * n) for n in range(20)]


def test_after_a_worker_died_nothing_is_lost_and_nothing_done_twice(tmp_path):
    mark = str(tmp_path / "died")
    with processes(2) as engine:
        answers = sorted(run(engine, double_or_die_once, [(n, mark) for n in range(8)], lambda _: -1))
    assert answers == [((n, mark), 2 * n) for n in range(8)]


def test_a_task_that_kills_every_worker_is_given_up_and_the_rest_is_done():
    with processes(2) as engine:
        answers = dict(run(engine, double_or_die, range(6), lambda _: -1))
    assert answers == {n: -1 if n == 3 else 2 * n for n in range(6)}


def test_tasks_are_taken_only_as_they_are_needed():
    taken = []

    def tasks():
        for n in range(50):
            taken.append(n)
            yield n

    with processes(1) as engine:
        answers = run(engine, double, tasks(), lambda _: -1)
        next(answers)
        assert len(taken) <= 5
        answers.close()


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="Windows cannot keep a signal from a new process")
def test_ctrl_c_reaches_no_worker_that_is_still_loading():
    with processes(2) as engine:
        answers = [answer for _, answer in run(engine, hears_ctrl_c, range(4), bool)]
    assert answers == [False] * 4
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())
