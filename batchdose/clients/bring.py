"""The product to bring on the round: what all clients together need, and in which packs. Exact."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from batchdose.amounts import amount_text
from batchdose.calculate.purchase import Offer, cheapest_purchase
from batchdose.clients.jobs import ClientJob, Need
from batchdose.words import same_name


@dataclass(frozen=True)
class Bring:
    """One product over all clients, in finished texts: to draw, to bring, in which packs, for how many clients."""

    medicine: str
    to_draw: str
    to_bring: str
    packs: str
    clients: int
    remark: str


def to_bring(jobs: Iterable[ClientJob]) -> list[Bring]:
    """Each product once, in order of name.

    Of a client whose own sheet lists a stock only what is missing there is brought, else all that is drawn. A stock on
    the shared sheet is there once for all clients together, although each job was planned as if it were its own.
    """
    needs: dict[tuple[str, str], list[Need]] = {}
    for job in jobs:
        for need in job.needs:
            needs.setdefault((same_name(need.medicine), need.unit), []).append(need)
    return [_bring(of_one) for _, of_one in sorted(needs.items())]


def _bring(needs: Sequence[Need]) -> Bring:
    unit = needs[0].unit
    draw = sum((Fraction(need.to_draw) for need in needs), Fraction(0))
    bring = sum((Fraction(need.to_draw if need.shared else need.short or need.to_draw) for need in needs), Fraction(0))
    packs, remark = _packs(needs, bring, unit)
    listed = [Fraction(need.listed) for need in needs if need.shared and need.listed]
    if listed:  # what is in date for the latest job is in date for all
        short = max(Fraction(0), bring - min(listed))
        buy = f"{amount_text(short, unit)} to buy." if short else "which is enough."
        remark = f"The shared sheet lists {amount_text(min(listed), unit)} in date: {buy} {remark}".strip()
    return Bring(needs[0].medicine, amount_text(draw, unit), amount_text(bring, unit), packs, len(needs), remark)


def _packs(needs: Sequence[Need], bring: Fraction, unit: str) -> tuple[str, str]:
    offers = [
        Offer(Fraction(size), Fraction(price) if price else None) for need in needs for size, price in need.sizes
    ]  # fmt: skip
    if not bring:
        return "", "The clients have enough."
    if not offers:
        return "", "No sheet names a pack size."
    found = cheapest_purchase(bring, list(dict.fromkeys(offers)))
    packs = "; ".join(f"{count} x {amount_text(size, unit)}" for size, count in found.packs)
    return packs, f"{amount_text(found.left_over, unit)} left over." if found.left_over else ""
