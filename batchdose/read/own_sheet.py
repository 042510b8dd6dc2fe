"""Rows of a sheet as this program writes them, read quickly and strictly: any other form is left to the general reader.

Each row is one match of one pattern, in which every cell names its place; nothing may stand between. What the
general reader would read otherwise (character references, blank texts, numbers in another form) is either read the
same way here or refused. Clauses are those of ECMA-376 part 1: rows 18.3.1.73, cells 18.3.1.4, texts 18.3.1.53.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import count
from typing import IO
from xml.parsers import expat

from batchdose.findings import column_letter
from batchdose.read.facts import DamagedPackageError
from batchdose.read.package import check_whole

_PIECE = 4 * 1024 * 1024
_OPEN, _CLOSE, _ROW_END = b"<sheetData>", b"</sheetData>", b"</row>"
_PRESERVED = ' xml:space="preserve"'
_HEAD_CELL = re.compile(
    r'<c r="([A-Z]+)1"(?: s="\d+")?(?: t="inlineStr"><is><t>([^<&]*)</t></is></c>|(?: t="n")?><v>(\d+)</v></c>)'
)
_HEAD_ROW = re.compile(r'<row r="1">(.*?)</row>')
#: Texts that stand for another character (clause 22.9.2.19); our own texts hold none.
_ESCAPED = re.compile(r"_x[0-9A-Fa-f]{4}_")
#: Characters that the general reader would read otherwise.
_OTHERWISE = ("\r", "\x7f", "\x00", "\ufffe", "\uffff")
_REFERENCE = re.compile(r"&(?!amp;|lt;|gt;)")


class UnusualSheetError(Exception):
    """The sheet is not in the form that this program writes."""


class OwnSheet:
    """A sheet being read: `heading` is its first row; `rows` gives the others, once."""

    def __init__(self, stream: IO[bytes], numbers: Sequence[bool]) -> None:
        """`numbers` says of each column whether its cells hold numbers. Raises UnusualSheetError."""
        self._stream = stream
        self._columns = tuple(numbers)
        self._pattern = _row_pattern(self._columns)
        self._numbers = [at for at, number in enumerate(numbers, 1) if number]
        start = stream.read(_PIECE)
        at = start.find(_OPEN)
        if at < 0:
            raise UnusualSheetError
        self._head, self._rest = start[: at + len(_OPEN)], start[at + len(_OPEN) :]
        end = self._rest.find(_ROW_END)
        first = _HEAD_ROW.fullmatch(_decoded(self._rest[: end + len(_ROW_END)])) if end >= 0 else None
        if first is None:
            raise UnusualSheetError
        self._rest = self._rest[end + len(_ROW_END) :]
        self.heading = _heading(first[1])

    def rows(self) -> Iterator[tuple[int, tuple[str, ...]]]:
        """Number on the sheet and texts of each row; blank cells are empty. Raises UnusualSheetError."""
        places = count(2)
        for text in self._texts():
            _check_texts(text)
            for found in _matches(self._pattern, text):
                place = next(places)
                yield place, self._values(found, place)
        self._check_around()

    def chosen(self, first: int, wanted: Callable[[tuple[str, ...]], bool]) -> Iterator[tuple[int, tuple[str, ...]]]:
        """As `rows`, but only those wanted: `wanted` is asked with the first so many texts of each row.

        For a sheet that is known to be as we wrote it: the rows between are not looked at.
        """
        match, end, place = _row_pattern(self._columns[:first], "").match, _ROW_END.decode(), 1
        for text in self._texts():
            at, last = 0, len(text)
            while at < last:
                found = match(text, at)
                if found is None:
                    raise UnusualSheetError
                begin, at, place = at, text.index(end, found.end()) + len(end), place + 1
                texts = found.groups("")[1:]
                if "&" in found[0]:
                    texts = tuple(map(_unescaped, texts))
                if wanted(texts):
                    whole = self._pattern.match(text, begin)
                    if whole is None:
                        raise UnusualSheetError
                    _check_texts(whole[0])
                    yield place, self._values(whole, place)

    def _texts(self) -> Iterator[str]:
        """The sheet piece by piece, each made of whole rows."""
        while True:
            piece = self._stream.read(_PIECE)
            cut = self._rest.rfind(_ROW_END) + len(_ROW_END) if _ROW_END in self._rest else 0
            yield _decoded(self._rest[:cut])
            self._rest = self._rest[cut:] + piece
            if not piece and _ROW_END not in self._rest:
                return

    def _values(self, found: re.Match[str], place: int) -> tuple[str, ...]:
        """Texts of a row, as the general reader would read them."""
        values: tuple[str, ...] = found.groups("")
        if values[0] != str(place):
            raise UnusualSheetError
        if "&" in found[0]:
            values = tuple(map(_unescaped, values))
        if _PRESERVED in found[0]:
            values = tuple("" if value.isspace() else value for value in values)
        return self._with_numbers(values)[1:]

    def _with_numbers(self, values: tuple[str, ...]) -> tuple[str, ...]:
        """The texts, with numbers in their shortest form."""
        for at in self._numbers:
            text = values[at]
            if text and not (text.isdigit() and text[0] != "0" and len(text) < 16):
                short = _shortest(text)
                values = values if short == text else (*values[:at], short, *values[at + 1 :])
        return values

    def _check_around(self) -> None:
        """What stands before and behind the rows is whole XML, too."""
        if not self._rest.startswith(_CLOSE):
            raise UnusualSheetError
        try:
            check_whole(self._head + self._rest)
        except (expat.ExpatError, DamagedPackageError) as error:
            raise UnusualSheetError from error


def _matches(pattern: re.Pattern[str], text: str) -> Iterator[re.Match[str]]:
    """Every match, one right behind the other."""
    at, last, match = 0, len(text), pattern.match
    while at < last:
        found = match(text, at)
        if found is None:
            raise UnusualSheetError
        yield found
        at = found.end()


@lru_cache
def _row_pattern(numbers: tuple[bool, ...], end: str = "</row>") -> re.Pattern[str]:
    """One row: its number, then a group for each column, which may be missing; or the beginning of one.

    Nothing that was matched is tried again in another way (`*+`, `?+`): it could not match, and takes twice as long.
    """
    cells = []
    for at, number in enumerate(numbers):
        start = rf'<c r="{column_letter(at)}\1"'
        text = rf'{start} t="inlineStr"><is><t(?:{_PRESERVED})?>([^<]*+)</t></is></c>'
        cell = f"(?:{start}><v>([0-9][0-9.e+-]*+)</v></c>)?+" if number else f"(?:{text})?+"
        cells.append(cell)
    return re.compile(r'<row r="(\d+)">' + "".join(cells) + end)


def _heading(cells: str) -> list[str]:
    """Texts of the first row, in order of its columns, which must follow one another."""
    found = _HEAD_CELL.split(cells)
    letters, texts, numbers, between = found[1::4], found[2::4], found[3::4], found[::4]
    if any(between) or letters != [column_letter(at) for at in range(len(letters))]:
        raise UnusualSheetError
    return [text or number or "" for text, number in zip(texts, numbers, strict=True)]


def _decoded(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise UnusualSheetError from error


def _check_texts(text: str) -> None:
    """Raise UnusualSheetError where anything stands in the texts that the general reader would read otherwise."""
    if any(sign in text for sign in _OTHERWISE) or ("_x" in text and _ESCAPED.search(text)):
        raise UnusualSheetError
    if "&" in text and _REFERENCE.search(text):
        raise UnusualSheetError


def _unescaped(text: str) -> str:
    return text.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&") if "&" in text else text


@lru_cache(maxsize=4096)
def _shortest(text: str) -> str:
    """A number as it is kept: the general reader's float in its shortest form."""
    try:
        number = float(text)
    except ValueError as error:
        raise UnusualSheetError from error
    return str(int(number)) if number.is_integer() else repr(number)
