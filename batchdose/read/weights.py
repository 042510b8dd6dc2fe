"""Weights of the weighing sheet: their unit, a second column of weights, and what cannot be read."""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass, field

from batchdose.amounts import clean, written_number
from batchdose.findings import Finding, UnusableInputError
from batchdose.model import SessionFacts
from batchdose.read import problems
from batchdose.read.book import Cell
from batchdose.read.cells import CellError, NoUnitError, weight_ng
from batchdose.read.rows import NO_UNIT, AnimalRows
from batchdose.read.table import Table, as_shown, cell_text
from batchdose.texts import both, mark, of_error, say
from batchdose.units import BODYWEIGHT, UnknownUnitError, unit_named

#: Two weights of one animal, in kg and in lb, may differ by this share.
MAY_DIFFER = 0.01
#: Places that may give a weight another unit than the cell beside it.
_FORMAT_SAYS = mark("the format of its cell says {one} and the cell beside it says {beside}")
_HEADING_SAYS = mark("its heading says {one} and the cell beside it says {beside}")
_CELL_SAYS = mark("its cell says {one} and the cell beside it says {beside}")
_DECIMAL_COMMA = re.compile(r"\d+,\d{1,2}(?!\d)")
_TYPED_UNIT = re.compile(r"[A-Za-z]+\.?$")
_POINT_AND_THREE = re.compile(r"([1-9]\d{0,2})\.(\d{3})(?!\d)")


@dataclass
class Weights:
    """Weights of the rows, in order: whole nanograms (0 where there is none), and as typed with their unit.

    `beside` has the column of each row whose weight stands in the second column of weights.
    """

    ng: list[int] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    beside: dict[int, int] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)


def read_weights(rows: AnimalRows, mobs: list[str], facts: SessionFacts) -> Weights:
    """Weights of all rows; each that is missing or cannot be read is a finding that holds its animal.

    Raises UnusableInputError where the heading gives a unit that is none of weight.
    """
    reader = _Reader(rows, facts)
    cells = (rows.column("weight"), rows.column_units("weight"), rows.column("weight_unit"), reader.seconds)
    for number, mob, first, heading, beside, second in zip(rows.numbers, mobs, *cells, strict=True):
        reader.weigh(number, mob, first, (heading, beside), second)
    return reader.weights_and_findings()


class _Reader:
    """Reads the weights one after the other, and gathers what is the same for many."""

    def __init__(self, rows: AnimalRows, facts: SessionFacts) -> None:
        self.table, self.facts, self.weights = rows.table, facts, Weights()
        self.missing: dict[str, list[int]] = {}
        self.unitless: dict[int, list[int]] = {}
        second = rows.table.second_weight
        self.seconds: list[Cell] = rows.at(second[0]) if second else [None] * len(rows.numbers)
        written = [(row, units.get("weight", "")) for row, units in rows.units]
        self.units = {text: self._unit(text, row) for row, text in written if text != NO_UNIT}
        self.units |= {"": facts.weight_unit, NO_UNIT: ""}
        self.steps = [row for row, _ in rows.units]
        self.commas = any(isinstance(c, str) and _DECIMAL_COMMA.match(clean(c)) for c in rows.column("weight"))

    def _unit(self, text: str, row: int) -> str:
        """Unit of a heading."""
        try:
            return unit_named(text, BODYWEIGHT).removesuffix("_bw") if text else ""
        except UnknownUnitError:
            raise UnusableInputError(
                self.table.where(row or self.table.header_row, "weight"),
                f'The unit "{text}" of the weights is not known.',
                "Write kg or lb in the heading: Weight (kg).",
            ) from None

    def weigh(self, number: int, mob: str, first: Cell, units: tuple[str, Cell], second: Cell) -> None:
        """Add the weight of one row: from the first column, else the second; both must agree."""
        ng, text = 0, ""
        if first is None and second is None:
            self.missing.setdefault(mob, []).append(number)
        elif first is None and self.table.second_weight:
            at, unit = self.table.second_weight
            self.weights.beside[number] = at
            ng, text = self.read(number, second, unit, at)
        else:
            ng, text = self.read(number, first, units, self.table.columns["weight"])
            if ng and second is not None:
                ng, text = self.compare(number, (ng, text), second)
        self.weights.ng.append(ng)
        self.weights.text.append(text)

    def read(self, number: int, cell: Cell, units: str | tuple[str, Cell], column: int) -> tuple[int, str]:
        """One cell: its weight and its text with the unit; nothing, with a finding, where it cannot be read."""
        try:
            unit = self.shown(number, column) or (units if isinstance(units, str) else self.unit_of_row(cell, *units))
            self.not_two_numbers(cell)
            return weight_ng(cell, unit), with_unit(cell_text(cell), unit)
        except NoUnitError:
            self.unitless.setdefault(self.steps[bisect_right(self.steps, number) - 1], []).append(number)
        except CellError as error:
            where = self.table.cell(number, column)
            self.weights.findings.append(problems.weight_unreadable(where, number, cell_text(cell), of_error(error)))
        return 0, ""

    def not_two_numbers(self, cell: Cell) -> None:
        """Raise CellError for `1.250` in a column where others write a decimal comma: it could be 1250."""
        if self.commas and isinstance(cell, str) and (match := _POINT_AND_THREE.match(clean(cell))):
            one, other = written_number(f"{float(match[0]):g}"), f"{match[1]}{match[2]}"
            raise CellError(say('"{typed}" could be {one} or {other}', typed=match[0], one=one, other=other))

    def shown(self, number: int, column: int) -> str:
        """The unit that the format of a weight cell shows beside the number, which must be that of a Unit cell."""
        unit = _shown_unit(self.table, number, column)
        at = self.table.columns.get("weight_unit")
        row = self.table.sheet.rows[number - 1]
        if unit and at is not None and at < len(row) and row[at] is not None:
            self.agree(unit, cell_text(row[at]), _FORMAT_SAYS)
        return unit

    def unit_of_row(self, cell: Cell, heading: str, beside: Cell) -> str:
        """Unit of a row: its Unit cell, else the heading's, else the session's; what says it twice must agree."""
        if beside is None:
            return self.units[heading]
        written = cell_text(beside)
        if heading and heading != NO_UNIT:
            self.agree(heading, written, _HEADING_SAYS)
        if isinstance(cell, str) and (typed := _TYPED_UNIT.search(clean(cell))):
            self.agree(typed[0], written, _CELL_SAYS)
        return self.kg_or_lb(written)

    def agree(self, one: str, beside: str, message: str) -> None:
        """Raise CellError with a message where two places give a weight different units."""
        if self.kg_or_lb(one) != self.kg_or_lb(beside):
            raise CellError(say(message, one=one, beside=beside))

    @staticmethod
    def kg_or_lb(written: str) -> str:
        """A unit of weight in our spelling. Raises CellError for any other."""
        try:
            return unit_named(written, BODYWEIGHT).removesuffix("_bw")
        except UnknownUnitError:
            raise CellError(say('"{unit}" is not a unit of weight (kg or lb)', unit=written)) from None

    def compare(self, number: int, first: tuple[int, str], second: Cell) -> tuple[int, str]:
        """The first weight, if the second says the same; else a finding that holds the animal."""
        at, unit = self.table.second_weight or (0, "")
        other, text = self.read(number, second, unit, at)
        where = self.table.where(number, "weight")
        if other and abs(other - first[0]) > MAY_DIFFER * max(other, first[0]):
            self.weights.findings.append(problems.weights_disagree(where, number, both([first[1], text])))
        return first if other else (0, "")

    def weights_and_findings(self) -> Weights:
        """All weights, with a line for each mob where they are missing, and one where nothing gives the unit."""
        where = self.table.where
        self.weights.findings += [
            problems.weight_missing(where(of[0], "weight"), of, mob) for mob, of in self.missing.items()
        ]
        self.weights.findings += [
            problems.weight_unit_missing(where(heading or self.table.header_row, "weight"), of)
            for heading, of in self.unitless.items()
        ]
        return self.weights


def last_weights(rows: AnimalRows, facts: SessionFacts, findings: list[Finding]) -> list[int]:
    """Weights of the last weighing in whole nanograms, 0 where there is none or it cannot be read.

    Their unit is what their cell's format shows, else that of their heading, of a Unit cell, of the weights.
    """
    if "last_weight" not in rows.table.columns:
        return [0] * len(rows.numbers)
    weights: list[int] = []
    units = zip(rows.column_units("last_weight"), rows.column_units("weight"), strict=True)
    columns = rows.column("last_weight"), rows.column("weight_unit"), units
    for number, cell, beside, (own, unit) in zip(rows.numbers, *columns, strict=True):
        ng = 0
        if cell is not None:
            try:
                shown = _shown_unit(rows.table, number, rows.table.columns["last_weight"])
                ng = weight_ng(cell, shown or own or cell_text(beside) or unit.strip(NO_UNIT) or facts.weight_unit)
            except CellError as error:
                where = rows.table.where(number, "last_weight")
                seen, problem = cell_text(cell), of_error(error)
                findings.append(problems.weighing_fact_unreadable(where, "last_weight", seen, problem))
        weights.append(ng)
    return weights


def _shown_unit(table: Table, row: int, column: int) -> str:
    """The unit that the format of a weight cell shows beside the number; a percentage is no weight."""
    formats = table.sheet.facts.formats
    shown = as_shown(0, formats.get((row - 1, column), "")) if formats else 0
    if shown == "0 %":
        raise CellError(say("its format shows a percentage"))
    return shown.removeprefix("0").strip() if isinstance(shown, str) else ""


def with_unit(text: str, unit: str) -> str:
    """A number as typed, with the unit that its heading gives it."""
    return f"{text} {unit}" if text[-1:].isdigit() and unit else text
