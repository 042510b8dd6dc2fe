"""The rules in order, and what a person may decide."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import pandas as pd

from batchdose.check.animals import born_in_the_future, mob_near_miss, nothing_given
from batchdose.check.context import Context
from batchdose.check.devices import gun_off
from batchdose.check.earlier import (
    course_still_running,
    given_too_soon,
    needle_left_in,
    same_active_running,
    still_not_clear,
    tag_of_two_animals,
    tag_with_other_eid,
)
from batchdose.check.identity import eid_unlikely, tag_in_two_forms, tag_repeated, tag_turned_date
from batchdose.check.injections import needle_too_fine, same_site
from batchdose.check.labels import (
    device_too_large,
    dose_bands_apart,
    graduation_missing,
    interval_missing,
    label_field_missing,
    label_word_unknown,
    rate_unlike_other_rows,
    rates_disagree,
)
from batchdose.check.legal import horse_essential, organic_antibiotic, organic_courses
from batchdose.check.medicines import (
    antibiotic_by_mob,
    given_twice_a_day,
    off_label_without_prescriber,
    same_active_twice,
    withdrawal_not_stated,
)
from batchdose.check.plan import (
    excluded_status,
    leaves_before_clear,
    outside_label_weight,
    over_age,
    product_not_permitted,
    sold_before_clear,
    too_near_birth,
    under_age,
)
from batchdose.check.status import status_near_miss, status_unknown
from batchdose.check.stock import batch_expired, medicine_expired, opened_left_unknown, opened_too_long
from batchdose.check.weights import (
    unweighed_of_mob,
    weight_changed,
    weight_implausible,
    weight_old,
    weight_out_of_line,
)
from batchdose.findings import Finding, Level
from batchdose.texts import Text, joined, listed, say, say_many
from batchdose.words import is_reason, says_nothing

#: Rules on what was read and planned, in the order in which a person would look.
RULES: tuple[Callable[[Context], Iterator[Finding]], ...] = (
    tag_repeated,
    tag_in_two_forms,
    tag_turned_date,
    eid_unlikely,
    born_in_the_future,
    weight_implausible,
    weight_out_of_line,
    weight_changed,
    weight_old,
    unweighed_of_mob,
    mob_near_miss,
    nothing_given,
    status_near_miss,
    status_unknown,
    label_field_missing,
    label_word_unknown,
    rates_disagree,
    rate_unlike_other_rows,
    dose_bands_apart,
    interval_missing,
    graduation_missing,
    needle_too_fine,
    gun_off,
    off_label_without_prescriber,
    antibiotic_by_mob,
    medicine_expired,
    batch_expired,
    opened_left_unknown,
    opened_too_long,
    device_too_large,
    outside_label_weight,
    under_age,
    over_age,
    excluded_status,
    too_near_birth,
    withdrawal_not_stated,
    given_twice_a_day,
    tag_of_two_animals,
    tag_with_other_eid,
    needle_left_in,
    given_too_soon,
    course_still_running,
)

#: Rules on what is left to be given after the rules above, each seeing what the one before found.
LATE_RULES: tuple[Callable[[Context], Iterator[Finding]], ...] = (
    same_active_twice,
    same_active_running,
    product_not_permitted,
    same_site,
    leaves_before_clear,
    sold_before_clear,
    still_not_clear,
    organic_courses,
    organic_antibiotic,
    horse_essential,
)


def run_rules(context: Context, findings: Iterable[Finding]) -> list[Finding]:
    """All findings: those of the reading, then those of the rules, with what a person decided applied."""
    every = list(decided([*findings, *(finding for rule in RULES for finding in rule(context))], context))
    for rule in LATE_RULES:
        never = tuple(finding.no_clear for finding in every if finding.no_clear is not None)
        late = replace(context, given=_given(context, every), no_clear=never)
        every += decided(rule(late), late)
    return every


def _given(context: Context, findings: Iterable[Finding]) -> dict[int, frozenset[int]]:
    """Animals of each course that no finding holds back."""
    holds = [finding.hold for finding in findings if finding.hold is not None]
    left: dict[int, frozenset[int]] = {}
    for course in context.courses:
        needs_weight = context.medicines[course.medicine].needs_weight
        animals = set(course.animals)
        for hold in holds:
            here = hold.courses is None or course.number in hold.courses
            this = hold.medicines is None or course.medicine in hold.medicines
            if here and this and (needs_weight or not hold.needs_weight):
                animals -= animals if hold.animals is None else set(hold.animals)
        left[course.number] = frozenset(animals)
    return left


def decided(findings: Iterable[Finding], context: Context) -> Iterator[Finding]:
    """Findings after what a person decided, and none worse than what it keeps back in this job."""
    weighed = {a for c in context.courses if context.medicines[c.medicine].needs_weight for a in c.animals}
    for finding in findings:
        yield from _decide(_at_most_as_bad(finding, context, weighed), context)


def _at_most_as_bad(finding: Finding, context: Context, weighed: set[int]) -> Finding:
    """An error that keeps nothing back in this job is a warning: nobody gets the medicine, or waits for the weight."""
    hold = finding.hold
    if finding.level != Level.ERROR or hold is None:
        return finding
    if hold.medicines is not None and not set(hold.medicines) & set(context.used):
        more = say("Not used in this job.")
        return replace(finding, level=Level.WARNING, hold=None, message=joined(" ", [finding.message, more]))
    if hold.needs_weight and hold.animals is not None and not weighed & set(hold.animals):
        more = say("No dose here needs it.")
        return replace(finding, level=Level.WARNING, hold=None, message=joined(" ", [finding.message, more]))
    return finding


def _decide(finding: Finding, context: Context) -> Iterator[Finding]:
    """Split a soft hold: animals with a reason under `Give anyway` become a warning for each reason and mob."""
    hold = finding.hold
    if hold is None or not (hold.soft or hold.not_weighed) or hold.animals is None:
        yield finding
        return
    written = context.session.animals["give_anyway"]
    decided = set(hold.animals) if hold.soft else set(hold.animals) - context.own_weight_needed
    entries = {row: str(written.get(row, "")) for row in hold.animals if row in decided}
    anyway = {row: text for row, text in entries.items() if is_reason(text)}
    for reason, rows in _alike(anyway, context):
        yield _given_anyway(_of(finding, rows), reason, rows, context)
    rest = tuple(row for row in hold.animals if row not in anyway)
    if rest:
        bare = next((text for row, text in entries.items() if row in rest and not says_nothing(text)), "")
        held = _of(finding, rest) if anyway else finding
        message = held.message
        if bare:
            more = say('Under Give anyway stands "{entry}", which gives no reason, so it is not followed.', entry=bare)
            message = joined(" ", [message, more])
        yield replace(held, hold=replace(hold, animals=rest), message=message)


def _alike(anyway: dict[int, str], context: Context) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Reasons with the animals of one mob that have them."""
    mobs = context.session.animals["mob"]
    together: dict[tuple[str, str], list[int]] = {}
    for row, reason in anyway.items():
        together.setdefault((str(mobs[row]), reason), []).append(row)
    for (_, reason), rows in together.items():
        yield reason, tuple(rows)


def _of(finding: Finding, rows: tuple[int, ...]) -> Finding:
    return finding if finding.again is None else finding.again(rows)


def _given_anyway(finding: Finding, reason: str, rows: tuple[int, ...], context: Context) -> Finding:
    return replace(
        finding, level=Level.WARNING, where=context.session.cell(rows[0], "give_anyway"), seen=reason,
        message=joined(" ", [finding.message, _given_all_the_same(context.session.animals.loc[list(rows)])]),
        fix=say("Check that the person named agrees."), hold=None,
    )  # fmt: skip


def _given_all_the_same(animals: pd.DataFrame) -> Text:
    """That animals of one mob are given a medicine by decision."""
    n, names = len(animals), animals["tag"].tolist()
    if not names[0]:
        return say_many("This mob is given anyway, by decision on the sheet.",
                        "This mob are given anyway, by decision on the sheet.", n)  # fmt: skip
    if n == 1:
        return say("Tag {tag} is given anyway, by decision on the sheet.", tag=names[0])
    names = [tag or say("the mob {mob}", mob=mob) for tag, mob in zip(names[:5], animals["mob"][:5], strict=False)]
    if n > len(names):
        return say("Tags {tags} and {more} more are given anyway, by decision on the sheet.",
                   tags=joined(", ", names), more=n - len(names))  # fmt: skip
    return say("Tags {tags} are given anyway, by decision on the sheet.", tags=listed(names))
