"""Syringes and needles as SVG: a barrel with its marks to scale, needles at their true size."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from batchdose.amounts import amount_text, number_text
from batchdose.calculate.needles import MM_PER_INCH, sizes
from batchdose.write.svg import INK, box, line, picture, pointer, ticks, words

_BARREL_MM = 82.0
_MOST_MARKS = 60
#: Words stand to the left of a pointer that is further along than this.
_TO_THE_LEFT = Fraction(55, 100)


def syringe(size: Fraction, graduation: Fraction, draws: Sequence[tuple[str, Fraction]], unit: str) -> str:
    """A syringe or gun of a size with its marks, and a pointer at each amount to draw, as (words before, amount).

    The marks stand to scale along the barrel; where they would be too close, only every fifth or tenth is drawn.
    """
    left, top, tall = 14.0, 8.0 + 4.2 * (len(draws) - 1), 11.0
    says = f"Device of {amount_text(size, unit)}; " + "; ".join(_draw_text(*draw, unit) for draw in draws)
    largest = max(amount for _, amount in draws)
    plunger = left + float(largest / size) * _BARREL_MM
    parts = [
        box(4, top + tall / 2 - 1.4, 10, 2.8), box(left, top, _BARREL_MM, tall, "#fff", 0.5),
        box(left, top + 0.4, plunger - left, tall - 0.8, "#ddd", 0.2),
        box(plunger, top + 0.4, 2.4, tall - 0.8, "#555"),
        box(plunger + 2.4, top + 4, left + _BARREL_MM + 5.6 - plunger, 3),
        box(left + _BARREL_MM + 8, top - 1, 2, tall + 2),
    ]  # fmt: skip
    parts += _marks(size, graduation, left, top, tall)
    for place, (before, amount) in enumerate(_in_steps(draws, size)):
        at = left + float(amount / size) * _BARREL_MM
        y = 4.0 + 4.2 * place
        parts += [line(at, y + 0.6, at, top - 1, 0.4), pointer(at, top)]
        beyond = amount > size * _TO_THE_LEFT
        parts.append(words(at + (-1.2 if beyond else 1.2), y, _draw_text(before, amount, unit), 3.8,
                           anchor="end" if beyond else "start", bold=True))  # fmt: skip
    return picture(_BARREL_MM + 28, top + tall + 5, says, parts)


def _in_steps(draws: Sequence[tuple[str, Fraction]], size: Fraction) -> list[tuple[str, Fraction]]:
    """From the top line down, so that no pointer runs through the words of another."""
    left = [draw for draw in draws if draw[1] <= size * _TO_THE_LEFT]
    right = [draw for draw in draws if draw not in left]
    return sorted(left, key=lambda draw: draw[1]) + sorted(right, key=lambda draw: -draw[1])


def _draw_text(before: str, amount: Fraction, unit: str) -> str:
    return " ".join(part for part in (before, amount_text(amount, unit)) if part)


def _marks(size: Fraction, graduation: Fraction, left: float, top: float, tall: float) -> Iterator[str]:
    """Marks along the barrel, longer and numbered where a person counts from."""
    every = next(n for n in (1, 2, 5, 10, 20, 50, 100, 1000, size / graduation) if size / graduation / n <= _MOST_MARKS)
    count = int(size / graduation / every)
    numbered = next((n for n in (1, 2, 5, 10, 20) if count / n <= 10), count)
    places = [left + float(mark * every * graduation / size) * _BARREL_MM for mark in range(count + 1)]
    yield ticks(places, top + tall - 2.4, top + tall, 0.2)
    yield ticks(places[::numbered], top + tall - 4.5, top + tall, 0.4)
    for mark in range(0, count + 1, numbered):
        text = number_text(mark * every * graduation)
        yield words(places[mark], top + tall + 3.6, text, 2.9, anchor="middle")


def needles(chosen: Sequence[tuple[int, Fraction]]) -> str:
    """Needles at true size, as (gauge, inches): tube as wide and as long as it is, with its words beside it."""
    longest = max(float(inches * MM_PER_INCH) for _, inches in chosen)
    says = "True size: " + "; ".join(", ".join(needle_words(*needle)) for needle in chosen)
    parts = []
    for place, (gauge, inches) in enumerate(chosen):
        y, wide = 5.0 + 10 * place, float(sizes()[gauge][0])
        tip = 9 + float(inches * MM_PER_INCH)
        size, colour = needle_words(gauge, inches)
        parts += [
            box(1, y - 2.2, 8, 4.4, "#bbb"),
            f'<path d="M9 {y - wide / 2:.2f} H{tip - 2 * wide:.2f} L{tip:.2f} {y + wide / 2:.2f} H9 Z" fill="{INK}"/>',
            words(longest + 12, y - 0.4, size, 3.4, bold=True),
            words(longest + 12, y + 3.8, colour, 3.4),
        ]
    return picture(longest + 66, 10.0 * len(chosen), says, parts)


def needle_words(gauge: int, inches: Fraction) -> tuple[str, str]:
    """Gauge with length in both units, and width with the colour of the hub.

    >>> needle_words(18, Fraction(1))
    ('18 G x 25 mm (1 inch)', '1.2 mm wide, pink hub')
    """
    whole, part = divmod(inches, 1)
    inch = " ".join(text for text in (str(whole) if whole or not part else "", str(part) if part else "") if text)
    wide, colour = sizes()[gauge]
    return f"{gauge} G x {number_text(round(inches * MM_PER_INCH))} mm ({inch} inch)", (
        f"{number_text(wide)} mm wide, {colour} hub"
    )
