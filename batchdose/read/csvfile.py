"""A .csv file as one sheet of text cells; encoding and delimiter are found out, never asked."""

from __future__ import annotations

import csv
import io

from batchdose.read.facts import DamagedPackageError
from batchdose.read.fields import is_heading

#: Rows in which the heading is looked for when the delimiter is found out.
_HEADING_WITHIN = 40


def csv_rows(data: bytes) -> list[list[str | None]]:
    """Rows of the file. Raises DamagedPackageError with a sentence for the user."""
    text = _decoded(data)
    if "\x00" in text:
        raise DamagedPackageError("it holds characters that are no text")
    try:
        rows = max((_rows(text, mark) for mark in ",;\t|"), key=_headings)
    except csv.Error as error:
        raise DamagedPackageError(f"the table is damaged ({error})") from error
    return [[cell if cell.strip() else None for cell in row] for row in rows]


def _decoded(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise DamagedPackageError("its characters cannot be read; save it as CSV UTF-8")


def _rows(text: str, mark: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=mark))


def _headings(rows: list[list[str]]) -> tuple[int, int]:
    """How well a delimiter fits: most known headings in one row, then most cells in one."""
    top = rows[:_HEADING_WITHIN]
    return max((sum(map(is_heading, row)) for row in top), default=0), max((len(row) for row in top), default=0)
