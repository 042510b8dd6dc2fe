"""The fields of each sheet and the headings accepted for them: one table, read by code and docs."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from batchdose.amounts import clean
from batchdose.units import BODYWEIGHT, DURATION, PRODUCT, UnknownUnitError, unit_named


@dataclass(frozen=True, slots=True)
class Field:
    """One column: its name in the program, the headings that mean it (the first is ours), what it holds."""

    name: str
    headings: tuple[str, ...]
    needed: bool = False


def _field(name: str, *others: str, needed: bool = False) -> Field:
    return Field(name, (name.replace("_", " ").capitalize(), *others), needed)


#: A heading listed for two fields of one sheet could mean either: it is asked about, never assumed.
WEIGHING = (
    _field("tag", "Ear tag", "Tag number", "Tag no", "Visual ID", "Visual tag", "Animal", "Animal ID", "ID", "Number"),
    _field("eid", "E.I.D.", "Electronic ID", "Electronic number", "RFID", "Number"),
    _field(
        "weight",
        "Liveweight",
        "Live weight",
        "Bodyweight",
        "Body weight",
        "Weaning weight",
        "Wt",
        "Live wt",
        "LW",
        "Lwt",
        "Mass",
        needed=True,
    ),
    _field("weight_unit", "Unit", "Units", "Unit of weight"),
    _field("last_weight", "Previous weight", "Weight last time"),
    _field("mob", "Group", "Pen", "Herd", "Flock"),
    _field("species"),
    _field("kind", "Class", "Stock class"),
    _field("sex"),
    _field("status", "State"),
    _field("born", "Date of birth", "Birth date", "Date"),
    _field("leaves_on", "Leaves", "Date"),
    _field("slaughter_on", "Slaughter", "Slaughter date", "Sale or slaughter"),
    _field("sold_on", "Sale date", "Sale or slaughter"),
    _field("first_milk_sold"),
    _field("due", "Due date", "Calving", "Lambing", "Kidding", "Calving date", "Lambing date", "Kidding date"),
    _field(
        "gave_birth",
        "Calved",
        "Lambed",
        "Kidded",
        "Calving",
        "Lambing",
        "Kidding",
        "Calving date",
        "Lambing date",
        "Kidding date",
    ),
    _field("weighed_on", "Weighing date", "Date weighed", "Date"),
    _field("last_weighed_on", "Last weighing", "Date of last weighing"),
    _field("meat_clear_from", "Meat clear"),
    _field("milk_clear_from", "Milk clear"),
    _field("medicine", "Medicines", "Treatment"),
    _field("courses_in_12_months", "Courses in the last 12 months", "Treatments in 12 months"),
    _field("give_anyway"),
    _field("note", "Remarks", "Notes", "Comment"),
)


def _headings_of(name: str) -> tuple[str, ...]:
    """Further headings of a field of the weighing sheet that mean it alone, for the other sheets."""
    [spec] = [spec for spec in WEIGHING if spec.name == name]
    shared = {heading for other in WEIGHING if other.name != name for heading in other.headings}
    return tuple(heading for heading in spec.headings[1:] if heading not in shared)


MOBS = (
    _field("mob", *_headings_of("mob"), needed=True),
    _field("head", "Number", "Count", needed=True),
    _field("species"),
    _field("kind", "Class"),
    _field("status"),
    _field("heaviest", "Heaviest weight"),
    _field("lightest", "Lightest weight"),
    _field("average", "Average weight"),
    _field("weight_unit", "Unit", "Units"),
)

CONTACTS = (
    _field("client", "Client name", "Customer", needed=True),
    _field("to", "Email", "E-mail", "Mail", "Address", "E-mail address", needed=True),
    _field("cc", "Copy to", "Copy"),
    _field("language"),
)

TREATMENTS = (
    _field("medicine", "Product", needed=True),
    _field("mob", *_headings_of("mob")),
    _field("tag", *_headings_of("tag"), "EID", *_headings_of("eid")),
    _field("on", "Date", "When", "Day"),
    _field("reason", "Why", "Disease"),
    _field("chosen_rate", "Rate chosen"),
    _field("note", "Remarks", "Notes", "Comment", "By", "Operator", "Prescriber", "Vet"),
)

MEDICINES = (
    _field("medicine", "Product", "Name", needed=True),
    _field("active_substance", "Active", "Active ingredient", "Actives"),
    _field("form"),
    _field("type"),
    _field("supplier", "Supplied by"),
    _field("prescriber", "Prescribed by", "Prescribing vet"),
    _field("prescription_number", "Prescription no"),
    _field("label_source", "Source"),
    _field("species"),
    _field("kind", "Class"),
    _field("minimum_weight", "Lowest weight", "Weight"),
    _field("maximum_weight", "Highest weight", "Weight"),
    _field("minimum_age", "Age"),
    _field("maximum_age", "Age"),
    _field("not_for"),
    _field("route"),
    _field("site", "Injection site"),
    _field("max_per_site", "Maximum per site"),
    _field("needle"),
    _field("strength", "Concentration"),
    _field("dose_rate", "Rate", "Dosage", "Label rate", "Dose"),
    _field("lowest_rate"),
    _field("highest_rate"),
    _field("minimum_dose", "Lowest dose", "Least dose"),
    _field("maximum_dose", "Highest dose", "Largest dose"),
    _field("dose_by"),
    _field("graduation", "Smallest mark"),
    _field("device_size", "Device"),
    _field("largest_device"),
    _field("automatic_injector"),
    _field("device_tolerance", "Tolerance of the device"),
    _field("priming", "Priming at each fill"),
    _field("dead_space", "Lost at each needle"),
    _field("animals_per_needle", "Change needle after"),
    _field("most_punctures", "Most punctures of the stopper"),
    _field("loss"),
    _field("mix_batches"),
    _field("gun_set_to"),
    _field("gun_gave", "Gun gave in all"),
    _field("gun_shots", "Shots"),
    _field("rounding"),
    _field("narrow_margin"),
    _field("doses", "Number of doses", "Dose"),
    _field("every", "Interval"),
    _field("repeat_after", "Not again within", "Do not repeat within", "Shortest time between treatments"),
    _field("off_label", "Cascade", "Extra-label"),
    _field("longest_label_meat"),
    _field("longest_label_milk"),
    _field("longest_label_eggs"),
    _field("for_food_animals"),
    _field("not_within_days_before_birth"),
    _field("milk_after_birth"),
    _field("shortest_dry_period"),
    _field("viscous", "Thick"),
    _field("stains"),
    _field("caution", "Cautions", "Warnings"),
    _field("expiry", "Expires", "Use by"),
)

#: A heading that ends so names the withdrawal period of the product before it (`Meat withdrawal`).
WITHDRAWAL_ENDINGS = ("withdrawal period", "withdrawal", "withholding period", "withholding", "whp")
#: What such a heading could mean where it names no product.
WITHDRAWALS = ("withdrawal:meat", "withdrawal:milk")

BANDS = (
    _field("medicine", needed=True),
    _field("from", "From weight"),
    _field("to", "To weight", "Up to"),
    _field("dose", needed=True),
)

STOCK = (
    _field("medicine", needed=True),
    _field("pack_size", "Size", needed=True),
    _field("packs", "Number of packs"),
    _field("price"),
    _field("batch_number", "Batch", "Batch no", "Lot", "Lot number"),
    _field("expiry", "Expires", "Use by"),
    _field("opened_on", "Opened"),
    _field("use_within"),
    _field("left"),
)

_UNIT_WORD = (
    r"(?:mg|mcg|ug|µg|g|iu|units|ml|cc)\s?(?:/|per)\s?(?:\d+\s?)?(?:kgs?|lbs?|ml|head|g|tablet)"
    r"|kgs?|kilos?|lbs?|pounds|weeks|days|hours|hrs|mls?|tablets?|%"
)
#: A unit at the end of a heading: in brackets, or one of the usual words standing free.
_BRACKETS = re.compile(r"\s*[(\[]\s*([^)\]]+?)\s*[)\]]\s*$")
_FREE_UNIT = re.compile(rf"(?<=[\w)])[\s,/_:-]+(?:in\s+)?({_UNIT_WORD})\.?\s*$", re.IGNORECASE)
_JOINED_UNIT = re.compile(r"(?<=[a-z])(Kg|KG|Lb|LB|Lbs)$")
_TAIL = re.compile(r"[\s:*#.]+$")
#: Products as people name them -> as results name them.
_PRODUCTS = {"egg": "eggs"}


@lru_cache(maxsize=4096)
def _parts(heading: str) -> tuple[str, str]:
    """A heading without what stands at its end, and the unit that stands there."""
    text, unit = _TAIL.sub("", clean(heading)), ""
    while match := _BRACKETS.search(text):
        text = _TAIL.sub("", text[: match.start()])
        unit = match[1] if not unit or is_unit(match[1]) else unit
    for form in (_FREE_UNIT, _JOINED_UNIT) if not unit else ():
        if match := form.search(text):
            return text[: match.start()], match[1]
    return text, unit


@lru_cache(maxsize=4096)
def normal(heading: str) -> str:
    """A heading without case, spaces and punctuation; a unit at the end is left out.

    >>> normal("  Ear-Tag "), normal("Weight [lb]"), normal("Live weight in kg"), normal("Weight (kg) (est.):")
    ('eartag', 'weight', 'liveweight', 'weight')
    """
    return re.sub(r"[\W_]+", "", _parts(heading)[0].casefold())


def unit_of(heading: str) -> str:
    """The unit at the end of a heading, or an empty string.

    >>> unit_of("Weight (kg)"), unit_of("Weight, lb"), unit_of("Rate mg/kg"), unit_of("WeightKg"), unit_of("Weight")
    ('kg', 'lb', 'mg/kg', 'Kg', '')
    """
    return _parts(heading)[1]


def is_unit(text: str) -> bool:
    """Whether a text is nothing but a unit.

    >>> is_unit("kg"), is_unit("days"), is_unit("mg/mL"), is_unit("Hill")
    (True, True, True, False)
    """
    if re.fullmatch(_UNIT_WORD, text.strip(), re.IGNORECASE):
        return True
    try:
        unit_named(text, BODYWEIGHT, PRODUCT, DURATION)
    except UnknownUnitError:
        return False
    return True


def withdrawal_fields(heading: str) -> tuple[str, ...]:
    """What a withdrawal column may be for: one product, meat or milk where it names none, else nothing.

    >>> withdrawal_fields("Export slaughter withholding period (days)"), withdrawal_fields("Withdrawal")
    (('withdrawal:export slaughter',), ('withdrawal:meat', 'withdrawal:milk'))
    """
    bare, unit = _parts(heading)
    text = " ".join(re.sub(r"[\W_]+", " ", bare.casefold()).split())
    for ending in WITHDRAWAL_ENDINGS:
        if text == ending:
            return (_withdrawal_of(unit.casefold()),) if unit and not is_unit(unit) else WITHDRAWALS
        if text.endswith(f" {ending}"):
            return (_withdrawal_of(text.removesuffix(ending).strip()),)
        if text.startswith(f"{ending} ") and not text.startswith(f"{ending} period"):
            return (_withdrawal_of(text.removeprefix(ending).strip()),)
    return ()


def _withdrawal_of(product: str) -> str:
    return f"withdrawal:{_PRODUCTS.get(product, product)}"


def fields_by_heading(fields: Iterable[Field]) -> dict[str, tuple[str, ...]]:
    """Normal form of each accepted heading -> the fields that it could mean, mostly one.

    >>> fields_by_heading(WEIGHING)["number"]
    ('tag', 'eid')
    """
    known: dict[str, tuple[str, ...]] = {}
    for spec in fields:
        for heading in spec.headings:
            before = known.get(normal(heading), ())
            known[normal(heading)] = before if spec.name in before else (*before, spec.name)
    return known


@lru_cache(maxsize=1)
def _every_heading() -> frozenset[str]:
    tables = (WEIGHING, MOBS, TREATMENTS, MEDICINES, BANDS, STOCK, CONTACTS)
    return frozenset(normal(heading) for table in tables for spec in table for heading in spec.headings)


def is_heading(text: str) -> bool:
    """Whether a text is a heading of any sheet."""
    return normal(text) in _every_heading() or bool(withdrawal_fields(text))


#: Sheets of the docs page: name, fields, remark.
_SHEETS = (
    ("the weighing sheet", WEIGHING, "Needs Weight, and Tag or EID."),
    ("Mobs", MOBS, ""),
    ("Treatments", TREATMENTS, ""),
    ("Medicines", MEDICINES, "A heading such as `Meat withdrawal` or `Wool withholding period` names any product."),
    ("Dose bands", BANDS, ""),
    ("Stock", STOCK, ""),
    ("Contacts", CONTACTS, "The address list of `batchdose mail`, a workbook of its own."),
)


def headings_page() -> str:
    """The page `docs/headings.md`: the accepted headings of every sheet."""
    lines = [
        "# Headings",
        "",
        "Case, spaces, punctuation and order do not matter, and a unit may stand at the end: `Weight (kg)`,",
        "`Live weight, lb`. A heading may run over two rows, with merged cells above it. A near miss is offered, never",
        "assumed. A heading in italics could mean two things: name the column on the sheet `Session`, for example",
        "`Tag column` and beside it `Number` (its heading) or `B` (its letter), or write one of the other headings.",
        "Fields in bold are needed. This page is made from the program by `python tests/make_docs.py`.",
    ]
    for name, fields, remark in _SHEETS:
        lines += ["", f"## {name[0].upper()}{name[1:]}", "", *([remark, ""] if remark else [])]
        lines += ["| Field | Also accepted |", "|---|---|"]
        known = fields_by_heading(fields)
        for spec in fields:
            first = f"**{spec.headings[0]}**" if spec.needed else spec.headings[0]
            others = (h if len(known[normal(h)]) == 1 else f"*{h}*" for h in spec.headings[1:])
            lines.append(f"| {first} | {', '.join(others)} |")
    return "\n".join(lines) + "\n"
