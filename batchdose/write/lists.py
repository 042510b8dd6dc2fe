"""The lists: mob by mob, what is the same for all once above, then a row an animal with its dose or DO NOT DOSE."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from batchdose.amounts import amount_text, days_text, number_text, plain_amount
from batchdose.given import dose_line
from batchdose.model import Medicine, MobPlan, Result
from batchdose.texts import joined, say
from batchdose.write.cards import device_text, setting_text
from batchdose.write.charts import Group, histogram
from batchdose.write.paging import column_shares, in_pages
from batchdose.write.sheet import AnimalRow, Column, DoseCell, MobList, Order, Paper
from batchdose.write.weights import in_unit, kilograms, span_text, weight_words
from batchdose.write.words import all_animals, do_not_dose, heads, route_words

Row = dict[Any, Any]
Animals = dict[int, list[Row]]

#: A picture of fewer weights says less than the weights themselves.
_LEAST_FOR_PICTURE = 5
_COLUMNS = [
    "animal", "course", "tag", "eid", "mob", "head", "medicine", "held", "dose", "unit", "draft", "sites", "per_site",
    "doses", "planned_for", "batch_no",
]  # fmt: skip


def mob_lists(result: Result, order: Order, paper: Paper) -> Iterator[MobList]:
    """The list of each mob, mobs in sheet order, animals in the order asked for."""
    unit = result.session.weight_unit
    animals_table = result.session.animals
    weights = dict(zip(animals_table.index, animals_table["weight_text"], strict=True))
    mobs: dict[str, Animals] = {mob: {} for mob in result.treatments["mob"].unique()}
    for row in result.treatments[_COLUMNS].to_dict("records"):
        mobs[row["mob"]].setdefault(row["animal"], []).append(row)
    nanograms = dict(zip(animals_table.index, animals_table["weight_ng"], strict=True))
    for mob, animals in mobs.items():
        ordered = _ordered(animals, order, nanograms)
        yield _mob_list(mob, ordered, result, paper, unit, weights, nanograms)


def _ordered(animals: Animals, order: Order, weights_ng: Mapping[int, int]) -> Animals:
    """Animals by tag; by weight, the lightest first; as in the sheet; or by weight group, then tag."""
    keys: Mapping[Order, Any] = {
        "tag": lambda animal: animals[animal][0]["tag"],
        "weight": lambda animal: (weights_ng[animal], animals[animal][0]["tag"]),
        "draft": lambda animal: (_draft(animals[animal]) or "~", animals[animal][0]["tag"]),
    }
    return {animal: animals[animal] for animal in (animals if order == "sheet" else sorted(animals, key=keys[order]))}


def _draft(rows: Sequence[Row]) -> str:
    return next((str(row["draft"]) for row in rows if row["draft"] and not row["held"]), "")


def _mob_list(
    mob: str, animals: Animals, result: Result, paper: Paper, unit: str, weights: Mapping[int, str],
    nanograms: Mapping[int, int],
) -> MobList:  # fmt: skip
    indices = sorted({row["medicine"] for rows in animals.values() for row in rows})
    by_medicine = {i: [row for rows in animals.values() for row in rows if row["medicine"] == i] for i in indices}
    columns = [_column(result.medicines[i], by_medicine[i]) for i in indices]
    listed = [
        AnimalRow(
            rows[0]["tag"] or _many(rows[0]["head"], of_mob=len(animals)), rows[0]["eid"] or "",
            weight_words(weights[animal], nanograms[animal]),
            [_dose_cell([row for row in rows if row["medicine"] == i], column.batch)
             for i, column in zip(indices, columns, strict=True)],
            any(row["held"] for row in rows), not rows[0]["tag"],
        )
        for animal, rows in animals.items()
    ]  # fmt: skip
    plans = [plan for plan in result.mobs if plan.mob == mob and plan.medicine in indices]
    same = [(result.medicines[i].name, _same(rows, i, result)) for i, rows in by_medicine.items()]
    pictures = _pictures(animals, plans, result, unit, nanograms)
    head = sum(rows[0]["head"] for rows in animals.values())
    held = sum(rows[0]["head"] for rows in animals.values() if any(row["held"] for row in rows))
    shares = column_shares(listed, [column.name for column in columns])
    return MobList(
        mob or all_animals(), _head_text(head, held), same, pictures, columns,
        in_pages(listed, same, pictures, paper, shares), bool(shares), shares, mob,
    )  # fmt: skip


def _head_text(head: int, held: int) -> str:
    """How many a mob has, and how many of them are held."""
    return say("{heads}, {held} marked DO NOT DOSE", heads=heads(head), held=held) if held else heads(head)


def _same(rows: Sequence[Row], index: int, result: Result) -> str:
    """How a medicine is given to this mob, and its dose where all get the same."""
    medicine = result.medicines[index]
    given = [row for row in rows if not row["held"]]
    doses = {amount_text(row["dose"], row["unit"]) for row in given}
    if any(row["draft"] for row in given):
        dose: str = say("by weight group, its letter beside the box")
    elif len(doses) == 1:
        dose = say("{dose} each", dose=doses.pop())
    else:
        dose = say("each its own dose, in the list") if doses else say("none")
    parts = (dose, route_words(medicine.route), medicine.site, device_text(medicine))
    return joined("; ", [part for part in parts if part])


def _column(medicine: Medicine, rows: Sequence[Row]) -> Column:
    how = ", ".join(part for part in (route_words(medicine.route), medicine.site) if part)
    return Column(medicine.name, _usual_batch(rows), how)


def _usual_batch(rows: Sequence[Row]) -> str:
    counts = Counter("; ".join(row["batch_no"]) for row in rows if not row["held"])
    return counts.most_common(1)[0][0] if counts else ""


def _many(head: int, *, of_mob: int) -> str:
    """A row that stands for many: a mob given as a whole, or the unweighed of one weighed in part."""
    return say("{head} not weighed", head=head) if of_mob > 1 else say("whole mob of {head}", head=head)


def _dose_cell(rows: list[Row], usual_batch: str) -> DoseCell:
    if not rows:
        return DoseCell()
    given = [row for row in rows if not row["held"]]
    if not given:
        return DoseCell(do_not_dose(), stop=True)
    other_days = [
        say("DO NOT DOSE on {days}", days=days_text(m.at for m in row["planned_for"])) for row in rows if row["held"]
    ]
    several = sum(row["doses"] for row in given) > 1 or bool(other_days)
    doses = " + ".join(dict.fromkeys(amount_text(row["dose"], row["unit"]) for row in given))
    more = joined("; ", [*(part for row in given for part in _beside(row, dated=several)), *other_days])
    batch = "; ".join(dict.fromkeys(number for row in given for number in row["batch_no"]))
    groups = ", ".join(dict.fromkeys(str(row["draft"]) for row in given if row["draft"]))
    return DoseCell(doses, more, _ticks(given), group=groups, batch=batch if batch != usual_batch else "")


def _ticks(given: Sequence[Row]) -> tuple[tuple[str, str], ...]:
    """Line and amount of each time, the first day first, as the fill-in sheet of the workbook has them."""
    times = [
        (moment.at, dose_line(row["animal"], row["course"], number), plain_amount(row["dose"], row["unit"]))
        for row in given for number, moment in enumerate(row["planned_for"], 1)
    ]  # fmt: skip
    return tuple((line, amount) for _, line, amount in sorted(times, key=lambda time: time[0]))


def _beside(row: Row, *, dated: bool) -> Iterator[str]:
    """What stands beside a dose: its places, and its days where there are several."""
    if row["sites"] > 1:
        amounts = " + ".join(number_text(part) for part in row["per_site"])
        yield say("{count} places: {amounts}", count=row["sites"], amounts=amounts)
    if dated:
        yield days_text(m.at for m in row["planned_for"])


def _pictures(
    animals: Animals, plans: Sequence[MobPlan], result: Result, unit: str, nanograms: Mapping[int, int]
) -> list[str]:
    """The weights of those that are given something, once for each medicine that goes by weight group."""
    weights = [
        (in_unit(kilograms(nanograms[animal]), unit), int(rows[0]["head"]))
        for animal, rows in animals.items()
        if nanograms[animal] > 0 and not all(row["held"] for row in rows)
    ]
    if len(weights) < _LEAST_FOR_PICTURE:
        return []
    grouped = [plan for plan in plans if plan.drafts]
    return [histogram(weights, list(_groups(plan, result, unit)), unit) for plan in grouped] or [
        histogram(weights, [], unit)
    ]


def _groups(plan: MobPlan, result: Result, unit: str) -> Iterator[Group]:
    for draft in plan.drafts:
        span = span_text(draft.from_kg, draft.to_kg, unit)
        text = say(
            "{span}: {setting}, {heads}",
            span=span, setting=setting_text(draft, result.medicines[plan.medicine]), heads=heads(draft.head),
        )  # fmt: skip
        yield Group(draft.label, in_unit(draft.from_kg, unit), in_unit(draft.to_kg, unit), text)
