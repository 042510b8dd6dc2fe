"""Which columns of the weighing sheet hold results of an earlier run, and which are the user's by now.

An earlier run marks its columns. A user may paste a wider table over them, put a column between them with a program
that leaves the marks behind, or take the rows into another workbook, where the marks are lost. So a mark alone does not
make a column ours, and a column headed as we head them is ours without a mark: no old dose may stay in it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from batchdose.findings import column_letter
from batchdose.model import OWN_HEADING, STATES

_KINDS = "tag|medicine|dose|unit|draft|sites|held and why|working"
#: Every heading that a run writes, with the number behind it where two would be the same.
_OURS = re.compile(
    rf"{OWN_HEADING}(?:(?:(?:.+: )?(?P<kind>{_KINDS})|.+ (?P<clear>clear from) \(expected\))(?: \(\d+\))?"
    r"|not used(?: \d+)?)",
    re.DOTALL,
)
_HELD = "DO NOT DOSE"
_STATES = frozenset(state.replace("_", " ") for state in STATES)
_SHOWN = 5


@dataclass(frozen=True)
class Animals:
    """Where the animals are on their sheet: rows and the tag's column from 1, and the heading row's cells as read.

    `cells` are all rows of the sheet as read, and `inputs` the columns, from 1, that this run has read.
    """

    header_row: int
    tag_column: int
    headings: Sequence[object]
    rows: Sequence[int]
    cells: Sequence[Sequence[object]] = ()
    inputs: frozenset[int] = frozenset()

    def heading(self, column: int) -> str:
        """The heading of a column as text, empty where there is none."""
        cell = self.headings[column - 1] if column <= len(self.headings) else None
        return "" if cell is None else str(cell)

    def below(self, column: int) -> Iterator[tuple[int, object]]:
        """Rows below the headings, with the cell of a column where it holds anything."""
        for row, cells in enumerate(self.cells[self.header_row :], self.header_row + 1):
            if column <= len(cells) and cells[column - 1] not in (None, ""):
                yield row, cells[column - 1]


@dataclass(frozen=True)
class EarlierColumns:
    """Columns of an earlier run, from 1: `own` hold its results, those of them in `unmarked` had lost their mark.

    `taken_over` are marked and hold the user's own cells now. `alike` begin as our headings do, and are none of ours.
    """

    own: list[int]
    unmarked: list[int]
    taken_over: list[int]
    alike: list[int]


def earlier_columns(animals: Animals, marked: Iterable[int]) -> EarlierColumns:
    """What an earlier run left on the sheet, by its marks and by the headings."""
    marks = set(marked)
    every = range(1, len(animals.headings) + 1)
    headed = {column for column in every if _OURS.fullmatch(animals.heading(column))} - animals.inputs
    taken_over = _taken_over(animals, sorted(marks - headed), marks & headed, len(headed - marks))
    own = sorted((marks | headed) - set(taken_over))
    alike = [column for column in every if animals.heading(column).startswith(OWN_HEADING) and column not in own]
    return EarlierColumns(own, sorted(headed - marks), taken_over, alike)


def notes_on(animals: Animals, earlier: EarlierColumns) -> list[str]:
    """What the user should know of columns that are cleared, and of those that are left."""
    notes = [
        f"The column {_named(animals, column)} held results of an earlier run and is used again: what was in it is "
        "left out. Your own workbook still has it."
        for column in _renamed(animals, earlier)
    ]
    notes += [
        f"The column {_named(animals, column)} stands where an earlier run had results. It is read as yours and left "
        "as it is. Look whether old results are left in it, and delete those."
        for column in earlier.taken_over
    ]
    notes += [
        f"The column {_named(animals, column)} begins like a result and is none: it is left as it is. "
        "Do not dose by it."
        for column in earlier.alike
    ]
    if earlier.unmarked:
        names = _listed([_named(animals, column) for column in earlier.unmarked])
        notes.append(f"Headed as results of an earlier run, and emptied before the new ones were written: {names}.")
    return notes + _note_on_strange_cells(animals, earlier)


def _listed(names: Sequence[str]) -> str:
    """The first of these names, and how many more there are."""
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more


def _renamed(animals: Animals, earlier: EarlierColumns) -> list[int]:
    """Our columns that somebody gave another heading."""
    return [at for at in earlier.own if animals.heading(at) and not animals.heading(at).startswith(OWN_HEADING)]


def _named(animals: Animals, column: int) -> str:
    heading, letter = animals.heading(column), column_letter(column - 1)
    return f'{letter} ("{heading}")' if heading else letter


def _taken_over(animals: Animals, foreign: Sequence[int], still_ours: set[int], strayed: int) -> list[int]:
    """Those of the marked columns headed otherwise that hold the user's own cells.

    What this run has read is the user's. So are columns left of all that are still headed as ours, unless they begin
    with the tags as our columns do: a wider table was pasted. So is every one where as many of our headings stand
    outside the marks: a column was put in and the marks stayed behind. Of others the cells tell.
    """
    headed_or_filled = [at for at in foreign if animals.heading(at) or any(animals.below(at))]
    first = min(still_ours, default=len(animals.headings) + 1)
    leading = [at for at in headed_or_filled if at < first]
    pasted = bool(leading) and bool(animals.cells) and not _repeats_tags(animals, leading[0])
    moved = bool(headed_or_filled) and strayed >= len(headed_or_filled)
    return [
        at for at in headed_or_filled
        if at in animals.inputs or moved or (pasted and at < first) or not _may_be_results(animals, at)
    ]  # fmt: skip


def _repeats_tags(animals: Animals, column: int) -> bool:
    """Whether most cells of a column are tags of the animals, in whatever order."""
    tags = {_text(cell) for _, cell in animals.below(animals.tag_column)}
    found = [_text(cell) in tags for _, cell in animals.below(column)]
    return not found or 2 * sum(found) > len(found)


def _may_be_results(animals: Animals, column: int) -> bool:
    """Whether any cell could be a dose, a date or a word of ours against dosing; a column of nothing could be too."""
    cells = [cell for _, cell in animals.below(column)]
    return not cells or any(
        not isinstance(cell, str) or re.search(r"\d", cell) or cell.startswith(_HELD) or cell in _STATES
        for cell in cells
    )


def _text(cell: object) -> str:
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell).strip()


def _note_on_strange_cells(animals: Animals, earlier: EarlierColumns) -> list[str]:
    """A note on cells in our columns that no run has written."""
    strange = sorted(_strange_cells(animals, earlier.own))
    if not strange:
        return []
    cells = _listed([f'{column_letter(column - 1)}{row} ("{text}")' for row, column, text in strange])
    note = f"In columns of results stood what is no result, and the copy leaves it out: {cells}. "
    return [note + "Your own workbook still has it; keep notes in a column of your own."]


def _strange_cells(animals: Animals, own: Iterable[int]) -> Iterator[tuple[int, int, str]]:
    """Row, column and text of cells that no run has written.

    In a row of an animal a cell of the wrong kind is one; in other rows every cell, if our repeated tag is not there.
    """
    kinds = {at: found["kind"] or found["clear"] for at in own if (found := _OURS.fullmatch(animals.heading(at)))}
    tag = next((at for at, kind in kinds.items() if kind == "tag"), None)
    of_animals = set(animals.rows)
    written = of_animals | {row for row, _ in animals.below(tag)} if tag else None
    for at, kind in kinds.items():
        for row, cell in animals.below(at):
            of_no_run = written is not None and row not in written
            if of_no_run or (row in of_animals and _is_of_another_kind(cell, kind)):
                yield row, at, _text(cell)


def _is_of_another_kind(cell: object, kind: str | None) -> bool:
    """Whether a cell cannot be what a column of this kind holds; None is a column that is not used."""
    if kind == "clear from":
        return isinstance(cell, str) and cell not in _STATES
    if kind in ("dose", "sites"):
        return isinstance(cell, str)
    if kind == "held and why":
        return not isinstance(cell, str) or not cell.startswith(_HELD)
    return kind is None or (kind == "unit" and not isinstance(cell, str))
