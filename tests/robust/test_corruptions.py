"""Single-cell corruptions of a sound session: each is found by the rule named here, or changes nothing at all.

`held` is who gets nothing because of it: the rows of animals, `ALL` of them, or nobody. Everybody else keeps the
dose of the sound session.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import pytest
from clean import CLEAN, Sheets, doses

from batchdose import UnusableInputError

ALL = tuple(CLEAN)
STOPPED = "stopped"


@dataclass(frozen=True)
class Corruption:
    """One cell changed: where, to what, the rule that must find it ("" for none), and whom it holds."""

    sheet: str
    row: int
    heading: str
    value: object
    rule: str
    held: tuple[int, ...] = ()

    @property
    def name(self) -> str:
        return f"{self.sheet} {self.heading} = {self.value!r}"


def weights(heading, value, rule, *held, row=5):
    return Corruption("Weights", row, heading, value, rule, held)


def medicine(heading, value, rule, *held):
    return Corruption("Medicines", 2, heading, value, rule, held)


def stock(heading, value, rule, *held):
    return Corruption("Stock", 2, heading, value, rule, held)


def session(name, value, rule, *held):
    return Corruption("Session", 0, name, value, rule, held)


CORRUPTIONS = [
    # weights
    weights("Weight (kg)", None, "weight-missing", 5),
    weights("Weight (kg)", "4o", "weight-unreadable", 5),
    weights("Weight (kg)", "62.5.1", "weight-unreadable", 5),
    weights("Weight (kg)", "1,250", "weight-unreadable", 5),
    weights("Weight (kg)", "=B5+1", "weight-unreadable", 5),
    weights("Weight (kg)", "44 st", "weight-unreadable", 5),
    weights("Weight (kg)", "?", "weight-unreadable", 5),
    weights("Weight (kg)", -44, "weight-unreadable", 5),
    weights("Weight (kg)", 0, "weight-unreadable", 5),
    weights("Weight (kg)", True, "weight-unreadable", 5),
    weights("Weight (kg)", date(2026, 5, 31), "weight-unreadable", 5),
    weights("Weight (kg)", 440, "weight-implausible", 5),
    weights("Weight (kg)", 4400, "weight-implausible", 5),
    weights("Weight (kg)", 0.44, "weight-implausible", 5),
    weights("Weight (kg)", "44.0", ""),
    weights("Weight (kg)", " 44,0 kg ", ""),
    weights("Weight (kg)", "97.003 lb", ""),  # 43.9998 kg, the same mark
    # names and numbers
    weights("Tag", None, ""),  # the EID names the animal
    weights("Tag", "0412", "tag-repeated", 2, 5),
    weights("Tag", " 0415 ", ""),
    weights("Tag", "=A4", "tag-missing", 5),
    weights("EID", "999000001000412", "tag-repeated", 2, 5),
    weights("EID", "99900000100041", "eid-unlikely"),
    weights("EID", "99900000100O415", "eid-unlikely"),
    weights("EID", "9.99E+14", "eid-unlikely"),
    weights("EID", None, ""),
    weights("Mob", "Hil", ""),  # another mob, and the dose is each animal's own
    weights("Mob", None, ""),
    # kinds of animal
    weights("Species", "shep", "species-not-on-label", 5),
    weights("Species", "goat", "species-not-on-label", 5),
    weights("Species", None, ""),  # the session says it
    weights("Class", "x", ""),
    weights("Status", "in mlik", "status-near-miss", 5),
    weights("Status", "milk fever", "status-near-miss", 5),
    weights("Tag", date(2026, 3, 4), "tag-turned-date"),  # the EID names the animal
    weights("Born", date(2062, 3, 1), "born-in-the-future", 5),
    weights("Status", None, ""),
    # dates
    weights("Born", "2026-13-01", "date-unreadable", 5),
    weights("Born", "03/04/2024", "date-unreadable", 5),
    weights("Slaughter on", date(2026, 6, 10), "leaves-before-clear", 5),
    weights("Slaughter on", "soon", "date-unreadable", 5),
    weights("Slaughter on", None, ""),
    weights("Note", "anything at all", ""),
    # the label
    medicine("Strength", None, "label-field-missing", *ALL),
    medicine("Strength", "10", "label-figure-unreadable", *ALL),
    medicine("Strength", "10 mg", "label-figure-unreadable", *ALL),
    medicine("Strength", "1O mg/mL", "label-figure-unreadable", *ALL),
    medicine("Strength", "10 mL/mg", "label-figure-unreadable", *ALL),
    medicine("Strength", "1 %", ""),  # the same strength
    medicine("Dose rate", None, "dose-rate-missing", *ALL),
    medicine("Dose rate", "0.2", "label-figure-unreadable", *ALL),
    medicine("Dose rate", "0.2 mg", "label-figure-unreadable", *ALL),
    medicine("Dose rate", "0.2 kg/mg", "label-figure-unreadable", *ALL),
    medicine("Dose rate", "200 mcg/kg", ""),
    medicine("Lowest rate", "0.3 mg/kg", "rates-disagree", *ALL),
    medicine("Highest rate", "0.1 mg/kg", "rates-disagree", *ALL),
    medicine("Highest rate", "0.25", "label-figure-unreadable", *ALL),
    medicine("Graduation", None, "graduation-missing"),  # a tenth of a mL is assumed, and said
    medicine("Graduation", "fine", "label-figure-unreadable", *ALL),
    medicine("Graduation", "0 mL", "label-figure-unreadable", *ALL),
    medicine("Graduation", "2 mL", "no-mark-allowed", *ALL),
    medicine("Max per site", "ten", "label-figure-unreadable", *ALL),
    medicine("Max per site", "0 mL", "label-figure-unreadable", *ALL),
    medicine("Minimum weight", "45 kg", "outside-label-weight", *(row for row in ALL if row not in (8, 11))),
    medicine("Maximum weight", "45 kg", "outside-label-weight", 8, 11),
    medicine("Maximum weight", "heavy", "label-figure-unreadable", *ALL),
    medicine("Not for", "mlik", "label-word-unknown", *ALL),
    medicine("Not for", "last weeks of pregnancy", "label-word-unknown", *ALL),
    medicine("Not for", "adult rams", "label-word-unknown", *ALL),  # Class says adult, Sex says ewe
    medicine("Not for", "=A1", "label-word-unknown", *ALL),
    medicine("Not for", "adults", "excluded-status", *ALL),
    medicine("Not for", "thin animals", "label-word-unknown"),
    medicine("Not for", "none", ""),
    medicine("Doses", 0, "label-figure-unreadable", *ALL),
    medicine("Doses", "three", "label-figure-unreadable", *ALL),
    medicine("Doses", 3, "interval-missing", *ALL),
    medicine("Every", "often", "label-figure-unreadable", *ALL),
    medicine("Meat withdrawal", None, "withdrawal-not-stated", *ALL),  # all are to be slaughtered
    medicine("Meat withdrawal", "14", "label-figure-unreadable", *ALL),
    medicine("Meat withdrawal", "two weeks", "label-figure-unreadable", *ALL),
    medicine("Meat withdrawal", "140 days", "leaves-before-clear", *ALL),
    medicine("Milk withdrawal", "3", "label-figure-unreadable", *ALL),
    medicine("Off label", "perhaps", "label-word-unknown", *ALL),
    medicine("Species", "shep", "species-not-on-label", *ALL),
    medicine("Site", "rump", ""),
    medicine("Caution", "Shake well.", ""),
    # stock
    stock("Expiry", date(2026, 5, 1), "medicine-expired", *ALL),
    stock("Expiry", "soon", "entry-unreadable"),
    stock("Pack size", "5 mL", "stock-short"),
    stock("Packs", "one", "entry-unreadable"),
    stock("Packs", -1, "entry-unreadable"),
    stock("Medicine", "wormer B", ""),
    # the session
    session("Species", "shep", ""),  # each row says sheep
    session("Time zone", "Middle Earth", "session-entry-unreadable"),
    session("Rules", "GBR", "session-entry-unreadable"),
    session("Spare", "some", "session-entry-unreadable"),
    session("Organic", "perhaps", "session-entry-unreadable", *ALL),
    session("Date", datetime(2026, 6, 1, 9), ""),  # noqa: DTZ001 - as a sheet keeps it
    session("Date", "06/07/2026", STOPPED),
]


def test_there_are_enough():
    assert len(CORRUPTIONS) >= 40
    assert len({corruption.name for corruption in CORRUPTIONS}) == len(CORRUPTIONS)


@pytest.mark.parametrize("corruption", CORRUPTIONS, ids=lambda corruption: corruption.name)
def test_a_corruption_is_found_or_changes_nothing(tmp_path, corruption):
    sheets = Sheets()
    sheets.put(corruption.sheet, corruption.row, corruption.heading, corruption.value)
    try:
        result = sheets.plan(tmp_path)
    except UnusableInputError:
        assert corruption.held == ALL or corruption.rule == STOPPED
        return
    given = doses(result)
    assert given == {row: dose for row, dose in CLEAN.items() if row not in corruption.held}
    rules = {finding.rule for finding in result.findings}
    assert corruption.rule in rules | {""}
