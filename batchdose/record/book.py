"""The record workbook read back: its rows, the facts of its courses, and whether it is a record at all."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from batchdose.findings import CellRef, UnusableInputError, column_letter
from batchdose.kept import Facts, facts_key, facts_of
from batchdose.memory import no_collecting
from batchdose.model import InputFile
from batchdose.read.book import Book, Cell, Sheet, bytes_of, open_book
from batchdose.read.facts import DamagedPackageError
from batchdose.read.limits import RECORD_ROOM
from batchdose.read.ooxml import sheet_parts
from batchdose.read.own_sheet import OwnSheet, UnusualSheetError
from batchdose.read.package import DAMAGE, open_package
from batchdose.read.table import cell_text
from batchdose.record.animals import names_of
from batchdose.record.rows import DOSE, HEADINGS, NUMBERS, Row
from batchdose.write.record_book import FACTS_MARK, FACTS_SHEET, RECORD_SHEET, STOCK_SHEET


@dataclass(frozen=True)
class Record:
    """A treatment record: its rows as they stand on the sheet, with the sheet row of each, and facts by key.

    `spoiled` are keys whose facts no longer fit them. `columns` has the place of each field, from zero.
    """

    book: Book
    sheet: str
    rows: tuple[Row, ...]
    places: tuple[int, ...]
    columns: Mapping[str, int]
    facts: Mapping[str, Facts]
    spoiled: frozenset[str] = frozenset()
    facts_sheet: str = FACTS_SHEET

    def with_rows(self, rows: Sequence[Row], facts: Mapping[str, Facts] | None = None) -> Record:
        """The record with other rows, in the order they are given in."""
        places = tuple(range(2, len(rows) + 2))
        return replace(self, rows=tuple(rows), places=places, facts=self.facts if facts is None else facts)

    def with_more(self, rows: Sequence[Row], places: Iterable[int], facts: Mapping[str, Facts]) -> Record:
        """The record with rows behind those that it has, in these rows of the sheet, and with these facts."""
        return replace(self, rows=(*self.rows, *rows), places=(*self.places, *places), facts=facts)

    def where(self, place: int, field: str) -> CellRef:
        """The cell of a field in a sheet row."""
        return CellRef(self.book.source.name, self.sheet, f"{column_letter(self.columns[field])}{place}")

    @property
    def head_hash(self) -> str:
        """Hash of the last row by number, empty for a record without rows."""
        return max(self.rows, key=lambda row: row.number).hash if self.rows else ""


def open_record(path: Path) -> Record:
    """Read a record whole. Raises UnusableInputError where the file is none, or a column of it is missing."""
    return record_from(path, bytes_of_record(path))


def bytes_of_record(path: Path) -> bytes:
    """The bytes of a record; empty for what only the general reader can say something about."""
    if path.suffix.lower() != ".xlsx":
        return b""
    try:
        return bytes_of(path)
    except DamagedPackageError:
        return b""


def record_from(path: Path, data: bytes) -> Record:
    """The record in a file whose bytes are known: read quickly in the form we write, else by the general reader."""
    try:
        with no_collecting():
            return OwnRecord(path, data).whole()
    except UnusualSheetError:
        return record_of(open_book(path, RECORD_ROOM))


class OwnRecord:
    """A record in the very form that this program writes. Raises UnusualSheetError for any other."""

    def __init__(self, path: Path, data: bytes) -> None:
        self._path, self._data = path, data
        try:
            with open_package(data, RECORD_ROOM) as package:
                self._parts = {name: part for name, part, _ in sheet_parts(package)}
                # The general reader would take the same two: the first sheets that are a record's, whatever follows.
                if list(self._parts) not in ([RECORD_SHEET, FACTS_SHEET], [RECORD_SHEET, FACTS_SHEET, STOCK_SHEET]):
                    raise UnusualSheetError
                with package.open(self._parts[FACTS_SHEET]) as stream:
                    sheet = OwnSheet(stream, (False, False))
                    if sheet.heading[0] != FACTS_MARK:
                        raise UnusualSheetError
                    self.facts = {key: text for _, (key, text) in sheet.rows() if key}
        except (DamagedPackageError, *DAMAGE) as error:
            raise UnusualSheetError from error

    def whole(self) -> Record:
        """All of the record."""
        return self._record(self._rows(), self.facts)

    def part(self, tags: set[str], eids: set[str], job: str = "") -> Record:
        """The rows of animals with these tags and EIDs (for comparing), of whole mobs, and what concerns them.

        With them those whose line begins as `job` says.
        """
        chosen: dict[tuple[str, ...], bool] = {}
        numbers: set[str] = set()

        def is_wanted(texts: tuple[str, ...]) -> bool:
            number, kind, corrects, line, *_ = texts
            if (wanted := chosen.get(key := texts[_NAMES:])) is None:
                tag, eid = names_of(*key)
                wanted = chosen[key] = tag in tags or eid in eids or not (tag or eid)
            if wanted or (job and line.startswith(job)) or (kind != DOSE and corrects in numbers):
                numbers.add(number)
                return True
            return False

        found = list(self._rows(is_wanted))
        keys = {texts[_FACTS] for _, texts in found}
        return self._record(found, {key: text for key, text in self.facts.items() if key in keys})

    def _rows(
        self, wanted: Callable[[tuple[str, ...]], bool] | None = None
    ) -> Iterator[tuple[int, tuple[str, ...]]]:  # fmt: skip
        try:
            with open_package(self._data, RECORD_ROOM) as package, package.open(self._parts[RECORD_SHEET]) as stream:
                sheet = OwnSheet(stream, [field in NUMBERS for field in HEADINGS])
                if sheet.heading != list(HEADINGS.values()):
                    raise UnusualSheetError
                yield from sheet.chosen(_LEAD, wanted) if wanted else sheet.rows()
        except (DamagedPackageError, *DAMAGE) as error:
            raise UnusualSheetError from error

    def _record(self, found: Iterable[tuple[int, tuple[str, ...]]], facts: Mapping[str, str]) -> Record:
        known, spoiled = _facts(facts.items())
        pairs = [(place, Row(*texts)) for place, texts in found]
        book = Book(InputFile(self._path, hashlib.sha256(self._data).hexdigest()), [], self._data)
        rows, places = tuple(row for _, row in pairs), tuple(place for place, _ in pairs)
        if not all(row.row.isascii() and row.row.isdigit() for row in rows):
            raise UnusualSheetError
        columns = {field: at for at, field in enumerate(HEADINGS)}
        return Record(book, RECORD_SHEET, rows, places, columns, known, frozenset(spoiled))


#: Row, kind, concerns row, line, tag and EID are the first columns.
_NAMES, _LEAD, _FACTS = list(HEADINGS).index("tag"), list(HEADINGS).index("eid") + 1, list(HEADINGS).index("facts")


def record_of(book: Book) -> Record:
    """The record in a workbook. Raises UnusableInputError where it is none, or a column of it is missing."""
    facts_sheet = _facts_sheet(book)
    if facts_sheet is None:
        raise UnusableInputError(
            book.source.name, "This is not a treatment record.", "Give the workbook that batchdose record wrote."
        )
    sheet, header, columns = _table(book)
    facts, spoiled = _facts(_kept_facts(facts_sheet))
    order = [columns[field] for field in HEADINGS]
    found = [(number, row) for number, cells in enumerate(sheet.rows[header:], header + 1)
             if (row := _row(cells, order)) is not None]  # fmt: skip
    _check_numbers(book, sheet, columns, found)
    return Record(
        book, sheet.name, tuple(row for _, row in found), tuple(number for number, _ in found), columns, facts,
        frozenset(spoiled), facts_sheet.name,
    )  # fmt: skip


def _facts_sheet(book: Book) -> Sheet | None:
    return next((s for s in book.sheets if s.rows and s.rows[0] and s.rows[0][0] == FACTS_MARK), None)


def _table(book: Book) -> tuple[Sheet, int, dict[str, int]]:
    """The sheet of the rows, its heading row (from one) and the column of each field, wherever people moved them."""
    fields = {heading: field for field, heading in HEADINGS.items()}
    best: tuple[Sheet, int, dict[str, int]] | None = None
    for sheet in book.sheets:
        for number, cells in enumerate(sheet.rows[:10], 1):
            columns: dict[str, int] = {}
            for at, cell in enumerate(cells):
                if field := fields.get(cell_text(cell)):
                    columns.setdefault(field, at)
            if len(columns) > (len(best[2]) if best else len(HEADINGS) // 2):
                best = sheet, number, columns
    if best is None:
        raise UnusableInputError(
            CellRef(book.source.name, RECORD_SHEET), "The headings of the record are not there.",
            "Put the heading row back, or go back to the last good copy of the record.",
        )  # fmt: skip
    missing = [HEADINGS[field] for field in HEADINGS if field not in best[2]]
    if missing:
        raise UnusableInputError(
            CellRef(book.source.name, best[0].name), f"The record has no column {', '.join(missing)}.",
            "Put the heading back as it was, or go back to the last good copy of the record.",
        )  # fmt: skip
    return best


def _row(cells: list[Cell], order: list[int]) -> Row | None:
    """The row of a sheet row, its columns in the order of the fields; None where it is blank."""
    if len(cells) <= (last := max(order)):
        cells = [*cells, *[None] * (last + 1 - len(cells))]
    texts = ["" if (cell := cells[at]) is None else _text(cell) for at in order]
    return Row(*texts) if any(texts) else None


def _text(cell: Cell) -> str:
    """A cell as the text that was hashed: numbers in their shortest form, texts as they stand."""
    if isinstance(cell, str):
        return cell.replace("\r\n", "\n") if "\r" in cell else cell
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    return cell_text(cell)


def _check_numbers(book: Book, sheet: Sheet, columns: Mapping[str, int], rows: list[tuple[int, Row]]) -> None:
    for number, row in rows:
        if not row.row.isascii() or not row.row.isdigit():
            raise UnusableInputError(
                CellRef(book.source.name, sheet.name, f"{column_letter(columns['row'])}{number}"),
                f'"{row.row}" is not the number of a row of the record.',
                "Undo the change, or go back to the last good copy; a row of your own belongs on another sheet.",
            )  # fmt: skip


def _kept_facts(sheet: Sheet) -> Iterator[tuple[str, str]]:
    for cells in sheet.rows[1:]:
        key, text = (cell_text(cells[0]), cells[1]) if len(cells) > 1 else ("", "")
        if key and isinstance(text, str):
            yield key, text


def _facts(kept: Iterable[tuple[str, str]]) -> tuple[dict[str, Facts], set[str]]:
    """Facts by key, and keys that no longer fit theirs."""
    facts: dict[str, Facts] = {}
    spoiled: set[str] = set()
    for key, text in kept:
        try:
            known = facts_of(text)
        except (ValueError, LookupError, TypeError, AttributeError):
            spoiled.add(key)
        else:
            if facts_key(text) == key:
                facts[key] = known
            else:
                spoiled.add(key)
    return facts, spoiled - facts.keys()
