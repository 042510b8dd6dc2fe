"""Finding a table on a sheet: the header row below any titles, and the column of each field.

A heading may run over two rows (`Weight` above `kg`, `Live` above `weight`, a merged `Weighing` above `Date`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from difflib import get_close_matches

from batchdose.amounts import clean
from batchdose.findings import CellRef, Finding, UnusableInputError, column_letter
from batchdose.model import OWN_HEADING
from batchdose.read import problems
from batchdose.read.book import Book, Cell, NoValue, Sheet
from batchdose.read.facts import in_thousands, shown_words
from batchdose.read.fields import Field, fields_by_heading, is_heading, is_unit, normal, unit_of, withdrawal_fields

#: The header row is looked for in this many rows from the top.
HEADER_WITHIN = 40
_USUAL_WITHDRAWALS = {"meatwithdrawal": ("withdrawal:meat",), "milkwithdrawal": ("withdrawal:milk",)}


@dataclass(frozen=True)
class Headings:
    """What is looked for on a sheet: the fields, headings with a product in their name, columns named by a person."""

    fields: Sequence[Field]
    withdrawals: bool = False
    #: Field -> the heading or letter of its column, as the sheet `Session` names it.
    named: Mapping[str, str] = field(default_factory=dict)

    @property
    def known(self) -> dict[str, tuple[str, ...]]:
        """Normal form of each accepted heading -> the fields that it could mean."""
        return fields_by_heading(self.fields)

    def fields_of(self, text: str, known: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
        """Fields that a heading could mean, none for a stranger."""
        return known.get(normal(text)) or (withdrawal_fields(text) if self.withdrawals else ())


@dataclass(frozen=True)
class Table:
    """A table found on a sheet: where its heading row is, which column (from zero) holds which field.

    `doubles` is the first field that two columns carry, with the two: such a table cannot be used. `unclear` are
    headings that could mean several fields. `second_weight` is a further column of weights in another unit.
    """

    book: Book
    sheet: Sheet
    header_row: int
    columns: Mapping[str, int]
    units: Mapping[str, str]
    findings: tuple[Finding, ...] = field(default=())
    doubles: tuple[str, int, int] | None = None
    unclear: tuple[tuple[int, str, tuple[str, ...]], ...] = ()
    second_weight: tuple[int, str] | None = None

    def rows(self) -> Iterator[tuple[int, dict[str, Cell]]]:
        """Rows below the heading that hold anything in a known column: sheet row (from one) and fields.

        A number whose format shows a percentage or a unit is given as the text that is shown.
        """
        formats, filled = self.sheet.facts.formats, self.filled()
        for number, plain in enumerate(self.sheet.rows[self.header_row :], self.header_row + 1):
            row = filled.get(number, plain)
            values = {name: row[at] if at < len(row) else None for name, at in self.columns.items()}
            for name, at in self.columns.items() if formats else ():
                values[name] = as_shown(values[name], formats.get((number - 1, at), ""))
            if any(value is not None for value in values.values()):
                yield number, values

    def filled(self) -> dict[int, list[Cell]]:
        """Rows below the heading that a cell merged over several rows reaches, with its value in each of them."""
        found: dict[int, list[Cell]] = {}
        for top, left, last, value in self.merged_down():
            for at in range(top + 1, last + 1):
                cells = found.setdefault(at + 1, list(self.sheet.rows[at]))
                cells.extend([None] * (left + 1 - len(cells)))
                cells[left] = value
        return found

    def merged_down(self) -> Iterator[tuple[int, int, int, Cell]]:
        """First row, column and last row (from zero) of each cell merged over several rows, and its value."""
        rows, known = self.sheet.rows, set(self.columns.values())
        for top, left, bottom, _ in self.sheet.facts.merged:
            if left in known and top >= self.header_row and bottom > top and top < len(rows):
                value = rows[top][left] if left < len(rows[top]) else None
                yield top, left, min(bottom, len(rows) - 1), value

    def where(self, row: int, name: str) -> CellRef:
        """The cell of a field in a sheet row."""
        return self.cell(row, self.columns.get(name, 0))

    def cell(self, row: int, column: int) -> CellRef:
        """The cell in a sheet row and a column counted from zero."""
        return CellRef(self.book.source.name, self.sheet.name, f"{column_letter(column)}{row}")

    @property
    def header(self) -> CellRef:
        """The heading row."""
        return self.cell(self.header_row, 0)


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
    return _with_findings(best, wanted, known) if best and _worth(best)[0] else None


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


def _with_findings(table: Table, wanted: Headings, known: Mapping[str, tuple[str, ...]]) -> Table:
    """The table with what is to be said of its headings."""
    used = {*table.columns.values(), *(at for at, *_ in table.unclear)}
    row = table.sheet.rows[table.header_row - 1]
    strangers = [
        (at, cell) for at, cell in enumerate(row)
        if isinstance(cell, str) and at not in used and not cell.startswith(OWN_HEADING)
        and not wanted.fields_of(cell, known)
    ]  # fmt: skip
    found = [problems.heading_unreadable(table.cell(table.header_row, at), cell.shows) for at, cell in enumerate(row)
             if isinstance(cell, NoValue)]  # fmt: skip
    found += _other_weights(table, strangers)
    found += [*_near_misses(table, strangers, {**known, **(_USUAL_WITHDRAWALS if wanted.withdrawals else {})})]
    for at, heading, names in table.unclear:
        meanings = [heading_of(name) for name in names]
        of_animals = "weight" in known.get("weight", ()) and "tag" in known.get("tag", ())
        where = table.cell(table.header_row, at)
        found.append(problems.heading_unclear(where, heading, meanings, on_session=of_animals))
    return replace(table, findings=tuple(found), doubles=table.doubles or _merged_heading(table))


def _merged_heading(table: Table) -> tuple[str, int, int] | None:
    """A field whose heading is merged over a second column that is filled too: only a person knows which counts."""
    below = table.sheet.rows[table.header_row : table.header_row + HEADER_WITHIN]
    for top, left, bottom, right in table.sheet.facts.merged:
        name = next((field for field, at in table.columns.items() if at == left), "")
        if name in ("tag", "eid", "weight") and bottom == top == table.header_row - 1:
            filled = [at for at in range(left + 1, right + 1) if any(at < len(r) and r[at] is not None for r in below)]
            if filled and filled[0] not in table.columns.values():
                return name, left, filled[0]
    return None


#: Words beside `weight` that say it is not the one to dose by.
_NOT_TODAYS = re.compile(
    r"last|prev|before|gain|target|birth|change|diff|adg|carcas|sale|old|aver|mean|unit", re.IGNORECASE
)


def _other_weights(table: Table, strangers: list[tuple[int, str]]) -> Iterator[Finding]:
    """Further columns that seem to be weights, beside the one that is used."""
    if "weight" not in table.columns or ("medicine" in table.columns and "strength" in table.columns):
        return
    for at, heading in strangers:
        if re.search(r"weight|\bwt\b", heading, re.IGNORECASE) and not _NOT_TODAYS.search(heading):
            used = column_letter(table.columns["weight"])
            yield problems.weight_column_unused(table.cell(table.header_row, at), heading, used)


def heading_of(name: str) -> str:
    """Our own heading of a field.

    >>> heading_of("withdrawal:meat"), heading_of("dose_rate")
    ('Meat withdrawal', 'Dose rate')
    """
    if name.startswith("withdrawal:"):
        return f"{name.removeprefix('withdrawal:').capitalize()} withdrawal"
    return name.replace("_", " ").capitalize()


def _near_misses(
    table: Table, strangers: list[tuple[int, str]], known: Mapping[str, tuple[str, ...]]
) -> Iterator[Finding]:
    """Headings that are nearly one of ours: offered, never assumed."""
    free = [heading for heading, names in known.items() if not set(names) & table.columns.keys()]
    for at, heading in strangers:
        if close := get_close_matches(normal(heading), free, n=1, cutoff=0.8):
            wanted = heading_of(known[close[0]][0])
            yield problems.heading_near_miss(table.cell(table.header_row, at), heading, wanted)


def as_shown(cell: Cell, code: str) -> Cell:
    """A number as its format shows it, where that is a percentage or has a unit in quotes at its end.

    >>> as_shown(0.01, "0%"), as_shown(10.0, '0.0" mg/mL"'), as_shown(10.0, "0.0")
    ('1 %', '10 mg/mL', 10.0)
    """
    if not code or isinstance(cell, bool) or not isinstance(cell, (int, float)):
        return cell
    if "%" in code:
        return f"{(Decimal(repr(cell)) * 100).normalize():f} %"
    if in_thousands(code):
        return f"{cell_text(cell)} (shown in thousands)"
    unit = shown_words(code)
    return f"{cell_text(cell)} {unit}" if unit else cell


def cell_text(cell: Cell) -> str:
    r"""A cell as text; whole numbers without a decimal point, so that tag 412 is `412`.

    >>> cell_text(412.0), cell_text(" a\u00a0b ")
    ('412', 'a b')
    """
    if isinstance(cell, str):
        return clean(cell)
    if cell is None:
        return ""
    if isinstance(cell, NoValue):
        return cell.shows
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return clean(str(cell))
