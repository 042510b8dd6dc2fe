"""Rules about who is who: tags and electronic numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pandas as pd

from batchdose.check.context import Context, by_mob, listed, of_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.words import radio_number, same_tag

#: What two rows must agree in to be one animal that was written down twice; an EID may be missing in one of them.
_SAME_ANIMAL = (
    "weight_ng", "status", "species", "kind", "sex", "mob", "born", "slaughter_on", "sold_on", "first_milk_sold",
    "due", "gave_birth", "meat_clear_from", "milk_clear_from",
)  # fmt: skip
_A_DATE = re.compile(r"\d{4}-\d{2}-\d{2}(?: \d{2}:\d{2}:\d{2})?")
_LOST_DIGITS = re.compile(r"\d+(?:[.,]\d+)?e\+?\d+")


def tag_repeated(context: Context) -> Iterator[Finding]:
    """A tag, and an EID, stands once on the weighing sheet, however it is written, in either column.

    Passes: every tag once. Fails: tag 0412 twice, also as "04 12"; two tags with one EID; an EID that is the tag
    of another row; UK0123456 00001 and UK0123456-00001. Where the rows say the same (weight, status, class,
    dates ...), the repeat is held and the animal planned once; otherwise all of them are held, since either may
    be another animal. Matters because an animal would be treated twice, or by another's weight.
    """
    animals = context.session.animals
    told: set[tuple[int, ...]] = set()
    for key, rows in _repeats(context.known_by):
        if rows not in told:
            told.add(rows)
            yield _repeated(context, key, rows, _apart(context, animals.loc[list(rows)], key))


def _repeats(keys: pd.Series[str]) -> Iterator[tuple[str, tuple[int, ...]]]:
    repeated = keys[keys.duplicated(keep=False)]
    for key, group in repeated.groupby(repeated, sort=False):
        yield str(key), tuple(sorted(int(label) for label in group.index))


def _apart(context: Context, group: pd.DataFrame, key: str) -> str:
    """Why rows of one number may be several animals; nothing where they are one animal written down twice."""
    if _LOST_DIGITS.fullmatch(key):
        return "its digits are lost, so it says nothing of who is who"
    differ = [name for name in _SAME_ANIMAL if group[name].nunique(dropna=False) > 1]
    eids = set(group["eid"].drop(group.index.intersection(context.damaged_eids)).map(same_tag)) - {""}
    tag_keys = set(group["tag"].map(same_tag)) - {""}
    differ += ["eid"] if len(eids) > 1 else []
    differ += ["tag"] if len(tag_keys - eids) > 1 else []
    return f"with different {listed(_WORDS.get(name, name.replace('_', ' ')) for name in differ)}" if differ else ""


_WORDS = {"weight_ng": "weights", "eid": "EIDs", "tag": "tags", "kind": "class", "born": "dates of birth"}


def _repeated(context: Context, key: str, rows: tuple[int, ...], apart: str) -> Finding:
    animals = context.session.animals
    held = rows if apart else rows[1:]
    are_tags = {row: same_tag(str(animals.at[row, "tag"])) == key for row in rows}
    field = "tag" if are_tags[held[0]] else "eid"
    name = "tag" if all(are_tags.values()) else "number" if any(are_tags.values()) else "EID"
    text = str(animals.at[held[0], field])
    return Finding(
        Level.ERROR, "tag-repeated", context.session.cell(held[0], field), text,
        f"The {name} {text} stands in the rows {', '.join(map(str, rows))}"
        f"{f', {apart}.' if apart else ', which agree in weight, status, class and dates: planned once.'}",
        "Remove the repeat." if not apart else "Find out which animal and weight is right."
        if apart.startswith("with") else "Format the column as text and read the numbers from the tags again.",
        Hold(f"{name} stands more than once, {apart}" if apart else f"{name} repeated", animals=held),
    )  # fmt: skip


def tag_in_two_forms(context: Context) -> Iterator[Finding]:
    """An animal stands once, be it by the number printed on its tag or by the electronic one that belongs to it.

    Passes: UK0123456 00001 with the EID 826012345600001 beside it. Fails: the two in different rows. One line for
    each mob; nobody is held, since either may have been typed wrongly. Matters because an animal would be treated
    twice. Source: ISO 11784 (code of the country, then its number of twelve digits).
    """
    animals = context.session.animals
    keys = context.known_by
    rows = list(zip(map(int, keys.index), keys, strict=True))
    printed = {radio: row for row, key in rows if key[:2].isalpha() and (radio := radio_number(key))}
    if not printed:
        return
    twice = [(printed[key], row) for row, key in rows if key in printed]
    pairs = {min(pair): max(pair) for pair in twice if pair[0] != pair[1]}
    for mob, group, first in by_mob(animals[animals.index.isin(pairs)]):
        also = tags(animals.loc[[pairs[row] for row in first]])
        yield Finding(
            Level.WARNING, "tag-in-two-forms", context.session.cell(first[0], "tag"), str(group["tag"].iloc[0]),
            f"{len(first)} animal{'s' if len(first) > 1 else ''}{of_mob(mob)} ({tags(group)}) may stand again by "
            f"the other form of the same official number ({also}).",
            "If it is one animal, remove one of the rows; both are planned.",
        )  # fmt: skip


def tag_turned_date(context: Context) -> Iterator[Finding]:
    """A tag is what is printed on the ear tag, not a date.

    Passes: 3-4, where the column is text. Fails: 2026-03-04, which a spreadsheet made of 3-4 or 4/3. Holds the
    animal unless its EID is there. One line for each mob. Matters because nobody could find the animal by it.
    """
    animals = context.session.animals
    dated = [text for text in animals["tag"].unique() if len(text) in (10, 19) and _A_DATE.fullmatch(text)]
    if not dated:
        return
    for mob, group, rows in by_mob(animals[animals["tag"].isin(dated)]):
        unknown = group["eid"].isin(["", *dated]) | group.index.isin(context.damaged_eids)
        held = tuple(row for row, alone in zip(rows, unknown, strict=True) if alone)
        yield Finding(
            Level.ERROR if held else Level.WARNING, "tag-turned-date", context.session.cell(rows[0], "tag"),
            str(group["tag"].iloc[0]),
            f"{len(rows)} tag{'s' if len(rows) > 1 else ''}{of_mob(mob)} became a date in the spreadsheet "
            f"({tags(group)}).",
            "Format the column as text and type the tags again.",
            Hold("its tag became a date", held) if held else None,
        )  # fmt: skip


def eid_unlikely(context: Context) -> Iterator[Finding]:
    """An EID written in digits is one of ISO 11784: a code of three digits and a number of twelve, 38 bits at most.

    Passes: 372000000000012, 900123456789012. Fails: 9.82E+14, fourteen digits, digits lost by a number format.
    One line for each mob; nobody is held, since the tag tells the animal (where no tag does and two rows look alike,
    they are told of as repeated). Matters because the record goes by it.
    Source: ISO 11784 (national code from 0 to 274 877 906 943; codes 900 to 998 are makers, 999 is for tests).
    """
    animals = context.session.animals
    wrong = animals[animals.index.isin(context.damaged_eids)]
    alone = wrong.index[(wrong["tag"] == wrong["eid"]) & wrong["eid"].duplicated(keep=False)]
    for mob, group, rows in by_mob(wrong.drop(alone)):
        yield Finding(
            Level.WARNING, "eid-unlikely", context.session.cell(rows[0], "eid"), str(group["eid"].iloc[0]),
            f"{len(rows)} EID{'s' if len(rows) > 1 else ''}{of_mob(mob)} {'are' if len(rows) > 1 else 'is'} not 15 "
            f"digits of ISO 11784 ({tags(group)}).",
            "Format the column as text and enter the EIDs again, or read them from the tags.",
        )  # fmt: skip
