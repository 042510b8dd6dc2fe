"""The job sheet as finished text: everything the template lays out is worded here, and nothing is calculated."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from batchdose.amounts import date_text
from batchdose.findings import Finding
from batchdose.model import Result
from batchdose.texts import joined, say, speaking, tell
from batchdose.write.cards import medicine_card
from batchdose.write.cautions import cautions
from batchdose.write.clear_dates import clear_dates
from batchdose.write.identity import job_identity
from batchdose.write.lists import mob_lists
from batchdose.write.paging import PAPERS
from batchdose.write.phone import phone_words
from batchdose.write.preparing import checks, record_lines, take_along
from batchdose.write.sheet import JobSheet, Order, PaperName
from batchdose.write.words import in_local_words, word

#: Findings shown on paper; the rest are in the workbook.
MOST_FINDINGS = 5


def build_job_sheet(
    result: Result, order: Order = "tag", paper: PaperName = "a4", *, lists_only: bool = False
) -> JobSheet:
    """The job sheet of a result in the language of its session, the animals of each mob in the order asked for.

    With `lists_only` little else than the lists.
    """
    with speaking(result.session.facts.language):
        return _job_sheet(result, order, paper, lists_only=lists_only)


def _job_sheet(result: Result, order: Order, paper: PaperName, *, lists_only: bool) -> JobSheet:
    facts, rules = result.session.facts, result.session.facts.rules
    shown = sorted(result.findings, key=lambda f: -f.level)[:MOST_FINDINGS]
    used = [result.medicines[i] for i in sorted(result.treatments["medicine"].unique())]
    return JobSheet(
        title=" · ".join(part for part in (say("Job sheet"), facts.client) if part),
        identity=job_identity(result),
        facts=[(name, text) for name, text in (
            (say("Planned for"), planned_text(result)), (say("Client"), facts.client), (say("Holding"), facts.holding),
            (say("Operator"), facts.operator), (say("Weighing sheet"), result.session.source.name)) if text],
        summary=summary_text(result),
        held=list(held_animals(result)),
        take=[take_along(plan, result) for plan in result.product],
        checks=list(checks(result)),
        cautions=list(cautions(used)),
        cards=[medicine_card(medicine, result) for medicine in used],
        lists=list(mob_lists(result, order, PAPERS[paper])),
        record=list(record_lines(result)),
        clear=list(clear_dates(result)),
        findings=[_finding(finding, rules) for finding in shown],
        more_findings=len(result.findings) - len(shown),
        rules=rules,
        phone=phone_words(),
        paper=PAPERS[paper],
        lists_only=lists_only,
        inputs=[(source.name, source.sha256[:16]) for source in result.inputs],
        language=facts.language,
    )  # fmt: skip


def summary_text(result: Result) -> str:
    """How many are ready and how many are not.

    One animal is ready when nothing of what it should get is held.
    """
    ready, not_ready = counts(result)
    if not_ready:
        return say("{ready} ready, {held} not", ready=ready, held=not_ready)
    return say("{ready} ready", ready=ready)


def counts(result: Result) -> tuple[int, int]:
    """Head that are ready, and head of which something is held."""
    table = result.treatments
    held = table.groupby("animal")["held"].any()
    head = table.groupby("animal")["head"].first()
    return int(head[~held].sum()), int(head[held].sum())


def planned_text(result: Result) -> str:
    """The day of the job, with the hour where it is known."""
    at = result.planned.at
    return date_text(at.date()) + (f", {at:%H:%M}" if result.planned.timed else "")


def held_animals(result: Result) -> Iterator[tuple[str, str, str, str]]:
    """Held animals by reason: tags, mob, medicines, reason."""
    held = result.treatments[result.treatments["held"]][["animal", "tag", "mob", "medicine", "why"]]
    of_animals: dict[tuple[object, str], list[dict[Any, Any]]] = {}
    for row in held.to_dict("records"):
        of_animals.setdefault((row["animal"], joined("; ", row["why"])), []).append(row)
    tags: dict[tuple[str, str, str], list[str]] = {}
    for (_, reason), rows in of_animals.items():
        names = "; ".join(dict.fromkeys(result.medicines[row["medicine"]].name for row in rows))
        tags.setdefault((rows[0]["mob"], names, reason), []).append(rows[0]["tag"])
    for (mob, names, reason), of_mob in tags.items():
        yield ", ".join(sorted(of_mob)) or mob, mob, names, in_local_words(reason, result.session.facts.rules)


def _finding(finding: Finding, rules: str) -> tuple[str, str, str, str]:
    message, fix = (in_local_words(text, rules) for text in (finding.message, finding.fix))
    return word(finding.level.word), tell(finding.where.place).replace("!", " "), message, fix
