"""A .csv file as one sheet of text cells; encoding and delimiter are found out, never asked."""

from __future__ import annotations

import csv
import io
import re
from itertools import islice

from batchdose.read.facts import DamagedPackageError
from batchdose.read.fields import is_heading
from batchdose.read.limits import LAST_COLUMN, check_reach, check_text

#: Rows in which the heading is looked for when the delimiter is found out.
_HEADING_WITHIN = 40
#: A first line that says which delimiter the file has, as Excel writes and reads it.
_DELIMITER_LINE = re.compile(r'"?sep=([^\w\s"]|\t)"?(?=\r|\n|$)', re.IGNORECASE)
_MARKS = ((b"\xff\xfe\x00\x00", "utf-32"), (b"\x00\x00\xfe\xff", "utf-32"), (b"\xff\xfe", "utf-16"),
          (b"\xfe\xff", "utf-16"))  # fmt: skip
_LAST_LINE = "\x01 last line \x01"
_OPEN_QUOTE = "Look there for a quotation mark that is opened and never closed, and correct it or export again."
_EXPORT_AGAIN = "Export it again as CSV (UTF-8)."


def csv_rows(data: bytes, name: str) -> list[list[str]]:
    """Rows of the file; row number n stands on line n, also where a cell in quotes goes over several lines.

    Raises DamagedPackageError with a sentence for the user.
    """
    if data.startswith(b"PK\x03\x04"):
        raise DamagedPackageError("it is a workbook and not text", "Give it the ending .xlsx or .ods.")
    text = _decoded(data)
    if "\x00" in text:
        raise DamagedPackageError("it holds characters that are no text", _EXPORT_AGAIN)
    said = _DELIMITER_LINE.match(text)
    if said:
        text = text[said.end() :]
    mark = said[1] if said else _best_delimiter(text)
    return _rows(text, mark, name)


def _decoded(data: bytes) -> str:
    for encoding in _encodings(data):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise DamagedPackageError("its characters cannot be read", _EXPORT_AGAIN)


def _encodings(data: bytes) -> tuple[str, ...]:
    """Encodings to try: what the mark at the start says, else what nearly every second byte says, else the usual."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return (encoding,)
    top = data[:2000]
    even, odd = top[0::2].count(0), top[1::2].count(0)
    if max(even, odd) * 3 > len(top) and min(even, odd) == 0:
        return ("utf-16-be",) if even else ("utf-16-le",)
    return "utf-8-sig", "cp1252"


def _best_delimiter(text: str) -> str:
    """The delimiter that fits best: most known headings in one row, then most cells in one."""

    def fit(mark: str) -> tuple[int, int]:
        try:
            reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
            top = [row[:LAST_COLUMN] for row in islice(reader, _HEADING_WITHIN)]
        except csv.Error:
            return -1, -1
        return max((sum(map(is_heading, row)) for row in top), default=0), max((len(row) for row in top), default=0)

    return max(",;\t|", key=fit)


def _rows(text: str, mark: str, name: str) -> list[list[str]]:
    """All rows, with blank rows for the further lines of a cell that goes over several."""
    text = text.rstrip(" \r\n,;\t|")
    # The last line shows whether a quotation mark was left open: then it does not come out as a row of its own.
    reader = csv.reader(io.StringIO(f"{text}\n{_LAST_LINE}", newline=""), delimiter=mark)
    rows: list[list[str]] = []
    long_rows: list[tuple[int, list[str]]] = []
    widest = 0
    try:
        for row in reader:
            first = len(rows) + 1
            widest = max(widest, len(row))
            check_reach(name, first, widest)
            check_text(name, first, max(map(len, row), default=0))
            rows.append(row)
            if reader.line_num > first:
                long_rows.append((first, row))
                rows.extend([] for _ in range(reader.line_num - first))
    except csv.Error as error:
        raise DamagedPackageError(f"line {reader.line_num} is damaged ({error})", _OPEN_QUOTE) from error
    if rows.pop() != [_LAST_LINE]:
        raise DamagedPackageError(f"a quotation mark is left open in line {long_rows[-1][0]}", _OPEN_QUOTE)
    _refuse_swallowed_rows(long_rows, mark, widest)
    return rows


def _refuse_swallowed_rows(long_rows: list[tuple[int, list[str]]], mark: str, columns: int) -> None:
    """Raise where a cell of several lines holds what looks like whole rows: a quotation mark is missing there."""
    for first, row in long_rows:
        further = (line for cell in row for line in cell.splitlines()[1:])
        if any(line.count(mark) >= max(1, columns - 1) for line in further):
            raise DamagedPackageError(f"the cell in quotation marks from line {first} on holds whole rows", _OPEN_QUOTE)
