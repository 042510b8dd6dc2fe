"""Rules about the status of animals: in milk, dry, pregnant."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from batchdose.check.context import Context, animals_of, by_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.texts import either, say, say_many
from batchdose.words import MALE, STATUS, nearly_status, said


def status_unknown(context: Context) -> Iterator[Finding]:
    """The status (in milk, pregnant) is written where a medicine depends on it.

    Passes: status "not in milk" for every ewe that gets a medicine not permitted in milk. Fails: an empty
    status, which does not mean "not in milk". Asked once for each mob. Matters for residues in milk and
    for the unborn.
    """
    for _, medicine, animals in context.each():
        milk = medicine.withdrawal.get("milk")
        closed = set(medicine.not_for) & {"in milk", "pregnant"}
        closed |= {"in milk"} if milk is not None and not milk.permitted else set()
        if not closed:
            continue
        known = [text for text in animals["status"].unique() if set(text.split("; ")) & set(STATUS.values())]
        males = [text for text in animals["sex"].unique() if text.casefold() in MALE]
        asked = [*known, *_meant(animals)]
        blank = animals[~animals["status"].isin(asked) & ~animals["sex"].isin(males)]
        for mob, group, rows in by_mob(blank):
            statuses = either(said(status) for status in sorted(closed))
            yield Finding(
                Level.WARNING, "status-unknown", context.session.cell(rows[0], "status"), str(group["status"].iloc[0]),
                say_many("{animals} has no status that is known here, and {medicine} is not for animals that are "
                         "{status} ({tags}).", "{animals} have no status that is known here, and {medicine} is not for "
                         "animals that are {status} ({tags}).", len(rows), animals=animals_of(len(rows), mob),
                         medicine=medicine.name, status=statuses, tags=tags(group)),
                say("Ask whether any of them is, and write the status: in milk, pregnant, or not in milk."),
            )  # fmt: skip


def status_near_miss(context: Context) -> Iterator[Finding]:
    """A status is one that is known here, or quite another word.

    Passes: in milk, dry, pregnant, "pregnant (twins)"; "hospital pen". Fails: "in mlik", which is nearly one, or
    "milk fever", which contains one: their animals are held. Matters because an animal in milk would get what is not
    permitted in milk.
    """
    animals = context.session.animals
    for text, near in _meant(animals).items():
        for mob, group, rows in by_mob(animals[animals["status"] == text]):
            yield Finding(
                Level.ERROR, "status-near-miss", context.session.cell(rows[0], "status"), str(text),
                say("The status of {animals} is not known here ({tags}).", animals=animals_of(len(rows), mob),
                    tags=tags(group)),
                say('Did you mean "{name}"? If so, write it so.', name=near),
                Hold(say('status "{status}" is not known', status=text), rows),
            )  # fmt: skip


def _meant(animals: pd.DataFrame) -> dict[str, str]:
    """Statuses as written that have a word which is nearly a known one, with that one."""
    near = {
        str(text): next(filter(None, (nearly_status(word) for word in str(text).split("; "))), "")
        for text in animals["status"].unique()
    }
    return {text: meant for text, meant in near.items() if meant}
