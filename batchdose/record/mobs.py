"""The line "all given except ..." of a mob, as an entry for each of its animals."""

from __future__ import annotations

import re
from dataclasses import replace

from batchdose.findings import Finding
from batchdose.given import MOB_FILLED, NO, YES, PlanKept, PlannedDose
from batchdose.read.given import Entry, FilledIn
from batchdose.record import problems
from batchdose.record.entries import given_word
from batchdose.words import same_tag

_EXCEPTED = "excepted on the mob's line"
_WHO_IS_LEFT_OUT = "who is left out is not clear"


def mob_entries(filled: FilledIn) -> tuple[dict[str, list[Entry]], list[Finding]]:
    """What the lines of mobs say of each dose, by line of the plan; and findings for tags that are not of the mob.

    A line that cannot be understood gives its doses an unclear entry: nothing is called clear over it.
    """
    plan = filled.plan
    found: dict[str, list[Entry]] = {}
    findings: list[Finding] = []
    for entry in filled.mobs if plan else ():
        lines = plan.mob_lines.get(entry.text("line"), ()) if plan else ()
        if plan is None or not any(entry.text(name) for name in MOB_FILLED if name != "note"):
            continue
        doses = [plan.doses[line] for line in lines if line in plan.doses]
        word, excepted, strange = _understood(entry, doses, plan)
        if strange or not doses:
            findings.append(problems.except_not_in_mob(
                entry.where("except"), entry.text("medicine"), strange or [entry.text("line")], entry.text("mob")
            ))  # fmt: skip
            word = _WHO_IS_LEFT_OUT
        for dose in doses:
            cells = dict(entry.cells) | {"given": NO if dose.line in excepted and not strange else word}
            if dose.line in excepted:
                cells = {"given": cells["given"], "why_not": _EXCEPTED, "by": cells.get("by")}
            columns = {"given": entry.columns["all_given"], **entry.columns}
            found.setdefault(dose.line, []).append(replace(entry, columns=columns, cells=cells))
    return found, findings


def _understood(entry: Entry, doses: list[PlannedDose], plan: PlanKept) -> tuple[str, set[str], list[str]]:
    """The word for all, lines excepted, and excepted tags that are not of this mob."""
    word = given_word(entry.text("all_given"))
    by_name: dict[str, set[str]] = {}
    for dose in doses:
        for name in {same_tag(dose.tag), same_tag(dose.eid)} - {""}:
            by_name.setdefault(name, set()).add(dose.line)
    tags = [tag for tag in re.split(r"\s*[;,\n]\s*|\s{2,}", entry.text("except")) if tag]
    held = {same_tag(dose.tag) for dose in plan.doses.values() if dose.held}
    strange = [tag for tag in tags if same_tag(tag) not in by_name and same_tag(tag) not in held]
    excepted = {line for tag in tags for line in by_name.get(same_tag(tag), ())}
    # "All given" must be said: a tag alone under "except" may also mean that only this one is done.
    return (word if word == YES else "unclear"), excepted, strange
