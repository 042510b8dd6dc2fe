"""Finding a table on a sheet: the header row below any titles, and the column of each field.

A heading may run over two rows (`Weight` above `kg`, `Live` above `weight`, a merged `Weighing` above `Date`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from batchdose.amounts import clean
from batchdose.findings import CellRef, UnusableInputError, column_letter
from batchdose.model import OWN_HEADING
from batchdose.read.book import Book, Cell, Sheet
from batchdose.read.fields import Field, is_heading, is_unit, normal, unit_of
from batchdose.read.headings import HEADER_WITHIN, Headings, noted
from batchdose.read.table import Table, heading_of


def find_table(
    book: Book, sheet: Sheet, fields: Sequence[Field], *, withdrawals: bool = False,
    named: Mapping[str, str] | None = None, needed: Callable[[Table], bool] | None = None,
) -> Table | None:  # fmt: skip
    """The table on `sheet`: at the first heading row that has what is `needed`, else at the one that matches most.

    None if no heading matches.
    """
    wanted = Headings(fields, withdrawals, named or {})
    known = wanted.known
    rows = sheet.rows[:HEADER_WITHIN]
    singles = [_match(book, sheet, number, row, wanted, known) for number, row in enumerate(rows, 1)]
    doubles = [_match_two(singles[at], singles[at + 1], wanted, known) for at in range(len(rows) - 1)]
    pairs = zip(singles, [*doubles, None], strict=False)
    tables = [max((table for table in pair if table), key=_worth) for pair in pairs]
    # The first row with all that is needed: a richer one further down heads another table.
    whole = next((table for table in tables if needed and needed(table)), None)
    best = whole or max(tables, key=_worth, default=None)
    return noted(best, wanted, known) if best and _worth(best)[0] else None


def _worth(table: Table) -> tuple[int, int, int]:
    """How well a heading row fits: headings that it knows, those of one meaning, then units."""
    return len(table.columns) + len(table.unclear), len(table.columns), len(table.units)


def heading_again(table: Table, number: int, row: Sequence[Cell], fields: Sequence[Field]) -> Table | None:
    """A later row read as headings: the table it would head, None where it is none.

    It is one where two cells or more are headings, none is a number or a date, and a tag in the table's column of
    tags is a heading too: `0414 | missed | Group | Note` is an animal.
    """
    texts = [cell for cell in row if cell is not None]
    if sum(isinstance(cell, str) and is_heading(cell) for cell in texts) < 2:
        return None
    names = [row[at] for name, at in table.columns.items() if name in ("tag", "eid") and at < len(row)]
    if not all(isinstance(cell, str) for cell in texts) or any(
        cell is not None and not is_heading(str(cell)) for cell in names
    ):
        return None
    wanted = Headings(fields)
    return _match(table.book, table.sheet, number, row, wanted, wanted.known)


def single(table: Table) -> Table:
    """The table itself, if no two columns carry the same field.

    Raises UnusableInputError otherwise: only a person can say which column counts.
    """
    if table.doubles is None:
        return table
    name, first, second = table.doubles
    raise UnusableInputError(
        table.cell(table.header_row, second),
        f'Two columns, {column_letter(first)} and {column_letter(second)}, both mean "{heading_of(name)}".',
        f'Rename the one that should not be used, or put "{heading_of(name)} column" on the sheet Session with the '
        "letter of the right one.",
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
        offers = offers_of(table) if table else ""
        raise UnusableInputError(
            table.header if table else CellRef(book.source.name, sheet.name),
            f"There is no column {' and no column '.join(lacking)}.",
            offers or f"Add the heading {lacking[0]}, or remove the sheet.",
        )
    return single(table)


def offers_of(table: Table) -> str:
    """What may be done about headings that are nearly known, or could mean two things."""
    return " ".join(f"{finding.where.cell}: {finding.fix}" for finding in table.findings)


def missing_fields(table: Table, fields: Sequence[Field]) -> list[str]:
    """Headings of the needed fields that the table lacks."""
    return [spec.headings[0] for spec in fields if spec.needed and spec.name not in table.columns]


def _match(
    book: Book, sheet: Sheet, number: int, row: Sequence[Cell], wanted: Headings, known: Mapping[str, tuple[str, ...]]
) -> Table:
    """A row read as headings."""
    columns: dict[str, int] = {}
    units: dict[str, str] = {}
    doubles: tuple[str, int, int] | None = None
    second: tuple[int, str] | None = None
    unclear: list[tuple[int, str, tuple[str, ...]]] = []
    for at, cell in enumerate(row):
        if not isinstance(cell, str) or cell.startswith(OWN_HEADING):
            continue
        names = _chosen(at, cell, wanted, known)
        if len(names) > 1:
            unclear.append((at, cell, names))
        for name in names if len(names) == 1 else ():
            unit = unit_of(cell)
            if name not in columns:
                columns[name] = at
                units |= {name: unit} if unit else {}
            elif name == "weight" and second is None and _differ_in_unit(row[columns[name]], cell):
                second = (at, unit)
            else:
                doubles = doubles or (name, columns[name], at)
    open_still = tuple(entry for entry in unclear if not set(entry[2]) & columns.keys())
    return Table(book, sheet, number, columns, units, (), doubles, open_still, second)


def _differ_in_unit(one: Cell, other: Cell) -> bool:
    """Whether two headings are the same but for their unit: `Weight (kg)` and `Weight (lb)`."""
    if not isinstance(one, str) or not isinstance(other, str):
        return False
    units = {unit_of(one).casefold(), unit_of(other).casefold()}
    return normal(one) == normal(other) and len(units) == 2 and "" not in units


def _chosen(at: int, heading: str, wanted: Headings, known: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Fields that a heading could mean, after what a person named: a named column has its field and no other."""
    for name, column in wanted.named.items():
        if column_is(at, heading, column):
            return (name,)
    return tuple(name for name in wanted.fields_of(heading, known) if name not in wanted.named)


def column_is(at: int, heading: str, named: str) -> bool:
    """Whether a column is the one that a person named, by its heading or by its letter.

    >>> column_is(2, "Wt 2 (kg)", "wt 2"), column_is(2, "Wt 2 (kg)", "C"), column_is(1, "Wt 2 (kg)", "C")
    (True, True, False)
    """
    return normal(heading) == normal(named) or column_letter(at) == named.strip().upper()


def _match_two(upper: Table, lower: Table, wanted: Headings, known: Mapping[str, tuple[str, ...]]) -> Table | None:
    """Two rows read as one heading; None where that says no more than one of them, or where the lower is no heading."""
    sheet, number = upper.sheet, lower.header_row
    below = sheet.rows[number - 1]
    if not any(isinstance(cell, str) for cell in below) or any(isinstance(cell, (int, float)) for cell in below):
        return None
    above = _spread(sheet, upper.header_row - 1, len(below))
    joined: list[Cell] = []
    for top, bottom in zip(above, [*below, *[None] * (len(above) - len(below))], strict=True):
        heading = _joined(_plain(top), _plain(bottom), wanted, known)
        if heading is None:
            return None
        joined.append(heading or None)
    table = _match(upper.book, sheet, number, joined, wanted, known)
    better = _worth(table) > max(_worth(upper), _worth(lower))
    return table if better else None


def _plain(cell: Cell) -> str:
    return clean(cell) if isinstance(cell, str) else ""


def _joined(top: str, bottom: str, wanted: Headings, known: Mapping[str, tuple[str, ...]]) -> str | None:
    """One heading from two cells above each other; None where the lower is neither heading nor unit nor below one."""
    both = f"{top} {bottom}"
    if top and bottom and wanted.fields_of(both, known):
        return both
    if not bottom or wanted.fields_of(bottom, known):
        return bottom or top
    if wanted.fields_of(top, known):
        return f"{top} ({bottom.strip('()[]')})" if is_unit(bottom.strip("()[]")) else None
    return both.strip()


def _spread(sheet: Sheet, row: int, width: int) -> list[Cell]:
    """Cells of a row, at least `width`, with the text of a merged cell over its whole breadth."""
    cells: list[Cell] = list(sheet.rows[row])
    cells += [None] * (width - len(cells))
    for top, left, _, right in sheet.facts.merged:
        if top == row and left < len(cells):
            cells[left : right + 1] = [cells[left]] * (min(right + 1, len(cells)) - left)
    return cells
