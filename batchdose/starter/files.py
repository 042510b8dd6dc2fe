"""Writing the starter workbooks: into a folder, and never over what is there."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from batchdose.findings import UnusableInputError
from batchdose.starter.like import filled_from
from batchdose.starter.workbooks import MEDICINES_NAME, WEIGHING_NAME, starters
from batchdose.texts import ENGLISH, speaking
from batchdose.write.files import save_all


def write_starters(folder: Path, like: Sequence[Path] = (), language: str = ENGLISH) -> tuple[list[Path], list[str]]:
    """Write `weighing.xlsx` and `medicines.xlsx` into a folder; gives their paths, and remarks on what was left out.

    `like` are earlier workbooks whose animals and medicines are taken over. Raises UnusableInputError where one of the
    two is there already, an earlier one cannot be read, or the folder cannot be written.
    """
    for name in (WEIGHING_NAME, MEDICINES_NAME):
        if (folder / name).exists():
            raise UnusableInputError(
                str(folder / name), "There is a workbook of this name already.", "Choose another folder, or rename it."
            )
    filled, remarks = filled_from(like) if like else (None, [])
    with speaking(language):
        contents = starters(filled)
    return save_all(folder, contents, like), remarks
