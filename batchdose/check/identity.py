"""Rules about who is who: tags and electronic numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pandas as pd

from batchdose.check.context import Context, animals_of, by_mob, of_mob, tags
from batchdose.findings import Finding, Hold, Level
from batchdose.texts import joined, listed, mark, say, say_many
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
            yield _repeated(context, key, rows, animals.loc[list(rows)])


def _repeats(keys: pd.Series[str]) -> Iterator[tuple[str, tuple[int, ...]]]:
    repeated = keys[keys.duplicated(keep=False)]
    for key, group in repeated.groupby(repeated, sort=False):
        yield str(key), tuple(sorted(int(label) for label in group.index))


def _differences(context: Context, group: pd.DataFrame) -> list[str]:
    """What rows of one number differ in; nothing where they are one animal written down twice."""
    differ = [name for name in _SAME_ANIMAL if group[name].nunique(dropna=False) > 1]
    eids = set(group["eid"].drop(group.index.intersection(context.damaged_eids)).map(same_tag)) - {""}
    tag_keys = set(group["tag"].map(same_tag)) - {""}
    differ += ["eid"] if len(eids) > 1 else []
    differ += ["tag"] if len(tag_keys - eids) > 1 else []
    return differ


_WORDS = {
    "weight_ng": mark("weights"), "status": mark("status"), "species": mark("species"), "kind": mark("class"),
    "sex": mark("sex"), "mob": mark("mob"), "born": mark("dates of birth"), "slaughter_on": mark("slaughter on"),
    "sold_on": mark("sold on"), "first_milk_sold": mark("first milk sold"), "due": mark("due"),
    "gave_birth": mark("gave birth"), "meat_clear_from": mark("meat clear from"),
    "milk_clear_from": mark("milk clear from"), "eid": mark("EIDs"), "tag": mark("tags"),
}  # fmt: skip
#: What rows may have in common.
_TAG, _EID, _NUMBER = mark("tag"), mark("EID"), mark("number")


def _repeated(context: Context, key: str, rows: tuple[int, ...], group: pd.DataFrame) -> Finding:
    """Rows of one number: where they differ, or its digits are lost, all are held; else the repeats."""
    animals = context.session.animals
    lost = _LOST_DIGITS.fullmatch(key)
    differ = [] if lost else _differences(context, group)
    held = rows if lost or differ else rows[1:]
    are_tags = {row: same_tag(str(animals.at[row, "tag"])) == key for row in rows}
    field = "tag" if are_tags[held[0]] else "eid"
    name = say(_TAG if all(are_tags.values()) else _NUMBER if any(are_tags.values()) else _EID)
    tag = str(animals.at[held[0], field])
    what = {"name": name, "tag": tag, "rows": joined(", ", rows)}
    if lost:
        message = say("The {name} {tag} stands in the rows {rows}, its digits are lost, so it says nothing of who is "
                      "who.", **what)  # fmt: skip
        fix = say("Format the column as text and read the numbers from the tags again.")
        why = say("{name} stands more than once, its digits are lost, so it says nothing of who is who", name=name)
    elif differ:
        fields = listed([say(_WORDS[name]) for name in differ])
        message = say("The {name} {tag} stands in the rows {rows}, with different {fields}.", **what, fields=fields)
        fix = say("Find out which animal and weight is right.")
        why = say("{name} stands more than once, with different {fields}", name=name, fields=fields)
    else:
        message = say("The {name} {tag} stands in the rows {rows}, which agree in weight, status, class and dates: "
                      "planned once.", **what)  # fmt: skip
        fix, why = say("Remove the repeat."), say("{name} repeated", name=name)
    where = context.session.cell(held[0], field)
    return Finding(Level.ERROR, "tag-repeated", where, tag, message, fix, Hold(why, animals=held))


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
            say_many("{animals} ({tags}) may stand again by the other form of the same official number ({also}).",
                     "{animals} ({tags}) may stand again by the other form of the same official number ({also}).",
                     len(first), animals=animals_of(len(first), mob), tags=tags(group), also=also),
            say("If it is one animal, remove one of the rows; both are planned."),
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
            say_many("{n} tag{of_mob} became a date in the spreadsheet ({tags}).",
                     "{n} tags{of_mob} became a date in the spreadsheet ({tags}).", len(rows), n=len(rows),
                     of_mob=of_mob(mob), tags=tags(group)),
            say("Format the column as text and type the tags again."),
            Hold(say("its tag became a date"), held) if held else None,
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
            say_many("{n} EID{of_mob} is not 15 digits of ISO 11784 ({tags}).",
                     "{n} EIDs{of_mob} are not 15 digits of ISO 11784 ({tags}).", len(rows), n=len(rows),
                     of_mob=of_mob(mob), tags=tags(group)),
            say("Format the column as text and enter the EIDs again, or read them from the tags."),
        )  # fmt: skip
