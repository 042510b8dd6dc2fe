"""A session that nothing is wrong with, as rows of cells, and ways to write it, change a cell and plan it.

All names and figures are invented. Every animal gets its own dose by weight: ivermectin-like figures, 0.2 mg/kg
of 10 mg/mL on a 0.1 mL device, rounded up; so the dose in mL is weight / 50, up to the next tenth.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Any

from sheets import write_book

from batchdose import Settings, plan_job

if TYPE_CHECKING:
    from pathlib import Path

    from batchdose import Result

ON = "2026-06-01"
WEIGHTS_KG = (41.5, 43, 40.5, 44, 39.5, 42, 45.5, 41, 43.5, 46, 38.5, 42.5)
HEADINGS = ["Tag", "EID", "Mob", "Species", "Class", "Sex", "Status", "Weight (kg)", "Born", "Weighed on",
            "Slaughter on", "Note"]  # fmt: skip
ANIMALS = [
    HEADINGS,
    *(
        [f"{412 + n:04d}", f"99900000100{412 + n:04d}", "Hill", "sheep", "adult", "ewe", "not in milk", kg,
         date(2024, 3, 1), date(2026, 5, 31), date(2026, 9, 1), None]
        for n, kg in enumerate(WEIGHTS_KG)
    ),
]  # fmt: skip
SESSION = [
    ["Client", "Example Farm"], ["Species", "sheep"], ["Date", date(2026, 6, 1)], ["Time zone", "UTC"],
    ["Rules", "none"], ["Organic", "no"], ["Spare", "5 %"],
]  # fmt: skip
MEDICINES = [
    ["Medicine", "Active substance", "Type", "Label source", "Species", "Minimum weight", "Maximum weight", "Not for",
     "Route", "Site", "Max per site", "Strength", "Dose rate", "Lowest rate", "Highest rate", "Graduation",
     "Device size", "Doses", "Every", "Meat withdrawal", "Milk withdrawal", "Off label", "Caution"],
    ["wormer A", "active A", "wormer", "invented", "sheep", "10 kg", "150 kg", None, "SC", "neck", "10 mL", "10 mg/mL",
     "0.2 mg/kg", "0.19 mg/kg", "0.25 mg/kg", "0.1 mL", "5 mL", 1, None, "14 days", "3 days", "no", None],
]  # fmt: skip
STOCK = [
    ["Medicine", "Pack size", "Packs", "Batch number", "Expiry", "Opened on", "Use within", "Left"],
    ["wormer A", "100 mL", 1, "B-0001", date(2027, 5, 31), None, "28 days", None],
]  # fmt: skip


@dataclass
class Sheets:
    """Rows of both workbooks by sheet name; `unit` is that of the weights."""

    weighing: dict[str, list[list[Any]]] = field(default_factory=lambda: {"Weights": _copy(ANIMALS)})
    medicines: dict[str, list[list[Any]]] = field(
        default_factory=lambda: {"Medicines": _copy(MEDICINES), "Stock": _copy(STOCK), "Session": _copy(SESSION)}
    )

    def rows(self, sheet: str) -> list[list[Any]]:
        """The rows of a sheet, whichever workbook it is in."""
        return (self.weighing | self.medicines)[sheet]

    def put(self, sheet: str, row: int, heading: str, value: object) -> None:
        """Change one cell: `row` as in the sheet, the column by its heading (on `Session` the name)."""
        rows = self.rows(sheet)
        if sheet == "Session":
            next(line for line in rows if line[0] == heading)[1] = value
        else:
            rows[row - 1][rows[0].index(heading)] = value

    def write(self, folder: Path, weighing: str = ".xlsx", medicines: str = ".xlsx") -> tuple[Path, Path]:
        """Write both workbooks with these endings."""
        return (
            write_book(folder / f"weighing{weighing}", self.weighing),
            write_book(folder / f"medicines{medicines}", self.medicines),
        )

    def plan(self, folder: Path) -> Result:
        """Write both as .xlsx and plan the job."""
        return plan_job(*self.write(folder), Settings(on=ON))


def _copy(rows: list[list[Any]]) -> list[list[Any]]:
    return [list(row) for row in rows]


def dose_ml(kilograms: Fraction) -> Fraction:
    """The dose by hand: weight x 0.2 mg/kg / 10 mg/mL, up to the next 0.1 mL."""
    return Fraction(ceil(kilograms * Fraction(2, 10) / 10 * 10), 10)


def doses(result: Result) -> dict[int, Fraction]:
    """Doses that are planned, by sheet row, exact."""
    rows = result.treatments[~result.treatments["held"]].to_dict("records")
    return {int(row["animal"]): Fraction(str(row["dose"])).limit_denominator(1000) for row in rows}


#: What the sound session gives, by hand.
CLEAN = {row: dose_ml(Fraction(str(kg))) for row, kg in enumerate(WEIGHTS_KG, 2)}


def explained(result: Result, row: int) -> bool:
    """Whether a finding says why the animal in this row gets nothing."""
    holds = [finding.hold for finding in result.findings if finding.hold is not None]
    return any(hold.animals is None or row in hold.animals for hold in holds) or any(
        finding.where.cell.rstrip("0123456789") and finding.where.cell.endswith(str(row)) for finding in result.findings
    )
