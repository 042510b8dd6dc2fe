"""The facts of a course that the record keeps: what its withdrawal period is counted from, and what law asks for.

Kept as JSON with sorted keys, known by the first letters of its SHA-256, so that a changed fact no longer fits its key.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, time
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from batchdose.findings import CellRef
from batchdose.model import Medicine, Pack, Period, SessionFacts

_TEXTS = (
    "name", "active", "route", "site", "needle", "type", "prescriber", "prescription_no", "supplier", "label_source",
    "form", "caution",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts of one course as they were planned.

    `medicine` has what withdrawal is counted from, and the texts of the sheet; what is not kept is None.
    `packs` gives the expiry of each bottle of the plan, None where none is known. `stock` has the lines of the sheet
    Stock for the medicine. `draw_share` is what is drawn for each unit given, losses included as planned, `fill` what
    one fill of the device holds of it [units of product].
    """

    medicine: Medicine
    session: SessionFacts
    doses: int
    reason: str
    packs: Mapping[str, date | None]
    products: tuple[str, ...]
    species: frozenset[str] = frozenset()
    stock: tuple[Pack, ...] = ()
    draw_share: Fraction = Fraction(1)
    fill: Fraction | None = None


@dataclass(frozen=True, slots=True)
class OfStock:
    """Of the facts of a course, those that the stock is counted with: as in `Facts`."""

    stock: tuple[Pack, ...]
    draw_share: Fraction
    fill: Fraction | None


def of_stock(facts: Facts) -> OfStock:
    """What the stock is counted with."""
    return OfStock(facts.stock, facts.draw_share, facts.fill)


def of_stock_in(text: str) -> OfStock:
    """The same from the JSON of facts, without the rest. Raises ValueError or LookupError where it is not ours."""
    return _of_stock(json.loads(text))


def _of_stock(kept: Mapping[str, Any]) -> OfStock:
    packs = tuple(map(_pack, kept.get("stock", ())))
    return OfStock(packs, Fraction(kept.get("draw_share", 1)), _fraction(kept.get("fill")))


def facts_json(facts: Facts) -> str:
    """Facts as JSON text, the same for the same facts."""
    medicine, session = facts.medicine, facts.session
    kept = {
        "medicine": {name: getattr(medicine, name) or "" for name in _TEXTS} | {
            "strength": medicine.strength.text if medicine.strength else "",
            "rate": medicine.rate.text if medicine.rate else "",
            "withdrawal": {p: _period_kept(period) for p, period in medicine.withdrawal.items()},
            "longest_label": {p: _period_kept(period) for p, period in medicine.longest_label.items()},
            "off_label": medicine.off_label, "for_food_animals": medicine.for_food_animals,
            "milk_after_birth": _period_kept(medicine.milk_after_birth),
            "shortest_dry_days": _text(medicine.shortest_dry_days), "every_hours": _text(medicine.every_hours),
            "repeat_after_hours": _text(medicine.repeat_after_hours),
            "expiry": _day(medicine.expiry),
        },
        "session": {
            "client": session.client, "holding": session.holding, "operator": session.operator,
            "rules": session.rules, "organic": session.organic, "zone": str(session.time_zone),
            "milking_times": [at.isoformat("minutes") for at in session.milking_times],
            "unknown": sorted(session.unknown),
        },
        "doses": facts.doses, "reason": facts.reason, "products": list(facts.products),
        "species": sorted(facts.species),
        "packs": {batch: _day(expiry) for batch, expiry in sorted(facts.packs.items())},
        "stock": list(map(_pack_kept, facts.stock)), "draw_share": str(facts.draw_share), "fill": _text(facts.fill),
    }  # fmt: skip
    return json.dumps(kept, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def facts_key(text: str) -> str:
    """The key by which facts are known: the first sixteen letters of the SHA-256 of their JSON."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def facts_of(text: str) -> Facts:
    """Facts from their JSON. Raises ValueError or LookupError where it is not ours."""
    kept = json.loads(text)
    of_medicine, of_session = kept["medicine"], kept["session"]
    known: dict[str, Any] = {name: of_medicine[name] for name in _TEXTS} | {
        "withdrawal": {p: _period(period) for p, period in of_medicine["withdrawal"].items()},
        "longest_label": {p: _period(period) for p, period in of_medicine["longest_label"].items()},
        "off_label": of_medicine["off_label"], "for_food_animals": of_medicine["for_food_animals"],
        "milk_after_birth": _period(of_medicine["milk_after_birth"]),
        "shortest_dry_days": _fraction(of_medicine["shortest_dry_days"]),
        "every_hours": _fraction(of_medicine["every_hours"]),
        "repeat_after_hours": _fraction(of_medicine.get("repeat_after_hours")), "expiry": _date(of_medicine["expiry"]),
        "doses": kept["doses"],
    }  # fmt: skip
    nothing: dict[str, Any] = {field.name: None for field in fields(Medicine)}
    session = SessionFacts(
        client=of_session["client"], holding=of_session["holding"], operator=of_session["operator"],
        rules=of_session["rules"], organic=of_session["organic"], zone=ZoneInfo(of_session["zone"]),
        milking_times=tuple(time.fromisoformat(at) for at in of_session["milking_times"]),
        unknown=frozenset(of_session["unknown"]),
    )  # fmt: skip
    packs = {batch: _date(expiry) for batch, expiry in kept["packs"].items()}
    drawn = _of_stock(kept)
    return Facts(
        Medicine(**(nothing | known)), session, kept["doses"], kept["reason"], packs, tuple(kept["products"]),
        frozenset(kept["species"]), drawn.stock, drawn.draw_share, drawn.fill,
    )  # fmt: skip


def period_kept(period: Period) -> dict[str, object]:
    """A period as plain values; a part that is not stated is left out."""
    parts = {"days": period.days, "hours": period.hours, "milkings": period.milkings}
    kept: dict[str, object] = {name: str(part) for name, part in parts.items() if part is not None}
    return kept | {"text": period.text, "permitted": period.permitted}


def period_of(kept: Mapping[str, Any]) -> Period:
    """A period from plain values."""
    days, hours, milkings = (Fraction(kept[n]) if n in kept else None for n in ("days", "hours", "milkings"))
    return Period(days, hours, milkings, kept["text"], permitted=kept["permitted"])


def _pack_kept(pack: Pack) -> dict[str, object]:
    return {
        "medicine": pack.medicine, "size": str(pack.size), "unit": pack.unit, "packs": pack.packs,
        "batch_no": pack.batch_no, "expiry": _day(pack.expiry), "opened_on": _day(pack.opened_on),
        "use_within_hours": _text(pack.use_within_hours), "left": _text(pack.left), "price": _text(pack.price),
    }  # fmt: skip


def _pack(kept: Mapping[str, Any]) -> Pack:
    return Pack(
        kept["medicine"], Fraction(kept["size"]), kept["unit"], kept["packs"], kept["batch_no"],
        _date(kept["expiry"]), _date(kept["opened_on"]), _fraction(kept["use_within_hours"]),
        _fraction(kept["left"]), _fraction(kept["price"]), CellRef(""),
    )  # fmt: skip


def _period_kept(period: Period | None) -> dict[str, object] | None:
    return None if period is None else period_kept(period)


def _period(kept: Mapping[str, Any] | None) -> Period | None:
    return None if kept is None else period_of(kept)


def _text(value: Fraction | None) -> str | None:
    return None if value is None else str(value)


def _fraction(text: str | None) -> Fraction | None:
    return None if text is None else Fraction(text)


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _date(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
