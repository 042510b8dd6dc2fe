"""Where the work is done: processes of this machine, or a Dask cluster, both through `concurrent.futures`."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from functools import partial
from typing import Any, Generic, TypeVar

from batchdose.clients.work import begin_worker
from batchdose.findings import UnusableInputError

Task = TypeVar("Task")
Done = TypeVar("Done")
#: Times that a task may be under way when a worker dies, before it is tried alone, and then given up.
_TRIES = 2
#: Seconds to wait for a scheduler.
_PATIENCE = 10


class Engine:
    """Keeps an executor, and makes a new one where that has broken; `width` is how much it does at once.

    `is_here` says that its workers see the same files as this process.
    """

    def __init__(self, make: Callable[[], Executor], width: int, *, is_here: bool = True) -> None:
        self._make = make
        self.is_here = is_here
        self._executor: Executor | None = None
        self.width = width

    @property
    def executor(self) -> Executor:
        """The executor, made when it is first needed."""
        if self._executor is None:
            self._executor = self._make()
        return self._executor

    def renew(self) -> None:
        """Leave a broken executor behind."""
        self.close(wait_for_it=False)

    def close(self, *, wait_for_it: bool = True) -> None:
        """End the workers, after what they are doing."""
        if self._executor is not None:
            self._executor.shutdown(wait=wait_for_it)
            self._executor = None


@contextmanager
def _deaf_from_birth() -> Iterator[None]:
    """Processes begun in here do not hear Ctrl-C before they put it aside themselves; this one hears it a little later.

    Without it each would say in a traceback how far it had come with loading. Windows has no such thing.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def processes(width: int | None = None, *, pdf: bool = True) -> Iterator[Engine]:
    """Processes of this machine, all cores by default, each new and with its libraries loaded once."""
    width = width or usable_cores()
    start = multiprocessing.get_context("spawn")
    begin = partial(begin_worker, pdf=pdf)
    engine = Engine(lambda: ProcessPoolExecutor(width, start, initializer=begin), width)
    try:
        yield engine
    finally:
        engine.close()


@contextmanager
def cluster(address: str) -> Iterator[Engine]:
    """Workers of a Dask scheduler. Raises UnusableInputError where there is none, or Dask is not installed."""
    try:
        from distributed import Client
    except ImportError:
        raise UnusableInputError(
            "--scheduler", "Dask is not installed here.", 'Install it: pip install "batchdose[cluster]".'
        ) from None
    try:
        client: Any = Client(address, timeout=_PATIENCE, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise UnusableInputError(
            "--scheduler", f"There is no scheduler at {address} ({type(error).__name__}).",
            "Start it, or correct the address: tcp://HOST:8786.",
        ) from None  # fmt: skip
    try:
        # Not pure: two clients with the same sheets are two jobs all the same.
        engine = Engine(lambda: client.get_executor(pure=False), max(1, sum(client.nthreads().values())),
                        is_here=False)  # fmt: skip
        yield engine
        engine.close()
    finally:
        client.close()


class _Run(Generic[Task, Done]):
    """One call of `run`: what is still to do, and what is under way, each with how often it was lost."""

    def __init__(self, engine: Engine, work: Callable[[Task], Done], tasks: Iterable[Task]) -> None:
        self._engine, self._work, self._tasks = engine, work, iter(tasks)
        self._again: deque[tuple[Task, int]] = deque()
        self._going: dict[Future[Done], tuple[Task, int]] = {}

    def answers(self, give_up: Callable[[Task], Done]) -> Iterator[tuple[Task, Done]]:
        try:
            while self._fill():
                done = wait(self._going, return_when=FIRST_COMPLETED).done
                entries = [(future, self._going.pop(future)) for future in done]
                lost = [entry for future, entry in entries if _is_lost(future.exception())]
                if any(isinstance(future.exception(), BrokenExecutor) for future in done):
                    lost += self._renewed()
                for future, entry in entries:
                    if not _is_lost(future.exception()):
                        yield entry[0], future.result()
                self._again.extend((task, tries + 1) for task, tries in lost if tries < _TRIES)
                yield from ((task, give_up(task)) for task, tries in lost if tries >= _TRIES)
        finally:
            for future in self._going:
                future.cancel()

    def _fill(self) -> bool:
        """Put tasks under way, one that was lost twice alone; False where nothing is left to wait for."""
        alone = any(tries >= _TRIES for _, tries in self._going.values())
        while not alone and len(self._going) < self._engine.width + 2:
            if self._again and self._again[0][1] >= _TRIES and self._going:
                break
            entry = self._again.popleft() if self._again else next(((task, 0) for task in self._tasks), None)
            if entry is None:
                break
            try:
                executor = self._engine.executor  # made before: what it begins itself lets Ctrl-C through again
                with _deaf_from_birth():
                    future = executor.submit(self._work, entry[0])
                self._going[future] = entry
            except BrokenExecutor:
                self._again.extend([entry, *self._renewed()])
            alone = entry[1] >= _TRIES
        return bool(self._going)

    def _renewed(self) -> list[tuple[Task, int]]:
        """A new executor in place of one whose worker died; what was under way in it."""
        under_way = list(self._going.values())
        self._going.clear()
        self._engine.renew()
        return under_way


def run(
    engine: Engine, work: Callable[[Task], Done], tasks: Iterable[Task], give_up: Callable[[Task], Done]
) -> Iterator[tuple[Task, Done]]:
    """Do all tasks, and give each once with its answer, as the answers come.

    Tasks are taken one by one and only a few are under way at once, so that memory does not grow with their number.
    Where a worker dies, what was under way is done again; what was under way twice is tried alone, and `give_up`
    answers for it if that fails too.
    """
    return _Run(engine, work, tasks).answers(give_up)


def _is_lost(error: BaseException | None) -> bool:
    """Whether a task was lost with its worker: a process that died, or a cluster that gave up trying again."""
    names = ("KilledWorker", "CancelledError", "FutureCancelledError")
    return isinstance(error, BrokenExecutor) or any(kind.__name__ in names for kind in type(error).__mro__)
