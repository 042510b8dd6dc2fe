"""Rows of an .ods file in which nothing is special, made short before the file is read element by element.

A sheet of 100,000 animals is 100 MB of elements; in nearly all of its rows there are only values to count.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

#: The element that stands in a short row.
PLAIN_ROW = "plain-row"
#: What makes a row special, wherever in it.
_SIGNS = (
    b"formula", b"error", b"annotation", b"spanned", b"visibility", b"rows-repeated", b"percentage", b"#", b"Err:",
    b"<table:table ", b"<table:table>",
)  # fmt: skip
_ROW = re.compile(rb"<table:table-row\b[^>/]*>(.*?)</table:table-row>", re.DOTALL)
_LAST_BLANKS = re.compile(rb"(?:\s*<table:(?:covered-)?table-cell\b[^>]*/>)+\s*$")
_ELEMENT = re.compile(rb"<[^>]*>")
_REPEATED = re.compile(rb'columns-repeated\s*=\s*"(\d+)"')
_COLUMN_STYLE = re.compile(rb'default-cell-style-name="([^"]*)"')


def shortened(body: bytes, styles: Iterable[str]) -> bytes:
    """The sheets with each row that holds only values as one element that counts them.

    `styles` are those whose format changes what a number means: rows that use one stay as they are. So does
    everything where the elements are not written as spreadsheet programs write them.
    """
    special = {style.encode() for style in styles}
    if b"<!--" in body or b"<![CDATA[" in body or b"='" in body:
        return body
    if special and special & set(_COLUMN_STYLE.findall(body)):
        return body
    signs = (*_SIGNS, *(b'style-name="%b"' % style for style in special))

    def short(row: re.Match[bytes]) -> bytes:
        cells = row[1]
        for sign in signs:
            if sign in row[0]:
                return row[0]
        blanks = _LAST_BLANKS.search(cells) if cells.endswith(b"/>") else None
        if blanks and b"value" not in blanks[0]:
            cells = cells[: blanks.start()]
        repeats = [int(times) for times in _REPEATED.findall(cells)] if b"repeated" in cells else []
        columns = cells.count(b"table-cell ") + cells.count(b"table-cell/") + cells.count(b"<table:table-cell>")
        text = cells if b"string-value" in cells else _ELEMENT.sub(b"", cells)
        numbers, characters = cells.count(b' office:value="'), len(text) * max(repeats, default=1)
        counted = b'<%b columns="%d" numbers="%d" characters="%d"/>'
        columns += sum(repeats) - len(repeats)
        inside = counted % (PLAIN_ROW.encode(), columns, numbers, characters) if cells.strip() else b""
        return b"<table:table-row>%b</table:table-row>" % inside

    return _ROW.sub(short, body)
