"""What can be wrong with single cells and headings: one function a rule, each giving its finding.

The rule's name is the function's with hyphens; its docstring says what passes, what fails and why it matters.
"""

from __future__ import annotations

from collections.abc import Iterable

from batchdose.findings import CellRef, Finding, Hold, Level

DATE_HELP = "Write it as 2026-03-14 or 14 March 2026, or put Date order (day first, month first) on the sheet Session."


def heading_near_miss(where: CellRef, heading: str, wanted: str) -> Finding:
    """A heading is one of the accepted ones, or something quite different.

    Passes: Weight, Liveweight. Fails: "Wieght", which is nearly one: it is offered, never assumed, and its
    column is not used. Matters because a column that is overlooked may hold what keeps an animal back.
    """
    return Finding(
        Level.WARNING, "heading-near-miss", where, heading,
        f'"{heading}" is not known, so what stands there is not used.', f'Did you mean "{wanted}"? If so, write it so.',
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
        f'"{heading}" could mean {" or ".join(every)}, so what stands there is not used.',
        f'Write the one that is meant, or put "{every[0]} column" on the sheet Session, with this heading beside it.'
        if on_session else "Write the one that is meant.",
    )  # fmt: skip


def heading_unreadable(where: CellRef, seen: str) -> Finding:
    """A heading shows a text.

    Passes: Status. Fails: "#N/A", or a formula that was never calculated: its column is not used. Matters because what
    stands in it (a status, a mob) may keep an animal back.
    """
    return Finding(
        Level.WARNING, "heading-unreadable", where, seen, "This heading shows no text, so its column is not used.",
        "Type the heading.",
    )  # fmt: skip


def weight_column_unused(where: CellRef, heading: str, used: str) -> Finding:
    """One column holds the weights to dose by.

    Passes: Weight (kg) and Last weight. Fails: a further column such as "New weight (kg)", which is not used. Matters
    because the newer of two weights may stand there.
    """
    return Finding(
        Level.WARNING, "weight-column-unused", where, heading,
        f'The weights are taken from column {used}; what stands under "{heading}" is not used.',
        'If it is the weight to dose by, put "Weight column" on the sheet Session, with this heading beside it.',
    )  # fmt: skip


def row_without_animal(where: CellRef, rows: Iterable[int]) -> Finding:
    """A row below the headings has a tag, an EID or a weight.

    Passes: tag 0412. Noted: a row with only a mob or a note, which is not read as an animal. One line for all. Matters
    because somebody may have meant an animal.
    """
    numbers = list(rows)
    named = f"{', '.join(map(str, numbers[:5]))}{' and more' if len(numbers) > 5 else ''}"
    return Finding(
        Level.NOTE, "row-without-animal", where, "",
        f"{len(numbers)} row{'s have' if len(numbers) > 1 else ' has'} neither tag nor weight and are no animals here "
        f"(rows {named}).",
        "Give each animal its tag; else there is nothing to do.",
    )  # fmt: skip


def row_too_long(where: CellRef, row: int, seen: str) -> Finding:
    """In a .csv file a row has no more cells than there are headings.

    Passes: three headings, three cells. Fails: a fourth cell, as a decimal comma makes it that is not in quotes (41,5
    becomes 41 and 5). Holds the animal. Matters because the weight, and every cell after it, is another.
    """
    return Finding(
        Level.ERROR, "row-too-long", where, seen, "This row has more cells than there are headings.",
        "Look for a decimal comma: write 41.5, put 41,5 in quotes, or separate the cells with semicolons.",
        Hold("its row has more cells than there are headings", (row,)),
    )  # fmt: skip


def treatment_for_whom_unclear(where: CellRef, row: int, heading: str, seen: str) -> Finding:
    """A line of the sheet Treatments names its mob or tag in a column that is known, or is for all.

    Passes: Mob Hill; both empty, for all. Fails: both empty, and a word in a column that is not understood. Holds all
    that the line would go to. Matters because a medicine for one mob would go to every animal.
    """
    return Finding(
        Level.ERROR, "treatment-for-whom-unclear", where, seen,
        f'Line {row} names no mob and no tag, but "{seen}" stands under "{heading}", which is not understood.',
        "Write the heading Mob or Tag; for a remark, write Note.",
    )  # fmt: skip


def sheet_not_read(where: CellRef, meant: str, why: str) -> Finding:
    """Every sheet that looks like one of ours is read.

    Passes: one sheet Mobs. Fails: "Mob list" instead of Mobs; a second sheet Session in the other workbook. It is not
    read. Matters because what it says would change the job.
    """
    return Finding(
        Level.ERROR, "sheet-not-read", where, where.sheet, f"This sheet is not read: {why}.",
        f'Name it "{meant}", or give it quite another name.',
    )  # fmt: skip


def medicine_said_twice(where: CellRef, rows: Iterable[int], seen: str) -> Finding:
    """One place says what an animal gets: the sheet Treatments, or the column Medicine.

    Passes: the column alone; both, naming the same. Fails: a medicine in the column that no line of Treatments gives.
    Holds the animal. Matters because it would get another medicine than its row says.
    """
    held = tuple(rows)
    return Finding(
        Level.ERROR, "medicine-said-twice", where, seen,
        f"The column Medicine of {len(held)} animals names what the sheet Treatments does not give.",
        "Clear the column, or add a line to Treatments.",
        Hold("the column Medicine and the sheet Treatments say different things", held),
    )  # fmt: skip


def name_on_no_row(where: CellRef, sheet: str, name: str, near: str) -> Finding:
    """A medicine's name on the sheets Stock and Dose bands is that of a row of the medicines sheet.

    Passes: the name as it stands there, whatever its case. Fails: "wormerA" for "wormer A": the line is not used.
    Matters because an expired bottle, or the label's bands, would be overlooked.
    """
    return Finding(
        Level.WARNING, "name-on-no-row", where, name,
        f"No row of the medicines sheet is named so; this line of {sheet} is not used.",
        f'Did you mean "{near}"? If so, write it so.' if near else "Write the name as it stands there.",
    )  # fmt: skip


def second_table(where: CellRef, *, animals: bool) -> Finding:
    """The weighing sheet holds one table of animals; its headings may stand again further down.

    Passes: the same headings once more, where two sheets were joined (a unit in them counts from there on). Fails:
    headings in another order: the animals below them are not read. Only a note where another table follows.
    Matters because a tag would be read as a weight.
    """
    return Finding(
        Level.ERROR if animals else Level.NOTE, "second-table", where, "",
        "Another table begins here; what stands below this row is not read as animals."
        if not animals else
        "The headings stand here again in another order; the animals below this row are not read.",
        "Put those animals below the others, in the same columns." if animals else "Nothing to do, if that is right.",
    )  # fmt: skip


def weight_shared(where: CellRef, rows: Iterable[int]) -> Finding:
    """A weight belongs to one animal.

    Passes: a cell for each weight. Fails: one cell merged over the rows of two animals, which may be the weight of
    both together. Holds them. Matters because each would get the dose of two.
    """
    held = tuple(rows)
    return Finding(
        Level.ERROR, "weight-shared", where, "", f"One weight is merged over {len(held)} animals.",
        "Weigh each, and give each its own cell.",
        Hold("one weight is merged over several animals", held, needs_weight=True),
    )  # fmt: skip


def weights_disagree(where: CellRef, row: int, seen: str) -> Finding:
    """Where weights stand in kg and in lb, both say the same, within 1 %.

    Passes: 62.5 kg and 138 lb. Fails: 62.5 kg and 62.5 lb. Holds the animal. Matters because one of them is wrong.
    """
    return Finding(
        Level.ERROR, "weights-disagree", where, seen, "The two weights of this animal do not agree.",
        "Clear the one that is wrong.", Hold("its two weights do not agree", (row,), needs_weight=True),
    )  # fmt: skip


def weighing_fact_unreadable(where: CellRef, field: str, seen: str, problem: str) -> Finding:
    """The day of weighing, and the last weight with its day, can be read.

    Passes: weighed on 2026-03-14; last weight 38.5. Fails: 03/04/2026. Nobody is held; what the entry would have
    shown (a weight that is old, or far from the last) is not looked at. Matters because such slips stay unseen.
    """
    name = field.replace("_", " ")
    return Finding(
        Level.WARNING, "weighing-fact-unreadable", where, seen, f'The entry "{name}" cannot be read: {problem}.',
        "Correct it, or leave it empty.",
    )  # fmt: skip


def sheet_concealed(where: CellRef) -> Finding:
    """The sheets that are read are in view.

    Passes: all in view. Only a note. Matters because nobody sees what such a sheet says.
    """
    return Finding(
        Level.NOTE, "sheet-concealed", where, "", "This sheet is hidden; it is read all the same.",
        "Show it and look, or delete it.",
    )  # fmt: skip


def weight_missing(where: CellRef, rows: Iterable[int], mob: str = "", *, whole_mob: bool = False) -> Finding:
    """Every animal has a weight, and every mob given as a whole that of its heaviest animal.

    Passes 41.5 kg. Fails: an empty cell. Holds the animal from medicines dosed by weight; a medicine given
    per head is planned. An animal of a mob dosed to its heaviest may be confirmed not heavier (`Give anyway`).
    One line for each mob. Matters because a dose by eye is as often too small as too large.
    """
    held = tuple(rows)
    if whole_mob:
        message, fix = "This mob has no weight of its heaviest animal.", "Weigh the heaviest and write it here."
        why = "the heaviest weight of the mob is not known"
    else:
        of_mob = f' of mob "{mob}"' if mob else ""
        many = f"{len(held)} animals{of_mob} have no weight"
        rest = f" (rows {', '.join(map(str, held[:5]))}{' and more' if len(held) > 5 else ''})"
        message = f"{many}{rest}." if len(held) > 1 else "This animal has no weight."
        fix, why = "Weigh it, or leave it out.", "no weight"
    hold = Hold(why, animals=held, needs_weight=True, not_weighed=not whole_mob)

    def again(fewer: tuple[int, ...]) -> Finding:
        cell = f"{where.cell.rstrip('0123456789')}{fewer[0]}"
        return weight_missing(CellRef(where.workbook, where.sheet, cell), fewer, mob)

    return Finding(Level.ERROR, "weight-missing", where, "", message, fix, hold, again=None if whole_mob else again)


def weight_unreadable(where: CellRef, row: int, seen: str, problem: str) -> Finding:
    """A weight is a number that can mean one thing, of a unit of weight, above zero.

    Passes: 62.5, "62,5", "62.5 kg", "137 lb". Fails: "4o", "1,250", "62.5.1", "#N/A", a formula that was
    never calculated. Matters because a weight that is guessed is a dose that is guessed.
    """
    return Finding(
        Level.ERROR, "weight-unreadable", where, seen, f"The weight cannot be read: {problem}.",
        "Write it as a plain number, for example 62.5.",
        Hold(f"the weight cannot be read: {problem}", animals=(row,), needs_weight=True),
    )  # fmt: skip


def weight_unit_missing(where: CellRef, rows: Iterable[int]) -> Finding:
    """The unit of the weights is stated: in the heading, in the cells, or on the sheet Session.

    Passes: Weight (kg). Fails: Weight, with bare numbers and no unit anywhere. Matters because kg taken for
    lb is more than twice the dose.
    """
    return Finding(
        Level.ERROR, "weight-unit-missing", where, "", "Nothing says whether the weights are in kg or in lb.",
        'Write the heading as Weight (kg) or Weight (lb), or put "Weight unit" on the sheet Session.',
        Hold("the unit of the weight is not stated", animals=tuple(rows), needs_weight=True),
    )  # fmt: skip


def tag_missing(where: CellRef, row: int, seen: str) -> Finding:
    """A row with a weight has a tag or an EID.

    Passes: tag 0412. Fails: a weight with neither; a tag cell that shows an error. Matters because nobody
    could find the animal again.
    """
    return Finding(
        Level.ERROR, "tag-missing", where, seen, "This row has no tag that can be read.",
        "Write the animal's tag, or clear the row.", Hold("no tag", animals=(row,)),
    )  # fmt: skip


def cell_without_value(where: CellRef, row: int, field: str, seen: str, problem: str) -> Finding:
    """A cell that says something of an animal shows a value.

    Passes: a mob's name; an empty cell. Fails: "#N/A", or a formula that was never calculated, which must not
    be taken for empty. Holds the animal. Matters because status, species or mob decide what it may get.
    """
    name = field.replace("_", " ")
    return Finding(
        Level.ERROR, "cell-without-value", where, seen, f'The cell of "{name}" {problem}.',
        "Mend the formula, or type the value.", Hold(f'the cell of "{name}" {problem}', animals=(row,)),
    )  # fmt: skip


def name_missing(where: CellRef, what: str) -> Finding:
    """A line on the sheets Mobs, Treatments, Stock and Medicines has its name.

    Passes: a medicine's name in its row. Fails: a row with figures and no name, which is not used. Matters
    because somebody meant it for something.
    """
    return Finding(
        Level.ERROR, "name-missing", where, "", f"This line has no {what}, so it is not used.",
        f"Write the {what}, or clear the line.",
    )  # fmt: skip


def mob_repeated(where: CellRef, mob: str) -> Finding:
    """A mob stands once on the sheet Mobs.

    Passes: every mob once. Fails: "River" twice; the first line counts, so that it is not dosed twice.
    """
    return Finding(
        Level.ERROR, "mob-repeated", where, mob, "This mob stands on the sheet twice; only its first line is used.",
        "Remove the line that is wrong.",
    )  # fmt: skip


def rows_hidden(where: CellRef, count: int, *, filtered: bool) -> Finding:
    """Rows of the weighing sheet that are hidden or filtered out are read like the others.

    Passes: all rows in view. Only a note. Matters because somebody who sees twenty rows expects twenty animals.
    """
    why = "filtered out" if filtered else "hidden"
    return Finding(
        Level.NOTE, "rows-hidden", where, "", f"{count} rows of animals are {why}; they are read like the others.",
        "Show all rows and look at them; delete animals that should not be treated.",
    )  # fmt: skip


def columns_hidden(where: CellRef, headings: Iterable[str]) -> Finding:
    """Columns of the weighing sheet that are hidden are read like the others.

    Passes: all columns in view. Only a note. Matters because a hidden column may change what an animal gets.
    """
    return Finding(
        Level.NOTE, "columns-hidden", where, ", ".join(headings), "These columns are hidden; they are read too.",
        "Show them and look.",
    )  # fmt: skip


def totals_row(where: CellRef, name: str) -> Finding:
    """A row named Total, Average or the like is no animal.

    Only a note. Matters because a total read as an animal would be dosed like one.
    """
    return Finding(
        Level.NOTE, "totals-row", where, name, "This row is taken for a total, not for an animal.", "Nothing to do."
    )


def date_unreadable(where: CellRef, row: int, field: str, seen: str, problem: str) -> Finding:
    """A date is one date of the calendar.

    Passes: 2026-03-14, 14 March 2026, 25/03/2026. Fails: 03/04/2026, which could be two dates; 31 June.
    Holds the animal. Matters because sale, slaughter or birth decide whether it may be treated.
    """
    name = field.replace("_", " ")
    return Finding(
        Level.ERROR, "date-unreadable", where, seen, f'The date "{name}" cannot be read: {problem}.', DATE_HELP,
        Hold(f'the date "{name}" cannot be read', animals=(row,)),
    )  # fmt: skip


def mob_entry_unreadable(where: CellRef, row: int, field: str, seen: str, problem: str) -> Finding:
    """Head, heaviest and lightest of a mob can be read.

    Passes: 40 head, heaviest 61.5 kg. Fails: "about 40". Holds the mob. Matters for the product to draw.
    """
    return Finding(
        Level.ERROR, "mob-entry-unreadable", where, seen, f"The {field} of this mob cannot be read: {problem}.",
        "Correct it.", Hold(f"the {field} of the mob is not known", animals=(row,), needs_weight=field != "head"),
    )  # fmt: skip


def label_figure_unreadable(where: CellRef, index: int, field: str, seen: str, problem: str, fix: str) -> Finding:
    """A figure copied from the label is in one of the accepted spellings.

    Passes: 10 mg/mL, 0.2 mg/kg, 28 days. Fails: "10mg", "two per sheep". Holds the medicine. Matters because
    a label figure must never be guessed.
    """
    name = field.removeprefix("withdrawal:").replace("_", " ")
    return Finding(
        Level.ERROR, "label-figure-unreadable", where, seen, f"{problem}.", fix,
        Hold(f"{name} of the medicine: {problem}", medicines=(index,)),
    )  # fmt: skip


def medicine_without_figures(where: CellRef, name: str) -> Finding:
    """A row of the medicines sheet says more than a name.

    Passes: a medicine with its rate. Noted: a row with only its first cell, which is taken for a remark. Matters
    because somebody may have meant a medicine.
    """
    return Finding(
        Level.NOTE, "medicine-without-figures", where, name,
        "This row says nothing but a name, so it is no medicine here.",
        "Copy its figures from the label, or leave it as a remark.",
    )  # fmt: skip


def dose_rate_missing(where: CellRef, index: int) -> Finding:
    """A medicine has a dose rate or dose bands.

    Passes: 0.2 mg/kg; bands on the sheet Dose bands. Fails: neither. Holds the medicine.
    """
    return Finding(
        Level.ERROR, "dose-rate-missing", where, "", "No dose rate is stated.", "Copy the rate from the label.",
        Hold("no dose rate is stated", medicines=(index,)),
    )  # fmt: skip


def entry_unreadable(where: CellRef, sheet: str, field: str, seen: str, problem: str) -> Finding:
    """An entry on the sheets Treatments, Stock and Dose bands can be read.

    Passes: pack size 500 mL, chosen rate 15 mg/kg. Fails: "big bottle". A treatment line that cannot be read
    is not planned, a pack is not counted on, a band holds its medicine.
    """
    name = field.replace("_", " ")
    return Finding(
        Level.ERROR, "entry-unreadable", where, seen,
        f'The entry "{name}" on sheet {sheet} cannot be read: {problem.rstrip(".")}.', "Correct it, or clear the row.",
    )  # fmt: skip


def session_entry_unreadable(where: CellRef, seen: str, problem: str) -> Finding:
    """An entry of the sheet Session is one of those that it can be.

    Passes: Spare 5 %. Fails: Organic "maybe". The entry is not used. Matters because what it would have
    changed (rules, unit, spare) stays as if it were empty.
    """
    return Finding(
        Level.ERROR, "session-entry-unreadable", where, seen, f"This entry of the session cannot be read: {problem}.",
        "Correct it, or leave it empty.",
    )  # fmt: skip


def time_zone_missing(where: CellRef) -> Finding:
    """The session states its time zone.

    Passes: Europe/Dublin. Fails: none; times are then taken as UTC. Matters where clocks change inside a
    withdrawal period.
    """
    return Finding(
        Level.WARNING, "time-zone-missing", where, "", "No time zone is stated, so times are taken as UTC.",
        'Add "Time zone" to the sheet Session, for example Europe/Dublin.',
    )  # fmt: skip


def species_from_medicines(where: CellRef, species: str) -> Finding:
    """The animals' species is stated somewhere: in their rows, their mob, the session or by --species.

    Passes: Species sheep on the sheet Session. Fails: nowhere; the one species that all medicines share is
    then taken, as a last resort. Matters because rates and withdrawal periods differ between species.
    """
    return Finding(
        Level.WARNING, "species-from-medicines", where, "",
        f"Nothing says of which species the animals are; they are taken as {species}, like the medicines.",
        'Add "Species" to the sheet Session.',
    )  # fmt: skip


def medicine_unknown(where: CellRef, name: str, known: Iterable[str]) -> Finding:
    """A medicine to be given stands on the medicines sheet.

    Passes: a name as written there, whatever its case. Fails: any other name; nothing is planned for that line.
    """
    return Finding(
        Level.ERROR, "medicine-unknown", where, name,
        f"This medicine is not on the medicines sheet, which has: {'; '.join(known)}.",
        "Write its name as on the medicines sheet.",
    )  # fmt: skip


def session_entry_unknown(where: CellRef, name: str, seen: str, wanted: str = "") -> Finding:
    """An entry of the sheet Session has one of the names that are known (`docs/headings.md`), or is a note.

    Passes: Date, Treatment date, Max drafts, Note. Fails: "Weather", "Dose day", with a value beside it, which is not
    used. Matters because somebody meant it to change the job.
    """
    offer = f'If "{wanted}" is meant, write it so; else' if wanted else "If it is for people only,"
    return Finding(
        Level.WARNING, "session-entry-unknown", where, seen, f'"{name}" is not known here, so this entry is not used.',
        f"{offer} write Note instead, or leave it.",
    )  # fmt: skip


def session_entry_repeated(where: CellRef, name: str, seen: str, first: str) -> Finding:
    """An entry of the sheet Session stands once, or says the same wherever it stands.

    Passes: Spare 5 % once. Fails: Spare 5 %, and further down Spare 10 %; neither is used. Where it is the species,
    the unit, the rules, the date, the time zone or the order of dates, the run stops. Matters because one is wrong.
    """
    return Finding(
        Level.ERROR, "session-entry-repeated", where, seen,
        f'"{name}" stands here and in {first} with another value, so neither is used.', "Clear the one that is wrong.",
    )  # fmt: skip
