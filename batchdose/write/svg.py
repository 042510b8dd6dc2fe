"""Small pieces of SVG text: lines, boxes and words in millimetres, in black, grey and white."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from batchdose.write.fonts import FAMILY

INK = "#111"
#: Fills that stay apart in grey print; a letter or a word always says the same.
FILLS = ("#fff", "#bbb", "#555")


def number(value: float) -> str:
    """A coordinate [mm] with at most two decimals.

    >>> number(2.0), number(1 / 3)
    ('2', '0.33')
    """
    return f"{round(value, 2):g}"


def attributes(**values: object) -> str:
    """Attributes of an element; underscores in names become hyphens."""
    return "".join(
        f' {name.replace("_", "-")}="{number(value) if isinstance(value, float) else escape(str(value))}"'
        for name, value in values.items()
    )


def picture(width_mm: float, height_mm: float, says: str, parts: Iterable[str]) -> str:
    """A whole picture of the given size; `says` is what it shows, for those who cannot see it."""
    size = attributes(
        width=f"{number(width_mm)}mm", height=f"{number(height_mm)}mm",
        viewBox=f"0 0 {number(width_mm)} {number(height_mm)}",
    )  # fmt: skip
    return f'<svg{size} role="img" aria-label="{escape(says)}">{"".join(parts)}</svg>'


def line(x1: float, y1: float, x2: float, y2: float, width: float = 0.3, *, dashes: str = "") -> str:
    """A line of a width [mm], dashed on request."""
    more = attributes(stroke_dasharray=dashes) if dashes else ""
    ends = attributes(x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2), stroke_width=float(width))
    return f'<line{ends} stroke="{INK}"{more}/>'


def ticks(at: Iterable[float], top: float, foot: float, width: float) -> str:
    """Upright marks of one length [mm] as one path, which prints faster than a line each."""
    path = " ".join(f"M{number(x)} {number(top)} V{number(foot)}" for x in at)
    return f'<path class="ticks" d="{path}" stroke="{INK}" stroke-width="{number(width)}"/>'


def box(x: float, y: float, width: float, height: float, fill: str = "#fff", edge: float = 0.3) -> str:
    """A rectangle with an edge [mm]."""
    size = attributes(x=float(x), y=float(y), width=float(width), height=float(height), stroke_width=float(edge))
    return f'<rect{size} fill="{fill}" stroke="{INK}"/>'


def words(x: float, y: float, text: str, size: float = 3.2, *, anchor: str = "start", bold: bool = False) -> str:
    """Words with their foot at `y`; `size` in mm (3.2 mm is 9 points)."""
    place = attributes(x=float(x), y=float(y), font_size=float(size), text_anchor=anchor)
    weight = ' font-weight="bold"' if bold else ""
    return f'<text{place}{weight} font-family="{FAMILY}, sans-serif" fill="{INK}">{escape(text)}</text>'


def pointer(x: float, y: float, *, down: bool = True, size: float = 2.4) -> str:
    """A filled triangle whose tip is at a point."""
    side = -size if down else size
    return (
        f'<path d="M{number(x)} {number(y)} L{number(x - size / 2)} {number(y + side)} '
        f'L{number(x + size / 2)} {number(y + side)} Z" fill="{INK}"/>'
    )
