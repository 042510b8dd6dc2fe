"""Whether what a job says can be said in every language of the job sheet."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache
from typing import TYPE_CHECKING, Any

from batchdose.amounts import Day, Number
from batchdose.read.book import open_book
from batchdose.read.fields import BANDS, MEDICINES, MOBS, STOCK, TREATMENTS, WEIGHING
from batchdose.read.session_names import ACCEPTED
from batchdose.texts import ENGLISH, LANGUAGES, Joined, Retold, Text, Unended, catalogue, speaking, tell

if TYPE_CHECKING:
    from pathlib import Path

    from batchdose import Result

OTHERS = [language for language in LANGUAGES if language != ENGLISH]
#: A plain value of more words than this is taken for a sentence of ours, unless it stands on the sheets.
MOST_WORDS = 3
#: Names of fields and headings stay as they stand on the sheets, in English.
HEADINGS = {
    word.casefold()
    for spec in (*WEIGHING, *MOBS, *TREATMENTS, *MEDICINES, *BANDS, *STOCK)
    for word in (spec.name.replace("_", " "), *spec.headings)
} | {name.casefold() for names in ACCEPTED.values() for name in names}


def untold(result: Result) -> list[str]:
    """What a job says that cannot be said in another language: sentences without a message, or none of its own."""
    return list(dict.fromkeys(_untold(result)))


def _untold(result: Result) -> Iterator[str]:
    paths = [file.path for file in result.inputs]
    for finding in result.findings:
        sentences = [finding.message, finding.fix, *(h.why for h in (finding.hold, finding.no_clear) if h is not None)]
        yield from _of_sentences(sentences, paths)
        yield from _of_value(finding.seen, paths)
    yield from _of_sentences((why for row in result.treatments["why"] for why in row), paths)
    yield from _of_sentences((text for text in result.treatments["working"].unique() if text), paths)
    for said in (*result.mobs, *result.product):
        yield from _of_sentences(said.remarks, paths)
    yield from _of_sentences((of.parts for of in result.assurance), paths)
    for product in result.products_clear:
        for clear in set(result.treatments[f"clear:{product}"]):
            yield from _of_value(clear.why, paths)


def _of_sentences(sentences: Iterable[str], paths: list[Path]) -> Iterator[str]:
    for sentence in sentences:
        if not isinstance(sentence, Text):
            yield f"no text: {sentence}"
        yield from _of_value(sentence, paths)


def _of_value(value: Any, paths: list[Path]) -> Iterator[str]:
    """What of a value, and of the values in it, is an English sentence or a message without a translation."""
    if isinstance(value, Retold):
        yield from (f"not told in {other}: {value}" for other in OTHERS if not _is_told_again(value, other))
    elif isinstance(value, (Number, Day)):
        return
    elif isinstance(value, Joined):
        for part in value.values["parts"]:
            yield from _of_value(part, paths)
    elif isinstance(value, Unended):
        yield from _of_value(value.values["whole"], paths)
    elif isinstance(value, Text):
        yield from (f"not in {other}: {value.message}" for other in OTHERS if value.message not in _messages(other))
        for inner in value.values.values():
            yield from _of_value(inner, paths)
    elif isinstance(value, str) and _is_sentence(value) and not _stands_on_a_sheet(value, paths):
        yield f"a plain value: {value}"


def _is_told_again(value: Text, language: str) -> bool:
    """Whether a text that is made again in another language keeps no word of the English one but units."""
    with speaking(language):
        told = tell(value)
    return not set(re.findall(r"[a-z]{3,}", told)) & {"the", "band", "and", "over", "most", "least", "not", "confirmed"}


@cache
def _messages(language: str) -> frozenset[str]:
    known = catalogue(language)._catalog  # type: ignore[attr-defined]
    return frozenset(key if isinstance(key, str) else key[0] for key in known)


def _is_sentence(text: str) -> bool:
    words = [word for word in re.findall(r"[^\W\d_]{2,}", text) if not word.isupper()]
    return len(words) > MOST_WORDS and text.casefold() not in HEADINGS


def _stands_on_a_sheet(text: str, paths: list[Path]) -> bool:
    """Whether all words of a text are words of the sheets."""
    known = set()
    for path in paths:
        for sheet in open_book(path).sheets:
            cells = (cell for row in sheet.rows for cell in row if isinstance(cell, str))
            known |= {word for cell in (sheet.name, *cells) for word in re.findall(r"[^\W\d_]{2,}", cell.casefold())}
    return set(re.findall(r"[^\W\d_]{2,}", text.casefold())) <= known
