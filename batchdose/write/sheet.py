"""What the job sheet is made of: finished texts and pictures in the order of the work, for the template to lay out.

A picture is SVG text of our own making with every word in it escaped, or empty.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from batchdose.texts import ENGLISH

#: Order of the animals of a list.
Order = Literal["tag", "weight", "sheet", "draft"]
#: Paper to print on.
PaperName = Literal["a4", "letter"]


@dataclass(frozen=True)
class Paper:
    """A size of paper [mm], by its name in CSS, and the margins of the job sheet on it."""

    name: str
    width_mm: float
    height_mm: float
    top_mm: float = 15.0
    side_mm: float = 13.0
    foot_mm: float = 16.0

    @property
    def inner_width_mm(self) -> float:
        """Width between the margins [mm]."""
        return self.width_mm - 2 * self.side_mm

    @property
    def inner_height_mm(self) -> float:
        """Height between the margins [mm]."""
        return self.height_mm - self.top_mm - self.foot_mm


@dataclass(frozen=True)
class Take:
    """One product to take along: what to draw, from which packs, with which device and needles."""

    name: str
    draw: str
    packs: str
    device: str
    needles: str
    remarks: str


@dataclass(frozen=True)
class Check:
    """One check before the work: what to do, and what to write down."""

    what: str
    write: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """One medicine as it is given: facts as (name, text), settings, the working, cautions, pictures."""

    name: str
    facts: list[tuple[str, str]]
    settings: list[tuple[str, str, str, str, str]]
    working: str
    remarks: list[str]
    cautions: list[str]
    syringe: str = ""
    needles: str = ""
    place: str = ""
    legend: str = ""


@dataclass(frozen=True)
class ClearLine:
    """When one product of a mob may be used again: a date, or why there is none, and whether that is for good."""

    product: str
    text: str
    day: date | None
    who: str
    never: bool = False


@dataclass(frozen=True)
class MobClear:
    """Clear-from of all products of a mob, with its time line."""

    name: str
    lines: list[ClearLine]
    picture: str


@dataclass(frozen=True)
class DoseCell:
    """What one animal gets of one medicine: dose, what goes with it, a box for each time; or `stop`.

    `ticks` are the line in the plan and the amount of each time, in the order of the days, in one form whatever the
    language: "0.9 mL". `group` is the letter of its weight group. `batch` stands only where it differs from that of
    the column.
    """

    dose: str = ""
    more: str = ""
    ticks: tuple[tuple[str, str], ...] = ()
    stop: bool = False
    group: str = ""
    batch: str = ""

    @property
    def boxes(self) -> int:
        """How many boxes to tick."""
        return len(self.ticks)


@dataclass(frozen=True)
class AnimalRow:
    """One animal of a list: tag, weight, and a cell for each medicine of its mob; `many` where it has no tag."""

    tag: str
    eid: str
    weight: str
    doses: list[DoseCell]
    held: bool
    many: bool = False


@dataclass(frozen=True)
class Column:
    """One medicine of a list, with the bottle it comes from, and how and where it is given."""

    name: str
    batch: str
    how: str = ""


@dataclass(frozen=True)
class MobList:
    """The animals of one mob, with what is the same for all above, and the rows in parts of a page.

    `mob` is its name in the sheet, empty where it has none; `name` stands on paper. `pages` are pages of one or two
    columns of rows; `two` says that the columns stand side by side, and `shares` then how wide each of their columns
    is [%].
    """

    name: str
    head: str
    same: list[tuple[str, str]]
    pictures: list[str]
    columns: list[Column]
    pages: list[list[list[AnimalRow]]]
    two: bool
    shares: list[float]
    mob: str


@dataclass(frozen=True)
class RecordLine:
    """One line to fill in after the work: a medicine for a mob, with how many it is planned for."""

    mob: str
    medicine: str
    planned: str
    batch: str


@dataclass(frozen=True)
class JobSheet:
    """All texts of the sheet, in the order of the work."""

    title: str
    identity: str
    facts: list[tuple[str, str]]
    summary: str
    held: list[tuple[str, str, str, str]]
    take: list[Take]
    checks: list[Check]
    cautions: list[tuple[str, str]]
    cards: list[Card]
    lists: list[MobList]
    record: list[RecordLine]
    clear: list[MobClear]
    findings: list[tuple[str, str, str, str]]
    more_findings: int
    rules: str
    phone: dict[str, Any]
    paper: Paper
    lists_only: bool = False
    inputs: list[tuple[str, str]] = field(default_factory=list)
    language: str = ENGLISH
