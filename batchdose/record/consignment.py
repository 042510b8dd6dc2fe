"""A list of animals that are to go: who may, who may not and until when, and who is not known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol, TypeVar

from batchdose.amounts import date_text
from batchdose.findings import UnusableInputError
from batchdose.model import Clear
from batchdose.read.book import open_book
from batchdose.read.fields import normal
from batchdose.read.table import cell_text
from batchdose.record.clear import Held, Verdict

A = TypeVar("A")
_HEADINGS = tuple(map(normal, ("eid", "tag", "ear tag", "visual id", "e.i.d.", "animal")))

_OF_TAGS = frozenset(_HEADINGS) - {normal("eid")}


@dataclass(frozen=True)
class Answers:
    """Verdicts on a moment, and whether they are on a list: then nobody may be left in doubt.

    `remark` is what people should know of how they were found.
    """

    verdicts: tuple[Verdict, ...]
    of_list: bool
    sound: bool
    remark: str = ""

    @property
    def all_clear(self) -> bool:
        """Whether everyone is clear for everything asked."""
        return self.sound and all(verdict.answer == "clear" for verdict in self.verdicts)


@dataclass(frozen=True, slots=True)
class Listed:
    """One animal of a list: its EID, its tag, or both."""

    eid: str
    tag: str

    @property
    def name(self) -> str:
        """What it is called in the answers."""
        return self.eid or self.tag


class Says(Protocol[A]):
    """What can say who is clear: a record read in full or in part, or what is known of it."""

    sound: bool

    def products(self) -> Sequence[str]:
        """Products that any treatment has a period for."""

    def every(self) -> Iterable[A]:
        """Every animal, then every mob that was treated as a whole."""

    def of_both(self, eid: str, tag: str) -> tuple[A | None, str]:
        """The animal of an EID and a tag that stand together, or of one of them; or None and why it is not known."""

    def verdict(self, animal: A, product: str, on: datetime) -> Verdict:
        """Whether an animal is clear for a product on a moment."""


def answers(clearing: Says[A], names: Sequence[Listed] | None, products: Sequence[str], on: datetime) -> Answers:
    """Verdicts for the animals named, or for all of the record."""
    found: list[Verdict] = []
    if names is None:
        for animal in clearing.every():
            found += [clearing.verdict(animal, product, on) for product in products]
        return Answers(tuple(found), of_list=False, sound=clearing.sound)
    for listed in dict.fromkeys(names):
        name, (known, why) = listed.name, clearing.of_both(listed.eid, listed.tag)
        if known is None:
            nothing = Held(Clear(None, "not_stated", why), None)
            found += [Verdict(name, name, product, "not known", nothing) for product in products]
        else:
            of_animal = [clearing.verdict(known, product, on) for product in products]
            found += [Verdict(name, v.tag, v.product, v.answer, v.held) for v in of_animal]
    return Answers(tuple(found), of_list=True, sound=clearing.sound)


def listed_animals(path: Path) -> list[Listed]:
    """EIDs and tags on a list: of the columns EID and Tag, else of the first column.

    Raises UnusableInputError where the list cannot be read or is empty.
    """
    book = open_book(path)
    names: list[Listed] = []
    for sheet in book.sheets[:1]:
        rows = [[cell_text(cell) for cell in row] for row in sheet.rows]
        at, first = next(
            ((column, number) for number, row in enumerate(rows[:5]) for wanted in _HEADINGS
             for column, text in enumerate(row) if normal(text) == wanted), (0, -1),
        )  # fmt: skip
        tags = _tag_column(rows, first)
        for row in rows[first + 1 :]:
            text = row[at] if at < len(row) else ""
            tag = row[tags] if 0 <= tags < len(row) and tags != at else ""
            if not text and not tag and any(row):
                text = f"(no tag) {' '.join(filter(None, row))}"
            names.append(Listed(text, tag))
    names = [listed for listed in names if listed.name]
    if not names:
        raise UnusableInputError(book.source.name, "There is no animal on the list.", "Enter tags or EIDs, one a row.")
    return names


def _tag_column(rows: list[list[str]], header: int) -> int:
    """Column of the tags, for animals without an EID; -1 without one."""
    if header < 0:
        return -1
    return next((at for at, text in enumerate(rows[header]) if normal(text) in _OF_TAGS), -1)


def lines(found: Answers) -> Iterator[str]:
    """The answers in words, first who may not."""
    if not found.sound:
        yield "The record was altered, so nobody can be called clear. Run batchdose check on it; see which row."
    for product in dict.fromkeys(verdict.product for verdict in found.verdicts):
        mine = [verdict for verdict in found.verdicts if verdict.product == product]
        for answer in ("not known", "not clear"):
            for verdict in mine:
                if verdict.answer == answer:
                    yield f"{product}: {verdict.name}: {answer}{_because(verdict)}"
        yield f"{product}: clear: {_named(v.name for v in mine if v.answer == 'clear')}"
    if found.of_list:
        stay = list(dict.fromkeys(v.name for v in found.verdicts if v.answer != "clear"))
        go = [name for name in dict.fromkeys(v.name for v in found.verdicts) if name not in set(stay)]
        yield f"May go: {_named(go)}"
        yield f"May not go: {_named(stay)}"


def _named(names: Iterable[str]) -> str:
    listed = list(dict.fromkeys(names))
    return f"{len(listed)} ({', '.join(listed)})" if listed else "none"


def _because(verdict: Verdict) -> str:
    """Until when, and the treatment that holds it."""
    clear, row = verdict.held.clear, verdict.held.row
    if clear.state == "from" and clear.at is not None:
        until = f" until {date_text(clear.at.date())}, {clear.at:%H:%M}"
    elif clear.state == "not_permitted":
        until = ", ever: it is not permitted after this treatment"
    else:
        until = f": {clear.why}"
    by = (
        f" ({row.medicine}, given {row.given_at.replace('T', ' ')[:16] or 'at an unknown time'}, row {row.row})"
        if row
        else ""
    )
    return until + by
