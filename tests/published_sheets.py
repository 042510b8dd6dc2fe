"""Published statements as the sheets a farmer would bring: a row of `tests/published/*.csv`, two workbooks.

The columns with a capital are headings of the sheets; the others say what the source prints.
"""

from __future__ import annotations

import csv
from pathlib import Path

from openpyxl import Workbook

from batchdose import Result, Settings, plan_job

TABLES = Path(__file__).parent / "published"
ON = "2026-06-01T07:00"
ON_THE_ANIMAL = ("Species", "Status")
NOT_ON_THE_MEDICINE = ("Weight", "Status", "Chosen rate")
SESSION = (("Time zone", "UTC"), ("Milking times", "07:00, 19:00"))

Row = dict[str, str]


def rows(name: str) -> list[Row]:
    """All statements of a table."""
    with (TABLES / name).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def checked(name: str) -> list[Row]:
    """Statements of a table that are tested."""
    return [row for row in rows(name) if not row.get("not_tested")]


def statement(row: Row) -> str:
    """Test id: the row, what it states, and the source."""
    return f"{row['id']} {row['statement']} [{row['source']}]"


def plan(row: Row, folder: Path) -> Result:
    """The job of one animal and one medicine."""
    weighing, medicines = folder / "weighing.xlsx", folder / "medicines.xlsx"
    _weighing(row).save(weighing)
    _medicines(row).save(medicines)
    return plan_job(weighing, medicines, Settings(on=ON))


def _weighing(row: Row) -> Workbook:
    number, unit = row["Weight"].split()
    animal = {"Tag": "0412", f"Weight ({unit})": float(number)}
    book = Workbook()
    book.active.title = "Weights"
    _table(book.active, animal | {name: row[name] for name in ON_THE_ANIMAL if row.get(name)})
    session = book.create_sheet("Session")
    for entry in SESSION:
        session.append(entry)
    if row["Chosen rate"]:
        _table(book.create_sheet("Treatments"), {"Medicine": "Product", "Chosen rate": row["Chosen rate"]})
    return book


def _medicines(row: Row) -> Workbook:
    label = {name: text for name, text in row.items() if name[0].isupper() and text}
    book = Workbook()
    book.active.title = "Medicines"
    _table(
        book.active,
        {"Medicine": "Product"} | {name: label[name] for name in label if name not in NOT_ON_THE_MEDICINE},
    )
    if not row["Dose rate"]:
        _bands(book.create_sheet("Dose bands"), row["id"])
    return book


def _bands(sheet, row_id: str) -> None:
    sheet.append(["Medicine", "From (lb)", "To (lb)", "Dose"])
    for band in rows("dose_bands.csv"):
        if band["id"] == row_id:
            ends = [float(band[end]) if band[end] else None for end in ("From (lb)", "To (lb)")]
            sheet.append(["Product", *ends, band["Dose"]])


def _table(sheet, entries: Row) -> None:
    sheet.append(list(entries))
    sheet.append(list(entries.values()))
