"""One session written in different ways: the same doses to the mark, and the same findings apart from their place."""

from __future__ import annotations

import random
from decimal import Decimal
from fractions import Fraction

import pytest
from clean import CLEAN, HEADINGS, ON, Sheets, doses

from batchdose import Settings, plan_job

LB_IN_KG = Fraction(45359237, 10**8)
#: Mistakes that every way of writing must tell alike: row, heading, value.
MISTAKES = [
    (3, "Weight (kg)", None), (5, "Weight (kg)", "4o.5"), (6, "EID", "999000001000412"), (7, "Species", "shep"),
    (8, "Status", "in milk"), (9, "Slaughter on", "2026-06-05"), (10, "Born", "03/04/2024"),
]  # fmt: skip


def with_dates_as_text(sheets):
    """A .csv and our small .ods hold text: dates as they are written there."""
    for rows in (*sheets.weighing.values(), *sheets.medicines.values()):
        for row in rows:
            row[:] = [cell.isoformat() if hasattr(cell, "isoformat") else cell for cell in row]
    return sheets


def in_pounds(sheets):
    """The same weights in lb, exactly: a pound is 0.45359237 kg, so the kilograms are made from whole pounds."""
    at = HEADINGS.index("Weight (kg)")
    rows = sheets.weighing["Weights"]
    for row in rows[1:]:
        if isinstance(row[at], (int, float)):
            row[at] = float(pounds(row[at]))
    rows[0][at] = "Weight (lb)"
    return sheets


def pounds(kilograms):
    """Pounds to four decimals."""
    return round(Decimal(str(kilograms)) / Decimal("0.45359237"), 4)


def shuffled(sheets, seed):
    """Animals in another order and columns too; the heading row moves with its columns."""
    chance = random.Random(seed)  # noqa: S311 - an order, no secret
    for name, rows in (*sheets.weighing.items(), *sheets.medicines.items()):
        if name == "Session":
            chance.shuffle(rows)
            continue
        order = chance.sample(range(len(rows[0])), len(rows[0]))
        body = chance.sample(rows[1:], len(rows) - 1)
        rows[:] = [[row[column] for column in order] for row in (rows[0], *body)]
    return sheets


def session(*, mistakes=True):
    sheets = Sheets()
    for row, heading, value in MISTAKES if mistakes else ():
        sheets.put("Weights", row, heading, value)
    return with_dates_as_text(sheets)


def told(result):
    """Doses by tag, and findings without their place: rule, level, and how many animals each holds."""
    rows = result.treatments.to_dict("records")
    held = {row["tag"]: bool(row["held"]) for row in rows}
    given = {row["tag"]: str(row["dose"]) for row in rows if not row["held"]}
    findings = sorted((f.rule, f.level.word, len(f.hold.animals or ()) if f.hold else -1) for f in result.findings)
    return given, held, findings


def planned(sheets, folder, weighing=".xlsx", medicines=".xlsx"):
    return told(plan_job(*sheets.write(folder, weighing, medicines), Settings(on=ON)))


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return planned(session(), tmp_path_factory.mktemp("plain"))


def test_the_plain_session_is_as_worked_out_by_hand(tmp_path):
    sheets = session(mistakes=False)
    result = plan_job(*sheets.write(tmp_path), Settings(on=ON))
    assert doses(result) == CLEAN
    assert not [f for f in result.findings if f.level.word == "error"]


def test_the_mistakes_are_told(plain):
    given, held, findings = plain
    assert len(given) < len(CLEAN)
    assert {rule for rule, _, _ in findings} >= {"weight-missing", "weight-unreadable", "leaves-before-clear"}
    assert sum(held.values()) == len(CLEAN) - len(given)


@pytest.mark.parametrize("weighing", [".xlsx", ".xlsm", ".ods", ".csv"])
@pytest.mark.parametrize("medicines", [".xlsx", ".ods"])
def test_kinds_of_file(plain, tmp_path, weighing, medicines):
    assert planned(session(), tmp_path, weighing, medicines) == plain


@pytest.mark.parametrize("weighing", [".xlsx", ".ods", ".csv"])
@pytest.mark.parametrize("seed", range(3))
def test_shuffled_rows_and_columns(plain, tmp_path, weighing, seed):
    given, held, findings = planned(shuffled(session(), seed), tmp_path, weighing)
    assert (given, held, findings) == plain


@pytest.mark.parametrize("weighing", [".xlsx", ".ods", ".csv"])
@pytest.mark.parametrize("order", [None, 1])
def test_kilograms_and_pounds(plain, tmp_path, weighing, order):
    sheets = in_pounds(session())
    assert planned(shuffled(sheets, order) if order else sheets, tmp_path, weighing) == plain


def test_pounds_are_those_of_the_kilograms():
    for kg in (41.5, 43, 45.5):
        assert abs(Fraction(pounds(kg)) * LB_IN_KG - Fraction(str(kg))) < Fraction(1, 10_000)
