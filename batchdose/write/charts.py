"""Charts of the job sheet as SVG: the weights of a mob with its weight groups, the time line of clear-from dates."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from batchdose.amounts import number_text, short_date_text
from batchdose.texts import joined, say
from batchdose.write.svg import FILLS, box, line, picture, words

WIDTH_MM = 184.0
_BARS_MM = 16.0
_STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
_MOST_BARS = 24
#: Width of a bold letter as a share of its size, a little more than it is on average.
_LETTER = 0.68


@dataclass(frozen=True)
class Group:
    """A weight group in a histogram: its letter, its weights in the unit of the axis, and what stands beside it."""

    label: str
    low: float
    high: float
    text: str


@dataclass(frozen=True)
class Span:
    """One line of a time line: from the first treatment to a day, or open where no day is known."""

    label: str
    end: date | None
    text: str


def histogram(weights: Sequence[tuple[float, int]], groups: Sequence[Group], unit: str) -> str:
    """Weights of a mob, as (weight, head), in bars; below them each weight group with its setting."""
    far = [pair for pair in far_off(weights) if not any(group.low <= pair[0] <= group.high for group in groups)]
    weights = [pair for pair in weights if pair not in far]
    low, high = min(w for w, _ in weights), max(w for w, _ in weights)
    step = next((s for s in _STEPS if (high - low) / s <= _MOST_BARS - 2), math.ceil((high - low) / _MOST_BARS) or 1.0)
    first, last = math.floor(low / step), math.floor(high / step) + 1
    scale = (WIDTH_MM - 16) / (last - first)

    def x(weight: float) -> float:
        return 8 + (weight / step - first) * scale

    height = _BARS_MM + 11 + 4.6 * len(groups)
    says = joined("; ", [
        say("Weights from {low} to {high} {unit}", low=number_text(low), high=number_text(high), unit=unit),
        *(_of_group(group) for group in groups),
    ])  # fmt: skip
    parts = [*_bars(weights, groups, step, x), line(8, _BARS_MM + 5, WIDTH_MM - 8, _BARS_MM + 5, 0.4)]
    every = -(-(last - first) // 8)
    parts += [
        words(x(n * step), _BARS_MM + 8.8, number_text(n * step) + (f" {unit}" if n == first else ""), anchor="middle")
        for n in range(first, last + 1, every)
    ]
    for above, below in zip(groups[1:], groups, strict=False):
        cut = x((above.low + below.high) / 2)
        parts.append(line(cut, 1, cut, _BARS_MM + 5, 0.4, dashes="1.5 1"))
    if far:
        beyond = say("not drawn, check: {weights} {unit}", weights=_all_of(far), unit=unit)
        parts.append(words(WIDTH_MM, 3, beyond, bold=True, anchor="end"))
    for place, group in enumerate(groups):
        parts += _group_line(group, x(group.low), x(group.high), _BARS_MM + 13 + 4.6 * place, place)
    return picture(WIDTH_MM, height, says, parts)


def far_off(weights: Sequence[tuple[float, int]]) -> list[tuple[float, int]]:
    """Weights that would squeeze all others into one bar: more than 5 MAD and 25 % from the median, in mobs of ten.

    >>> far_off([(45.0, 1)] * 6 + [(47.0, 1)] * 5 + [(415.0, 1)])
    [(415.0, 1)]
    """
    if len(weights) < 10:
        return []
    middle = median(weight for weight, _ in weights)
    spread = median(abs(weight - middle) for weight, _ in weights)
    return [pair for pair in weights if abs(pair[0] - middle) > max(5 * spread, 0.25 * middle)]


def _of_group(group: Group) -> str:
    return say("{name}: {text}", name=group.label, text=group.text)


def _all_of(far: Sequence[tuple[float, int]]) -> str:
    # Numbers with a decimal comma are parted by semicolons.
    apart = ", " if number_text(0.5) == "0.5" else "; "
    return apart.join(number_text(weight) for weight, _ in sorted(far)[:5]) + (" ..." if len(far) > 5 else "")


def _bars(
    weights: Sequence[tuple[float, int]], groups: Sequence[Group], step: float, x: Callable[[float], float]
) -> Iterator[str]:
    """The bars, those of each weight group in its own grey, with the head above each."""
    counts: Counter[tuple[int, int]] = Counter()
    for weight, head in weights:
        of = next((i for i, g in enumerate(groups) if g.low <= weight <= g.high), 0)
        counts[math.floor(weight / step), of] += head
    totals: Counter[int] = Counter()
    for (bar, _), head in counts.items():
        totals[bar] += head
    up = _BARS_MM / max(totals.values())
    for bar in sorted(totals):
        left, width, foot = x(bar * step), x((bar + 1) * step) - x(bar * step), _BARS_MM + 5
        for of in sorted(of for at, of in counts if at == bar):
            tall = counts[bar, of] * up
            foot -= tall
            yield box(left + 0.3, foot, width - 0.6, tall, FILLS[of % len(FILLS)])
        yield words(left + width / 2, foot - 0.8, f"{totals[bar]}", 2.8, anchor="middle")


def _group_line(group: Group, left: float, right: float, y: float, place: int) -> Iterator[str]:
    """A bracket under the group's weights with its words on the side that has room."""
    right = max(right, left + 2)
    yield box(left, y - 2.4, right - left, 2.2, FILLS[place % len(FILLS)])
    text, size = _of_group(group), 3.6
    long = len(text) * size * _LETTER
    if WIDTH_MM - right >= long + 2:
        yield words(right + 1.5, y, text, size, bold=True)
    elif left >= long + 2:
        yield words(left - 1.5, y, text, size, anchor="end", bold=True)
    else:
        middle = min(max((left + right) / 2, long / 2), WIDTH_MM - long / 2)
        yield f'<rect x="{middle - long / 2:.2f}" y="{y - 3:.2f}" width="{long:.2f}" height="3.6" fill="#fff"/>'
        yield words(middle, y, text, size, anchor="middle", bold=True)


def time_line(start: date, spans: Sequence[Span], says: str) -> str:
    """For each product a bar from the day of treatment to the day it may be used; an open one ends in a question."""
    ends = [span.end for span in spans if span.end]
    last = max([*ends, start])
    days = max((last - start).days, 1)
    left, room = 46.0, WIDTH_MM - 46 - 52

    def x(day: date) -> float:
        return left + (day - start).days / days * room

    height = 7 + 6.4 * len(spans)
    parts = [words(left, 3.4, short_date_text(start), anchor="middle"), line(left, 4.4, left, height, 0.4)]
    for place, span in enumerate(spans):
        y = 7.5 + 6.4 * place
        parts.append(words(0, y + 2.2, span.label, 3.4, bold=True))
        if span.end is None:
            parts.append(line(left, y + 1, left + room, y + 1, 1.0, dashes="2 1.6"))
            parts.append(words(left + room + 2, y + 2.2, "?", 4.4, bold=True))
            parts.append(words(left + room + 6, y + 2.2, span.text, 3.2))
        else:
            parts += [box(left, y - 0.8, max(x(span.end) - left, 0.6), 3.6, "#bbb")]
            parts.append(words(x(span.end) + 1.5, y + 2.2, span.text, 3.2, bold=True))
    return picture(WIDTH_MM, height, says, parts)
