"""The fields of each sheet and the headings accepted for them: one table, read by code and docs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from batchdose.amounts import clean


@dataclass(frozen=True, slots=True)
class Field:
    """One column: its name in the program, the headings that mean it (the first is ours), what it holds."""

    name: str
    headings: tuple[str, ...]
    needed: bool = False


def _field(name: str, *others: str, needed: bool = False) -> Field:
    return Field(name, (name.replace("_", " ").capitalize(), *others), needed)


WEIGHING = (
    _field("tag", "Ear tag", "Tag number", "Tag no", "Visual ID", "Visual tag", "Animal", "Animal ID", "ID"),
    _field("eid", "E.I.D.", "Electronic ID", "Electronic number", "RFID"),
    _field(
        "weight",
        "Liveweight",
        "Live weight",
        "Bodyweight",
        "Body weight",
        "Weaning weight",
        "Wt",
        needed=True,
    ),
    _field("mob", "Group", "Pen", "Herd", "Flock"),
    _field("species"),
    _field("kind", "Class", "Stock class"),
    _field("sex"),
    _field("status", "State"),
    _field("born", "Date of birth", "Birth date"),
    _field("leaves_on", "Leaves"),
    _field("slaughter_on", "Slaughter", "Slaughter date"),
    _field("sold_on", "Sale date"),
    _field("first_milk_sold"),
    _field("due", "Due date"),
    _field("gave_birth", "Calved", "Lambed", "Kidded"),
    _field("weighed_on", "Weighing date"),
    _field("medicine", "Medicines", "Treatment"),
    _field("give_anyway"),
    _field("note", "Remarks", "Notes", "Comment"),
)

MOBS = (
    _field("mob", "Group", needed=True),
    _field("head", "Number", "Count", needed=True),
    _field("species"),
    _field("kind", "Class"),
    _field("status"),
    _field("heaviest", "Heaviest weight"),
    _field("lightest", "Lightest weight"),
    _field("average", "Average weight"),
)

TREATMENTS = (
    _field("medicine", needed=True),
    _field("mob", "Group"),
    _field("tag", "Ear tag", "Animal"),
    _field("on", "Date", "When"),
    _field("reason"),
    _field("chosen_rate", "Rate chosen"),
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
    _field("minimum_weight", "Lowest weight"),
    _field("maximum_weight", "Highest weight"),
    _field("minimum_age"),
    _field("not_for"),
    _field("route"),
    _field("site", "Injection site"),
    _field("max_per_site", "Maximum per site"),
    _field("needle"),
    _field("strength", "Concentration"),
    _field("dose_rate", "Rate", "Dosage", "Label rate"),
    _field("lowest_rate"),
    _field("highest_rate"),
    _field("dose_by"),
    _field("graduation", "Smallest mark"),
    _field("device_size", "Device"),
    _field("largest_device"),
    _field("automatic_injector"),
    _field("rounding"),
    _field("narrow_margin"),
    _field("doses", "Number of doses"),
    _field("every", "Interval"),
    _field("off_label", "Cascade", "Extra-label"),
    _field("longest_label_meat"),
    _field("longest_label_milk"),
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
WITHDRAWAL_ENDINGS = ("withdrawal period", "withdrawal", "withholding period", "withholding")

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

_UNIT = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]\s*$")
#: Products as people name them -> as results name them.
_PRODUCTS = {"egg": "eggs"}


@lru_cache(maxsize=4096)
def normal(heading: str) -> str:
    """A heading without case, spaces and punctuation; a unit in brackets at the end is left out.

    >>> normal("  Ear-Tag "), normal("Weight [lb]")
    ('eartag', 'weight')
    """
    return re.sub(r"[\W_]+", "", _UNIT.sub("", clean(heading)).casefold())


def unit_of(heading: str) -> str:
    """The unit in brackets at the end of a heading, or an empty string.

    >>> unit_of("Weight (kg)")
    'kg'
    """
    match = _UNIT.search(clean(heading))
    return match[1] if match else ""


def withdrawal_product(heading: str) -> str:
    """Field of a withdrawal column, or an empty string: `Meat withdrawal` is `withdrawal:meat`.

    >>> withdrawal_product("Export slaughter withholding period (days)")
    'withdrawal:export slaughter'
    """
    text = " ".join(re.sub(r"[\W_]+", " ", _UNIT.sub("", clean(heading)).casefold()).split())
    for ending in WITHDRAWAL_ENDINGS:
        if text.endswith(f" {ending}"):
            product = text.removesuffix(ending).strip()
            return f"withdrawal:{_PRODUCTS.get(product, product)}"
    return ""


@lru_cache(maxsize=1)
def _every_heading() -> frozenset[str]:
    tables = (WEIGHING, MOBS, TREATMENTS, MEDICINES, BANDS, STOCK)
    return frozenset(normal(heading) for table in tables for spec in table for heading in spec.headings)


def is_heading(text: str) -> bool:
    """Whether a text is a heading of any sheet."""
    return normal(text) in _every_heading() or bool(withdrawal_product(text))


#: Sheets of the docs page: name, fields, remark.
_SHEETS = (
    ("the weighing sheet", WEIGHING, "Needs Weight, and Tag or EID."),
    ("Mobs", MOBS, ""),
    ("Treatments", TREATMENTS, ""),
    ("Medicines", MEDICINES, "A heading such as `Meat withdrawal` or `Wool withholding period` names any product."),
    ("Dose bands", BANDS, ""),
    ("Stock", STOCK, ""),
)


def headings_page() -> str:
    """The page `docs/headings.md`: the accepted headings of every sheet."""
    lines = [
        "# Headings",
        "",
        "Case, spaces, punctuation and order do not matter, and a unit may stand in brackets: `Weight (kg)`. A near",
        "miss is offered, never assumed. Fields in bold are needed. This page is made from the program by",
        "`python tests/make_docs.py`.",
    ]
    for name, fields, remark in _SHEETS:
        lines += ["", f"## {name[0].upper()}{name[1:]}", "", *([remark, ""] if remark else [])]
        lines += ["| Field | Also accepted |", "|---|---|"]
        for spec in fields:
            first = f"**{spec.headings[0]}**" if spec.needed else spec.headings[0]
            lines.append(f"| {first} | {', '.join(spec.headings[1:])} |")
    return "\n".join(lines) + "\n"
