"""Putting files in place: all of them or none, and never over an input."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from batchdose.findings import UnusableInputError


def output_stem(path: Path) -> str:
    """Stem of the outputs; that of `x-dosed.xlsx` is `x` again.

    >>> output_stem(Path("hoggets-dosed.xlsx"))
    'hoggets'
    """
    return path.stem.removesuffix("-dosed")


def save_all(folder: Path, contents: Mapping[str, bytes], inputs: Iterable[Path]) -> list[Path]:
    """Write every file under a passing name, then put all in place; on any failure leave what was there.

    Raises UnusableInputError if a target is an input, is open in another program, or cannot be written.
    """
    targets = [folder / name for name in contents]
    _refuse_inputs(targets, inputs)
    new_folders = [path for path in (folder, *folder.parents) if not path.exists()]
    staged: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _refuse_open(targets)
        for target, content in zip(targets, contents.values(), strict=True):
            staged.append((_stage(folder, content), target))
        _put_in_place(staged)
    except (OSError, UnusableInputError) as error:
        for passing, _ in staged:
            passing.unlink(missing_ok=True)
        for path in new_folders:
            with contextlib.suppress(OSError):
                path.rmdir()
        if isinstance(error, UnusableInputError):
            raise
        place = Path(error.filename2 or error.filename or folder).name
        raise UnusableInputError(
            str(folder), f"The files cannot be written: {error.strerror or error} ({place}).",
            "Close the file if it is open elsewhere, check the folder and its free space, and run again.",
        ) from None  # fmt: skip
    return targets


def _refuse_inputs(targets: Iterable[Path], inputs: Iterable[Path]) -> None:
    sources = {path.resolve() for path in inputs}
    for target in targets:
        if target.resolve() in sources:
            raise UnusableInputError(
                target.name,
                "This file is an input, and an input is never replaced.",
                "Choose another folder with --out.",
            )


def _refuse_open(targets: Iterable[Path]) -> None:
    """Spreadsheet programs leave a small owner file beside a workbook they have open."""
    for target in targets:
        if target.is_dir():
            raise UnusableInputError(
                target.name, "A folder of this name is in the place of the file.", "Rename it, or use --out."
            )
        for owner in (f".~lock.{target.name}#", f"~${target.name}"):
            if (target.parent / owner).exists():
                raise UnusableInputError(
                    target.name,
                    "The file is open in another program.",
                    "Close it and run again.",
                )


def _stage(folder: Path, content: bytes) -> Path:
    """Write a file under a passing name and see it to the disk; on any failure nothing of it is left."""
    handle, name = tempfile.mkstemp(prefix=".batchdose-", dir=folder)
    passing = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        passing.chmod(0o644)
    except BaseException:
        passing.unlink(missing_ok=True)
        raise
    return passing


def _put_in_place(staged: list[tuple[Path, Path]]) -> None:
    """Rename all; if one fails, bring back what the earlier ones replaced."""
    kept: list[tuple[Path, Path | None]] = []
    try:
        for passing, target in staged:
            old = target.with_name(f".batchdose-old-{target.name}") if target.exists() else None
            if old is not None:
                target.replace(old)
            kept.append((target, old))
            passing.replace(target)
    except OSError:
        for target, old in kept:
            if old is not None:
                old.replace(target)
            else:
                target.unlink(missing_ok=True)
        raise
    for _, old in kept:
        if old is not None:
            with contextlib.suppress(OSError):  # the new files stand; an old one that stays is no failure
                old.unlink()


def _keep_name(folder: Path) -> None:
    """See to it that a new name outlives a power cut, where the system can do so."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def replace_file(path: Path, content: bytes) -> None:
    """Put one file in place of itself, or new: at every moment the old one or the new one is whole.

    Raises UnusableInputError if it is open in another program or cannot be written; then the old one stands.
    """
    passing: Path | None = None
    try:
        _refuse_open([path])
        passing = _stage(path.parent, content)
        passing.replace(path)
        _keep_name(path.parent)
    except OSError as error:
        if passing is not None:
            passing.unlink(missing_ok=True)
        raise UnusableInputError(
            path.name, f"The file cannot be written: {error.strerror or error}.",
            "Close the file if it is open elsewhere, check the folder and its free space, and run again.",
        ) from None  # fmt: skip
