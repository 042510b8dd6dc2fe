"""The job sheet as finished text: everything the template lays out is worded here, and nothing is calculated."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import cache
from importlib.resources import files
from typing import Any

import pandas as pd

from batchdose.amounts import amount_text, date_text, number_text, unit_word
from batchdose.calculate.withdrawal import STATES, Clear
from batchdose.findings import Finding
from batchdose.model import Medicine, ProductPlan, Result
from batchdose.write.cards import by_needle, device_text, medicine_card
from batchdose.write.sheet import AnimalRow, ClearLine, DoseCell, JobSheet, MobList
from batchdose.write.words import in_local_words, local

#: Findings shown on paper; the rest are in the workbook.
MOST_FINDINGS = 5


def build_job_sheet(result: Result) -> JobSheet:
    """The job sheet of a result."""
    facts, rules = result.session.facts, result.session.facts.rules
    shown = sorted(result.findings, key=lambda f: -f.level)[:MOST_FINDINGS]
    used = [result.medicines[i] for i in sorted(result.treatments["medicine"].unique())]
    treatments = result.treatments
    words = {word: local(word, rules) for word in ("withdrawal", "off label", "batch")}
    when = date_text(result.planned.at.date()) + (f", {result.planned.at:%H:%M}" if result.planned.timed else "")
    return JobSheet(
        title=" · ".join(part for part in ("Job sheet", facts.client) if part),
        identity=job_identity(result),
        facts=[(name, text) for name, text in (
            ("Planned for", when), ("Client", facts.client), ("Holding", facts.holding), ("Operator", facts.operator),
            ("Weighing sheet", result.session.source.name)) if text],
        summary=summary_text(result),
        take=[_take(plan, result, words) for plan in result.product],
        clear=list(_clear_dates(result)),
        held=list(_held(treatments, result)),
        cards=[medicine_card(medicine, result) for medicine in used],
        lists=list(_lists(result)),
        findings=[_finding(finding, rules) for finding in shown],
        more_findings=len(result.findings) - len(shown),
        cautions=list(_cautions(used)),
        words=words,
    )  # fmt: skip


def job_identity(result: Result) -> str:
    """Eight letters and digits that name this job: from the inputs' hashes and the planned moment."""
    text = "|".join([*(source.sha256 for source in result.inputs), result.planned.at.isoformat()])
    digest = hashlib.sha256(text.encode()).hexdigest()
    return f"{digest[:4]}-{digest[4:8]}"


def summary_text(result: Result) -> str:
    """How many are ready and how many are not.

    One animal is ready when nothing of what it should get is held.
    """
    table = result.treatments
    held = table.groupby("animal")["held"].any()
    head = table.groupby("animal")["head"].first()
    ready, not_ready = int(head[~held].sum()), int(head[held].sum())
    return f"{ready} ready" + (f", {not_ready} not" if not_ready else "")


def paper_date(at: datetime) -> date:
    """The date printed for a clear-from moment: the midnight at or after it.

    A mob that is started at nine is finished at two; the hour comes from the record of what was given.
    """
    return at.date() if at.time() == datetime.min.time() else at.date() + timedelta(days=1)


def _take(plan: ProductPlan, result: Result, words: dict[str, str]) -> tuple[str, str, str, str, str]:
    medicine = next(m for m in result.medicines if m.name == plan.medicine)
    unit = unit_word(plan.unit, 2)
    packs = "; ".join(
        f"{p.packs} x {amount_text(p.size, plan.unit)}"
        + (f", {words['batch']} {p.batch_no}" if p.batch_no else "")
        + (f", use by {date_text(p.expiry)}" if p.expiry else "")
        + (" - TO BUY" if p.to_buy else "")
        for p in plan.packs
    )
    missing = f" {amount_text(plan.short, plan.unit)} short." if plan.stock_known and plan.short else ""
    marks = -(-plan.to_draw // medicine.graduation)
    draw = f"{number_text(marks * medicine.graduation)} {unit}"
    device = ", ".join(text for text in (device_text(medicine), medicine.needle) if text)
    return plan.medicine, draw, f"{packs}{missing}" or "see the store", device, " ".join(plan.remarks)


def _clear_text(product: str, clear: Clear, rules: str) -> tuple[str, bool]:
    """What is printed for a clear-from, and whether it is a date."""
    if clear.state == "from" and clear.at is not None:
        return date_text(paper_date(clear.at)), True
    if clear.state == "not_permitted":
        return f"Never from this treatment: {product} is not permitted.", False
    if clear.state == "not_stated":
        why = in_local_words(clear.why, rules)
        return f"Not known: {why}. Do not use it until the label or the prescriber gives a period.", False
    return "", False


def _clear_dates(result: Result) -> Iterator[tuple[str, list[ClearLine]]]:
    """For each mob, each product's clear-from, the latest first; where animals differ, with who is meant."""
    given, rules = result.treatments[~result.treatments["held"]], result.session.facts.rules
    for mob, group in given.drop_duplicates("animal").groupby("mob", sort=False):
        lines: list[ClearLine] = []
        for product in result.products_clear:
            texts = group[f"clear:{product}"].map(lambda clear, p=product: _clear_text(p, clear, rules))
            texts = texts[texts.map(lambda text: bool(text[0]))]
            kinds = sorted(texts.unique(), key=_latest_first(group[f"clear:{product}"], texts), reverse=True)
            for text, dated in kinds:
                who = group.loc[texts.index[texts == (text, dated)]]
                lines.append(ClearLine(product.capitalize(), text, dated, _who(who) if len(kinds) > 1 else ""))
        yield str(mob) or "All animals", lines


def _latest_first(clears: pd.Series[Any], texts: pd.Series[Any]) -> Callable[[tuple[str, bool]], tuple[int, datetime]]:
    """Sort key of a clear text: how strong its state is, then how late its moment."""
    first = {text: clears.loc[index] for index, text in reversed(list(texts.items()))}

    def key(text: tuple[str, bool]) -> tuple[int, datetime]:
        clear: Clear = first[text]
        return STATES.index(clear.state), clear.at or datetime.min.replace(tzinfo=UTC)

    return key


def _who(animals: pd.DataFrame) -> str:
    """Up to six tags, else how many."""
    if len(animals) > 6:
        return f"{int(animals['head'].sum())} head, see the workbook"
    return ", ".join(sorted(tag or "whole mob" for tag in animals["tag"]))


def _held(treatments: pd.DataFrame, result: Result) -> Iterator[tuple[str, str, str, str]]:
    """Held animals by reason: mob, tags, medicines, reason."""

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


def _lists(result: Result) -> Iterator[MobList]:
    """Animals mob by mob, sorted by tag, each with its dose of every medicine or DO NOT DOSE."""
    columns = ["animal", "tag", "mob", "head", "medicine", "held", "dose", "unit", "draft", "sites", "per_site",
               "doses", "planned_for"]  # fmt: skip
    weights = result.session.animals["weight_text"].to_dict()
    mobs: dict[str, dict[int, list[dict[Any, Any]]]] = {mob: {} for mob in result.treatments["mob"].unique()}
    for row in result.treatments[columns].sort_values("tag", kind="stable").to_dict("records"):
        mobs[row["mob"]].setdefault(row["animal"], []).append(row)
    for mob, animals in mobs.items():
        indices = sorted({row["medicine"] for rows in animals.values() for row in rows})
        listed = [
            AnimalRow(
                rows[0]["tag"] or _many(rows[0]["head"], of_mob=len(animals)),
                weights[animal],
                [_dose_cell([row for row in rows if row["medicine"] == index]) for index in indices],
                any(row["held"] for row in rows),
            )
            for animal, rows in animals.items()
        ]
        yield MobList(mob or "All animals", len(listed), [result.medicines[i].name for i in indices], listed)


def _many(head: int, *, of_mob: int) -> str:
    """A row that stands for many: a mob given as a whole, or the unweighed of one weighed in part."""
    return f"{head} not weighed" if of_mob > 1 else f"whole mob of {head}"


def _dose_cell(rows: list[dict[Any, Any]]) -> DoseCell:
    if not rows:
        return DoseCell()
    given = [row for row in rows if not row["held"]]
    if not given:
        return DoseCell("DO NOT DOSE", stop=True)
    several = sum(row["doses"] for row in given) > 1
    doses = " + ".join(dict.fromkeys(amount_text(row["dose"], row["unit"]) for row in given))
    more = "; ".join(part for row in given for part in _beside(row, dated=several))
    return DoseCell(doses, more, sum(row["doses"] for row in given))


def _beside(row: dict[Any, Any], *, dated: bool) -> Iterator[str]:
    """What stands beside a dose: its weight group, its places, and its days where there are several."""
    if row["draft"]:
        yield f"group {row['draft']}"
    if row["sites"] > 1:
        yield f"{row['sites']} places: {' + '.join(number_text(part) for part in row['per_site'])}"
    if dated:
        yield ", ".join(f"{m.at.day} {m.at:%b}" for m in row["planned_for"])


def _finding(finding: Finding, rules: str) -> tuple[str, str, str, str]:
    message, fix = (in_local_words(text, rules) for text in (finding.message, finding.fix))
    return finding.level.word, finding.where.place.replace("!", " "), message, fix


@cache
def _caution_rows() -> tuple[dict[str, str], ...]:
    text = (files("batchdose") / "data" / "cautions.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def _cautions(medicines: Sequence[Medicine]) -> Iterator[tuple[str, str]]:
    """Cautions that match a medicine by name, active, form, type or route."""
    about = " ".join(f"{m.name} {m.active} {m.form} {m.type} {m.route}" for m in medicines).casefold()
    about += " injection" if any(by_needle(m) for m in medicines) else ""
    for row in _caution_rows():
        if row["matches"] in about:
            yield row["caution"], row["first_aid"]
