"""One recording at a time: a lock on a small hidden file beside the record, which ends with the process."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from batchdose.findings import UnusableInputError


@contextmanager
def locked(record: Path) -> Iterator[None]:
    """Hold the record while its rows are read and added to.

    Raises UnusableInputError where another person is recording. A power cut leaves the file, but not the lock.
    """
    place = record.with_name(f".{record.name}.lock")
    try:
        handle = os.open(place, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise UnusableInputError(
            str(record.parent),
            f"The folder cannot be written to: {error.strerror}.",
            "Check the folder and its rights.",
        ) from None
    try:
        if not _taken(handle):
            raise UnusableInputError(
                record.name, "Someone else is recording into this workbook.", "Wait until that is done and run again."
            )
        yield
    finally:
        os.close(handle)


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
