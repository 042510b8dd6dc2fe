"""What can be wrong with what was given, and with the record itself: one function a rule, with its words."""

from __future__ import annotations

from collections.abc import Sequence

from batchdose.findings import CellRef, Finding, Level
from batchdose.texts import say, say_many

_MOST_NAMED = 8


def _who(tags: Sequence[str]) -> str:
    """Up to eight tags, then how many more."""
    more = f" and {len(tags) - _MOST_NAMED} more" if len(tags) > _MOST_NAMED else ""
    return ", ".join(tag or "whole mob" for tag in tags[:_MOST_NAMED]) + more


def given_but_held(where: CellRef, medicine: str, tags: Sequence[str], why: str) -> Finding:
    """What the plan holds is not given.

    Passes an animal marked DO NOT DOSE that has "no", or nothing. Fails one that has "yes": it is recorded, and
    clear-from is not stated until the prescriber gives a period.
    """
    return Finding(
        Level.ERROR, "given-but-held", where, "yes", f"{medicine} was given to {_who(tags)} though held: {why}.",
        "Tell the prescriber; when a period is given, enter it with batchdose release. If it was not given, enter no.",
    )  # fmt: skip


def amount_not_planned(where: CellRef, medicine: str, tags: Sequence[str], seen: str) -> Finding:
    """The amount given is the dose that was planned.

    Passes 0.9 mL where 0.9 mL is planned. Fails 0.7 mL (less may not work) and 1.2 mL: more than planned is off
    label, so clear-from is not stated until the prescriber gives a period.
    """
    return Finding(
        Level.WARNING, "amount-not-planned", where, seen, f"Not the planned amount of {medicine}: {_who(tags)}.",
        "Correct a slip of the pen on the sheet and record again. If it was given so, ask the prescriber.",
    )  # fmt: skip


def amount_not_known(where: CellRef, medicine: str, tags: Sequence[str]) -> Finding:
    """A dose given in part says how much was given.

    Passes "part" with 0.5 mL. Fails "part" alone.
    """
    return Finding(
        Level.WARNING, "amount-not-known", where, "", f"It is not said how much {medicine} was given: {_who(tags)}.",
        "Enter the amount and record again.",
    )  # fmt: skip


def bottle_expired(where: CellRef, medicine: str, tags: Sequence[str], seen: str) -> Finding:
    """A bottle is used before its expiry.

    Passes a bottle good until 31 August used on 1 June. Fails the same bottle on 1 September.
    """
    return Finding(
        Level.ERROR, "bottle-expired", where, seen, f"{medicine} was past its expiry: {_who(tags)}.",
        "Check the number of the bottle. If it was used, tell the prescriber, and throw the rest away.",
    )  # fmt: skip


def bottle_not_on_plan(where: CellRef, medicine: str, tags: Sequence[str], seen: str) -> Finding:
    """The bottle is one of those that the plan takes along.

    Passes a batch number of the plan. Fails another, whose expiry is not known here.
    """
    return Finding(
        Level.WARNING, "bottle-not-on-plan", where, seen, f"A bottle of {medicine} not on the plan: {_who(tags)}.",
        "Check the number and the expiry on the bottle, and enter it on the sheet Stock.",
    )  # fmt: skip


def given_before_plan(where: CellRef, medicine: str, tags: Sequence[str], seen: str) -> Finding:
    """A dose is not given before the day it is planned for.

    Passes a dose on its day, or later. Fails one dated a year earlier, a usual slip in January; until it is
    corrected the withdrawal period is counted from the plan.
    """
    return Finding(
        Level.WARNING, "given-before-plan", where, seen, f"{medicine} is dated before its plan: {_who(tags)}.",
        "Correct the date and record again; the withdrawal period is counted from the later of the two.",
    )  # fmt: skip


def given_in_future(where: CellRef, medicine: str, tags: Sequence[str], seen: str) -> Finding:
    """Nothing is recorded before it was given.

    Passes a time before now. Fails one that lies ahead.
    """
    return Finding(
        Level.ERROR, "given-in-future", where, seen, f"{medicine} is dated in the future: {_who(tags)}.",
        "Correct the date and time and record again.",
    )  # fmt: skip


def time_not_known(where: CellRef, medicine: str, tags: Sequence[str]) -> Finding:
    """A dose that was given has its date.

    Passes "yes" with a date, or with the mob's finish time. Fails "yes" alone: clear-from is not stated.
    """
    return Finding(
        Level.ERROR, "time-not-known", where, "", f"It is not said when {medicine} was given: {_who(tags)}.",
        "Enter the date and time, or the mob's finish time, and record again.",
    )  # fmt: skip


def entry_unclear(where: CellRef, medicine: str, tags: Sequence[str], seen: str) -> Finding:
    """An entry can be read one way only.

    Passes yes, no or part, an amount in figures, a date such as 2026-06-01 09:30. Fails "some" or a bottle without
    "yes": the line is recorded as unclear, and nothing is called clear until it is corrected.
    """
    return Finding(
        Level.ERROR, "entry-unclear", where, seen, f"What was entered for {medicine} is not clear: {_who(tags)}.",
        "Correct the cell on the sheet and record again.",
    )  # fmt: skip


def treatment_not_on_plan(where: CellRef, medicine: str, tags: Sequence[str]) -> Finding:
    """What is given was planned: the animal, and the medicine for it.

    Passes a line of the plan. Fails an animal or a medicine that was added: it is recorded, and clear-from is not
    stated until the prescriber gives a period, since no label was checked for it.
    """
    return Finding(
        Level.WARNING, "treatment-not-on-plan", where, "", f"{medicine} was not planned for {_who(tags)}.",
        "Check the tag. If it was given, enter the withdrawal period with batchdose release.",
    )  # fmt: skip


def except_not_in_mob(where: CellRef, medicine: str, tags: Sequence[str], mob: str) -> Finding:
    """Tags behind "all given except" are animals of that mob.

    Passes "0412, 0413" where both are in the mob. Fails a tag that is not: no one knows who was left out, so the
    whole line is recorded as unclear.
    """
    return Finding(
        Level.ERROR, "except-not-in-mob", where, ", ".join(tags), f"{_who(tags)} is not to get {medicine} in {mob}.",
        "Correct the tags on the sheet and record again.",
    )  # fmt: skip


def needle_broken(where: CellRef, medicine: str, tags: Sequence[str]) -> Finding:
    """No needle is left in an animal.

    Passes an empty cell. Fails "yes": the animal is not clear for anything until a person releases it with a reason.
    """
    return Finding(
        Level.ERROR, "needle-broken", where, "yes", f"A needle broke in {_who(tags)}, giving {medicine}.",
        "Mark the animal and tell the vet. When it is dealt with: batchdose release RECORD --row ROW --reason ...",
    )  # fmt: skip


def repeated_too_soon(where: CellRef, medicine: str, tags: Sequence[str], before: str, day: str) -> Finding:
    """A medicine, or its active, was not given again too soon.

    Passes 1 June and 29 June. Fails twice on one day, or before the time on the medicine's row was over (`Repeat
    after`, else `Every`, else a day): the animal got a double dose, and clear-from is not stated until the prescriber
    gives a period.
    """
    return Finding(
        Level.ERROR, "repeated-too-soon", where, day,
        f"{medicine} was given to {_who(tags)} too soon after {before} on {day}.",
        "Correct a slip of the pen and record again. If it was given so, tell the prescriber.",
    )  # fmt: skip


def given_taken_back(where: CellRef, medicine: str, tags: Sequence[str]) -> Finding:
    """What was recorded as given is not taken back unawares.

    Passes a correction of the amount or the time. Fails "no" where the record has "yes": it may be a correction, or a
    second sheet or phone whose person did not know. From then on the animal counts as not treated.
    """
    return Finding(
        Level.WARNING, "given-taken-back", where, "",
        f"{medicine} was recorded as given, and is now recorded as not given: {_who(tags)}.",
        "If it was given, enter yes with its time and record again.",
    )  # fmt: skip


def course_half_done(where: CellRef, medicine: str, tags: Sequence[str], seen: str) -> Finding:
    """A course that was begun is finished.

    Passes three doses of three. Fails one of three: the withdrawal period runs from the last dose given, and moves
    with the next.
    """
    return Finding(
        Level.WARNING, "course-half-done", where, seen, f"The course of {medicine} is not finished: {_who(tags)}.",
        "Give the doses that are left on their days and record again, or ask the prescriber.",
    )  # fmt: skip


def dose_not_accounted_for(where: CellRef, medicine: str, tags: Sequence[str]) -> Finding:
    """Every planned dose says whether it was given, once others of its medicine do.

    Passes "no" with a reason. Noted where a line says nothing: it is not recorded, and if the dose was given after
    all, nobody will know.
    """
    return Finding(
        Level.WARNING, "dose-not-accounted-for", where, "", f"Nothing is entered for {medicine}: {_who(tags)}.",
        "Enter yes, or no with the reason, and record again.",
    )  # fmt: skip


def record_not_used(name: str, why: str) -> Finding:
    """The client's treatment record is read when a job is planned, where it is sure which one it is.

    Passes one record beside the weighing workbook whose client is the job's, or one given with --record. Fails one of
    another client, or one of several of the client's: what the animals got before is then not counted.
    """
    return Finding(
        Level.WARNING, "record-not-used", CellRef(name), "",
        say("This treatment record is not read: {why}. What the animals were given before is not counted.", why=why),
        say("Give the right record with --record, or move it away."),
    )  # fmt: skip


def record_read(name: str, rows: int, animals: int) -> Finding:
    """The treatment record is read with the sheets.

    Only a note, which says which record it was and how many of the animals are in it.
    """
    return Finding(
        Level.NOTE, "record-read", CellRef(name), "",
        say_many("What was given before is read from this treatment record ({rows} rows): {animals} of the animals are "
                 "in it.", "What was given before is read from this treatment record ({rows} rows): {animals} of the "
                 "animals are in it.", animals, rows=rows, animals=animals),
        say("If it is not the client's record, give another with --record."),
    )  # fmt: skip


def left_from_record(where: CellRef, medicine: str, said: str) -> Finding:
    """What is left over from earlier jobs is the stock of the next one.

    Only a note. A batch that is not on the sheet Stock is counted as the record has it; one that stands there as it
    stood at an earlier job is counted less what was given since. So nothing is counted twice.
    """
    return Finding(
        Level.NOTE, "left-from-record", where, "",
        say("{medicine}: counted as the treatment record leaves it: {left}.", medicine=medicine, left=said),
        say("If something else is there, change its line on the sheet Stock (0 under Left for what was thrown away)."),
    )  # fmt: skip


def stock_sheet_holds(where: CellRef, medicine: str, said: str) -> Finding:
    """A line of the sheet Stock that was changed since the last job is a new count, and holds.

    Only a note, which says what the treatment record would have left of the same batch.
    """
    return Finding(
        Level.NOTE, "stock-sheet-holds", where, "",
        say("{medicine}: counted as the sheet Stock says; the treatment record would leave: {left}.",
            medicine=medicine, left=said),
        say("Look which is right."),
    )  # fmt: skip


def record_row_altered(where: CellRef, number: int, heading: str) -> Finding:
    """A row of the record is as it was written.

    Passes a row whose hash fits its content and the row before. Fails one with any cell changed since.
    """
    return Finding(
        Level.ERROR, "record-row-altered", where, "",
        say("Row {row} was altered ({heading} no longer fits).", row=number, heading=heading),
        say("Put it back as it was, from a copy. A correction is a new row: change the filled-in sheet and record "
            "again."),
    )  # fmt: skip


def record_index_altered(where: CellRef, names: Sequence[str]) -> Finding:
    """The answers that the record keeps for quick reading are those of its rows.

    Passes an index that says of every animal what all rows say. Fails one that was changed: `clear` trusts it.
    """
    return Finding(
        Level.ERROR, "record-index-altered", where, "", f"The answers kept with the rows are others: {_who(names)}.",
        "Save the workbook in a spreadsheet program, which takes them out; then every row is read again.",
    )  # fmt: skip


def record_row_missing(where: CellRef, first: int, last: int) -> Finding:
    """No row of the record is missing.

    Passes rows 1, 2, 3. Fails rows 1, 3.
    """
    return Finding(
        Level.ERROR, "record-row-missing", where, "",
        say("Row {row} is missing before this row.", row=first) if first == last
        else say("Rows {first} to {last} are missing before this row.", first=first, last=last),
        say("Go back to the last good copy of the record."),
    )  # fmt: skip


def record_row_twice(where: CellRef, number: int) -> Finding:
    """Every row of the record stands there once.

    Passes rows 1, 2, 3. Fails rows 1, 2, 2.
    """
    return Finding(
        Level.ERROR, "record-row-twice", where, str(number), say("Row {row} stands in the record twice.", row=number),
        say("Delete the copy, or go back to the last good copy of the record."),
    )  # fmt: skip


def record_rows_moved(where: CellRef) -> Finding:
    """Rows of the record stand in the order in which they were written.

    Only a note: sorted or moved rows are found by their numbers, and the chain still holds.
    """
    return Finding(
        Level.NOTE, "record-rows-moved", where, "",
        say("Rows of the record were moved or sorted; none is lost by that."),
        say("Sort by the column Row to have the first order again."),
    )  # fmt: skip
