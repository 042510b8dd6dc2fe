"""Rules about the doses that were worked out: what is over the label, what no mark suits, what is missing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from batchdose.amounts import amount_text, number_text
from batchdose.check.context import Context, of_mob, tags
from batchdose.findings import Finding, Level
from batchdose.model import Medicine, Pack, ProductPlan
from batchdose.words import same_name


def dose_over_label(context: Context, treatments: pd.DataFrame) -> Iterator[Finding]:
    """Rounding to a mark (or dosing to the heaviest) stays within 10 % of the label rate.

    Passes: 0.83 mL given as 0.9 mL. Fails: 0.23 mL given as 0.3 mL, where the sheet has no highest rate.
    One line for each mob. The limit of 10 % is this program's, not the label's; more than twice is held.
    """
    over = treatments[treatments["over"] & treatments["target"].notna()]
    for key, group in over.groupby(["medicine", "mob"], sort=False):
        index, mob = _pair(key)
        medicine = context.medicines[index]
        all_of_mob = treatments[(treatments["medicine"] == index) & (treatments["mob"] == mob) & ~treatments["held"]]
        excess = (group["dose"] / group["target"] - 1) * 100
        low, high = number_text(float(excess.min()), 0), number_text(float(excess.max()), 0)
        ends = f"{low} %" if low == high else f"{low} to {high} %"
        remedy = "a finer device" if medicine.dose_by == "animal" else "a finer device, or more drafts,"
        yield Finding(
            Level.WARNING, "dose-over-label", context.session.cell(int(group["animal"].iloc[0]), "weight"), "",
            f"{int(group['head'].sum())} of {int(all_of_mob['head'].sum())}{of_mob(str(mob))} get {medicine.name} "
            f"{ends} over the label rate.",
            f"The limit of 10 % is this program's, not the label's; {remedy} ends it.",
        )  # fmt: skip


def _pair(key: Any) -> tuple[int, str]:
    return int(key[0]), str(key[1])


def no_mark_allowed(context: Context, treatments: pd.DataFrame, told: set[str]) -> Iterator[Finding]:
    """A mark of the device lies between the lowest and the highest dose of each animal.

    Passes: 0.83 mL on a device of 0.1 mL. Fails: 0.04 mL there. The animal is held, and the coarsest
    graduation that would do is named. One line for each reason and mob.
    """
    held = treatments[treatments["held"]].assign(reason=lambda t: [row[0] for row in t["why"]])
    for key, group in held.groupby(["medicine", "mob", "reason"], sort=False):
        (index, mob), reason = _pair(key), str(key[2])
        if reason in told:
            continue
        medicine = context.medicines[index]
        yield Finding(
            Level.ERROR, "no-mark-allowed", context.session.cell(int(group["animal"].iloc[0]), "weight"), "",
            f"{medicine.name}: {len(group)}{of_mob(str(mob))} held ({tags(group)}): {reason}.",
            "Use a device with finer marks, or more drafts.",
        )  # fmt: skip


def stock_short(
    medicines: Sequence[Medicine], product: Sequence[ProductPlan], stock: Sequence[Pack]
) -> Iterator[Finding]:
    """The stock that is in date covers the product to draw.

    Passes: 250 mL in stock for 230 mL. Fails: 200 mL. Matters because the job would stop half way.
    """
    for plan in product:
        if plan.stock_known and plan.short:
            medicine = next(m for m in medicines if m.name == plan.medicine)
            where = next(pack.where for pack in stock if pack.medicine == same_name(plan.medicine))
            yield Finding(
                Level.WARNING, "stock-short", where, "",
                f"{amount_text(plan.short, plan.unit)} of {medicine.name} are missing from the stock that is in date.",
                "Get what is listed as to buy before you start.",
            )  # fmt: skip
