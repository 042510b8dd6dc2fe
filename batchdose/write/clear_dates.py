"""When each product of a mob may be used again, in words and as a time line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeAlias

import pandas as pd

from batchdose.amounts import date_text, short_date_text
from batchdose.model import STATES, Clear, Result
from batchdose.texts import joined, say
from batchdose.write.charts import Span, time_line
from batchdose.write.sheet import ClearLine, MobClear
from batchdose.write.words import all_animals, heads, in_local_words, word

_ClearText: TypeAlias = tuple[str, date | None, bool]
#: Lines of a time line; further ones stand in words alone.
_MOST_SPANS = 6


def paper_date(at: datetime) -> date:
    """The date printed for a clear-from moment: the midnight at or after it.

    A mob that is started at nine is finished at two; the hour comes from the record of what was given.
    """
    return at.date() if at.time() == datetime.min.time() else at.date() + timedelta(days=1)


def not_yet_clear(result: Result) -> pd.DataFrame:
    """A row of the treatments table for each animal that is given something, or not clear after what it got before."""
    table = result.treatments
    running = pd.Series(data=False, index=table.index)
    for product in result.products_clear:
        running |= table[f"clear:{product}"].map(lambda clear: _runs(clear, result.planned.at))
    return table[~table["held"] | running].drop_duplicates("animal")


def _runs(clear: Clear, planned: datetime) -> bool:
    return clear.state in ("not_stated", "not_permitted") or (clear.at is not None and clear.at > planned)


def clear_dates(result: Result) -> Iterator[MobClear]:
    """For each mob, each product's clear-from, the latest first; where animals differ, with who is meant.

    An animal that is given nothing stands here too while an earlier treatment of it still runs.
    """
    rules = result.session.facts.rules
    for mob, group in not_yet_clear(result).groupby("mob", sort=False):
        lines: list[ClearLine] = []
        for product in result.products_clear:
            clears = group[f"clear:{product}"]
            texts = clears.map(lambda clear, p=product: _clear_text(p, clear, rules))
            texts = texts[texts.map(lambda text: bool(text[0]))]
            kinds = sorted(texts.unique(), key=_latest_first(clears, texts), reverse=True)
            for text, day, never in kinds:
                who = group.loc[texts.index[texts == (text, day, never)]]
                said = _first_large(word(product))
                lines.append(ClearLine(said, text, day, _who(who) if len(kinds) > 1 else "", never))
        name = str(mob) or all_animals()
        yield MobClear(name, lines, _picture(result.planned.at.date(), lines, name))


def _first_large(text: str) -> str:
    return text[:1].upper() + text[1:]


def _clear_text(product: str, clear: Clear, rules: str) -> _ClearText:
    """What is printed for a clear-from, its date where there is one, and whether it is never."""
    if clear.state == "from" and clear.at is not None:
        day = paper_date(clear.at)
        return date_text(day), day, False
    if clear.state == "not_permitted":
        return say("Never from this treatment: {product} is not permitted.", product=word(product)), None, True
    if clear.state == "not_stated":
        why = in_local_words(clear.why, rules)
        text = say("Not known: {why}. Do not use it until the label or the prescriber gives a period.", why=why)
        return text, None, False
    return "", None, False


def _latest_first(clears: pd.Series[Any], texts: pd.Series[Any]) -> Callable[[_ClearText], tuple[int, datetime]]:
    """Sort key of a clear text: how strong its state is, then how late its moment."""
    first = {text: clears.loc[index] for index, text in reversed(list(texts.items()))}

    def key(text: _ClearText) -> tuple[int, datetime]:
        clear: Clear = first[text]
        return STATES.index(clear.state), clear.at or datetime.min.replace(tzinfo=UTC)

    return key


def _who(animals: pd.DataFrame) -> str:
    """Up to six tags, else how many."""
    if len(animals) > 6:
        return say("{heads}, see the workbook", heads=heads(int(animals["head"].sum())))
    return ", ".join(sorted(tag or say("whole mob") for tag in animals["tag"]))


def _picture(start: date, lines: Sequence[ClearLine], mob: str) -> str:
    """The time line of a mob; none where nothing lasts beyond the day after treatment."""
    if not any(line.day is None or (line.day - start).days > 1 for line in lines):
        return ""
    spans = [Span(_label(line), line.day, _beside(line)) for line in lines[:_MOST_SPANS]]
    says = say("{name}: {text}", name=mob, text=joined("; ", [f"{span.label} {span.text}" for span in spans]))
    return time_line(start, spans, says)


def _label(line: ClearLine) -> str:
    who = line.who if len(line.who) <= 14 else say("some")
    return f"{line.product} ({who})" if who else line.product


def _beside(line: ClearLine) -> str:
    if line.day is None:
        return say("never") if line.never else say("not known: do not use")
    return say("from {day}", day=short_date_text(line.day, year=True, weekday=True))
