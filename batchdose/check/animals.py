"""Rules about the animals: tags, electronic numbers, mobs, status, and who gets nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import SequenceMatcher, get_close_matches
from itertools import combinations

from batchdose.check.context import Context, by_mob, of_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.words import MALE, STATUS, same_tag

#: Words that are this much alike may be one word and a slip of typing; so many mobs are compared.
NEAR, LARGEST_LIST = 0.74, 200


def tag_repeated(context: Context) -> Iterator[Finding]:
    """A tag, and an EID, stands once on the weighing sheet, whatever its case and spaces.

    Passes: every tag once. Fails: tag 0412 twice, also as "04 12"; two tags with one EID. With two different
    weights both rows are held, since either may be another animal; with the same weight the repeat is held
    and the animal planned once. Matters because an animal would be treated twice, or by another's weight.
    """
    animals = context.session.animals
    told: set[tuple[int, ...]] = set()
    for field, name in (("tag", "tag"), ("eid", "EID")):
        key = animals[field].map(same_tag)
        if field == "eid":  # numbers that a format has damaged look alike and say nothing of who is who
            key = key.mask(key.index.isin(context.damaged_eids), "")
        repeated = animals[key.duplicated(keep=False) & (key != "")]
        for _, group in repeated.groupby(key[repeated.index], sort=False):
            rows = tuple(int(label) for label in group.index)
            same = group["weight_ng"].nunique() == 1 and group["tag"].str.casefold().nunique() == 1
            if rows not in told:
                told.add(rows)
                yield _repeated(context, field, name, str(group[field].iloc[0]), rows, same=same)


def _repeated(context: Context, field: str, name: str, text: str, rows: tuple[int, ...], *, same: bool) -> Finding:
    held = rows[1:] if same else rows
    return Finding(
        Level.ERROR, "tag-repeated", context.session.cell(held[0], field), text,
        f"The {name} {text} stands in the rows {', '.join(map(str, rows))}"
        f"{' with the same weight: planned once' if same else ', with different weights or tags'}.",
        "Remove the repeat." if same else "Find out which animal and weight is right.",
        Hold(f"{name} repeated" if same else f"{name} stands twice with different weights or tags", animals=held),
    )  # fmt: skip


def eid_unlikely(context: Context) -> Iterator[Finding]:
    """An EID written in digits is one of ISO 11784: a code of three digits and a number of twelve, 38 bits at most.

    Passes: 372000000000012, 900123456789012. Fails: 9.82E+14, fourteen digits, digits lost by a number format.
    One line for each mob; nobody is held, since the tag tells the animal. Matters because the record goes by it.
    Source: ISO 11784 (national code from 0 to 274 877 906 943; codes 900 to 998 are makers, 999 is for tests).
    """
    animals = context.session.animals
    wrong = animals[animals.index.isin(context.damaged_eids)]
    for mob, group, rows in by_mob(wrong):
        yield Finding(
            Level.WARNING, "eid-unlikely", context.session.cell(rows[0], "eid"), str(group["eid"].iloc[0]),
            f"{len(rows)} EIDs{of_mob(mob)} are not 15 digits of ISO 11784 ({tags(group)}).",
            "Format the column as text and enter the EIDs again, or read them from the tags.",
        )  # fmt: skip


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
        blank = animals[~animals["status"].isin(known) & ~animals["sex"].isin(males)]
        for mob, group, rows in by_mob(blank):
            yield Finding(
                Level.WARNING, "status-unknown", context.session.cell(rows[0], "status"), str(group["status"].iloc[0]),
                f"{len(rows)} animals{of_mob(mob)} have no status that is known here, and {medicine.name} is not "
                f"for animals {' or '.join(sorted(closed))} ({tags(group)}).",
                "Ask whether any of them is, and write the status: in milk, pregnant, or not in milk.",
            )  # fmt: skip


def status_near_miss(context: Context) -> Iterator[Finding]:
    """A status is one that is known here, or quite another word.

    Passes: in milk, dry, pregnant; "hospital pen". Fails: "in mlik", which is nearly one: its animals are held.
    Matters because an animal in milk would get what is not permitted in milk.
    """
    animals = context.session.animals
    meant = {text: near for text in animals["status"].unique() if (near := _nearly_a_status(str(text)))}
    for text, near in meant.items():
        for mob, group, rows in by_mob(animals[animals["status"] == text]):
            yield Finding(
                Level.ERROR, "status-near-miss", context.session.cell(rows[0], "status"), str(text),
                f"The status of {len(rows)} animal{'s' if len(rows) > 1 else ''}{of_mob(mob)} is not known here "
                f"({tags(group)}).",
                f'Did you mean "{near}"? If so, write it so.',
                Hold(f'status "{text}" is not known', rows),
            )  # fmt: skip


def _nearly_a_status(text: str) -> str:
    """The known status that a word of a cell is nearly, or nothing."""
    known = set(STATUS) | set(STATUS.values())
    strange = [word for word in text.split("; ") if word and word not in known]
    return next((near[0] for word in strange if (near := get_close_matches(word, known, n=1, cutoff=0.8))), "")


def mob_near_miss(context: Context) -> Iterator[Finding]:
    """The names of two mobs do not differ by a slip of typing.

    Passes: "Pen 1" and "Pen 2"; "Hill" and "River". Fails: "Hill paddock" and "Hil paddock". Matters because the
    few animals of the misspelt mob would be dosed by a setting of their own, or left out.
    """
    animals = context.session.animals
    heads = animals.groupby("mob", sort=False)["head"].sum()
    names = [str(name) for name in heads.index if name]
    for one, other in combinations(names[:LARGEST_LIST], 2):
        if _nearly_the_same(one, other):
            few, many = sorted((one, other), key=lambda name: int(heads[name]))
            row = int(animals.index[animals["mob"] == few][0])
            yield Finding(
                Level.WARNING, "mob-near-miss", context.session.cell(row, "mob"), few,
                f'The mobs "{few}" ({heads[few]} head) and "{many}" ({heads[many]} head) may be one.',
                f'If so, write "{many}" in every row; else there is nothing to do.',
            )  # fmt: skip


def _nearly_the_same(one: str, other: str) -> bool:
    """Whether two names differ by letters of one longer word only; numbers and single letters set mobs apart."""
    words = [re.findall(r"[^\W\d_]+|\d+", name.casefold()) for name in (one, other)]
    if "".join(words[0]) == "".join(words[1]):
        return True
    if len(words[0]) != len(words[1]):
        return False
    pairs = [(a, b) for a, b in zip(*words, strict=True) if a != b]
    return (
        len(pairs) == 1
        and min(map(len, pairs[0])) > 2
        and pairs[0][0].isalpha()
        and SequenceMatcher(None, *pairs[0]).ratio() >= NEAR
    )


def nothing_given(context: Context) -> Iterator[Finding]:
    """Every animal that was weighed gets something.

    Passes: a treatment for its mob, for its tag, or for all. Noted: an animal that no treatment names. Only a
    note, one line for each mob. Matters because somebody may have been forgotten.
    """
    named = {row for course in context.courses for row in course.animals}
    animals = context.session.animals
    # Who has a medicine that is not known is told of by another rule.
    for mob, group, rows in by_mob(animals[~animals.index.isin(named) & (animals["medicine"] == "")]):
        yield Finding(
            Level.NOTE, "nothing-given", context.session.cell(rows[0], "tag"), "",
            f"{int(group['head'].sum())} animals{of_mob(mob)} get nothing in this job ({tags(group)}).",
            "If that is wrong, add them to the sheet Treatments.",
        )  # fmt: skip
