"""What can be wrong with single cells and headings: one function a rule, each giving its finding.

The rule's name is the function's with hyphens; its docstring says what passes, what fails and why it matters.
"""

from __future__ import annotations

from collections.abc import Iterable

from batchdose.findings import CellRef, Finding, Hold, Level
from batchdose.texts import Text, a_few, joined, mark, say, say_many

DATE_HELP = mark(
    "Write it as 2026-03-14 or 14 March 2026, or put Date order (day first, month first) on the sheet Session."
)


def weight_shared(where: CellRef, rows: Iterable[int]) -> Finding:
    """A weight belongs to one animal.

    Passes: a cell for each weight. Fails: one cell merged over the rows of two animals, which may be the weight of
    both together. Holds them. Matters because each would get the dose of two.
    """
    held = tuple(rows)
    return Finding(
        Level.ERROR, "weight-shared", where, "",
        say_many("One weight is merged over {n} animals.", "One weight is merged over {n} animals.", len(held),
                 n=len(held)),
        say("Weigh each, and give each its own cell."),
        Hold(say("one weight is merged over several animals"), held, needs_weight=True),
    )  # fmt: skip


def weights_disagree(where: CellRef, row: int, seen: str) -> Finding:
    """Where weights stand in kg and in lb, both say the same, within 1 %.

    Passes: 62.5 kg and 138 lb. Fails: 62.5 kg and 62.5 lb. Holds the animal. Matters because one of them is wrong.
    """
    return Finding(
        Level.ERROR, "weights-disagree", where, seen, say("The two weights of this animal do not agree."),
        say("Clear the one that is wrong."), Hold(say("its two weights do not agree"), (row,), needs_weight=True),
    )  # fmt: skip


def weighing_fact_unreadable(where: CellRef, field: str, seen: str, problem: str) -> Finding:
    """The day of weighing, the last weight with its day, and earlier courses can be read.

    Passes: weighed on 2026-03-14; last weight 38.5. Fails: 03/04/2026. Nobody is held; what the entry would have
    shown (a weight that is old, or far from the last) is not looked at. Matters because such slips stay unseen.
    """
    name = field.replace("_", " ")
    return Finding(
        Level.WARNING, "weighing-fact-unreadable", where, seen,
        say('The entry "{field}" cannot be read: {problem}.', field=name, problem=problem),
        say("Correct it, or leave it empty."),
    )  # fmt: skip


def weight_missing(where: CellRef, rows: Iterable[int], mob: str = "", *, whole_mob: bool = False) -> Finding:
    """Every animal has a weight, and every mob given as a whole that of its heaviest animal.

    Passes 41.5 kg. Fails: an empty cell. Holds the animal from medicines dosed by weight; a medicine given
    per head is planned. An animal of a mob dosed to its heaviest may be confirmed not heavier (`Give anyway`).
    One line for each mob. Matters because a dose by eye is as often too small as too large.
    """
    held = tuple(rows)
    if whole_mob:
        message = say("This mob has no weight of its heaviest animal.")
        fix = say("Weigh the heaviest and write it here.")
        why = say("the heaviest weight of the mob is not known")
    else:
        message = _no_weight(held, mob)
        fix, why = say("Weigh it, or leave it out."), say("no weight")
    hold = Hold(why, animals=held, needs_weight=True, not_weighed=not whole_mob)

    def again(fewer: tuple[int, ...]) -> Finding:
        cell = f"{where.cell.rstrip('0123456789')}{fewer[0]}"
        return weight_missing(CellRef(where.workbook, where.sheet, cell), fewer, mob)

    return Finding(Level.ERROR, "weight-missing", where, "", message, fix, hold, again=None if whole_mob else again)


def _no_weight(rows: tuple[int, ...], mob: str) -> Text:
    if len(rows) == 1:
        return say("This animal has no weight.")
    what = {"n": len(rows), "rows": a_few(rows)}
    if mob:
        return say('{n} animals of mob "{mob}" have no weight (rows {rows}).', **what, mob=mob)
    return say("{n} animals have no weight (rows {rows}).", **what)


def weight_unreadable(where: CellRef, row: int, seen: str, problem: str) -> Finding:
    """A weight is a number that can mean one thing, of a unit of weight, above zero.

    Passes: 62.5, "62,5", "62.5 kg", "137 lb". Fails: "4o", "1,250", "62.5.1", "#N/A", a formula that was
    never calculated. Matters because a weight that is guessed is a dose that is guessed.
    """
    return Finding(
        Level.ERROR, "weight-unreadable", where, seen, say("The weight cannot be read: {problem}.", problem=problem),
        say("Write it as a plain number, for example 62.5."),
        Hold(say("the weight cannot be read: {problem}", problem=problem), animals=(row,), needs_weight=True),
    )  # fmt: skip


def weight_unit_missing(where: CellRef, rows: Iterable[int]) -> Finding:
    """The unit of the weights is stated: in the heading, in the cells, or on the sheet Session.

    Passes: Weight (kg). Fails: Weight, with bare numbers and no unit anywhere. Matters because kg taken for
    lb is more than twice the dose.
    """
    return Finding(
        Level.ERROR, "weight-unit-missing", where, "", say("Nothing says whether the weights are in kg or in lb."),
        say('Write the heading as Weight (kg) or Weight (lb), or put "Weight unit" on the sheet Session.'),
        Hold(say("the unit of the weight is not stated"), animals=tuple(rows), needs_weight=True),
    )  # fmt: skip


def tag_missing(where: CellRef, row: int, seen: str) -> Finding:
    """A row with a weight has a tag or an EID.

    Passes: tag 0412. Fails: a weight with neither; a tag cell that shows an error. Matters because nobody
    could find the animal again.
    """
    return Finding(
        Level.ERROR, "tag-missing", where, seen, say("This row has no tag that can be read."),
        say("Write the animal's tag, or clear the row."), Hold(say("no tag"), animals=(row,)),
    )  # fmt: skip


def cell_without_value(where: CellRef, row: int, field: str, seen: str, problem: str) -> Finding:
    """A cell that says something of an animal shows a value.

    Passes: a mob's name; an empty cell. Fails: "#N/A", or a formula that was never calculated, which must not
    be taken for empty. Holds the animal. Matters because status, species or mob decide what it may get.
    """
    what = {"field": field.replace("_", " "), "problem": problem}
    return Finding(
        Level.ERROR, "cell-without-value", where, seen, say('The cell of "{field}" {problem}.', **what),
        say("Mend the formula, or type the value."), Hold(say('the cell of "{field}" {problem}', **what),
                                                          animals=(row,)),
    )  # fmt: skip


def mob_repeated(where: CellRef, mob: str) -> Finding:
    """A mob stands once on the sheet Mobs.

    Passes: every mob once. Fails: "River" twice; the first line counts, so that it is not dosed twice.
    """
    return Finding(
        Level.ERROR, "mob-repeated", where, mob,
        say("This mob stands on the sheet twice; only its first line is used."),
        say("Remove the line that is wrong."),
    )  # fmt: skip


def date_unreadable(where: CellRef, row: int, field: str, seen: str, problem: str) -> Finding:
    """A date is one date of the calendar.

    Passes: 2026-03-14, 14 March 2026, 25/03/2026. Fails: 03/04/2026, which could be two dates; 31 June.
    Holds the animal. Matters because sale, slaughter or birth decide whether it may be treated.
    """
    name = field.replace("_", " ")
    return Finding(
        Level.ERROR, "date-unreadable", where, seen,
        say('The date "{field}" cannot be read: {problem}.', field=name, problem=problem),
        say(DATE_HELP), Hold(say('the date "{field}" cannot be read', field=name), animals=(row,)),
    )  # fmt: skip


def mob_entry_unreadable(where: CellRef, row: int, field: str, seen: str, problem: str) -> Finding:
    """Head, heaviest and lightest of a mob can be read.

    Passes: 40 head, heaviest 61.5 kg. Fails: "about 40". Holds the mob. Matters for the product to draw.
    """
    return Finding(
        Level.ERROR, "mob-entry-unreadable", where, seen, say(_OF_MOB[field][0], problem=problem),
        say("Correct it."), Hold(say(_OF_MOB[field][1]), animals=(row,), needs_weight=field != "head"),
    )  # fmt: skip


#: What is said of an entry of a mob, and why the mob is held.
_OF_MOB = {
    "head": (mark("The head of this mob cannot be read: {problem}."), mark("the head of the mob is not known")),
    "heaviest": (
        mark("The heaviest of this mob cannot be read: {problem}."), mark("the heaviest of the mob is not known")
    ),
    "lightest": (
        mark("The lightest of this mob cannot be read: {problem}."), mark("the lightest of the mob is not known")
    ),
}  # fmt: skip


def session_entry_unreadable(where: CellRef, seen: str, problem: str) -> Finding:
    """An entry of the sheet Session is one of those that it can be.

    Passes: Spare 5 %. Fails: Organic "maybe". The entry is not used. Matters because what it would have
    changed (rules, unit, spare) stays as if it were empty.
    """
    return Finding(
        Level.ERROR, "session-entry-unreadable", where, seen,
        say("This entry of the session cannot be read: {problem}.", problem=problem),
        say("Correct it, or leave it empty."),
    )  # fmt: skip


def time_zone_missing(where: CellRef) -> Finding:
    """The session states its time zone.

    Passes: Europe/Dublin. Fails: none; times are then taken as UTC. Matters where clocks change inside a
    withdrawal period.
    """
    return Finding(
        Level.WARNING, "time-zone-missing", where, "", say("No time zone is stated, so times are taken as UTC."),
        say('Add "Time zone" to the sheet Session, for example Europe/Dublin.'),
    )  # fmt: skip


def session_entry_unknown(where: CellRef, name: str, seen: str, wanted: str = "") -> Finding:
    """An entry of the sheet Session has one of the names that are known (`docs/headings.md`), or is a note.

    Passes: Date, Treatment date, Max drafts, Note. Fails: "Weather", "Dose day", with a value beside it, which is not
    used. Matters because somebody meant it to change the job.
    """
    return Finding(
        Level.WARNING, "session-entry-unknown", where, seen,
        say('"{name}" is not known here, so this entry is not used.', name=name),
        say('If "{wanted}" is meant, write it so; else write Note instead, or leave it.', wanted=wanted) if wanted
        else say("If it is for people only, write Note instead, or leave it."),
    )  # fmt: skip


def session_entry_repeated(where: CellRef, name: str, seen: str, first: str) -> Finding:
    """An entry of the sheet Session stands once, or says the same wherever it stands.

    Passes: Spare 5 % once. Fails: Spare 5 %, and further down Spare 10 %; neither is used. Where it is the species,
    the unit, the rules, the date, the time zone or the order of dates, the run stops. Matters because one is wrong.
    """
    return Finding(
        Level.ERROR, "session-entry-repeated", where, seen,
        say('"{name}" stands here and in {first} with another value, so neither is used.', name=name, first=first),
        say("Clear the one that is wrong."),
    )  # fmt: skip


def gun_reading_of_which(
    where: CellRef, name: str, medicine: str, seen: str, medicines: Iterable[str], offer: str = ""
) -> Finding:
    """A gun's reading on the sheet Session is that of one medicine.

    Passes: Gun gave, in a job with one medicine; Gun gave: wormer A. Fails: Gun gave, in a job with two; a name that
    no row of the medicines sheet has. The reading is not used. Matters because another gun would be corrected.
    """
    entry, names = name.split(":", maxsplit=1)[0].strip(), joined("; ", medicines)
    return Finding(
        Level.ERROR, "gun-reading-of-which", where, seen,
        say('No medicine is named "{medicine}"; this reading of a gun is not used.', medicine=medicine) if medicine
        else say("The job has several medicines, so this could be any's; this reading of a gun is not used."),
        say('Write "{entry}: {medicine}"; the medicines are: {medicines}.', entry=entry, medicine=offer,
            medicines=names) if offer
        else say('Write "{entry}: and the name of the medicine"; the medicines are: {medicines}.', entry=entry,
                 medicines=names),
    )  # fmt: skip


def gun_reading_refused(where: CellRef, rows: Iterable[int], medicine: str, seen: str, problem: str) -> Finding:
    """A gun's reading on the sheet Session is whole, in the medicine's unit, and nothing else says otherwise.

    Passes: Gun set to 5 mL, Gun gave 49 mL (of ten shots; else Gun shots). Fails: one of the two; "about 50"; another
    reading on the medicines sheet. Holds the medicine. Matters because every animal would get a wrong dose.
    """
    return Finding(
        Level.ERROR, "gun-reading-refused", where, seen,
        say("{medicine}: this reading of its gun is not used: {problem}.", medicine=medicine, problem=problem),
        say("Write Gun set to and Gun gave, once each."),
        Hold(say("the reading of its gun cannot be used"), None, tuple(rows)),
    )  # fmt: skip
