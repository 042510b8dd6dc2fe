"""Builds the workbooks of `example_sheets/`: invented farms, label figures as published.

Run as `python tests/make_examples.py`. The same bytes come out every time: the weights are drawn with a
fixed seed, and the dates inside the packages are fixed. Client names, numbers, batches and prices are
invented; every medicine's row says in `Label source` where its figures are published, or that they are
made up. The sheets show how the program works; nobody should dose an animal from them.
"""

from __future__ import annotations

import random
import re
import zipfile
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from pathlib import Path
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

import click
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from untidy_example import untidy_book

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from openpyxl.worksheet.worksheet import Worksheet

EXAMPLES = Path(__file__).resolve().parent.parent / "example_sheets"
SEED = 20260314
ZIP_TIME = (2026, 3, 13, 12, 0, 0)
STAMP = b"2026-03-13T12:00:00Z"

Row = dict[str, Any]

FOR_DEMONSTRATION = "For demonstration only: copy every figure from the label in your hand, not from here."
INVENTED_STOCK = "For demonstration only: batch numbers, prices and amounts are invented."

FORMATS = {
    "Tag": "@", "EID": "@", "Prescription number": "@", "Batch number": "@", "Weight (kg)": "0.0",
    "Weight (lb)": "0", "Weighed on": "yyyy-mm-dd", "Expiry": "yyyy-mm-dd", "Opened on": "yyyy-mm-dd",
    "Price": "0.00",
}  # fmt: skip
LONG_TEXT = ("Label source", "Caution")
TREATMENTS = ("Medicine", "Mob", "Tag", "On", "Reason", "Chosen rate")
MEDICINES = (
    "Medicine", "Active substance", "Form", "Type", "Supplier", "Prescriber", "Prescription number",
    "Label source", "Species", "Class", "Minimum weight", "Maximum weight", "Not for", "Route", "Site",
    "Max per site", "Needle", "Strength", "Dose rate", "Lowest rate", "Highest rate", "Dose by", "Graduation",
    "Device size", "Doses", "Every", "Meat withdrawal", "Milk withdrawal", "Off label", "Longest label meat",
    "Viscous", "Stains", "Caution",
)  # fmt: skip
STOCK = (
    "Medicine", "Pack size", "Packs", "Price", "Batch number", "Expiry", "Opened on", "Use within", "Left",
)  # fmt: skip

# --- the hoggets: 120 sheep in two mobs, and the mistakes of a real morning at the scale ---------------

RIVER, HILL = "Hoggets, river field", "Hoggets, hill"
IVERMECTIN = "ivermectin 10 mg/mL injection"
LEVAMISOLE = "levamisole 49.6 mg/mL drench"
VACCINE = "clostridial vaccine, 2 mL"
PENICILLIN = "procaine benzylpenicillin 300 000 IU/mL injection"
MOXIDECTIN = "moxidectin 1 mg/mL oral solution"

HOGGET_SESSION = (
    ("Client", "Example Farm One"), ("Holding number", "00/000/0000"), ("Date", date(2026, 3, 14)),
    ("Time", "09:00"), ("Time zone", "Europe/London"), ("Operator", "Operator 1"), ("Species", "sheep"),
    ("Scale step", "0.5 kg"), ("Rules", "GB"), ("Organic", "no"), ("Spare", "5 %"),
    ("Largest number of drafts", 3),
)  # fmt: skip

HOGGET_MISTAKES: dict[str, Row] = {
    "0417": {"Weight (kg)": None, "Note": "jumped out, not weighed"},
    "0429": {"Note": "lame, left fore"},
    "0438": {"Weight (kg)": "4o.5"},
    "0455": {"Species": "goat", "Sex": "doe", "Note": "goat, runs with the hoggets"},
    "0476": {"Tag": "0467", "EID": None, "Note": "EID not read, tag typed"},
    "0492": {"Weight (kg)": 415},
}

HOGGET_TREATMENTS: tuple[Row, ...] = (
    {"Medicine": IVERMECTIN, "Mob": RIVER, "Reason": "roundworms, faecal egg count"},
    {"Medicine": LEVAMISOLE, "Mob": HILL, "Reason": "roundworms, faecal egg count"},
    {"Medicine": VACCINE, "Reason": "clostridial disease, yearly booster"},
    {"Medicine": PENICILLIN, "Tag": "0429", "On": "2026-03-14 09:00", "Reason": "lame, infected foot"},
)

HOGGET_MEDICINES: tuple[Row, ...] = (
    {
        "Medicine": IVERMECTIN, "Active substance": "ivermectin", "Form": "injection", "Type": "wormer",
        "Label source": "dose, route, site and needle: UK data sheet, ivermectin 10 mg/mL injection for "
                        "cattle, sheep and pigs; meat and milk: invented for the demo",
        "Species": "sheep", "Minimum weight": "20 kg", "Not for": "milk", "Route": "SC", "Site": "neck",
        "Needle": "17 G x 1/2 in", "Strength": "10 mg/mL", "Dose rate": "200 mcg/kg", "Dose by": "animal",
        "Graduation": "0.1 mL", "Device size": "5 mL", "Doses": 1, "Meat withdrawal": "42 days",
        "Milk withdrawal": "not permitted", "Caution": "Under the skin only, not into muscle.",
    },
    {
        "Medicine": LEVAMISOLE, "Active substance": "levamisole hydrochloride",
        "Form": "drench mixed from powder", "Type": "wormer",
        "Label source": "21 CFR 520.1242a (46.8 g packet, mixed to 943 mL); dose and meat period: "
                        "dewormer chart, sheep, about 2021",
        "Species": "sheep", "Route": "oral", "Strength": "49.6 mg/mL", "Dose rate": "8 mg/kg",
        "Dose by": "drafts", "Graduation": "0.5 mL", "Device size": "20 mL", "Doses": 1,
        "Meat withdrawal": "3 days",
        "Caution": "Not within 14 days of an organophosphate in the same animal.",
    },
    {
        "Medicine": VACCINE, "Active substance": "clostridial toxoids", "Form": "injection",
        "Type": "vaccine", "Label source": "invented for the demo", "Species": "sheep; goats", "Route": "SC",
        "Site": "side of the neck", "Needle": "20 G x 1 in", "Dose rate": "2 mL/head", "Dose by": "animal",
        "Graduation": "1 mL", "Device size": "50 mL", "Doses": 1, "Meat withdrawal": "0 days",
        "Milk withdrawal": "0 days", "Caution": "Keep cold. Shake before use.",
    },
    {
        "Medicine": PENICILLIN, "Active substance": "procaine benzylpenicillin", "Form": "injection",
        "Type": "antibiotic", "Prescriber": "Prescriber 1", "Prescription number": "RX-0001",
        "Label source": "21 CFR 522.1696b(d)(2); site limit and needle: Small Ruminant Manual, C275",
        "Species": "sheep", "Route": "IM", "Site": "heavy muscle of the neck", "Max per site": "15 mL",
        "Needle": "18 G x 1 in", "Strength": "300 000 IU/mL", "Dose rate": "3000 units/lb",
        "Dose by": "animal", "Graduation": "0.1 mL", "Device size": "2 mL", "Doses": 3, "Every": "24 h",
        "Meat withdrawal": "8 days", "Milk withdrawal": "48 h", "Off label": "no",
        "Caution": "Not over 7 days. People allergic to penicillins must not handle it.",
    },
    {
        "Medicine": MOXIDECTIN, "Active substance": "moxidectin", "Form": "oral solution", "Type": "wormer",
        "Label source": "21 CFR 520.1454", "Species": "sheep", "Not for": "milk", "Route": "oral",
        "Strength": "1 mg/mL", "Dose rate": "1 mL/5 kg", "Dose by": "drafts", "Graduation": "0.5 mL",
        "Device size": "20 mL", "Doses": 1, "Meat withdrawal": "7 days", "Milk withdrawal": "not permitted",
    },
    {
        "Medicine": "albendazole 45.5 mg/mL oral suspension", "Active substance": "albendazole",
        "Form": "oral suspension", "Type": "wormer",
        "Label source": "21 CFR 520.38a(e)(2); meat period: dewormer chart, sheep, about 2021",
        "Species": "sheep", "Not for": "pregnant", "Route": "oral", "Strength": "45.5 mg/mL",
        "Dose rate": "3.4 mg/lb", "Dose by": "drafts", "Graduation": "0.5 mL", "Device size": "20 mL",
        "Doses": 1, "Meat withdrawal": "7 days", "Caution": "Not in the first 45 days of pregnancy.",
    },
    {
        "Medicine": "ivermectin 5 mg/mL pour-on", "Active substance": "ivermectin", "Form": "pour-on",
        "Type": "wormer", "Label source": "21 CFR 524.1193", "Species": "cattle", "Class": "beef",
        "Not for": "milk", "Route": "pour-on", "Site": "along the back", "Strength": "5 mg/mL",
        "Dose rate": "1 mL/22 lb", "Dose by": "animal", "Graduation": "5 mL", "Device size": "50 mL",
        "Doses": 1, "Meat withdrawal": "48 days", "Milk withdrawal": "not permitted",
        "Caution": "Not for veal calves. Irritates skin and eyes: gloves, no eating or smoking.",
    },
)  # fmt: skip

HOGGET_STOCK: tuple[Row, ...] = (
    {
        "Medicine": IVERMECTIN, "Pack size": "100 mL", "Packs": 1, "Price": 38.5, "Batch number": "B-0931",
        "Expiry": date(2026, 1, 31),
    },
    {
        "Medicine": IVERMECTIN, "Pack size": "100 mL", "Packs": 2, "Price": 38.5, "Batch number": "B-1001",
        "Expiry": date(2027, 5, 31), "Use within": "28 days",
    },
    {
        "Medicine": LEVAMISOLE, "Pack size": "943 mL", "Packs": 1, "Price": 24, "Batch number": "B-1002",
        "Expiry": date(2026, 10, 31), "Opened on": date(2026, 3, 2), "Use within": "90 days",
        "Left": "250 mL",
    },
    {
        "Medicine": LEVAMISOLE, "Pack size": "943 mL", "Packs": 1, "Price": 24, "Batch number": "B-1003",
        "Expiry": date(2027, 2, 28), "Use within": "90 days",
    },
    {
        "Medicine": VACCINE, "Pack size": "100 mL", "Packs": 4, "Price": 41.75, "Batch number": "B-1004",
        "Expiry": date(2026, 8, 31), "Use within": "10 h",
    },
    {
        "Medicine": PENICILLIN, "Pack size": "100 mL", "Packs": 1, "Price": 16.2, "Batch number": "B-1005",
        "Expiry": date(2027, 1, 31), "Opened on": date(2026, 3, 5), "Use within": "28 days", "Left": "85 mL",
    },
)  # fmt: skip

# --- the dairy goats: 24 does weighed in pounds, most of them in milk ----------------------------------

FENBENDAZOLE = "fenbendazole 100 mg/mL oral suspension"
CEFTIOFUR = "ceftiofur sodium 50 mg/mL injection"
DRY_DOES = ("004", "009", "013", "018", "021", "022", "024")

GOAT_SESSION = (
    ("Client", "Example Farm Two"), ("Holding number", "00/000/0002"), ("Date", date(2026, 3, 14)),
    ("Time", "07:00"), ("Time zone", "America/Chicago"), ("Operator", "Operator 2"), ("Species", "goat"),
    ("Weight unit", "lb"), ("Scale step", "1 lb"), ("Rules", "US"), ("Organic", "no"), ("Spare", "5 %"),
    ("Milking times", "06:00, 17:30"),
)  # fmt: skip

GOAT_NOTES: dict[str, Row] = {"005": {"Note": "coughing, fever"}, "021": {"Note": "coughing, fever"}}

GOAT_TREATMENTS: tuple[Row, ...] = (
    {"Medicine": FENBENDAZOLE, "Reason": "roundworms, faecal egg count"},
    {"Medicine": CEFTIOFUR, "Tag": "005", "Reason": "pneumonia", "Chosen rate": "1 mg/lb"},
    {"Medicine": CEFTIOFUR, "Tag": "021", "Reason": "pneumonia", "Chosen rate": "1 mg/lb"},
)

GOAT_MEDICINES: tuple[Row, ...] = (
    {
        "Medicine": FENBENDAZOLE, "Active substance": "fenbendazole", "Form": "oral suspension",
        "Type": "wormer",
        "Label source": "21 CFR 520.905a(e)(4); meat and milk: goat anthelmintic chart, July 2006",
        "Species": "goats", "Route": "oral", "Strength": "100 mg/mL", "Dose rate": "5 mg/kg",
        "Dose by": "animal", "Graduation": "0.2 mL", "Device size": "10 mL", "Doses": 1,
        "Meat withdrawal": "6 days", "Milk withdrawal": "0 days",
        "Caution": "The chart is old: check meat and milk on the label in hand.",
    },
    {
        "Medicine": CEFTIOFUR, "Active substance": "ceftiofur sodium", "Form": "injection mixed from powder",
        "Type": "antibiotic", "Prescriber": "Prescriber 2", "Prescription number": "RX-0002",
        "Label source": "21 CFR 522.313c(e)(4), which states no meat or milk period for goats; site limit "
                        "and needle: Small Ruminant Manual, C275",
        "Species": "goats", "Route": "IM", "Site": "heavy muscle of the neck", "Max per site": "15 mL",
        "Needle": "20 G x 1 in", "Strength": "50 mg/mL", "Dose rate": "0.5-1.0 mg/lb", "Dose by": "animal",
        "Graduation": "0.1 mL", "Device size": "5 mL", "Doses": 3, "Every": "24 h", "Off label": "no",
        "Caution": "People allergic to penicillins or cephalosporins must not handle it.",
    },
    {
        "Medicine": MOXIDECTIN, "Active substance": "moxidectin", "Form": "oral solution", "Type": "wormer",
        "Label source": "no label for goats: rate from the goat anthelmintic chart, July 2006; sheep label "
                        "21 CFR 520.1454",
        "Species": "goats", "Not for": "milk", "Route": "oral", "Strength": "1 mg/mL",
        "Dose rate": "0.3 mg/kg", "Dose by": "animal", "Graduation": "1 mL", "Device size": "30 mL",
        "Doses": 1, "Milk withdrawal": "not permitted", "Off label": "yes", "Longest label meat": "7 days",
        "Caution": "Off label in goats: the prescriber must state the meat period before it is used.",
    },
)  # fmt: skip

GOAT_STOCK: tuple[Row, ...] = (
    {
        "Medicine": FENBENDAZOLE, "Pack size": "125 mL", "Packs": 2, "Price": 29.9, "Batch number": "B-2001",
        "Expiry": date(2027, 9, 30),
    },
    {
        "Medicine": CEFTIOFUR, "Pack size": "20 mL", "Packs": 2, "Price": 33, "Batch number": "B-2002",
        "Expiry": date(2026, 11, 30), "Use within": "7 days",
    },
)  # fmt: skip

# --- the untidy lambs: their weighing sheet is in untidy_example.py --------------------------------------

LAMB_MEDICINES: tuple[Row, ...] = (
    next(row for row in HOGGET_MEDICINES if row["Medicine"] == LEVAMISOLE)
    | {"Device size": "30 mL", "Graduation": "0.5 mL"},
)
LAMB_STOCK: tuple[Row, ...] = (
    {
        "Medicine": LEVAMISOLE, "Pack size": "943 mL", "Packs": 1, "Price": 24, "Batch number": "B-3001",
        "Expiry": date(2027, 2, 28), "Use within": "90 days",
    },
)  # fmt: skip


@dataclass(frozen=True)
class Plain:
    """One sheet as data: its name, headings and rows, and a title above the headings where it has one."""

    name: str
    headings: Sequence[str]
    rows: Sequence[Mapping[str, Any]]
    title: str = ""


def bell(count: int, mean: float, spread: float, step: float, chance: random.Random) -> list[float]:
    """Weights spread like a bell, on the steps of a scale, in the order of the race.

    >>> sorted(bell(3, 40.0, 5.0, 0.5, random.Random(1)))
    [35.0, 40.0, 45.0]
    """
    curve = NormalDist(mean, spread)
    weights = [round(curve.inv_cdf((place + 0.5) / count) / step) * step for place in range(count)]
    chance.shuffle(weights)
    return weights


def hogget_rows() -> list[Row]:
    """120 hoggets, one a row, with the mistakes of HOGGET_MISTAKES."""
    chance = random.Random(SEED)  # noqa: S311 - weights for an example, not a secret
    weights = bell(64, 45.5, 6.42, 0.5, chance) + bell(56, 41.5, 5.75, 0.5, chance)
    rows: list[Row] = []
    for place, weight in enumerate(weights):
        tag = f"{401 + place:04d}"
        rows.append(
            {
                "Tag": tag, "EID": f"99900000100{tag}", "Mob": RIVER if place < 64 else HILL,
                "Species": "sheep", "Sex": chance.choice(("ewe", "wether")), "Status": "not in milk",
                "Weight (kg)": weight, "Weighed on": date(2026, 3, 13), "Note": None,
            } | HOGGET_MISTAKES.get(tag, {})
        )  # fmt: skip
    return rows


def goat_rows() -> list[Row]:
    """24 dairy goats, weighed in pounds."""
    chance = random.Random(SEED + 1)  # noqa: S311 - weights for an example, not a secret
    rows: list[Row] = []
    for place, weight in enumerate(bell(24, 145.0, 16.0, 1.0, chance), 1):
        tag = f"{place:03d}"
        dry = tag in DRY_DOES
        rows.append(
            {
                "Tag": tag, "EID": f"999000002000{tag}", "Mob": "Dry does" if dry else "Milking does",
                "Species": "goat", "Sex": "doe", "Status": "dry" if dry else "in milk", "Weight (lb)": weight,
                "Weighed on": date(2026, 3, 14), "Note": None,
            } | GOAT_NOTES.get(tag, {})
        )  # fmt: skip
    return rows


def weights_sheet(title: str, rows: Sequence[Row]) -> Plain:
    """The weighing sheet, with its title row."""
    return Plain("Weights", tuple(rows[0]), rows, title)


def session_sheet(entries: Iterable[tuple[str, Any]]) -> Plain:
    """The sheet `Session`: one name and its value a row."""
    return Plain("Session", ("Name", "Value"), [{"Name": name, "Value": value} for name, value in entries])


def medicines_sheet(rows: Sequence[Row]) -> Plain:
    """The sheet `Medicines`; the supplier is the same for all."""
    rows = [{"Supplier": "Supplier 1"} | row for row in rows]
    return Plain("Medicines", MEDICINES, rows, FOR_DEMONSTRATION)


def stock_sheet(rows: Sequence[Row]) -> Plain:
    """The sheet `Stock`."""
    return Plain("Stock", STOCK, rows, INVENTED_STOCK)


def workbook_bytes(plains: Iterable[Plain]) -> bytes:
    """The sheets as one .xlsx file, the same bytes for the same sheets."""
    book = Workbook()
    del book["Sheet"]
    for plain in plains:
        fill_sheet(book.create_sheet(plain.name), plain)
    return saved(book)


def saved(book: Workbook) -> bytes:
    """A workbook as an .xlsx file with constant dates."""
    book.properties.creator = "batchdose examples"
    raw = BytesIO()
    book.save(raw)
    return with_fixed_dates(raw.getvalue())


def fill_sheet(sheet: Worksheet, plain: Plain) -> None:
    """Title, headings in bold on a frozen row, and the rows below."""
    if plain.title:
        sheet.append([plain.title])
        sheet["A1"].font = Font(italic=True)
    sheet.append(list(plain.headings))
    top = sheet.max_row
    for cell in sheet[top]:
        cell.font = Font(bold=True)
        cell.fill = PatternFill("solid", fgColor="DDE8DD")
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    for row in plain.rows:
        sheet.append([row.get(heading) for heading in plain.headings])
    for column, heading in enumerate(plain.headings, 1):
        format_column(sheet, column, heading, top + 1)
    sheet.freeze_panes = f"B{top + 1}"


def format_column(sheet: Worksheet, column: int, heading: str, first: int) -> None:
    """Number format and width of one column; empty cells of a text column are text as well."""
    cells = [sheet.cell(row, column) for row in range(first, sheet.max_row + 1)]
    for cell in cells:
        if heading in FORMATS:
            cell.number_format = FORMATS[heading]
        elif isinstance(cell.value, date):
            cell.number_format = "yyyy-mm-dd"
        cell.alignment = Alignment(wrap_text=heading in LONG_TEXT, vertical="top")
    longest = max((len(str(cell.value)) for cell in cells if cell.value is not None), default=0)
    widest = 44 if heading in LONG_TEXT else 50
    sheet.column_dimensions[get_column_letter(column)].width = min(max(longest, len(heading), 8), widest) + 2


def with_fixed_dates(package: bytes) -> bytes:
    """The package with constant dates: of its entries, and of the document's making and last change."""
    fixed = BytesIO()
    with zipfile.ZipFile(BytesIO(package)) as old, zipfile.ZipFile(fixed, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", rb"\g<1>" + STAMP, content)
            entry = zipfile.ZipInfo(name, ZIP_TIME)
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            new.writestr(entry, content, zipfile.ZIP_DEFLATED, 9)
    return fixed.getvalue()


def examples() -> dict[str, list[Plain]]:
    """Every workbook: its path below `example_sheets/`, and its sheets."""
    return {
        "hoggets/weighing.xlsx": [
            weights_sheet("Hoggets through the scale, 13 March 2026", hogget_rows()),
            Plain("Treatments", TREATMENTS, HOGGET_TREATMENTS),
            session_sheet(HOGGET_SESSION),
        ],
        "hoggets/medicines.xlsx": [medicines_sheet(HOGGET_MEDICINES), stock_sheet(HOGGET_STOCK)],
        "dairy_goats/weighing.xlsx": [
            weights_sheet("Dairy goats through the scale, 14 March 2026", goat_rows()),
            Plain("Treatments", TREATMENTS, GOAT_TREATMENTS),
            session_sheet(GOAT_SESSION),
        ],
        "dairy_goats/medicines.xlsx": [medicines_sheet(GOAT_MEDICINES), stock_sheet(GOAT_STOCK)],
        "untidy_lambs/medicines.xlsx": [medicines_sheet(LAMB_MEDICINES), stock_sheet(LAMB_STOCK)],
    }


def main() -> None:
    """Write every example workbook, and say which."""
    written = {name: workbook_bytes(plains) for name, plains in examples().items()}
    for name, content in (written | {"untidy_lambs/weighing.xlsx": saved(untidy_book())}).items():
        path = EXAMPLES / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        click.echo(f"Wrote {EXAMPLES.name}/{name}")


if __name__ == "__main__":
    main()
