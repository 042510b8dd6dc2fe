"""What can be wrong with who gets what: one function a rule, each giving its finding.

The rule's name is the function's with hyphens; its docstring says what passes, what fails and why it matters.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from batchdose.findings import CellRef, Finding, Hold, Level
from batchdose.texts import a_few, both, joined, say, say_many
from batchdose.words import said as trade


def animal_not_weighed(where: CellRef, medicine: str, tag: str, near: str = "") -> Finding:
    """An animal named on the sheet Treatments stands on the weighing sheet.

    Passes: tag 0412, weighed; also "0 412" for it. Fails: a tag that is not there, as 412 for 0412. Nothing is
    planned for it. Matters because somebody meant to treat an animal that nobody weighed.
    """
    return Finding(
        Level.ERROR, "animal-not-weighed", where, tag,
        say('{medicine} is for the animal "{tag}", which is not on the weighing sheet.', medicine=medicine, tag=tag),
        say('Did you mean "{name}"? If so, write it so; else weigh it.', name=near) if near
        else say("Weigh it, or correct the line."),
    )  # fmt: skip


def mob_unknown(where: CellRef, medicine: str, mob: str, near: str = "") -> Finding:
    """A mob named on the sheet Treatments has animals on the weighing sheet, or stands on the sheet Mobs.

    Passes: "Hill", as in the column Mob, whatever its case. Fails: "Hil". Nothing is planned for it.
    """
    return Finding(
        Level.ERROR, "mob-unknown", where, mob,
        say('{medicine} is for the mob "{mob}", which is not on the weighing sheet.', medicine=medicine, mob=mob),
        say('Did you mean "{name}"? If so, write it so.', name=near) if near
        else say("Write the mob's name as there."),
    )  # fmt: skip


def mob_weighed_in_part(
    where: CellRef, mob: str, head: int, weighed: int, said: str, held: int | None
) -> Finding:  # fmt: skip
    """All of a mob are weighed, or the rest can be dosed to a weight that the sheet or the sample gives.

    Passes: 40 head, 40 on the weighing sheet. Noted: 40 head, 25 weighed, and the heaviest stated or enough weighed at
    random. Fails: too few weighed for the share and confidence of the session. Holds the others. Matters because the
    heaviest of those not weighed may get too little, which breeds resistance.
    """
    message = say('{n} of the {head} head of mob "{mob}" are weighed. {said}', n=weighed, head=head, mob=mob, said=said)
    if held is None:
        fix = say("This holds for a sample drawn at random. Dose the heaviest you see by its own weight.")
        return Finding(Level.NOTE, "mob-weighed-in-part", where, "", message, fix)
    return Finding(
        Level.ERROR, "mob-weighed-in-part", where, "", message, say("Weigh more, or leave the others out."),
        Hold(say("not weighed, and the sample does not say what to dose to"), (held,), needs_weight=True),
    )  # fmt: skip


def species_not_on_label(
    where: CellRef, species: str, medicine: str, kinds: Iterable[str], held: tuple[int, ...], index: int, head: int
) -> Finding:
    """A medicine has a row for the animal's species.

    Passes: a sheep, and a row for sheep. Fails: a goat there. Holds the animal from this medicine. Matters
    because rate and withdrawal period hold only for the species on the label.
    """
    which = species or say("an unknown species")
    return Finding(
        Level.ERROR, "species-not-on-label", where, species,
        say_many("{medicine} has no row for {species}; the sheet has it for {others} ({n} animal held).",
                 "{medicine} has no row for {species}; the sheet has it for {others} ({n} animals held).", head,
                 medicine=medicine, species=trade(which), others=joined(", ", map(trade, kinds)), n=head),
        say("Ask the vet, and enter a row for this species with its own rate and withdrawal period."),
        Hold(say("the medicine has no row for {species}", species=trade(species)) if species else
             say("the medicine has no row for its species, which is not known"), held, (index,)),
    )  # fmt: skip


def medicine_row_unclear(
    where: CellRef, tags: Sequence[str], medicine: str, rows: Iterable[int], fitting: int, held: tuple[int, ...],
    index: int,
) -> Finding:  # fmt: skip
    """Exactly one row of a medicine suits an animal's class, weight and age.

    Passes: rows for lambs up to 25 kg and for sheep above. Fails: two rows that both suit, or none. Holds the
    animal from this medicine. Matters because the rows have different rates or periods.
    """
    who = {"medicine": medicine, "n": len(tags), "tags": a_few(tags)}
    message = (
        say("The rows {rows} of {medicine} could all be meant for the same animals ({n}: {tags}).",
            rows=both(map(str, rows)), **who) if fitting else
        say("No row of {medicine} fits the class, weight and age of these animals ({n}: {tags}).", **who)
    )  # fmt: skip
    return Finding(
        Level.ERROR, "medicine-row-unclear", where, tags[0] if len(tags) == 1 else "", message,
        say("Set the rows apart by class, weight or age; see that each animal has them on its sheet."),
        Hold(say("not clear which row of the medicines sheet applies"), held, (index,)),
    )  # fmt: skip
