"""What the printed register is made of: finished text, laid out by its template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Register:
    """A register of treatments for one set of rules: its columns, its lines in order of date, what is kept apart.

    `warning` is empty, or says that the record was altered. Each line has a text a column; the last is what is missing.
    """

    title: str
    client: str
    printed: str
    head_hash: str
    warning: str
    retention: Sequence[str]
    sources: Sequence[str]
    headings: Sequence[str]
    lines: Sequence[Sequence[str]]
    apart: Sequence[str]
