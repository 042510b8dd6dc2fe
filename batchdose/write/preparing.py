"""What is fetched, checked and written down: the sheet's part before the work, and the record after it."""

from __future__ import annotations

from collections.abc import Iterator

from batchdose.amounts import amount_text, date_text, number_text, unit_word
from batchdose.calculate.gun_check import gun_check
from batchdose.calculate.needle_use import animals_per_needle, needles_for
from batchdose.calculate.needles import needle_text
from batchdose.model import Medicine, ProductPlan, Result
from batchdose.words import same_name
from batchdose.write.cards import device_text
from batchdose.write.cautions import by_needle
from batchdose.write.sheet import Check, RecordLine, Take


def take_along(plan: ProductPlan, result: Result, words: dict[str, str]) -> Take:
    """What to fetch of one product."""
    medicine = result.medicines[plan.rows[0]]
    packs = "; ".join(
        f"{p.packs} x {amount_text(p.size, plan.unit)}"
        + (f", {words['batch']} {p.batch_no}" if p.batch_no else "")
        + (f", use by {date_text(p.expiry)}" if p.expiry else "")
        + (" - TO BUY" if p.to_buy else "")
        for p in plan.packs
    )
    missing = f" {amount_text(plan.short, plan.unit)} short." if plan.stock_known and plan.short else ""
    marks = -(-plan.to_draw // medicine.graduation)
    draw = f"{number_text(marks * medicine.graduation)} {unit_word(plan.unit, 2)}"
    return Take(
        plan.medicine, draw, f"{packs}{missing}" or "see the store", device_text(medicine),
        _needles(plan.medicine, result), " ".join([*plan.remarks, *_cost(plan)]),
    )  # fmt: skip


def _cost(plan: ProductPlan) -> Iterator[str]:
    """What the product costs, in the currency of the prices, where every price is known."""
    if plan.cost is not None and plan.cost_per_animal is not None:
        per_kg = f", {number_text(plan.cost_per_kg)} per kg" if plan.cost_per_kg is not None else ""
        yield f"Cost by the prices: {float(plan.cost):,.2f}, {plan.cost_per_animal:,.2f} per animal{per_kg}."


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
    why = "" if medicine.practice.animals_per_needle else f" ({source})"
    which = needle_text(medicine.needle) if medicine.needle else "as the label says"
    every = "animal" if per_needle == 1 else f"{per_needle} animals"
    return f"{count} and spare ones: {which}. A new one every {every}{why}, and whenever bent, blunt or dirty."


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
        yield Check("Scale: put on a weight that you know.", ("Known weight", "Scale shows", "By"))
    for index, medicine in enumerate(result.medicines):
        settings = [draft.setting for mob in result.mobs if mob.medicine == index for draft in mob.drafts]
        if settings and medicine.unit == "mL":
            check = gun_check(max(settings))
            setting, expected = (amount_text(amount, medicine.unit) for amount in (check.dose, check.expected))
            what = f"Gun for {medicine.name}: {check.shots} shots of {setting} are {expected}."
            yield Check(what, ("Measured", "By"))
    yield Check("Bottle numbers, expiry dates and this sheet agree.", ("By",))


def record_lines(result: Result, words: dict[str, str]) -> Iterator[RecordLine]:
    """A line to fill in for each mob and medicine, with the bottles that the plan names."""
    given = result.treatments[~result.treatments["held"]]
    for (mob, index), group in given.groupby(["mob", "medicine"], sort=False):
        times = int((group["head"] * group["doses"]).sum())
        head = int(group.drop_duplicates("animal")["head"].sum())
        planned = f"{head} head" + (f", {times} doses" if times != head else "")
        batches = dict.fromkeys(number for numbers in group["batch_no"] for number in numbers)
        planned_batch = f"{words['batch']} {', '.join(batches)}" if batches else ""
        yield RecordLine(str(mob) or "All animals", _name(result, int(str(index))), planned, planned_batch)


def _name(result: Result, index: int) -> str:
    medicine: Medicine = result.medicines[index]
    return medicine.name
