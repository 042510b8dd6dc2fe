"""What the job sheet is made of: finished texts in the order of the work, for the template to lay out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Card:
    """One medicine as it is given: facts as (name, text), settings, the working, cautions."""

    name: str
    facts: list[tuple[str, str]]
    settings: list[tuple[str, str, str, str, str]]
    working: str
    remarks: list[str]
    cautions: list[str]


@dataclass(frozen=True)
class ClearLine:
    """When one product of a mob may be used again: a date, or why there is none."""

    product: str
    text: str
    dated: bool
    who: str


@dataclass(frozen=True)
class DoseCell:
    """What one animal gets of one medicine: dose, what goes with it, a box for each time; or `stop`."""

    dose: str = ""
    more: str = ""
    boxes: int = 0
    stop: bool = False


@dataclass(frozen=True)
class AnimalRow:
    """One animal of a list: tag, weight, and a cell for each medicine of its mob."""

    tag: str
    weight: str
    doses: list[DoseCell]
    held: bool


@dataclass(frozen=True)
class MobList:
    """The animals of one mob, sorted by tag, with the medicines given to any of them."""

    name: str
    head: int
    medicines: list[str]
    rows: list[AnimalRow]


@dataclass(frozen=True)
class JobSheet:
    """All texts of the sheet, in the order of the work."""

    title: str
    identity: str
    facts: list[tuple[str, str]]
    summary: str
    take: list[tuple[str, str, str, str, str]]
    clear: list[tuple[str, list[ClearLine]]]
    held: list[tuple[str, str, str, str]]
    cards: list[Card]
    lists: list[MobList]
    findings: list[tuple[str, str, str, str]]
    more_findings: int
    cautions: list[tuple[str, str]]
    words: dict[str, str]
