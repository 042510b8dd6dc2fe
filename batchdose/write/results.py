"""The results as JSON for other programs, in the form that `docs/results.schema.json` describes."""

from __future__ import annotations

import json
import math
from datetime import datetime
from typing import Any

from batchdose import __version__
from batchdose.amounts import UNIT_WORDS
from batchdose.findings import Finding
from batchdose.model import Assurance, Clear, LeftOver, MobPlan, Moment, ProductPlan, Result

FORMAT = 1
#: Units as other programs know them; IU stays IU here, and is written `units` on paper only.
_UNITS = {name: word for name, word in UNIT_WORDS.items() if name != "IU"}


def results_json(result: Result) -> str:
    """The whole result as JSON text, a line for each treatment, mob and finding.

    Numbers are numbers, dates ISO 8601 with offset.
    """
    return "{\n" + ",\n".join(f"{_json(name)}: {_lines(value)}" for name, value in results(result).items()) + "\n}\n"


def _lines(value: object) -> str:
    if not isinstance(value, list) or not value:
        return _json(value)
    return "[\n" + ",\n".join(map(_json, value)) + "\n]"


def _json(value: object) -> str:
    # Without indents, which only the slow encoder knows.
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def results(result: Result) -> dict[str, Any]:
    """The whole result as plain values."""
    return {
        "batchdose": __version__,
        "format": FORMAT,
        "job": {
            "client": result.session.facts.client or None,
            "planned": _moment(result.planned),
            "language": result.session.facts.language,
            "inputs": [{"name": source.name, "sha256": source.sha256} for source in result.inputs],
        },
        "treatments": [_treatment(row, result) for row in result.treatments.to_dict("records")],
        "mobs": [_mob(mob, result) for mob in result.mobs],
        "product": [_product(plan) for plan in result.product],
        "assurance": [_assurance(found, result) for found in result.assurance],
        "findings": [_finding(finding) for finding in result.findings],
    }


def _treatment(row: dict[Any, Any], result: Result) -> dict[str, Any]:
    clears: dict[str, Clear] = {product: row[f"clear:{product}"] for product in result.products_clear}
    return {
        "row": row["cell"],
        "tag": row["tag"] or None,
        "eid": row["eid"] or None,
        "mob": row["mob"] or None,
        "weight_kg": _number(row["weight_kg"]),
        "medicine": result.medicines[row["medicine"]].name,
        "held": bool(row["held"]),
        "why": list(row["why"]),
        "target": _number(row["target"]),
        "dose": _number(row["dose"]),
        "unit": _unit(row["unit"]),
        "rate_given": _number(row["rate_given"]),
        "rate_unit": _unit(row["rate_unit"]),
        "draft": row["draft"] or None,
        "sites": row["sites"],
        "per_site": row["per_site"],
        "doses": row["doses"],
        "planned_for": [_moment(moment) for moment in row["planned_for"]],
        "working": row["working"],
        "batch_no": row["batch_no"],
        "clear": {product: _at(clear.at) for product, clear in clears.items()},
        "clear_state": {product: clear.state for product, clear in clears.items()},
    }


def _mob(mob: MobPlan, result: Result) -> dict[str, Any]:
    return {
        "mob": mob.mob or None,
        "medicine": result.medicines[mob.medicine].name,
        "head": mob.head,
        "drafts": [
            {
                "draft": d.label, "from_kg": d.from_kg, "to_kg": d.to_kg, "setting": float(d.setting),
                "gun_to": None if d.gun_to is None else float(d.gun_to), "head": d.head,
            }
            for d in mob.drafts
        ],
        "total": float(mob.total),
        "unit": _unit(mob.unit),
        "curve": [{"drafts": p.drafts, "product": float(p.product), "over": p.over} for p in mob.curve],
    }  # fmt: skip


def _product(plan: ProductPlan) -> dict[str, Any]:
    return {
        "medicine": plan.medicine,
        "doses": plan.doses,
        "to_draw": float(plan.to_draw),
        "unit": _unit(plan.unit),
        "packs": [
            {"size": float(pack.size), "packs": pack.packs, "batch_no": pack.batch_no or None} for pack in plan.packs
        ],
        "left_over": [_left_over(over) for over in plan.left_over],
        "short": float(plan.short) if plan.stock_known else None,
        "cost": None if plan.cost is None else float(plan.cost),
        "cost_per_animal": plan.cost_per_animal,
        "cost_per_kg": plan.cost_per_kg,
    }  # fmt: skip


def _left_over(over: LeftOver) -> dict[str, Any]:
    return {
        "size": float(over.size),
        "batch_no": over.batch_no or None,
        "left": float(over.left),
        "opened_on": over.opened_on.isoformat() if over.opened_on else None,
        "use_by": over.use_by.isoformat() if over.use_by else None,
        "punctures": over.punctures,
    }


def _assurance(found: Assurance, result: Result) -> dict[str, Any]:
    return {
        "medicine": result.medicines[found.medicine].name,
        "mob": found.mob or None,
        "draft": found.draft or None,
        "low": found.low,
        "high": found.high if math.isfinite(found.high) else None,
        "likely_low": found.likely_low,
        "likely_high": found.likely_high if math.isfinite(found.likely_high) else None,
        "unit": _unit(found.unit),
    }  # fmt: skip


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "level": finding.level.word,
        "rule": finding.rule,
        "workbook": finding.where.workbook,
        "sheet": finding.where.sheet,
        "cell": finding.where.cell,
        "seen": finding.seen,
        "message": finding.message,
        "fix": finding.fix,
    }


def _unit(unit: str) -> str:
    first, stroke, per = unit.partition("/")
    return f"{_UNITS.get(first, first)}{stroke}{per}"


def _number(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _moment(moment: Moment) -> str:
    """Date and time with offset, or the date alone where no time is known."""
    return moment.at.isoformat() if moment.timed else moment.at.date().isoformat()


def _at(at: datetime | None) -> str | None:
    return at.isoformat() if at else None
