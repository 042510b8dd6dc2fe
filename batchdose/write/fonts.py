"""The fonts that ship with the templates: where they are, which letters they have, and how wide a text is in them.

`tests/make_fonts.py` makes them. All figures are of one width, and 1 and 7, 0 and O cannot be taken for each other.
"""

from __future__ import annotations

import json
from base64 import b64encode
from functools import cache
from typing import Literal

from batchdose.write.templates import template_folder

FAMILY = "Job Sheet Sans"
_WEIGHTS = (400, 700)
_MEDIA = {"ttf": "font/ttf", "woff2": "font/woff2"}
_POINT_MM = 25.4 / 72
#: Width of a letter that the fonts do not have, in thousandths of its size: any script's letters are narrower.
_UNKNOWN = 1000


@cache
def font_faces(kind: Literal["ttf", "woff2"]) -> str:
    """CSS that brings the fonts along: as ttf, which is read fastest, or as woff2, which is smallest."""
    return "\n".join(
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {weight}; src: url("data:{_MEDIA[kind]};base64,'
        f'{b64encode((template_folder() / "fonts" / f"job-sheet-{weight}.{kind}").read_bytes()).decode()}") }}'
        for weight in _WEIGHTS
    )


@cache
def _widths() -> dict[str, dict[str, int]]:
    texts = json.loads((template_folder() / "fonts" / "widths.json").read_text(encoding="utf-8"))
    return {weight: dict(letters) for weight, letters in texts.items()}


def has_letters(text: str) -> bool:
    """Whether the fonts have every letter of a text."""
    return not set(text) - {"\n", "\r", "\t"} - set(_widths()["400"])


def text_mm(text: str, points: float, *, bold: bool = False) -> float:
    """Width of a text on one line [mm], without kerning, which moves letters by a few hundredths.

    >>> round(text_mm("43.5 kg", 11), 1), text_mm("00", 12) == text_mm("17", 12)
    (13.3, True)
    """
    widths = _widths()["700" if bold else "400"]
    return sum(widths.get(letter, _UNKNOWN) for letter in text) / 1000 * points * _POINT_MM
