"""What a run ends with on the terminal: mobs, settings, product, who is held, clear-from, where the files are."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from batchdose.amounts import amount_text
from batchdose.model import Result
from batchdose.write.cards import medicine_card
from batchdose.write.clear_dates import clear_dates
from batchdose.write.job_sheet import held_animals

#: Columns of the narrowest terminal that is counted on.
WIDTH = 80
_MOST_TAGS = 12


@dataclass(frozen=True)
class Line:
    """One line, and what it is: a heading, a warning to be seen, or plain."""

    text: str
    kind: Literal["heading", "held", "plain"] = "plain"


def closing_lines(result: Result, paths: Sequence[Path]) -> Iterator[Line]:
    """The summary, in lines of at most 80 columns where no name is longer than that."""
    yield from _held(result)
    yield from _block("Settings", _settings(result))
    yield from _block("To draw", _to_draw(result))
    yield from _block("May be used again, if all is given as planned", _clear(result))
    if paths:
        yield from _block(f"Written into {paths[0].parent}", [path.name for path in paths])


def _block(heading: str, texts: Sequence[str] | Iterator[str]) -> Iterator[Line]:
    rows = list(texts)
    if rows:
        yield Line(heading, "heading")
        for row in rows:
            yield from (Line(text) for text in _wrapped(row))


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent="  ", subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )


def _held(result: Result) -> Iterator[Line]:
    """Who is held, with the reason; only so many tags of one reason."""
    rows = list(held_animals(result))
    if rows:
        yield Line("DO NOT DOSE", "held")
    for tags, mob, medicines, why in rows:
        names = tags.split(", ")
        more = f" and {len(names) - _MOST_TAGS} more" if len(names) > _MOST_TAGS else ""
        shown = ", ".join(names[:_MOST_TAGS]) + more
        place = f" ({mob})" if mob and mob != tags else ""
        yield from (Line(text, "held") for text in _wrapped(f"{shown}{place}: {medicines}: {why}"))


def _settings(result: Result) -> Iterator[str]:
    for index in sorted(result.treatments["medicine"].unique()):
        medicine, mob = result.medicines[index], ""
        for name, group, setting, head, _ in medicine_card(medicine, result).settings:
            mob = name or mob
            which = f"{mob}, {group}" if group and group[1:2] == ":" else mob
            yield f"{which}: {medicine.name}: {setting}, {head} head"


def _to_draw(result: Result) -> Iterator[str]:
    for plan in result.product:
        marks = -(-plan.to_draw // result.medicines[plan.rows[0]].graduation)
        amount = amount_text(marks * result.medicines[plan.rows[0]].graduation, plan.unit)
        is_short = plan.stock_known and plan.short
        short = f", {amount_text(plan.short, plan.unit)} short of it in stock" if is_short else ""
        yield f"{plan.medicine}: {amount}{short}"


def _clear(result: Result) -> Iterator[str]:
    for mob in clear_dates(result):
        for line in mob.lines:
            who = f" ({line.who})" if line.who else ""
            yield f"{mob.name}, {line.product.lower()}: {'from ' if line.day else ''}{line.text}{who}"
