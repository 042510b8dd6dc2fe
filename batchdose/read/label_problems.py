"""What can be wrong with medicines, treatments and stock as they are written: one function a rule.

The rule's name is the function's with hyphens; its docstring says what passes, what fails and why it matters.
"""

from __future__ import annotations

from collections.abc import Iterable

from batchdose.findings import CellRef, Finding, Hold, Level
from batchdose.texts import joined, mark, say, say_many, unended
from batchdose.words import said


def label_figure_unreadable(where: CellRef, index: int, field: str, seen: str, problem: str, fix: str) -> Finding:
    """A figure copied from the label is in one of the accepted spellings.

    Passes: 10 mg/mL, 0.2 mg/kg, 28 days. Fails: "10mg", "two per sheep". Holds the medicine. Matters because
    a label figure must never be guessed.
    """
    name = field.removeprefix("withdrawal:").replace("_", " ")
    return Finding(
        Level.ERROR, "label-figure-unreadable", where, seen, say("{problem}.", problem=problem), fix,
        Hold(say("{field} of the medicine: {problem}", field=name, problem=problem), medicines=(index,)),
    )  # fmt: skip


def dose_rate_missing(where: CellRef, index: int) -> Finding:
    """A medicine has a dose rate or dose bands.

    Passes: 0.2 mg/kg; bands on the sheet Dose bands. Fails: neither. Holds the medicine.
    """
    return Finding(
        Level.ERROR, "dose-rate-missing", where, "", say("No dose rate is stated."),
        say("Copy the rate from the label."),
        Hold(say("no dose rate is stated"), medicines=(index,)),
    )  # fmt: skip


def medicine_without_figures(where: CellRef, name: str) -> Finding:
    """A row of the medicines sheet says more than a name.

    Passes: a medicine with its rate. Noted: a row with only its first cell, which is taken for a remark. Matters
    because somebody may have meant a medicine.
    """
    return Finding(
        Level.NOTE, "medicine-without-figures", where, name,
        say("This row says nothing but a name, so it is no medicine here."),
        say("Copy its figures from the label, or leave it as a remark."),
    )  # fmt: skip


def medicine_unknown(where: CellRef, name: str, known: Iterable[str]) -> Finding:
    """A medicine to be given stands on the medicines sheet.

    Passes: a name as written there, whatever its case. Fails: any other name; nothing is planned for that line.
    """
    return Finding(
        Level.ERROR, "medicine-unknown", where, name,
        say("This medicine is not on the medicines sheet, which has: {medicines}.", medicines=joined("; ", known)),
        say("Write its name as on the medicines sheet."),
    )  # fmt: skip


def name_on_no_row(where: CellRef, sheet: str, name: str, near: str) -> Finding:
    """A medicine's name on the sheets Stock and Dose bands is that of a row of the medicines sheet.

    Passes: the name as it stands there, whatever its case. Fails: "wormerA" for "wormer A": the line is not used.
    Matters because an expired bottle, or the label's bands, would be overlooked.
    """
    return Finding(
        Level.WARNING, "name-on-no-row", where, name,
        say("No row of the medicines sheet is named so; this line of {sheet} is not used.", sheet=sheet),
        say('Did you mean "{name}"? If so, write it so.', name=near) if near
        else say("Write the name as it stands there."),
    )  # fmt: skip


def entry_unreadable(where: CellRef, sheet: str, field: str, seen: str, problem: str) -> Finding:
    """An entry on the sheets Treatments, Stock and Dose bands can be read.

    Passes: pack size 500 mL, chosen rate 15 mg/kg. Fails: "big bottle". A treatment line that cannot be read
    is not planned, a pack is not counted on, a band holds its medicine.
    """
    name = field.replace("_", " ")
    return Finding(
        Level.ERROR, "entry-unreadable", where, seen,
        say('The entry "{field}" on sheet {sheet} cannot be read: {problem}.', field=name, sheet=sheet,
            problem=unended(problem)), say("Correct it, or clear the row."),
    )  # fmt: skip


def medicine_said_twice(where: CellRef, rows: Iterable[int], seen: str) -> Finding:
    """One place says what an animal gets: the sheet Treatments, or the column Medicine.

    Passes: the column alone; both, naming the same. Fails: a medicine in the column that no line of Treatments gives.
    Holds the animal. Matters because it would get another medicine than its row says.
    """
    held = tuple(rows)
    return Finding(
        Level.ERROR, "medicine-said-twice", where, seen,
        say_many("The column Medicine of {n} animals names what the sheet Treatments does not give.",
                 "The column Medicine of {n} animals names what the sheet Treatments does not give.", len(held),
                 n=len(held)),
        say("Clear the column, or add a line to Treatments."),
        Hold(say("the column Medicine and the sheet Treatments say different things"), held),
    )  # fmt: skip


def treatment_for_whom_unclear(where: CellRef, row: int, heading: str, seen: str) -> Finding:
    """A line of the sheet Treatments names its mob or tag in a column that is known, or is for all.

    Passes: Mob Hill; both empty, for all. Fails: both empty, and a word in a column that is not understood. Holds all
    that the line would go to. Matters because a medicine for one mob would go to every animal.
    """
    return Finding(
        Level.ERROR, "treatment-for-whom-unclear", where, seen,
        say('Line {row} names no mob and no tag, but "{entry}" stands under "{heading}", which is not understood.',
            row=row, entry=seen, heading=heading),
        say("Write the heading Mob or Tag; for a remark, write Note."),
    )  # fmt: skip


def name_missing(where: CellRef, what: str) -> Finding:
    """A line on the sheets Mobs, Treatments, Stock and Medicines has its name.

    Passes: a medicine's name in its row. Fails: a row with figures and no name, which is not used. Matters
    because somebody meant it for something.
    """
    return Finding(
        Level.ERROR, "name-missing", where, "", say(_NAMES[what][0]), say(_NAMES[what][1]),
    )  # fmt: skip


#: What is said of a line without its name, and what to do.
_NAMES = {
    "medicine": (mark("This line has no medicine, so it is not used."), mark("Write the medicine, or clear the line.")),
    "mob": (mark("This line has no mob, so it is not used."), mark("Write the mob, or clear the line.")),
}


def species_from_medicines(where: CellRef, species: str) -> Finding:
    """The animals' species is stated somewhere: in their rows, their mob, the session or by --species.

    Passes: Species sheep on the sheet Session. Fails: nowhere; the one species that all medicines share is
    then taken, as a last resort. Matters because rates and withdrawal periods differ between species.
    """
    return Finding(
        Level.WARNING, "species-from-medicines", where, "",
        say("Nothing says of which species the animals are; they are taken as {species}, like the medicines.",
            species=said(species)),
        say('Add "Species" to the sheet Session.'),
    )  # fmt: skip
