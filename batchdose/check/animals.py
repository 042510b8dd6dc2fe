"""Rules about the animals and their weights."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

import numpy as np

from batchdose.amounts import number_text
from batchdose.check.context import Context, by_mob, of_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.model import NG_PER_KG
from batchdose.words import MALE, STATUS

_IN_DIGITS = re.compile(r"[\d .,+-]+(?:[Ee][+]?\d+)?")
#: Out of line with its mob: more than this many MAD and this share off the median, in mobs of ten and more.
MADS_OFF, SHARE_OFF, SMALLEST_MOB = 5, 0.25, 10


@cache
def weight_limits_kg() -> dict[str, tuple[float, float]]:
    """Lowest and highest plausible weight [kg] by species (`batchdose/data/weight_limits.csv`)."""
    text = (files("batchdose") / "data" / "weight_limits.csv").read_text(encoding="utf-8")
    return {r["species"]: (float(r["lowest_kg"]), float(r["highest_kg"])) for r in csv.DictReader(text.splitlines())}


def tag_repeated(context: Context) -> Iterator[Finding]:
    """A tag, and an EID, stands once on the weighing sheet, whatever its case and spaces.

    Passes: every tag once. Fails: tag 0412 twice, also as "04 12"; two tags with one EID. With two different
    weights both rows are held, since either may be another animal; with the same weight the repeat is held
    and the animal planned once. Matters because an animal would be treated twice, or by another's weight.
    """
    animals = context.session.animals
    told: set[tuple[int, ...]] = set()
    for field, name in (("tag", "tag"), ("eid", "EID")):
        key = animals[field].map(lambda text: "".join(text.split()).casefold())
        if field == "eid":  # numbers that a format has damaged look alike and say nothing of who is who
            key = key.where(~key.map(_is_damaged_eid).astype(bool), "")
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
    wrong = animals[animals["eid"].map(_is_damaged_eid).astype(bool)]
    for mob, group, rows in by_mob(wrong):
        yield Finding(
            Level.WARNING, "eid-unlikely", context.session.cell(rows[0], "eid"), str(group["eid"].iloc[0]),
            f"{len(rows)} EIDs{of_mob(mob)} are not 15 digits of ISO 11784 ({tags(group)}).",
            "Format the column as text and enter the EIDs again, or read them from the tags.",
        )  # fmt: skip


def _is_damaged_eid(text: str) -> bool:
    """Whether a number written in digits is none of ISO 11784."""
    if not _IN_DIGITS.fullmatch(text):
        return False
    digits = "".join(character for character in text if character.isdigit())
    plain = set(text) <= set("0123456789 -.") and len(digits) == 15
    return not (plain and int(digits[:3]) > 0 and int(digits[3:]) < 2**38)


def weight_implausible(context: Context) -> Iterator[Finding]:
    """A weight lies within wide limits for the species.

    Passes 41.5 kg for a sheep. Fails 415 kg, a slipped decimal point. A person may decide otherwise
    (`Give anyway`). Matters because the dose follows the weight. The limits are from memory: a gate
    for slips of typing and mixed units, no breed standard.
    """
    for species, group in context.session.animals.groupby("species", sort=False):
        if str(species) not in weight_limits_kg():
            continue
        low, high = weight_limits_kg()[str(species)]
        kilograms = group["weight_ng"].astype(float) / NG_PER_KG
        for label, weight in kilograms[(kilograms > 0) & ~kilograms.between(low, high)].items():
            row = int(str(label))
            yield Finding(
                Level.ERROR, "weight-implausible", context.session.cell(row, "weight"),
                str(group.at[row, "weight_text"]),
                f"A {species} of {number_text(float(weight))} kg lies outside {number_text(low)} to "
                f"{number_text(high)} kg.",
                "Weigh again, look for a slipped point or lb typed as kg, or give a reason under Give anyway.",
                Hold("weight outside the limits of the species", (row,), soft=True, needs_weight=True),
            )  # fmt: skip


def weight_out_of_line(context: Context) -> Iterator[Finding]:
    """A weight is in line with its mob: within 5 MAD or 25 % of the median, in mobs of ten and more.

    Passes 61 kg in a mob around 45 kg. Fails 90 kg there. A person may decide otherwise (`Give anyway`).
    Matters because a wrong weight doses its animal wrongly and must never set the dose of a whole mob.
    """
    animals = context.session.animals
    weighed = animals[(animals["weight_ng"] > 0) & (animals["head"] == 1)]
    for (mob, species), group in weighed.groupby(["mob", "species"], sort=False):
        if len(group) < SMALLEST_MOB:
            continue
        kilograms = group["weight_ng"].to_numpy(float) / NG_PER_KG
        middle = float(np.median(kilograms))
        spread = float(np.median(np.abs(kilograms - middle)))
        off = np.abs(kilograms - middle)
        low, high = weight_limits_kg().get(str(species), (0.0, float("inf")))
        odd = (off > MADS_OFF * spread) & (off > SHARE_OFF * middle) & (kilograms >= low) & (kilograms <= high)
        for label in group.index[odd]:
            row = int(label)
            yield Finding(
                Level.ERROR, "weight-out-of-line", context.session.cell(row, "weight"),
                str(group.at[row, "weight_text"]),
                f"This weight is far from the middle{of_mob(str(mob))}, {number_text(middle)} kg.",
                "Weigh again, or give a reason under Give anyway.",
                Hold("weight out of line with its mob: not covered by the mob's setting, pull it out", (row,),
                     soft=True, needs_weight=True),
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
        strange = animals["status"].map(lambda text: not set(text.split("; ")) & set(STATUS.values()))
        blank = animals[strange & ~animals["sex"].str.casefold().isin(MALE)]
        if not closed:
            continue
        for mob, group, rows in by_mob(blank):
            yield Finding(
                Level.WARNING, "status-unknown", context.session.cell(rows[0], "status"), str(group["status"].iloc[0]),
                f"{len(rows)} animals{of_mob(mob)} have no status that is known here, and {medicine.name} is not "
                f"for animals {' or '.join(sorted(closed))} ({tags(group)}).",
                "Ask whether any of them is, and write the status: in milk, pregnant, or not in milk.",
            )  # fmt: skip
