"""A folder of clients, made for a test: farms in folders of their own, each with its weighing workbook."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from sheets import medicine_rows, write_book

#: Two animals of one client; {n} makes their tags its own.
ANIMALS = """
Tag    | Weight (kg) | Mob
{n}001 | 41.5        | Hill
{n}002 | 52          | Hill
"""
SESSION = "Species | sheep\nTime zone | UTC\nDate | 2026-06-01\nClient | {client}"


def write_client(folder: Path, n: str, client: str = "", *medicines: dict[str, object], **sheets: str) -> Path:
    """A client's folder with `weighing.xlsx`, and `medicines.xlsx` where medicines are given."""
    folder.mkdir(parents=True, exist_ok=True)
    session = SESSION.format(client=client) if client else SESSION.rpartition("\n")[0]
    if medicines:
        labels = {"Medicines": medicine_rows(*medicines)}
        write_book(folder / "medicines.xlsx", labels | {"Stock": sheets.pop("Stock")} if "Stock" in sheets else labels)
    return write_book(folder / "weighing.xlsx", {"Weights": ANIMALS.format(n=n), "Session": session} | sheets)


def write_shared(path: Path, **sheets: str) -> Path:
    """The medicines sheet for all."""
    return write_book(path, {"Medicines": medicine_rows({})} | sheets)


def double(number: int) -> int:
    """Work for a worker."""
    return 2 * number


def double_or_die_once(task: tuple[int, str]) -> int:
    """The same, but the first worker that gets the number 3 dies of it."""
    number, mark = task
    if number == 3 and not Path(mark).exists():
        Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.02)
    return 2 * number


def double_or_die(number: int) -> int:
    """The same, but every worker that gets the number 3 dies of it."""
    if number == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * number


def hears_ctrl_c(_: int) -> bool:
    """Whether Ctrl-C would have reached this worker from its first moment on."""
    return signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())
