"""Finding a table on a sheet: the header row below any titles, and the column of each field."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

from batchdose.amounts import clean
from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.model import OWN_HEADING, column_letter
from batchdose.read import problems
from batchdose.read.book import Book, Cell, NoValue, Sheet
from batchdose.read.fields import Field, normal, unit_of, withdrawal_product

#: The header row is looked for in this many rows from the top.
HEADER_WITHIN = 40
_USUAL_WITHDRAWALS = {"meatwithdrawal": "withdrawal:meat", "milkwithdrawal": "withdrawal:milk"}


@dataclass(frozen=True)
class Table:
    """A table found on a sheet: where its heading row is, which column (from zero) holds which field.

    `doubles` is the first field that two columns carry, with the two: such a table cannot be used.
    """

    book: Book
    sheet: Sheet
    header_row: int
    columns: Mapping[str, int]
    units: Mapping[str, str]
    findings: tuple[Finding, ...] = field(default=())
    doubles: tuple[str, int, int] | None = None

    def rows(self) -> Iterator[tuple[int, dict[str, Cell]]]:
        """Rows below the heading that hold anything in a known column: sheet row (from one) and fields."""
        for number, row in enumerate(self.sheet.rows[self.header_row :], self.header_row + 1):
            values = {name: row[at] if at < len(row) else None for name, at in self.columns.items()}
            if any(value is not None for value in values.values()):
                yield number, values

    def where(self, row: int, name: str) -> CellRef:
        """The cell of a field in a sheet row."""
        return CellRef(self.book.source.name, self.sheet.name, f"{column_letter(self.columns.get(name, 0))}{row}")

    @property
    def header(self) -> CellRef:
        """The heading row."""
        return CellRef(self.book.source.name, self.sheet.name, f"A{self.header_row}")


def find_table(book: Book, sheet: Sheet, fields: Sequence[Field], *, withdrawals: bool = False) -> Table | None:
    """The table on `sheet` whose heading row matches the most fields; None if no heading matches."""
    known = {normal(heading): spec.name for spec in fields for heading in spec.headings}
    best: Table | None = None
    for number, row in enumerate(sheet.rows[:HEADER_WITHIN], 1):
        table = _match_row(book, sheet, number, row, known, withdrawals)
        if table.columns and (best is None or len(table.columns) > len(best.columns)):
            best = table
    return best


def single(table: Table) -> Table:
    """The table itself, if no two columns carry the same field.

    Raises UnusableInputError otherwise: only a person can say which column counts.
    """
    if table.doubles is None:
        return table
    name, first, second = table.doubles
    raise UnusableInputError(
        CellRef(table.book.source.name, table.sheet.name, f"{column_letter(second)}{table.header_row}"),
        f'Two columns, {column_letter(first)} and {column_letter(second)}, both mean "{heading_of(name)}".',
        "Rename the one that should not be used.",
    )


def named_table(book: Book, name: str, fields: Sequence[Field]) -> Table | None:
    """The table on the sheet of that name; None where there is no such sheet, or nothing on it.

    Raises UnusableInputError where the sheet lacks a needed column: read over, it would change the job.
    """
    sheet = book.sheet_named(name)
    if sheet is None or not any(cell is not None for row in sheet.rows for cell in row):
        return None
    table = find_table(book, sheet, fields)
    lacking = missing_fields(table, fields) if table else [spec.headings[0] for spec in fields if spec.needed]
    if table is None or lacking:
        offers = " ".join(f"{f.where.cell}: {f.fix}" for f in table.findings) if table else ""
        raise UnusableInputError(
            table.header if table else CellRef(book.source.name, sheet.name),
            f"There is no column {' and no column '.join(lacking)}.",
            offers or f"Add the heading {lacking[0]}, or remove the sheet.",
        )
    return single(table)


def missing_fields(table: Table, fields: Sequence[Field]) -> list[str]:
    """Headings of the needed fields that the table lacks."""
    return [spec.headings[0] for spec in fields if spec.needed and spec.name not in table.columns]


def _match_row(
    book: Book, sheet: Sheet, number: int, row: list[Cell], known: Mapping[str, str], withdrawals: bool
) -> Table:
    columns: dict[str, int] = {}
    units: dict[str, str] = {}
    doubles: tuple[str, int, int] | None = None
    strangers: list[tuple[int, str]] = []
    for at, cell in enumerate(row):
        name = _field_of(cell, known, withdrawals)
        if not isinstance(cell, str) or cell.startswith(OWN_HEADING):
            continue
        if not name:
            strangers.append((at, cell))
        elif name not in columns:
            columns[name] = at
            if unit := unit_of(cell):
                units[name] = unit
        else:
            doubles = doubles or (name, columns[name], at)
    offered = dict(known) | (_USUAL_WITHDRAWALS if withdrawals else {})
    found = tuple(_near_misses(CellRef(book.source.name, sheet.name), number, strangers, offered, columns))
    return Table(book, sheet, number, columns, units, found, doubles)


def _field_of(cell: Cell, known: Mapping[str, str], withdrawals: bool) -> str:
    """The field that a heading cell names, or an empty string."""
    if not isinstance(cell, str) or cell.startswith(OWN_HEADING):
        return ""
    return known.get(normal(cell)) or (withdrawal_product(cell) if withdrawals else "")


def heading_of(name: str) -> str:
    """Our own heading of a field.

    >>> heading_of("withdrawal:meat"), heading_of("dose_rate")
    ('Meat withdrawal', 'Dose rate')
    """
    if name.startswith("withdrawal:"):
        return f"{name.removeprefix('withdrawal:').capitalize()} withdrawal"
    return name.replace("_", " ").capitalize()


def _near_misses(
    place: CellRef,
    number: int,
    strangers: list[tuple[int, str]],
    known: Mapping[str, str],
    columns: Mapping[str, int],
) -> Iterator[Finding]:
    """Headings that are nearly one of ours: offered, never assumed."""
    free = [heading for heading, name in known.items() if name not in columns]
    for at, heading in strangers:
        if close := get_close_matches(normal(heading), free, n=1, cutoff=0.8):
            wanted = heading_of(known[close[0]])
            cell = CellRef(place.workbook, place.sheet, f"{column_letter(at)}{number}")
            yield problems.heading_near_miss(cell, heading, wanted)


def cell_text(cell: Cell) -> str:
    r"""A cell as text; whole numbers without a decimal point, so that tag 412 is `412`.

    >>> cell_text(412.0), cell_text(" a\u00a0b ")
    ('412', 'a b')
    """
    if cell is None:
        return ""
    if isinstance(cell, NoValue):
        return cell.shows
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return clean(str(cell))
