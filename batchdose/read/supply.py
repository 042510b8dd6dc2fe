"""The smaller sheets: `Dose bands`, `Stock` and `Treatments`."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from difflib import get_close_matches
from fractions import Fraction
from typing import Any

from batchdose.findings import Finding
from batchdose.model import Band, Medicine, Pack, SessionFacts, TreatmentLine
from batchdose.read import label_problems, problems
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
from batchdose.read.columns import named_table
from batchdose.read.fields import BANDS, STOCK, TREATMENTS, Field
from batchdose.read.labels import LabelError, parse_amount, parse_dose_rate, parse_hours
from batchdose.read.table import Table, cell_text
from batchdose.texts import of_error, say
from batchdose.words import same_name

_CURRENCY = re.compile(r"^[^\d.,-]+|[^\d.,]+$")


def _tables(books: Iterable[Book], name: str, fields: tuple[Field, ...]) -> Iterator[Table]:
    """Tables of that sheet name among the workbooks."""
    for book in books:
        if table := named_table(book, name, fields):
            yield table


def _unreadable(table: Table, row: int, name: str, cell: Cell, error: Exception) -> Finding:
    problem = of_error(error)
    return label_problems.entry_unreadable(table.where(row, name), table.sheet.name, name, cell_text(cell), problem)


def _name_on_no_row(table: Table, number: int, name: str, known: Iterable[str]) -> Finding:
    near = get_close_matches(name, list(known), n=1, cutoff=0.8)
    return label_problems.name_on_no_row(
        table.where(number, "medicine"), table.sheet.name, name, near[0] if near else ""
    )


def read_bands(books: Iterable[Book]) -> tuple[dict[str, tuple[Band, ...]], list[tuple[str, Finding]]]:
    """Dose bands by medicine, lightest first; and findings with the name of the medicine they hold."""
    bands: dict[str, list[Band]] = {}
    findings: list[tuple[str, Finding]] = []
    for table in _tables(books, "Dose bands", BANDS):
        findings += [("", finding) for finding in table.findings]
        for number, cells in table.rows():
            name = same_name(cell_text(cells["medicine"]))
            if not name:
                findings.append(("", label_problems.name_missing(table.where(number, "medicine"), "medicine")))
                continue
            try:
                dose, unit = parse_amount(_with_unit(cells.get("dose"), table.units.get("dose", "")))
                low, high = (
                    Fraction(weight_ng(cell, table.units.get(end, "")), 10**12) if cell is not None else None
                    for end, cell in (("from", _nothing(cells.get("from"))), ("to", cells.get("to")))
                )
                where = table.where(number, "from")
                if low is None and cells.get("from") is None and bands.get(name):
                    low = bands[name][-1].to_kg  # a blank From goes on where the band above ends
                bands.setdefault(name, []).append(Band(low or Fraction(0), high, dose, unit, where))
            except (LabelError, CellError) as error:
                findings.append((name, _unreadable(table, number, "dose", cells.get("dose"), error)))
    return {name: tuple(sorted(rows, key=lambda b: b.from_kg)) for name, rows in bands.items()}, findings


def _nothing(cell: Cell) -> Cell:
    """A lower end of nothing at all (0, or `0 kg`) is as good as none."""
    return None if cell_text(cell).split(" ")[0] in ("0", "0.0") else cell


def _with_unit(cell: Cell, unit: str) -> str:
    text = cell_text(cell)
    return f"{text} {unit}" if unit and text[-1:].isdigit() else text


def read_stock(
    books: Iterable[Book], medicines: list[Medicine], order: str = ""
) -> tuple[list[Pack], list[tuple[str, Finding]]]:
    """Packs in stock; and findings, with the name of the medicine, for lines that cannot be read or counted on."""
    packs: list[Pack] = []
    findings: list[tuple[str, Finding]] = []
    units: dict[str, list[str]] = {}
    for medicine in medicines:
        units.setdefault(same_name(medicine.name), []).append(medicine.unit)
    for table in _tables(books, "Stock", STOCK):
        findings += [("", finding) for finding in table.findings]
        for number, cells in table.rows():
            name = same_name(cell_text(cells["medicine"]))
            if name and name not in units:
                findings.append(("", _name_on_no_row(table, number, name, units)))
                continue
            found = [] if name else [label_problems.name_missing(table.where(number, "medicine"), "medicine")]
            pack = _pack(table, number, cells, (name, units.get(name, ["mL"]), order), found)
            packs += [pack] if pack else []
            findings += [(name, finding) for finding in found]
    return packs, findings


def _pack(
    table: Table, number: int, cells: dict[str, Cell], of: tuple[str, list[str], str], findings: list[Finding]
) -> Pack | None:
    """One line of stock; None, with a finding at the cell, where any of it cannot be read."""
    before, (name, units, order) = len(findings), of
    unit = _unit_of(_with_unit(cells.get("pack_size"), table.units.get("pack_size", "")), units)

    def read(field: str, parse: Callable[[Cell], Any]) -> Any:
        cell = cells.get(field)
        try:
            return None if cell is None else parse(cell)
        except (LabelError, CellError) as error:
            findings.append(_unreadable(table, number, field, cell, error))
            return None

    def amount(field: str) -> Any:
        return read(field, lambda cell: _amount(_with_unit(cell, table.units.get(field, unit)), unit))

    def expiry(cell: Cell) -> date:
        return read_expiry(cell, order, table.format(number, "expiry"))

    def hours(cell: Cell) -> Fraction:
        return parse_hours(_with_unit(cell, table.units.get("use_within", "")))

    size, packs = amount("pack_size"), read("packs", read_whole)
    pack = Pack(
        medicine=name, size=size or Fraction(0), unit=unit, packs=1 if packs is None else packs,
        batch_no=cell_text(cells.get("batch_number")), expiry=read("expiry", expiry),
        opened_on=read("opened_on", lambda cell: read_first_day(cell, order)),
        use_within_hours=read("use_within", hours), left=amount("left"),
        price=read("price", _price), where=table.where(number, "medicine"),
    )  # fmt: skip
    return pack if len(findings) == before and size else None


def _unit_of(size: str, units: list[str]) -> str:
    """Unit of a pack: its own where some row of the medicine is dosed in it, else that of the first row."""
    try:
        found = parse_amount(size)[1]
    except LabelError:
        return units[0]
    return found if found in units else units[0]


def _price(cell: Cell) -> Fraction:
    """A price, whatever its currency."""
    return read_number(cell if not isinstance(cell, str) else _CURRENCY.sub("", cell))


def _amount(text: str, unit: str) -> Fraction:
    value, found = parse_amount(text.replace("g_product", "g"))
    if found != unit:
        raise CellError(say("{typed} does not go with a product dosed in {unit}", typed=text, unit=unit))
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
            elif list(cells.values()).count(None) < len(cells):
                findings.append(label_problems.name_missing(table.where(number, "medicine"), "medicine"))
        return lines, findings
    return None


def _line(table: Table, number: int, cells: dict[str, Cell], facts: SessionFacts) -> Iterator[TreatmentLine]:
    """Lines of one row: one for each tag, mob and medicine that it lists."""
    on, rate = cells.get("on"), cells.get("chosen_rate")
    moment = chosen = problem = None
    try:
        moment = read_moment(on, facts.time_zone, facts.date_order) if on is not None else None
        chosen = parse_dose_rate(_with_unit(rate, table.units.get("chosen_rate", ""))) if rate is not None else None
    except CellError as error:
        said = say("{problem}. {help}", problem=of_error(error), help=say(problems.DATE_HELP))
        problem = _unreadable(table, number, "on", on, CellError(said))
    except LabelError as error:
        problem = _unreadable(table, number, "chosen_rate", rate, error)
    tags = words_kept(cell_text(cells.get("tag")))
    # A mob's name may hold a comma ("Hoggets, river field"); several are parted by semicolons only.
    mobs = [mob.strip() for mob in cell_text(cells.get("mob")).split(";") if mob.strip()]
    mobs = [] if [mob.casefold() for mob in mobs] == ["all"] else mobs
    if not tags and not mobs and cells.get("mob") is None:
        problem = problem or _whom(table, number)
    for tag in tags or [""]:
        for mob in mobs or [""]:
            yield TreatmentLine(
                medicine=cell_text(cells["medicine"]), mob=mob, tag=tag, on=moment, chosen_rate=chosen,
                reason=cell_text(cells.get("reason")), where=table.where(number, "medicine"), problem=problem,
            )  # fmt: skip


def _whom(table: Table, number: int) -> Finding | None:
    """A finding for a line without mob and tag that says something in a column which is not understood."""
    row, headings = table.sheet.rows[number - 1], table.sheet.rows[table.header_row - 1]
    for at, cell in enumerate(row):
        heading = headings[at] if at < len(headings) else None
        if cell is not None and at not in table.columns.values() and isinstance(heading, str):
            return label_problems.treatment_for_whom_unclear(table.cell(number, at), number, heading, cell_text(cell))
    return None


def words_kept(text: str) -> list[str]:
    """Names in a cell that lists several with semicolons or commas, in their own spelling.

    >>> words_kept("0412; 0A7")
    ['0412', '0A7']
    """
    return [part.strip() for part in text.replace(",", ";").split(";") if part.strip()]
