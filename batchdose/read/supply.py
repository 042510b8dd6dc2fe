"""The smaller sheets: `Dose bands`, `Stock` and `Treatments`."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from typing import Any

from batchdose.findings import Finding
from batchdose.model import Band, Medicine, Pack, SessionFacts, TreatmentLine
from batchdose.read import problems
from batchdose.read.book import Book, Cell
from batchdose.read.cells import (
    CellError,
    read_expiry,
    read_first_day,
    read_moment,
    read_number,
    read_whole,
    weight_ng,
)
from batchdose.read.columns import Table, cell_text, named_table
from batchdose.read.fields import BANDS, STOCK, TREATMENTS, Field
from batchdose.read.labels import LabelError, parse_amount, parse_dose_rate, parse_hours
from batchdose.words import same_name

_CURRENCY = re.compile(r"^[^\d.,-]+|[^\d.,]+$")


def _tables(books: Iterable[Book], name: str, fields: tuple[Field, ...]) -> Iterator[Table]:
    """Tables of that sheet name among the workbooks."""
    for book in books:
        if table := named_table(book, name, fields):
            yield table


def _unreadable(table: Table, row: int, name: str, cell: Cell, error: Exception) -> Finding:
    return problems.entry_unreadable(table.where(row, name), table.sheet.name, name, cell_text(cell), str(error))


def read_bands(books: Iterable[Book]) -> tuple[dict[str, tuple[Band, ...]], list[tuple[str, Finding]]]:
    """Dose bands by medicine, lightest first; and findings with the name of the medicine they hold."""
    bands: dict[str, list[Band]] = {}
    findings: list[tuple[str, Finding]] = []
    for table in _tables(books, "Dose bands", BANDS):
        for number, cells in table.rows():
            name = same_name(cell_text(cells["medicine"]))
            try:
                dose, unit = parse_amount(_with_unit(cells.get("dose"), table.units.get("dose", "")))
                low, high = (
                    Fraction(weight_ng(cell, table.units.get(end, "")), 10**12) if cell is not None else None
                    for end, cell in (("from", cells.get("from") or None), ("to", cells.get("to")))
                )
                where = table.where(number, "from")
                bands.setdefault(name, []).append(Band(low or Fraction(0), high, dose, unit, where))
            except (LabelError, CellError) as error:
                findings.append((name, _unreadable(table, number, "dose", cells.get("dose"), error)))
    return {name: tuple(sorted(rows, key=lambda b: b.from_kg)) for name, rows in bands.items()}, findings


def _with_unit(cell: Cell, unit: str) -> str:
    text = cell_text(cell)
    return f"{text} {unit}" if unit and text[-1:].isdigit() else text


def read_stock(books: Iterable[Book], medicines: list[Medicine]) -> tuple[list[Pack], list[tuple[str, Finding]]]:
    """Packs in stock; and findings, with the name of the medicine, for lines that cannot be read or counted on."""
    packs: list[Pack] = []
    findings: list[tuple[str, Finding]] = []
    units = {same_name(medicine.name): medicine.unit for medicine in medicines}
    for table in _tables(books, "Stock", STOCK):
        for number, cells in table.rows():
            name = same_name(cell_text(cells["medicine"]))
            found = [] if name else [problems.name_missing(table.where(number, "medicine"), "medicine")]
            pack = _pack(table, number, cells, name, units.get(name, "mL"), found)
            packs += [pack] if pack else []
            findings += [(name, finding) for finding in found]
    return packs, findings


def _pack(
    table: Table, number: int, cells: dict[str, Cell], name: str, unit: str, findings: list[Finding]
) -> Pack | None:
    """One line of stock; None, with a finding at the cell, where any of it cannot be read."""
    before = len(findings)

    def read(field: str, parse: Callable[[Cell], Any]) -> Any:
        cell = cells.get(field)
        try:
            return None if cell is None else parse(cell)
        except (LabelError, CellError) as error:
            findings.append(_unreadable(table, number, field, cell, error))
            return None

    def amount(field: str) -> Any:
        return read(field, lambda cell: _amount(_with_unit(cell, table.units.get(field, unit)), unit))

    size, packs = amount("pack_size"), read("packs", read_whole)
    pack = Pack(
        medicine=name, size=size or Fraction(0), unit=unit, packs=1 if packs is None else packs,
        batch_no=cell_text(cells.get("batch_number")), expiry=read("expiry", read_expiry),
        opened_on=read("opened_on", read_first_day),
        use_within_hours=read("use_within", lambda cell: parse_hours(cell_text(cell))), left=amount("left"),
        price=read("price", _price), where=table.where(number, "medicine"),
    )  # fmt: skip
    return pack if len(findings) == before and size else None


def _price(cell: Cell) -> Fraction:
    """A price, whatever its currency."""
    return read_number(cell if not isinstance(cell, str) else _CURRENCY.sub("", cell))


def _amount(text: str, unit: str) -> Fraction:
    value, found = parse_amount(text.replace("g_product", "g"))
    if found != unit:
        raise CellError(f"{text} does not go with a product dosed in {unit}")
    return value


def read_lines(books: Iterable[Book], facts: SessionFacts) -> tuple[list[TreatmentLine], list[Finding]] | None:
    """Lines of the first `Treatments` sheet, or None where there is no such sheet.

    A line that cannot be read carries its finding, which later holds everyone it would go to.
    """
    for table in _tables(books, "Treatments", TREATMENTS):
        lines: list[TreatmentLine] = []
        findings: list[Finding] = list(table.findings)
        for number, cells in table.rows():
            if cell_text(cells["medicine"]):
                lines.extend(_line(table, number, cells, facts))
            else:
                findings.append(problems.name_missing(table.where(number, "medicine"), "medicine"))
        return lines, findings
    return None


def _line(table: Table, number: int, cells: dict[str, Cell], facts: SessionFacts) -> Iterator[TreatmentLine]:
    on, rate = cells.get("on"), cells.get("chosen_rate")
    moment = chosen = problem = None
    try:
        moment = read_moment(on, facts.time_zone, facts.date_order) if on is not None else None
        chosen = parse_dose_rate(cell_text(rate)) if rate is not None else None
    except CellError as error:
        problem = _unreadable(table, number, "on", on, CellError(f"{error}. {problems.DATE_HELP}"))
    except LabelError as error:
        problem = _unreadable(table, number, "chosen_rate", rate, error)
    for tag in words_kept(cell_text(cells.get("tag"))) or [""]:
        yield TreatmentLine(
            medicine=cell_text(cells["medicine"]), mob=cell_text(cells.get("mob")), tag=tag, on=moment,
            chosen_rate=chosen, reason=cell_text(cells.get("reason")), where=table.where(number, "medicine"),
            problem=problem,
        )  # fmt: skip


def words_kept(text: str) -> list[str]:
    """Names in a cell that lists several with semicolons or commas, in their own spelling.

    >>> words_kept("0412; 0A7")
    ['0412', '0A7']
    """
    return [part.strip() for part in text.replace(",", ";").split(";") if part.strip()]
