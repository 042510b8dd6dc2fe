"""The rules in order, and what a person may decide."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from batchdose.check.animals import status_unknown, tag_repeated, weight_implausible, weight_out_of_line
from batchdose.check.context import Context
from batchdose.check.medicines import (
    antibiotic_by_mob,
    graduation_missing,
    interval_missing,
    label_field_missing,
    label_word_unknown,
    medicine_expired,
    off_label_without_prescriber,
    rates_disagree,
    same_active_twice,
    withdrawal_not_stated,
)
from batchdose.check.plan import (
    excluded_status,
    leaves_before_clear,
    outside_label_weight,
    product_not_permitted,
    sold_before_clear,
    too_near_birth,
    under_age,
)
from batchdose.findings import Finding, Level

#: Rules on what was read and planned, in the order in which a person would look.
RULES: tuple[Callable[[Context], Iterator[Finding]], ...] = (
    tag_repeated,
    weight_implausible,
    weight_out_of_line,
    status_unknown,
    label_field_missing,
    label_word_unknown,
    rates_disagree,
    interval_missing,
    graduation_missing,
    off_label_without_prescriber,
    antibiotic_by_mob,
    medicine_expired,
    outside_label_weight,
    under_age,
    excluded_status,
    product_not_permitted,
    too_near_birth,
    leaves_before_clear,
    sold_before_clear,
    withdrawal_not_stated,
    same_active_twice,
)


def run_rules(context: Context, findings: Iterable[Finding]) -> list[Finding]:
    """All findings: those of the reading, then those of the rules, with what a person decided applied."""
    every = [*findings, *(finding for rule in RULES for finding in rule(context))]
    return [decided for finding in every for decided in _decide(_unused_is_no_error(finding, context), context)]


def _unused_is_no_error(finding: Finding, context: Context) -> Finding:
    """An error in a medicine that nobody gets in this job is a warning."""
    hold = finding.hold
    unused = hold is not None and hold.medicines is not None and not set(hold.medicines) & set(context.used)
    if finding.level == Level.ERROR and unused:
        return replace(finding, level=Level.WARNING, hold=None, message=f"{finding.message} Not used in this job.")
    return finding


def _decide(finding: Finding, context: Context) -> Iterator[Finding]:
    """Split a soft hold: animals with a reason under `Give anyway` become a warning with that reason."""
    hold = finding.hold
    if hold is None or not hold.soft or hold.animals is None:
        yield finding
        return
    reasons = context.session.animals["give_anyway"]
    anyway = tuple(row for row in hold.animals if reasons.get(row))
    for row in anyway:
        yield replace(
            finding, level=Level.WARNING, where=context.session.cell(row, "give_anyway"), seen=str(reasons[row]),
            message=f"{finding.message} It is given anyway, by decision on the sheet.",
            fix="Check that the person named agrees.", hold=None,
        )  # fmt: skip
    rest = tuple(row for row in hold.animals if row not in anyway)
    if rest:
        yield replace(finding, hold=replace(hold, animals=rest))
