"""The register for an inspector: the fields that the rules of a place ask for, and what of them is missing.

The fields are data (`batchdose/data/record_fields.csv`), with the source of each list and how far it was read.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from importlib.resources import files

from batchdose.amounts import date_text, unit_word
from batchdose.findings import UnusableInputError
from batchdose.given import NO
from batchdose.kept import Facts
from batchdose.record.animals import Animal, about
from batchdose.record.clear import Clearing
from batchdose.record.consignment import Listed
from batchdose.record.entries import at_of
from batchdose.record.rows import Row
from batchdose.words import same_name
from batchdose.write.register import Register
from batchdose.write.words import in_local_words

#: Lists of fields by rules: those of the one who keeps animals, and those of the vet who prescribes off the label.
VIEWS = {
    "EU": ("EU_108_keeper",), "GB": ("UK_reg17_19_keeper",), "US": ("US_FDA_farm_list", "US_BQA"),
    "AU": ("AU_VIC_farmer", "AU_LPA"), "NZ": ("NZ_dairy_RMP",),
    "GB-VET": ("UK_reg24_vet_cascade",), "US-VET": ("US_21CFR530_5_vet_extralabel",),
}  # fmt: skip
#: Asked for, but papers or lists of their own.
KEPT_APART = (
    "proof of purchase kept", "date of purchase and quantity bought", "disposal record (unused, expired)",
    "copy of prescription kept", "owner name and address",
)  # fmt: skip
_OWNER = "owner name and address"
_ALWAYS = "date of treatment (last)"
_ABOUT_THE_LIST = ("RETENTION years", "TIME LIMIT to write", "VERIFIED", "SOURCE")


@dataclass(frozen=True)
class _Line:
    """One treatment with all that is known of it."""

    row: Row
    facts: Facts | None
    moments: tuple[datetime, ...]
    clear: str


@cache
def _table() -> tuple[dict[str, str], ...]:
    text = (files("batchdose") / "data" / "record_fields.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


@cache
def _titles() -> Mapping[str, tuple[str, str]]:
    text = (files("batchdose") / "data" / "record_sources.csv").read_text(encoding="utf-8")
    return {row["key"]: (row["title"], row["state"]) for row in csv.DictReader(text.splitlines())}


def required_fields(rules: str) -> list[str]:
    """Fields that the rules of a place ask of the keeper, in the order of the table; the last date always."""
    return [
        row["field"] for row in _table()
        if row["field"] not in _ABOUT_THE_LIST
        and (row["field"] == _ALWAYS or any(row[view] == "required" for view in VIEWS[rules]))
    ]  # fmt: skip


def build_register(
    clearing: Clearing, rules: str, printed: date, *, days: int | None = None, names: Sequence[Listed] | None = None
) -> Register:
    """The register of a record under the rules of a place.

    With `days` only what was given in so many days before `printed`, or at an unknown time; with `names` only what
    these animals got: what a buyer is told. Raises UnusableInputError for a place without a list.
    """
    if rules not in VIEWS:
        raise UnusableInputError("--for", f'No list of fields is known for "{rules}".', f"Known: {', '.join(VIEWS)}.")
    fields = required_fields(rules)
    vet, place = rules.endswith("-VET"), rules.partition("-")[0]
    # The keeper is the owner; a vet has many, and writes down whose animals they are.
    apart = [field for field in fields if field in KEPT_APART and not (vet and field == _OWNER)]
    shown = [field for field in fields if field not in apart]
    chosen = _chosen(clearing, printed, days, names)
    unknown = [one.name for one in names or () if clearing.animals.of_both(one.eid, one.tag)[0] is None]
    found = [line for line in _lines(clearing) if chosen(line.row) and (not vet or _may_be_off_label(line))]
    lines = sorted(found, key=lambda line: (line.row.given_at[:10] or "9999", line.row.number))
    headings = [_heading(field, place) for field in shown]
    clients = dict.fromkeys(facts.session.client for facts in clearing.record.facts.values())
    altered = "" if clearing.sound else "The record was altered since it was written: batchdose check says which row."
    not_known = f"Not known in this record: {', '.join(unknown)}." if unknown else ""
    warning = " ".join(filter(None, (altered, not_known)))
    within = f", given in the {days} days before {date_text(printed)}" if days is not None else ""
    return Register(
        title=f"{_title(vet=vet, place=place)}{within}", client=", ".join(filter(None, clients)),
        printed=date_text(printed), head_hash=clearing.record.head_hash, warning=warning,
        retention=[_retention(view) for view in VIEWS[rules]], sources=[_source(view) for view in VIEWS[rules]],
        headings=["Row", *headings, "Missing"], lines=[_texts(line, shown) for line in lines],
        apart=apart,
    )  # fmt: skip


def _title(*, vet: bool, place: str) -> str:
    if vet:
        return f"Prescriber's record of use {in_local_words('off label', place)} ({place})"
    return f"Register of treatments ({place})"


def _heading(field: str, place: str) -> str:
    """A field in the words of a place; "batch (lot)" is one word there."""
    local = in_local_words(field[0].upper() + field[1:], place)
    return local.replace("Lot (lot)", "Lot").replace("lot (lot)", "lot")


def _may_be_off_label(line: _Line) -> bool:
    """Whether a treatment was off the label, or nothing is kept of its label."""
    return line.facts is None or line.facts.medicine.off_label


def _chosen(
    clearing: Clearing, printed: date, days: int | None, names: Sequence[Listed] | None
) -> Callable[[Row], bool]:
    """Whether a dose is among those asked for. One without a time always is: it may be."""
    known = [animal for one in names or () if (animal := clearing.animals.of_both(one.eid, one.tag)[0])]
    numbers = {row.number for animal in known for row in animal.rows}

    def chosen(row: Row) -> bool:
        at = at_of(row.given_at, clearing.zone)
        recent = days is None or at is None or (printed - at.date()).days <= days
        return recent and (names is None or row.number in numbers)

    return chosen


def _lines(clearing: Clearing) -> list[_Line]:
    """Every dose given, as its last row says, with the dates of its course."""
    found: list[_Line] = []
    every = [row for row in clearing.latest.values() if row.given != NO]
    of_course: dict[str, list[Row]] = {}
    for row in every:
        of_course.setdefault(row.course, []).append(row)
    for row in every:
        mine = of_course[row.course]
        moments = tuple(sorted(at for other in mine if (at := at_of(other.given_at, clearing.zone))))
        found.append(_Line(row, clearing.record.facts.get(row.facts), moments, _clear_text(clearing, row, mine)))
    return found


def _clear_text(clearing: Clearing, row: Row, of_course: Sequence[Row]) -> str:
    """When each product is clear after this treatment, as the record counts it; empty where it is not stated."""
    if not clearing.sound:
        return ""
    texts = []
    for product in clearing.products():
        clear = clearing.held(Animal(row.tag, row.eid, row.mob, tuple(of_course)), product).clear
        if clear.state == "from" and clear.at is not None:
            texts.append(f"{product} {_date(clear.at.date())} {clear.at:%H:%M}")
        elif clear.state == "not_permitted":
            texts.append(f"{product} never")
    return "; ".join(texts)


def _texts(line: _Line, fields: list[str]) -> list[str]:
    texts = {field: _OF_FIELD[field](line) for field in fields}
    missing = [field for field, text in texts.items() if not text and not _not_due(field, line)]
    row = line.row
    number = f"{row.row}, corrects {row.corrects}" if row.corrects else row.row
    return [number, *texts.values(), "; ".join(missing)]


def _not_due(field: str, line: _Line) -> bool:
    """Whether a field that applies only in some cases does not apply here: the prescriber of what needs none."""
    if not field.startswith("prescriber") or line.facts is None:
        return False
    medicine = line.facts.medicine
    return not (medicine.off_label or medicine.prescription_no or medicine.type == "antibiotic")


def _medicine(name: str) -> Callable[[_Line], str]:
    return lambda line: str(getattr(line.facts.medicine, name) or "") if line.facts else ""


def _periods(line: _Line) -> str:
    stated = line.facts.medicine.withdrawal if line.facts else {}
    return "; ".join(f"{product} {period.text}" for product, period in stated.items() if period is not None)


def _expiry(line: _Line) -> str:
    if line.facts is None:
        return ""
    packs = {same_name(batch): expiry for batch, expiry in line.facts.packs.items()}
    batches = filter(None, map(str.strip, line.row.batch_no.split(";")))
    known = [expiry for batch in batches if (expiry := packs.get(same_name(batch)) or line.facts.medicine.expiry)]
    return "; ".join(map(_date, dict.fromkeys(known)))


def _route(line: _Line) -> str:
    medicine = line.facts.medicine if line.facts else None
    return ", ".join(filter(None, (medicine.route, medicine.site))) if medicine else ""


def _duration(line: _Line) -> str:
    if not line.moments:
        return ""
    days = (line.moments[-1].date() - line.moments[0].date()).days + 1
    return f"{days} day{'s' if days > 1 else ''}"


def _amount(line: _Line) -> str:
    return f"{line.row.amount} {unit_word(line.row.unit)}" if line.row.amount else ""


def _weight(line: _Line) -> str:
    kilograms = about(line.row).get("kg")
    return f"{kilograms:g} kg" if isinstance(kilograms, (int, float)) else ""


def _who(line: _Line) -> str:
    row = line.row
    parts = (row.tag, f"EID {row.eid}" if row.eid else "", row.mob, f"{row.head} head" if row.head != "1" else "")
    return ", ".join(filter(None, parts))


def _date(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


_OF_FIELD: dict[str, Callable[[_Line], str]] = {
    _OWNER: lambda line: line.facts.session.client if line.facts else "",
    "date of treatment (first)": lambda line: _date(line.moments[0].date()) if line.moments else "",
    "date of treatment (last)": lambda line: _date(line.moments[-1].date()) if line.moments else "",
    "medicine name": lambda line: line.row.medicine,
    "active substance": _medicine("active"),
    "quantity given / dose": _amount,
    "batch (lot) number": lambda line: line.row.batch_no,
    "expiry date": _expiry,
    "supplier name and address": _medicine("supplier"),
    "animal or group identification": _who,
    "number of animals": lambda line: line.row.head,
    "species": lambda line: str(about(line.row).get("species", "")),
    "location of animals": lambda line: line.facts.session.holding if line.facts else "",
    "prescriber (vet) name and contact": _medicine("prescriber"),
    "withdrawal period (also when zero)": _periods,
    "withdrawal end date": lambda line: line.clear,
    "duration of treatment": _duration,
    "route of administration": _route,
    "body weight used for the dose": _weight,
    "reason / diagnosis / condition treated": lambda line: line.facts.reason if line.facts else "",
    "person administering": lambda line: line.row.by,
}


def _row_of(field: str, view: str) -> str:
    return next(row[view] for row in _table() if row["field"] == field)


def _retention(view: str) -> str:
    return f"Keep these records for at least {_row_of('RETENTION years', view)} years ({_named(view)})."


def _source(view: str) -> str:
    return f"{_named(view)}. How far it was read: {_row_of('VERIFIED', view)}."


def _named(view: str) -> str:
    key = _row_of("SOURCE", view).split()[0]
    return _titles()[key][0] if key in _titles() else _row_of("SOURCE", view)
