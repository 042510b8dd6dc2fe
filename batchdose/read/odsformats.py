"""Number formats of an .ods file, as far as they change what a number means, and the styles that use them."""

from __future__ import annotations

from dataclasses import dataclass, field

from batchdose.read.facts import format_matters

_NUMBER = "urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0 "
_STYLE = "urn:oasis:names:tc:opendocument:xmlns:style:1.0 "
_TABLE = "urn:oasis:names:tc:opendocument:xmlns:table:1.0 "
_FORMATS = tuple(f"{_NUMBER}{kind}-style" for kind in ("number", "percentage", "currency", "date", "time", "text"))
_PERCENT = "0%"
_MOST_ZEROS = 30


@dataclass
class Formats:
    """Formats by the name of the style, in the spelling of .xlsx: `0.0" lb"`, `0000`, `0%`.

    `concealed`: names of the table styles whose sheets are hidden.
    """

    codes: dict[str, str] = field(default_factory=dict)
    style_formats: dict[str, tuple[str, str]] = field(default_factory=dict)
    concealed: set[str] = field(default_factory=set)
    _open: str = ""
    _style: str = ""
    _in_text: bool = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take note of an element outside the sheets."""
        self._in_text = tag == f"{_NUMBER}text" and bool(self._open)
        if tag in _FORMATS:
            self._open = attributes.get(f"{_STYLE}name", "")
            self.codes[self._open] = _PERCENT if tag == f"{_NUMBER}percentage-style" else ""
        elif tag == f"{_NUMBER}number" and self._open and self.codes[self._open] != _PERCENT:
            digits = min(int(attributes.get(f"{_NUMBER}min-integer-digits", "1")), _MOST_ZEROS)
            places = int(attributes.get(f"{_NUMBER}decimal-places", "0"))
            self.codes[self._open] += "0" * max(digits, 1) + (".0" if places else "")
        elif tag == f"{_STYLE}style":
            self._style, self._open = attributes.get(f"{_STYLE}name", ""), ""
            wanted = attributes.get(f"{_STYLE}data-style-name", ""), attributes.get(f"{_STYLE}parent-style-name", "")
            self.style_formats[self._style] = wanted
        elif tag == f"{_STYLE}table-properties" and attributes.get(f"{_TABLE}display") == "false":
            self.concealed.add(self._style)

    def text(self, text: str) -> None:
        """Take note of text outside the sheets: the unit that a format puts beside its number."""
        if self._in_text and text.strip() and self.codes[self._open] != _PERCENT:
            self.codes[self._open] += f'"{text}"'

    def that_matter(self) -> list[str]:
        """Names of the styles whose format changes what a number means."""
        return [style for style in self.style_formats if format_matters(self.code_of(style))]

    def code_of(self, style: str) -> str:
        """The format that a cell style uses, its own or its parent's; empty if it has none that is known."""
        for _ in range(len(self.style_formats) + 1):
            own, parent = self.style_formats.get(style, ("", ""))
            if own or not parent:
                return self.codes.get(own, "")
            style = parent
        return ""
