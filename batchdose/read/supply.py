"""The smaller sheets: `Dose bands`, `Stock` and `Treatments`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from batchdose.findings import Finding
from batchdose.model import Band, Medicine, Pack, TreatmentLine
from batchdose.read import problems
from batchdose.read.book import Book, Cell
from batchdose.read.cells import CellError, read_expiry, read_moment, read_number, weight_ng
from batchdose.read.columns import Table, cell_text, find_table, missing_fields
from batchdose.read.fields import BANDS, STOCK, TREATMENTS, Field
from batchdose.read.labels import LabelError, parse_amount, parse_dose_rate, parse_hours
from batchdose.words import same_name

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo


def _tables(books: Iterable[Book], name: str, fields: tuple[Field, ...]) -> Iterator[Table]:
    """Whole tables of that sheet name among the workbooks."""
    for book in books:
        sheet = book.sheet_named(name)
        table = find_table(book, sheet, fields) if sheet else None
        if table is not None and not missing_fields(table, fields):
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
                bands.setdefault(name, []).append(Band(low or Fraction(0), high, dose, unit))
            except (LabelError, CellError) as error:
                findings.append((name, _unreadable(table, number, "dose", cells.get("dose"), error)))
    return {name: tuple(sorted(rows, key=lambda b: b.from_kg)) for name, rows in bands.items()}, findings


def _with_unit(cell: Cell, unit: str) -> str:
    text = cell_text(cell)
    return f"{text} {unit}" if unit and text[-1:].isdigit() else text


def read_stock(books: Iterable[Book], medicines: list[Medicine]) -> tuple[list[Pack], list[Finding]]:
    """Packs in stock. A line that cannot be read is not counted on, and a finding says so."""
    packs: list[Pack] = []
    findings: list[Finding] = []
    units = {same_name(medicine.name): medicine.unit for medicine in medicines}
    for table in _tables(books, "Stock", STOCK):
        for number, cells in table.rows():
            name = same_name(cell_text(cells["medicine"]))
            try:
                packs.append(_pack(table, number, cells, name, units.get(name, "mL")))
            except (LabelError, CellError) as error:
                findings.append(_unreadable(table, number, "pack_size", cells["pack_size"], error))
    return packs, findings


def _pack(table: Table, number: int, cells: dict[str, Cell], name: str, unit: str) -> Pack:
    def amount(field: str) -> Fraction | None:
        cell = cells.get(field)
        if cell is None:
            return None
        value, found = parse_amount(_with_unit(cell, table.units.get(field, unit).replace("g_product", "g")))
        if found != unit:
            raise CellError(f"{cell_text(cell)} does not go with a product dosed in {unit}")
        return value

    def optional(field: str) -> Cell:
        return cells.get(field)

    opened, within = optional("opened_on"), optional("use_within")
    return Pack(
        medicine=name, size=amount("pack_size") or Fraction(0), unit=unit,
        packs=int(read_number(optional("packs"))) if optional("packs") is not None else 1,
        batch_no=cell_text(optional("batch_number")),
        expiry=read_expiry(optional("expiry")) if optional("expiry") is not None else None,
        opened_on=read_expiry(opened) if opened is not None else None,
        use_within_hours=parse_hours(cell_text(within)) if within is not None else None,
        left=amount("left"),
        price=read_number(optional("price")) if optional("price") is not None else None,
        where=table.where(number, "medicine"),
    )  # fmt: skip


def read_lines(books: Iterable[Book], zone: ZoneInfo) -> tuple[list[TreatmentLine], list[Finding]] | None:
    """Lines of the first `Treatments` sheet, or None where there is no such sheet.

    A line that cannot be read keeps its medicine from everyone it would go to: the finding holds it.
    """
    for table in _tables(books, "Treatments", TREATMENTS):
        lines: list[TreatmentLine] = []
        findings: list[Finding] = list(table.findings)
        for number, cells in table.rows():
            if cell_text(cells["medicine"]):
                lines.extend(_line(table, number, cells, zone, findings))
        return lines, findings
    return None


def _line(
    table: Table, number: int, cells: dict[str, Cell], zone: ZoneInfo, findings: list[Finding]
) -> Iterator[TreatmentLine]:
    on, rate = cells.get("on"), cells.get("chosen_rate")
    try:
        moment = read_moment(on, zone) if on is not None else None
        chosen = parse_dose_rate(cell_text(rate)) if rate is not None else None
    except CellError as error:
        findings.append(_unreadable(table, number, "on", on, CellError(f"{error}. {problems.DATE_HELP}")))
        return
    except LabelError as error:
        findings.append(_unreadable(table, number, "chosen_rate", rate, error))
        return
    for tag in words_kept(cell_text(cells.get("tag"))) or [""]:
        yield TreatmentLine(
            medicine=cell_text(cells["medicine"]), mob=cell_text(cells.get("mob")), tag=tag, on=moment,
            chosen_rate=chosen, reason=cell_text(cells.get("reason")), where=table.where(number, "medicine"),
        )  # fmt: skip


def words_kept(text: str) -> list[str]:
    """Names in a cell that lists several with semicolons or commas, in their own spelling.

    >>> words_kept("0412; 0A7")
    ['0412', '0A7']
    """
    return [part.strip() for part in text.replace(",", ";").split(";") if part.strip()]
