"""The cells of a result column as markup."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from batchdose.write.xmltext import cell_text, escape

#: Texts of a column that are remembered, and first letters of a text that programs take for a formula when edited.
_REMEMBERED = 500
_LIKE_A_FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True)
class CellStyles:
    """Numbers of the styles that result cells have beside the plain one."""

    heading: int = 0
    date: int = 0
    quoted: int = 0
    held: int = 0


class ColumnWriter:
    """Cells of one result column as markup: values, never formulas (clauses 18.3.1.4 and 18.3.1.53).

    What stands behind the reference is remembered for texts that come again and again.
    """

    def __init__(self, prefix: bytes, letter: str, styles: CellStyles, *, from_1904: bool, marked: bool) -> None:
        self._prefix, self._styles, self._marked = prefix.decode(), styles, marked
        self._start = b'<%bc r="%b' % (prefix, letter.encode())
        self._epoch = datetime(1904, 1, 1) if from_1904 else datetime(1899, 12, 30)  # noqa: DTZ001 - clause 18.17.4.1
        self._known: dict[str, bytes] = {}

    def cell(self, row: int, value: object) -> bytes:
        """One cell, or nothing where there is no value."""
        if value is None or value == "" or (isinstance(value, float) and not math.isfinite(value)):
            return b""
        return b'%b%d"%b' % (self._start, row, self._rest(value))

    def heading(self, row: int, text: str) -> bytes:
        """The column's heading."""
        return b'%b%d"%b' % (self._start, row, self._text(text, self._styles.heading))

    def _rest(self, value: object) -> bytes:
        if isinstance(value, str):
            rest = self._known.get(value)
            if rest is None:
                rest = self._text(value, self._style_of(value))
                if len(self._known) < _REMEMBERED:
                    self._known[value] = rest
            return rest
        if isinstance(value, bool):
            return self._finished(0, f"<{self._prefix}v>{int(value)}</{self._prefix}v>", "b")
        if isinstance(value, (int, float)):
            return self._finished(0, f"<{self._prefix}v>{value!r}</{self._prefix}v>")
        if isinstance(value, datetime):
            days = (value - self._epoch).total_seconds() / 86_400
            return self._finished(self._styles.date, f"<{self._prefix}v>{days:.15g}</{self._prefix}v>")
        return self._text(str(value), self._style_of(str(value)))

    def _style_of(self, text: str) -> int:
        if self._marked:
            return self._styles.held
        return self._styles.quoted if text[:1] in _LIKE_A_FORMULA else 0

    def _text(self, text: str, style: int) -> bytes:
        t, around = f"{self._prefix}t", f"{self._prefix}is"
        space = ' xml:space="preserve"' if text.strip() != text or "\n" in text else ""
        inside = f"<{around}><{t}{space}>{escape(cell_text(text))}</{t}></{around}>"
        return self._finished(style, inside, "inlineStr")

    def _finished(self, style: int, inside: str, kind: str = "") -> bytes:
        styled = f' s="{style}"' if style else ""
        typed = f' t="{kind}"' if kind else ""
        return f"{styled}{typed}>{inside}</{self._prefix}c>".encode()
