"""What can be wrong with headings, rows and sheets: one function a rule, each giving its finding.

The rule's name is the function's with hyphens; its docstring says what passes, what fails and why it matters.
"""

from __future__ import annotations

from collections.abc import Iterable

from batchdose.findings import CellRef, Finding, Hold, Level
from batchdose.texts import a_few, either, joined, say, say_many


def heading_near_miss(where: CellRef, heading: str, wanted: str) -> Finding:
    """A heading is one of the accepted ones, or something quite different.

    Passes: Weight, Liveweight. Fails: "Wieght", which is nearly one: it is offered, never assumed, and its
    column is not used. Matters because a column that is overlooked may hold what keeps an animal back.
    """
    return Finding(
        Level.WARNING, "heading-near-miss", where, heading,
        say('"{heading}" is not known, so what stands there is not used.', heading=heading),
        say('Did you mean "{name}"? If so, write it so.', name=wanted),
    )  # fmt: skip


def heading_unclear(where: CellRef, heading: str, meanings: Iterable[str], *, on_session: bool = True) -> Finding:
    """A heading means one field.

    Passes: Ear tag, Date of birth. Fails: "Date", "Number", "Withdrawal". Its column is not used until a person
    says what it is (on the sheet Session, for the weighing sheet). Matters because a date of birth taken for a
    date of sale holds or frees the wrong animals.
    """
    every = list(meanings)
    return Finding(
        Level.WARNING, "heading-unclear", where, heading,
        say('"{heading}" could mean {meanings}, so what stands there is not used.', heading=heading,
            meanings=either(every)),
        say('Write the one that is meant, or put "{name} column" on the sheet Session, with this heading beside it.',
            name=every[0]) if on_session else say("Write the one that is meant."),
    )  # fmt: skip


def heading_unreadable(where: CellRef, seen: str) -> Finding:
    """A heading shows a text.

    Passes: Status. Fails: "#N/A", or a formula that was never calculated: its column is not used. Matters because what
    stands in it (a status, a mob) may keep an animal back.
    """
    return Finding(
        Level.WARNING, "heading-unreadable", where, seen, say("This heading shows no text, so its column is not used."),
        say("Type the heading."),
    )  # fmt: skip


def weight_column_unused(where: CellRef, heading: str, used: str) -> Finding:
    """One column holds the weights to dose by.

    Passes: Weight (kg) and Last weight. Fails: a further column such as "New weight (kg)", which is not used. Matters
    because the newer of two weights may stand there.
    """
    return Finding(
        Level.WARNING, "weight-column-unused", where, heading,
        say('The weights are taken from column {used}; what stands under "{heading}" is not used.', used=used,
            heading=heading),
        say('If it is the weight to dose by, put "Weight column" on the sheet Session, with this heading beside it.'),
    )  # fmt: skip


def second_table(where: CellRef, *, animals: bool) -> Finding:
    """The weighing sheet holds one table of animals; its headings may stand again further down.

    Passes: the same headings once more, where two sheets were joined (a unit in them counts from there on). Fails:
    headings in another order: the animals below them are not read. Only a note where another table follows.
    Matters because a tag would be read as a weight.
    """
    return Finding(
        Level.ERROR if animals else Level.NOTE, "second-table", where, "",
        say("Another table begins here; what stands below this row is not read as animals.")
        if not animals else
        say("The headings stand here again in another order; the animals below this row are not read."),
        say("Put those animals below the others, in the same columns.") if animals
        else say("Nothing to do, if that is right."),
    )  # fmt: skip


def row_without_animal(where: CellRef, rows: Iterable[int]) -> Finding:
    """A row below the headings has a tag, an EID or a weight.

    Passes: tag 0412. Noted: a row with only a mob or a note, which is not read as an animal. One line for all. Matters
    because somebody may have meant an animal.
    """
    numbers = list(rows)
    return Finding(
        Level.NOTE, "row-without-animal", where, "",
        say_many("{n} row has neither tag nor weight and are no animals here (rows {rows}).",
                 "{n} rows have neither tag nor weight and are no animals here (rows {rows}).", len(numbers),
                 n=len(numbers), rows=a_few(numbers)),
        say("Give each animal its tag; else there is nothing to do."),
    )  # fmt: skip


def row_too_long(where: CellRef, row: int, seen: str) -> Finding:
    """In a .csv file a row has no more cells than there are headings.

    Passes: three headings, three cells. Fails: a fourth cell, as a decimal comma makes it that is not in quotes (41,5
    becomes 41 and 5). Holds the animal. Matters because the weight, and every cell after it, is another.
    """
    return Finding(
        Level.ERROR, "row-too-long", where, seen, say("This row has more cells than there are headings."),
        say("Look for a decimal comma: write 41.5, put 41,5 in quotes, or separate the cells with semicolons."),
        Hold(say("its row has more cells than there are headings"), (row,)),
    )  # fmt: skip


def sheet_concealed(where: CellRef) -> Finding:
    """The sheets that are read are in view.

    Passes: all in view. Only a note. Matters because nobody sees what such a sheet says.
    """
    return Finding(
        Level.NOTE, "sheet-concealed", where, "", say("This sheet is hidden; it is read all the same."),
        say("Show it and look, or delete it."),
    )  # fmt: skip


def sheet_not_read(where: CellRef, meant: str, why: str) -> Finding:
    """Every sheet that looks like one of ours is read.

    Passes: one sheet Mobs. Fails: "Mob list" instead of Mobs; a second sheet Session in the other workbook. It is not
    read. Matters because what it says would change the job.
    """
    return Finding(
        Level.ERROR, "sheet-not-read", where, where.sheet, say("This sheet is not read: {why}.", why=why),
        say('Name it "{name}", or give it quite another name.', name=meant),
    )  # fmt: skip


def rows_hidden(where: CellRef, count: int, *, filtered: bool) -> Finding:
    """Rows of the weighing sheet that are hidden or filtered out are read like the others.

    Passes: all rows in view. Only a note. Matters because somebody who sees twenty rows expects twenty animals.
    """
    message = (
        say_many("{n} rows of animals are filtered out; they are read like the others.",
                 "{n} rows of animals are filtered out; they are read like the others.", count, n=count)
        if filtered else
        say_many("{n} rows of animals are hidden; they are read like the others.",
                 "{n} rows of animals are hidden; they are read like the others.", count, n=count)
    )  # fmt: skip
    return Finding(
        Level.NOTE, "rows-hidden", where, "", message,
        say("Show all rows and look at them; delete animals that should not be treated."),
    )  # fmt: skip


def columns_hidden(where: CellRef, headings: Iterable[str]) -> Finding:
    """Columns of the weighing sheet that are hidden are read like the others.

    Passes: all columns in view. Only a note. Matters because a hidden column may change what an animal gets.
    """
    return Finding(
        Level.NOTE, "columns-hidden", where, joined(", ", headings),
        say("These columns are hidden; they are read too."), say("Show them and look."),
    )  # fmt: skip


def totals_row(where: CellRef, name: str) -> Finding:
    """A row named Total, Average or the like is no animal.

    Only a note. Matters because a total read as an animal would be dosed like one.
    """
    return Finding(
        Level.NOTE, "totals-row", where, name, say("This row is taken for a total, not for an animal."),
        say("Nothing to do."),
    )  # fmt: skip
