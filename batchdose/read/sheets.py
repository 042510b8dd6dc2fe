"""Sheets that look like one of ours and are not read, because of their name or because another stands before them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.read import table_problems
from batchdose.read.book import Book
from batchdose.read.columns import find_table
from batchdose.read.fields import MOBS, TREATMENTS
from batchdose.texts import say

#: Our sheets that change the job when they are overlooked.
NAMES = ("Session", "Mobs", "Treatments", "Medicines", "Dose bands", "Stock")
#: Names of other sheets that are known not to be meant, near as they are.
_OTHERS = frozenset({"results", "findings", "product", "mob plans"})


def sheets_not_read(books: Sequence[Book], *, given: bool) -> Iterator[Finding]:
    """Findings for sheets that look like ours and are not read.

    Raises UnusableInputError for what looks like the sheet Treatments under another name, since without it medicines
    would go to all; not where `given` says that the command names them.
    """
    names = {sheet.name.strip().casefold() for book in books for sheet in book.sheets}
    for number, book in enumerate(books):
        for sheet in book.sheets:
            name, where = sheet.name.strip(), CellRef(book.source.name, sheet.name)
            again = any(before.sheet_named(name) for before in books[:number])
            if again and name.casefold() in ("session", "treatments", "mobs"):
                yield table_problems.sheet_not_read(
                    where, name, say("a sheet of this name in the other workbook is read")
                )
            meant = _meant(name)
            if book.kind == ".csv" or not meant or meant.casefold() in names or not any(map(any, sheet.rows)):
                continue
            if meant == "Treatments" and not given and (table := find_table(book, sheet, TREATMENTS)):
                if {"medicine"} <= table.columns.keys() and len(table.columns) > 1:
                    raise UnusableInputError(
                        where, "This sheet looks like the treatments, but is not named so.", 'Name it "Treatments".'
                    )
            elif meant != "Mobs" or (
                (mobs := find_table(book, sheet, MOBS)) and {"mob", "head"} <= mobs.columns.keys()
            ):
                why = say('its name is nearly "{name}", but not that', name=meant)
                yield table_problems.sheet_not_read(where, meant, why)


def _meant(name: str) -> str:
    """Our sheet that a name is nearly, or nothing."""
    folded = name.casefold()
    if folded in {known.casefold() for known in NAMES} | _OTHERS:
        return ""
    first = " ".join(word for word in folded.split() if word.isalpha()).removesuffix(" sheet").removesuffix(" plan")
    close = get_close_matches(first, [known.casefold() for known in NAMES], n=1, cutoff=0.8)
    return next((known for known in NAMES if close and known.casefold() == close[0]), "")
