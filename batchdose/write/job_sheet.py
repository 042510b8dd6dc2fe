"""The job sheet as finished text: everything the template lays out is worded here, and nothing is calculated."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from batchdose.amounts import date_text
from batchdose.findings import Finding
from batchdose.model import Result
from batchdose.write.cards import medicine_card
from batchdose.write.cautions import cautions
from batchdose.write.clear_dates import clear_dates
from batchdose.write.identity import job_identity
from batchdose.write.lists import mob_lists
from batchdose.write.phone import phone_words
from batchdose.write.preparing import checks, record_lines, take_along
from batchdose.write.sheet import JobSheet, Order
from batchdose.write.words import in_local_words, local

#: Findings shown on paper; the rest are in the workbook.
MOST_FINDINGS = 5


def build_job_sheet(result: Result, order: Order = "tag") -> JobSheet:
    """The job sheet of a result, the animals of each mob in the order asked for."""
    facts, rules = result.session.facts, result.session.facts.rules
    shown = sorted(result.findings, key=lambda f: -f.level)[:MOST_FINDINGS]
    used = [result.medicines[i] for i in sorted(result.treatments["medicine"].unique())]
    words = {word: local(word, rules) for word in ("withdrawal", "off label", "batch")}
    return JobSheet(
        title=" · ".join(part for part in ("Job sheet", facts.client) if part),
        identity=job_identity(result),
        facts=[(name, text) for name, text in (
            ("Planned for", planned_text(result)), ("Client", facts.client), ("Holding", facts.holding),
            ("Operator", facts.operator),
            ("Weighing sheet", result.session.source.name)) if text],
        summary=summary_text(result),
        held=list(held_animals(result)),
        take=[take_along(plan, result, words) for plan in result.product],
        checks=list(checks(result)),
        cautions=list(cautions(used)),
        cards=[medicine_card(medicine, result) for medicine in used],
        lists=list(mob_lists(result, order)),
        record=list(record_lines(result, words)),
        clear=list(clear_dates(result)),
        findings=[_finding(finding, rules) for finding in shown],
        more_findings=len(result.findings) - len(shown),
        words=words,
        phone=phone_words(),
        inputs=[(source.name, source.sha256[:16]) for source in result.inputs],
    )  # fmt: skip


def summary_text(result: Result) -> str:
    """How many are ready and how many are not.

    One animal is ready when nothing of what it should get is held.
    """
    ready, not_ready = counts(result)
    return f"{ready} ready" + (f", {not_ready} not" if not_ready else "")


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
    treatments = result.treatments

    def named(indices: pd.Series[int]) -> str:
        return "; ".join(dict.fromkeys(result.medicines[i].name for i in indices))

    held = treatments[treatments["held"]].assign(
        reason=["; ".join(why) for why in treatments[treatments["held"]]["why"]]
    )
    of_animal = held.groupby(["animal", "reason"], sort=False)["medicine"].agg(named).reset_index()
    first = held.drop_duplicates("animal").set_index("animal")
    of_animal["tag"] = of_animal["animal"].map(first["tag"])
    of_animal["mob"] = of_animal["animal"].map(first["mob"])
    for key, group in of_animal.groupby(["mob", "medicine", "reason"], sort=False):
        mob, names, reason = (str(part) for part in key)
        yield ", ".join(sorted(group["tag"])) or mob, mob, names, in_local_words(reason, result.session.facts.rules)


def _finding(finding: Finding, rules: str) -> tuple[str, str, str, str]:
    message, fix = (in_local_words(text, rules) for text in (finding.message, finding.fix))
    return finding.level.word, finding.where.place.replace("!", " "), message, fix
