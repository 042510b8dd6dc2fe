"""What tests share: one kind of hypothesis run, and a job planned from small tables."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import pytest
from hypothesis import settings
from sheets import ON, write_job

from batchdose import Result, Settings, plan_job

settings.register_profile("batchdose", max_examples=60, deadline=None, derandomize=True, database=None)
settings.load_profile("batchdose")


@pytest.fixture
def job(tmp_path: Path) -> Callable[..., Result]:
    """Plan a job: the animals as a table, medicines as changes to a sound one, further sheets by name."""

    def plan(
        animals: object, *medicines: Mapping[str, object], on: str = ON, give: Iterable[str] = (),
        species: str = "", **sheets: object,
    ) -> Result:  # fmt: skip
        weighing, labels = write_job(tmp_path, animals, *medicines, **sheets)
        return plan_job(weighing, labels, Settings(on=on, give=tuple(give), species=species))

    return plan
