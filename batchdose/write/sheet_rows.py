"""Rows of one of our own sheets as markup, for sheets too long to build cell by cell.

Clauses are those of ECMA-376 part 1: rows 18.3.1.73, cells 18.3.1.4, texts within cells 18.3.1.53.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from batchdose.findings import column_letter
from batchdose.write.xmltext import CannotCopyError, cell_text, escape

_END = re.compile(rb"</sheetData>|<sheetData\s*/>")
_LAST_ROW = re.compile(rb'<row\b[^>]*?\br="(\d+)"')
_DIMENSION = re.compile(rb'<dimension ref="[^"]*"\s*/>')


def rows_markup(first: int, rows: Iterable[Sequence[object]], styles: Sequence[int] = ()) -> bytes:
    """Rows from sheet row `first` on: texts, numbers, and blank cells where a column has a style of its own."""
    return b"".join(_row(number, row, styles).encode("utf-8") for number, row in enumerate(rows, first))


def _row(number: int, row: Sequence[object], styles: Sequence[int]) -> str:
    cells = []
    for column, value in enumerate(row):
        style = f' s="{styles[column]}"' if column < len(styles) and styles[column] else ""
        place = f'<c r="{column_letter(column)}{number}"{style}'
        if value is None or value == "":
            cells.append(f"{place}/>" if style else "")
        elif isinstance(value, (int, float)):
            cells.append(f"{place}><v>{value!r}</v></c>")
        else:
            text = escape(cell_text(str(value)))
            kept = "" if text == text.strip() and "\n" not in text else ' xml:space="preserve"'
            cells.append(f'{place} t="inlineStr"><is><t{kept}>{text}</t></is></c>')
    return f'<row r="{number}">{"".join(cells)}</row>'


def last_row(sheet: bytes) -> int:
    """Number of the last row that a sheet part describes, 0 where there is none."""
    return max((int(found) for found in _LAST_ROW.findall(sheet)), default=0)


def with_rows(sheet: bytes, rows: bytes) -> bytes:
    """A sheet part with more rows behind those it has. Raises CannotCopyError where it is written in an unusual way."""
    found = _END.search(sheet)
    if found is None:
        raise CannotCopyError("it is written in an unusual way")
    opening = b"<sheetData>" if found[0].startswith(b"<sheetData") else b""
    # The used range is a hint (clause 18.3.1.35); without it programs look for themselves.
    head = _DIMENSION.sub(b"", sheet[: found.start()], count=1)
    return b"".join((head, opening, rows, b"</sheetData>", sheet[found.end() :]))
