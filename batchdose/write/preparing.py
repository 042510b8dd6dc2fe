"""What is fetched, checked and written down: the sheet's part before the work, and the record after it."""

from __future__ import annotations

from collections.abc import Iterator

from batchdose.amounts import amount_text, date_text, number_text, unit_word
from batchdose.calculate.gun_check import gun_check
from batchdose.calculate.needle_use import animals_per_needle, needles_for
from batchdose.calculate.needles import needle_text
from batchdose.model import Medicine, PackUse, ProductPlan, Result
from batchdose.texts import joined, say, say_many, tell
from batchdose.words import same_name
from batchdose.write.cards import device_text
from batchdose.write.cautions import by_needle
from batchdose.write.sheet import Check, RecordLine, Take
from batchdose.write.words import all_animals, heads, say_local


def take_along(plan: ProductPlan, result: Result) -> Take:
    """What to fetch of one product."""
    medicine = result.medicines[plan.rows[0]]
    packs: str = joined("; ", [_packs(pack, plan.unit, result.session.facts.rules) for pack in plan.packs])
    if plan.stock_known and plan.short:
        short = say("{amount} short.", amount=amount_text(plan.short, plan.unit))
        packs = f"{packs} {short}".strip()
    marks = -(-plan.to_draw // medicine.graduation)
    draw = f"{number_text(marks * medicine.graduation)} {unit_word(plan.unit, 2)}"
    return Take(
        plan.medicine, draw, packs or say("see the store"), device_text(medicine),
        _needles(plan.medicine, result), " ".join(map(tell, plan.remarks)),
    )  # fmt: skip


def _packs(packs: PackUse, unit: str, rules: str) -> str:
    """Packs of one size and bottle: how many, from which batch, until when, and whether they are to be bought."""
    parts = [f"{packs.packs} x {amount_text(packs.size, unit)}"]
    if packs.batch_no:
        parts.append(say_local("batch {number}", rules, number=packs.batch_no))
    if packs.expiry:
        parts.append(say("use by {day}", day=date_text(packs.expiry)))
    text = ", ".join(parts)
    return say("{packs} - TO BUY", packs=text) if packs.to_buy else text


def _needles(name: str, result: Result) -> str:
    """Which needles, how many, and after how many animals they are changed; with the source of a number of ours."""
    mine = [i for i, m in enumerate(result.medicines) if same_name(m.name) == same_name(name) and by_needle(m)]
    given = result.treatments[result.treatments["medicine"].isin(mine) & ~result.treatments["held"]]
    if given.empty:
        return ""
    medicine = result.medicines[mine[0]]
    species = sorted(result.session.animals.loc[given["animal"].unique(), "species"].unique())
    usual, source = animals_per_needle(species[0] if len(species) == 1 else "any")
    per_needle = medicine.practice.animals_per_needle or usual
    rounds = [int(head) for _, group in given.groupby("mob", sort=False) for head in _rounds(group)]
    count = needles_for(rounds, per_needle)
    which = needle_text(medicine.needle) if medicine.needle else say("as the label says")
    text = say_many(
        "{count} and spare ones: {which}. A new one for every animal, and whenever bent, blunt or dirty.",
        "{count} and spare ones: {which}. A new one every {animals} animals, and whenever bent, blunt or dirty.",
        per_needle, count=count, which=which, animals=per_needle,
    )  # fmt: skip
    return text if medicine.practice.animals_per_needle else f"{text} ({say(source)})"


def _rounds(group: object) -> Iterator[int]:
    """Heads injected on each day of the courses of one mob; a dose in several places counts once for each."""
    heads: dict[object, int] = {}
    for head, sites, moments in zip(group["head"], group["sites"], group["planned_for"], strict=True):  # type: ignore[index]
        for moment in moments:
            heads[moment.at.date()] = heads.get(moment.at.date(), 0) + head * max(sites, 1)
    return iter(heads.values())


def checks(result: Result) -> Iterator[Check]:
    """The scale, then every gun at its largest setting."""
    if (result.session.animals["weight_ng"] > 0).any():
        yield Check(say("Scale: put on a weight that you know."), (say("Known weight"), say("Scale shows"), say("By")))
    for index, medicine in enumerate(result.medicines):
        settings = [draft.setting for mob in result.mobs if mob.medicine == index for draft in mob.drafts]
        if settings and medicine.unit == "mL":
            check = gun_check(max(settings))
            setting, expected = (amount_text(amount, medicine.unit) for amount in (check.dose, check.expected))
            what = say(
                "Gun for {medicine}: {shots} shots of {setting} are {expected}.",
                medicine=medicine.name, shots=check.shots, setting=setting, expected=expected,
            )  # fmt: skip
            yield Check(what, (say("Measured"), say("By")))
    yield Check(say("Bottle numbers, expiry dates and this sheet agree."), (say("By"),))


def record_lines(result: Result) -> Iterator[RecordLine]:
    """A line to fill in for each mob and medicine, with the bottles that the plan names."""
    given = result.treatments[~result.treatments["held"]]
    for (mob, index), group in given.groupby(["mob", "medicine"], sort=False):
        times = int((group["head"] * group["doses"]).sum())
        head = int(group.drop_duplicates("animal")["head"].sum())
        planned = heads(head)
        if times != head:
            planned = joined(", ", (planned, say_many("{count} dose", "{count} doses", times, count=times)))
        batches = dict.fromkeys(number for numbers in group["batch_no"] for number in numbers)
        rules = result.session.facts.rules
        planned_batch = say_local("batch {number}", rules, number=", ".join(batches)) if batches else ""
        yield RecordLine(str(mob) or all_animals(), _name(result, int(str(index))), planned, planned_batch)


def _name(result: Result, index: int) -> str:
    medicine: Medicine = result.medicines[index]
    return medicine.name
