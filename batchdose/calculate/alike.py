"""Rows that are alike in several columns, numbered: what is the same for all of them is worked out once."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from batchdose.calculate.marks import Ints


def alike(*columns: npt.NDArray[Any] | pd.Series[Any]) -> tuple[Ints, Ints]:
    """A number for each row, the same for rows alike in all columns, and the first row of each number.

    >>> alike(np.array([5, 5, 7, 5]), np.array([True, False, True, True]))
    (array([0, 1, 2, 0]), array([0, 1, 2]))
    """
    code = np.zeros(len(columns[0]), np.int64)
    for column in columns:
        own, known = pd.factorize(column, use_na_sentinel=False)
        code, _ = pd.factorize(code * len(known) + own)
    first = np.zeros(int(code.max()) + 1 if len(code) else 0, np.int64)
    first[code[::-1]] = np.arange(len(code) - 1, -1, -1)
    return code, first


def spread(values: list[Any], code: Ints) -> npt.NDArray[np.object_]:
    """A value for each row, by its number: the same object for rows that are alike."""
    every = np.empty(len(values), dtype=object)
    for at, value in enumerate(values):  # a list of lists would become a table
        every[at] = value
    return every[code]
