"""Rows of one of our own sheets as markup, for sheets too long to build cell by cell.

Clauses are those of ECMA-376 part 1: rows 18.3.1.73, cells 18.3.1.4, texts within cells 18.3.1.53.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from batchdose.findings import column_letter
from batchdose.write.xmltext import CannotCopyError, cell_text, escape

_END = re.compile(rb"</sheetData>|<sheetData\s*/>")
_LAST_ROW = re.compile(rb'<row\b[^>]*?\br="(\d+)"')
_REMEMBERED = 500
_DIMENSION = re.compile(rb'<dimension ref="[^"]*"\s*/>')


def rows_markup(first: int, rows: Sequence[Sequence[object]], styles: Sequence[int] = ()) -> bytes:
    """Rows from sheet row `first` on: texts, numbers, and blank cells where a column has a style of its own."""
    width = max(map(len, rows), default=0)
    columns = [(f'<c r="{column_letter(at)}', _style_attribute(styles, at)) for at in range(width)]
    known: dict[str, str] = {}
    made = []
    for number, row in enumerate(rows, first):
        made.append(f'<row r="{number}">')
        for (start, style), value in zip(columns, row, strict=False):
            if value is None or value == "":
                if style:
                    made.append(f'{start}{number}"{style}/>')
            elif isinstance(value, (int, float)):
                made.append(f'{start}{number}"{style}><v>{value!r}</v></c>')
            else:
                made.append(f'{start}{number}"{style} {_inline(str(value), known)}')
        made.append("</row>")
    return "".join(made).encode("utf-8")


def _style_attribute(styles: Sequence[int], at: int) -> str:
    return f' s="{styles[at]}"' if at < len(styles) and styles[at] else ""


def _inline(value: str, known: dict[str, str]) -> str:
    """A text within its cell, behind the reference; those that come again are remembered."""
    made = known.get(value)
    if made is None:
        ordinary = value.isascii() and value.isprintable() and "_x" not in value
        text = escape(value if ordinary else cell_text(value))
        kept = "" if text == text.strip() and "\n" not in text else ' xml:space="preserve"'
        made = f't="inlineStr"><is><t{kept}>{text}</t></is></c>'
        if len(known) < _REMEMBERED:
            known[value] = made
    return made


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
