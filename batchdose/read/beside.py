"""Workbooks that lie beside another one and hold a certain sheet."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from batchdose.read.package import names_sheet


def workbooks_beside(path: Path, sheet: str, without: Iterable[Path]) -> list[Path]:
    """Workbooks in the folder of `path` that name a sheet, by name, without the inputs and hidden files."""
    inputs = {other.resolve() for other in without}
    try:
        found = sorted(path.resolve().parent.glob("*.xlsx"))
    except OSError:
        return []
    return [
        other for other in found
        if not other.name.startswith((".", "~$")) and other.resolve() not in inputs and names_sheet(other, sheet)
    ]  # fmt: skip
