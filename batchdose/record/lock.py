"""One recording at a time: a lock on a small hidden file beside the record, which ends with the process."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from batchdose.findings import UnusableInputError


@contextmanager
def locked(record: Path) -> Iterator[None]:
    """Hold the record while its rows are read and added to; afterwards the small file is gone.

    Raises UnusableInputError where another person is recording. A power cut leaves the file, but not the lock.
    """
    place = record.with_name(f".{record.name}.lock")
    handle = _opened(place)
    while not _is(place, handle):  # who held it before has taken the file away: the lock is on the one that is there
        os.close(handle)
        handle = _opened(place)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):  # a system that deletes no open file leaves it: it locks nothing
            place.unlink()
        os.close(handle)


def _opened(place: Path) -> int:
    """The small file, opened and locked."""
    try:
        handle = os.open(place, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise UnusableInputError(
            str(place.parent),
            f"The folder cannot be written to: {error.strerror}.",
            "Check the folder and its rights.",
        ) from None
    if not _taken(handle):
        os.close(handle)
        raise UnusableInputError(
            place.name.removeprefix(".").removesuffix(".lock"),
            "Someone else is recording into this workbook.",
            "Wait until that is done and run again.",
        )
    return handle


def _is(place: Path, handle: int) -> bool:
    """Whether a file of this name is still there, and is the one that was opened."""
    try:
        return os.path.samestat(os.fstat(handle), place.stat())
    except FileNotFoundError:
        return False


def _taken(handle: int) -> bool:
    """Whether the lock is ours now."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
