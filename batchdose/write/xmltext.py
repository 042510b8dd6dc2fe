"""A part of a workbook as text with offsets: elements are found where they stand, and edits leave all else alone.

Nothing is parsed into a tree and written out again, so what is not edited keeps its bytes. Clauses are those
of ECMA-376 part 1; the markup itself is XML 1.0.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple
from xml.parsers import expat

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_STRICT = "http://purl.oclc.org/ooxml/"
_ENCODING = re.compile(rb"""<\?xml[^>]*?\bencoding\s*=\s*["']([\w.-]+)["']""")
_MASKED = re.compile(rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>", re.DOTALL)
_ILLEGAL = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_BATCH = 1 << 18


class CannotCopyError(Exception):
    """No sound copy of this workbook can be made; the message ends the sentence "because ..."."""


class Edit(NamedTuple):
    """Put `new` in place of the bytes from `start` to `end`."""

    start: int
    end: int
    new: bytes


@dataclass(frozen=True, slots=True)
class Element:
    """Where an element stands: from `start` to `end`, its content from `inside` to `close`; `tag` opens it."""

    start: int
    inside: int
    close: int
    end: int
    tag: bytes

    @property
    def self_closed(self) -> bool:
        """Written as one tag, so that there is no inside to put anything into."""
        return self.tag.endswith(b"/>")


class XmlText:
    """One part, as UTF-8 whatever it is saved in, and the edits to it.

    Raises CannotCopyError where it is not well-formed, has a document type, or another root than expected.
    """

    def __init__(self, part: str, data: bytes, root: str) -> None:
        self.part = part
        _check_root(part, data, root)
        self._codec = _codec(data)
        self.text = data if self._codec == "utf-8" else data.decode(self._codec).encode("utf-8")
        self.marks = _without_comments(self.text)
        opening = re.search(rb"<([\w.-]+:)?" + root.encode() + rb"[\s/>]", self.marks)
        if opening is None:
            raise CannotCopyError(f"{part} is written in an unusual way")
        self.prefix = opening[1] or b""
        self.edits: list[Edit] = []

    def open_tag(self, name: str) -> bytes:
        """How the tag of an element begins in this part: `<row`, or `<x:row` with a prefix."""
        return b"<" + self.prefix + name.encode()

    def elements(self, name: str, within: Element | None = None) -> Iterator[Element]:
        """Every element of that name, in order. An element of the format never holds another of its own name."""
        start, end = (within.inside, within.close) if within else (0, len(self.marks))
        pattern, closing = _tag_pattern(self.prefix, name), b"</" + self.prefix + name.encode()
        while found := pattern.search(self.marks, start, end):
            tag = found[0]
            if tag.endswith(b"/>"):
                yield Element(found.start(), found.end(), found.end(), found.end(), tag)
                start = found.end()
                continue
            close = self.marks.find(closing, found.end(), end)
            after = self.marks.find(b">", close, end) + 1
            if close < 0 or not after:
                raise CannotCopyError(f"{self.part} is written in an unusual way")
            yield Element(found.start(), found.end(), close, after, tag)
            start = after

    def element(self, name: str, within: Element | None = None) -> Element | None:
        """The first element of that name, or None."""
        return next(self.elements(name, within), None)

    def need(self, name: str, within: Element | None = None) -> Element:
        """The first element of that name. Raises CannotCopyError where there is none."""
        found = self.element(name, within)
        if found is None:
            raise CannotCopyError(f"{self.part} has no {name}")
        return found

    def content(self, element: Element) -> bytes:
        """What stands inside an element."""
        return self.text[element.inside : element.close]

    def replace(self, start: int, end: int, new: bytes) -> None:
        """Note an edit; all of them must be apart from each other."""
        if self.text[start:end] != new:
            self.edits.append(Edit(start, end, new))

    def set_attribute(self, element: Element, name: str, value: str) -> None:
        """Change an attribute of an element, or add it."""
        found = _attribute_pattern(name).search(element.tag)
        escaped = escape(value).replace('"', "&quot;").encode()
        if found:
            group = 1 if found[1] is not None else 2
            self.replace(element.start + found.start(group), element.start + found.end(group), escaped)
        else:
            at = element.start + len(element.tag) - (2 if element.self_closed else 1)
            self.replace(at, at, b" " + name.encode() + b'="' + escaped + b'"')

    def add_last(self, name: str, new: str) -> None:
        """Add markup at the end of an element that is there; `{}` at the start of a tag stands for the prefix."""
        self.add_inside(self.need(name), name, new)

    def markup(self, text: str) -> bytes:
        """Markup with the part's prefix where a tag begins with `{}`; texts in it keep theirs, as `<` is escaped."""
        prefix = self.prefix.decode()
        return text.replace("<{}", f"<{prefix}").replace("</{}", f"</{prefix}").encode("utf-8")

    def add_inside(self, element: Element, name: str, new: str) -> None:
        """Add markup at the end of an element, which is opened if it is self-closed."""
        markup = self.markup(new)
        if element.self_closed:
            closing = b"</" + self.prefix + name.encode() + b">"
            self.replace(element.end - 2, element.end, b">" + markup + closing)
        else:
            self.replace(element.close, element.close, markup)

    def pieces(self, more: Iterable[Edit] = ()) -> Iterator[bytes]:
        """The part with its edits, and with further ones in the order of their places, piece by piece."""
        return self._encoded(apply(self.text, _in_order(sorted(self.edits, key=_place), more)))

    def data(self) -> bytes:
        """The part with its edits."""
        return b"".join(self.pieces())

    def _encoded(self, pieces: Iterator[bytes]) -> Iterator[bytes]:
        """Pieces in the encoding of the part; a letter that it does not have becomes a reference."""
        if self._codec == "utf-8":
            yield from pieces
        else:
            yield b"".join(pieces).decode("utf-8").encode(self._codec, "xmlcharrefreplace")


def apply(text: bytes, edits: Iterable[Edit]) -> Iterator[bytes]:
    """The text with the edits, which come in the order of their places, in pieces of a fair size."""
    at, size = 0, 0
    batch: list[bytes] = []
    for start, end, new in edits:
        batch += (text[at:start], new)
        size += start - at + len(new)
        at = end
        if size > _BATCH:
            yield b"".join(batch)
            batch, size = [], 0
    yield b"".join((*batch, text[at:]))


def _in_order(some: Iterable[Edit], others: Iterable[Edit]) -> Iterator[Edit]:
    """Two runs of edits as one."""
    waiting = list(some)[::-1]
    for edit in others:
        while waiting and _place(waiting[-1]) <= _place(edit):
            yield waiting.pop()
        yield edit
    yield from reversed(waiting)


def _place(edit: Edit) -> tuple[int, int]:
    return edit.start, edit.end


def attribute(tag: bytes, name: str) -> str | None:
    """Value of an attribute in a tag, or None.

    >>> attribute(b'<sheet name="Ewes &amp; lambs" x:name="no">', "name")
    'Ewes & lambs'
    """
    found = _attribute_pattern(name).search(tag)
    if not found:
        return None
    return html.unescape((found[1] if found[1] is not None else found[2]).decode("utf-8"))


def escape(text: str) -> str:
    """Text as content of an element.

    >>> escape("< 40 kg & light")
    '&lt; 40 kg &amp; light'
    """
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def cell_text(text: str) -> str:
    """Text of a cell: characters that XML does not allow as `_xHHHH_` (ST_Xstring, clause 22.9.2.19).

    >>> cell_text("a" + chr(7) + "_x0041_")
    'a_x0007__x005F_x0041_'
    """
    return _ILLEGAL.sub(lambda found: f"_x{ord(found[0]):04X}_", text).encode("utf-8", "replace").decode("utf-8")


@cache
def _attribute_pattern(name: str) -> re.Pattern[bytes]:
    return re.compile(rb"\s" + name.encode() + rb"""\s*=\s*(?:"([^"]*)"|'([^']*)')""")


@cache
def _tag_pattern(prefix: bytes, name: str) -> re.Pattern[bytes]:
    """An opening tag; inside quotes a tag may hold `>`."""
    return re.compile(rb"<" + prefix + name.encode() + rb"""(?=[\s/>])(?:[^>"']|"[^"]*"|'[^']*')*>""")


def _check_root(part: str, data: bytes, root: str) -> None:
    """Look at the whole part, whether it is sound and what it should be."""
    parser = expat.ParserCreate(namespace_separator=" ")
    seen: list[str] = []

    def first(name: str, _: object) -> None:
        seen.append(name)
        parser.StartElementHandler = None

    def refuse(*_: object) -> None:
        raise CannotCopyError(f"{part} holds a document type definition, which a workbook never needs")

    parser.StartElementHandler = first
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise CannotCopyError(f"{part} is damaged: {error}") from error
    namespace, _, name = seen[0].rpartition(" ")
    if namespace.startswith(_STRICT):
        raise CannotCopyError("it is saved as Strict Open XML")
    if name != root:
        raise CannotCopyError(f"{part} is not what it should be")


def _codec(data: bytes) -> str:
    """The encoding of a part: by its first bytes, else as declared (XML 1.0, appendix F)."""
    if data[:2] == b"\xff\xfe" or data[:2] == b"<\x00":
        return "utf-16-le"
    if data[:2] == b"\xfe\xff" or data[:2] == b"\x00<":
        return "utf-16-be"
    declared = _ENCODING.search(data[:200])
    name = declared[1].decode("ascii").casefold() if declared else "utf-8"
    return "utf-8" if name in ("utf-8", "utf8") else name


def _without_comments(text: bytes) -> bytes:
    """The same length of text, with comments, sections of plain text and instructions blotted out."""
    if b"<!" not in text and text.find(b"<?", 5) < 0:
        return text
    return _MASKED.sub(lambda found: (b"_" if found[0].startswith(b"<![") else b" ") * len(found[0]), text)
