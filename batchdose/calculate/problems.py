"""What can be wrong with who gets what: one function a rule, each giving its finding.

The rule's name is the function's with hyphens; its docstring says what passes, what fails and why it matters.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from batchdose.findings import CellRef, Finding, Hold, Level


def animal_not_weighed(where: CellRef, medicine: str, tag: str, near: str = "") -> Finding:
    """An animal named on the sheet Treatments stands on the weighing sheet.

    Passes: tag 0412, weighed; also "0 412" for it. Fails: a tag that is not there, as 412 for 0412. Nothing is
    planned for it. Matters because somebody meant to treat an animal that nobody weighed.
    """
    return Finding(
        Level.ERROR, "animal-not-weighed", where, tag,
        f'{medicine} is for the animal "{tag}", which is not on the weighing sheet.',
        f'Did you mean "{near}"? If so, write it so; else weigh it.' if near else "Weigh it, or correct the line.",
    )  # fmt: skip


def mob_unknown(where: CellRef, medicine: str, mob: str, near: str = "") -> Finding:
    """A mob named on the sheet Treatments has animals on the weighing sheet, or stands on the sheet Mobs.

    Passes: "Hill", as in the column Mob, whatever its case. Fails: "Hil". Nothing is planned for it.
    """
    return Finding(
        Level.ERROR, "mob-unknown", where, mob,
        f'{medicine} is for the mob "{mob}", which is not on the weighing sheet.',
        f'Did you mean "{near}"? If so, write it so.' if near else "Write the mob's name as there.",
    )  # fmt: skip


def mob_weighed_in_part(
    where: CellRef, mob: str, head: int, weighed: int, said: str, held: int | None
) -> Finding:  # fmt: skip
    """All of a mob are weighed, or the rest can be dosed to a weight that the sheet or the sample gives.

    Passes: 40 head, 40 on the weighing sheet. Noted: 40 head, 25 weighed, and the heaviest stated or enough weighed at
    random. Fails: too few weighed for the share and confidence of the session. Holds the others. Matters because the
    heaviest of those not weighed may get too little, which breeds resistance.
    """
    message = f'{weighed} of the {head} head of mob "{mob}" are weighed. {said}'
    if held is None:
        fix = "This holds for a sample drawn at random. Dose the heaviest you see by its own weight."
        return Finding(Level.NOTE, "mob-weighed-in-part", where, "", message, fix)
    return Finding(
        Level.ERROR, "mob-weighed-in-part", where, "", message, "Weigh more, or leave the others out.",
        Hold("not weighed, and the sample does not say what to dose to", (held,), needs_weight=True),
    )  # fmt: skip


def species_not_on_label(
    where: CellRef, species: str, medicine: str, kinds: Iterable[str], held: tuple[int, ...], index: int, head: int
) -> Finding:
    """A medicine has a row for the animal's species.

    Passes: a sheep, and a row for sheep. Fails: a goat there. Holds the animal from this medicine. Matters
    because rate and withdrawal period hold only for the species on the label.
    """
    many = f"{head} animal{'s' if head != 1 else ''}"
    return Finding(
        Level.ERROR, "species-not-on-label", where, species,
        f"{medicine} has no row for {species or 'an unknown species'}; the sheet has it for {', '.join(kinds)} "
        f"({many} held).",
        "Ask the vet, and enter a row for this species with its own rate and withdrawal period.",
        Hold(f"the medicine has no row for {species or 'its species, which is not known'}", held, (index,)),
    )  # fmt: skip


def medicine_row_unclear(
    where: CellRef, tags: Sequence[str], medicine: str, rows: Iterable[int], fitting: int, held: tuple[int, ...],
    index: int,
) -> Finding:  # fmt: skip
    """Exactly one row of a medicine suits an animal's class, weight and age.

    Passes: rows for lambs up to 25 kg and for sheep above. Fails: two rows that both suit, or none. Holds the
    animal from this medicine. Matters because the rows have different rates or periods.
    """
    which = " and ".join(map(str, rows))
    named = f"{len(tags)}: {', '.join(tags[:5])}{' and more' if len(tags) > 5 else ''}"
    message = (
        f"The rows {which} of {medicine} could all be meant for the same animals ({named})."
        if fitting
        else f"No row of {medicine} fits the class, weight and age of these animals ({named})."
    )
    return Finding(
        Level.ERROR, "medicine-row-unclear", where, tags[0] if len(tags) == 1 else "", message,
        "Set the rows apart by class, weight or age; see that each animal has them on its sheet.",
        Hold("not clear which row of the medicines sheet applies", held, (index,)),
    )  # fmt: skip
