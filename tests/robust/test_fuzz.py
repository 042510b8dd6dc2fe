"""Anything in any cell, and broken files: never a fault, and never a dose that a damaged cell has changed.

The default run is short. BATCHDOSE_FUZZ=2000 in the environment sets how many examples each property gets.
"""

from __future__ import annotations

import io
import os
import random
import re
import zipfile
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from clean import CLEAN, HEADINGS, MEDICINES, ON, SESSION, STOCK, WEIGHTS_KG, Sheets, dose_ml, doses, explained
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from sheets import edit_part, write_book

from batchdose import Settings, UnusableInputError, plan_job
from batchdose.job import write_outputs

EXAMPLES = int(os.environ.get("BATCHDOSE_FUZZ", "0")) or 8
PHASES = (Phase.explicit, Phase.generate, Phase.shrink)
SESSIONS = Path(__file__).resolve().parents[2] / "example_sheets"
SHEET = "xl/worksheets/sheet1.xml"

#: Texts that a person may mean as a weight, and the kilograms they mean.
MEANT = {
    "44": "44", "44.0": "44", " 44,5 ": "44.5", "44,50 kg": "44.5", "44kg": "44", "44 KG": "44", "0044": "44",
    "\u00a044.5\u00a0kg": "44.5", "97 lb": "43.99845989", "97.5 lbs": "44.225256075",
    "97 1/2 lb": "44.225256075", "97\u00bd lb": "44.225256075",
}  # fmt: skip
#: Texts that nobody can take for one weight.
UNCLEAR = (
    "44.", "1,250", "4o", "44.5.1", "44-46", "~44", "44?", "n/a", "44 st", "44 kg lb", "44 00", "1e2", "-44", "+44",
    "0", "=44", "44;", "44/45", "#N/A", "nan", "inf", "\u221e", "4\x004", "4\u200b4", "\u202e44", "\ufeff", "44 g",
    "44 t", "forty", "xliv", "'44", "44%",
)  # fmt: skip

TEXT = (
    st.text(max_size=12) | st.sampled_from([*MEANT, *UNCLEAR]) | st.from_regex(r"[0-9.,' kgl\-/]{1,9}", fullmatch=True)
)
#: Larger ones, which no scale shows, are among the hostile cells, as are texts of seven digits.
NUMBER = st.integers(-9_000_000, 9_000_000) | st.floats(-9e6, 9e6) | st.floats(0, 200)
DATES = st.dates(date(1900, 3, 1), date(9999, 12, 31)) | st.datetimes(datetime(1900, 3, 1), datetime(9999, 12, 31))  # noqa: DTZ001
CELL = st.none() | TEXT | NUMBER | st.booleans() | DATES | st.times() | st.just("=1/0") | st.just("=B3")
#: Cells that no label or session can mean anything by.
GARBAGE = st.sampled_from(
    ["=1/0", "=B3", "#REF!", "?", "!!", "\u221e", "]]>", "<b>", "nan", "1.2.3", "--", "4o", "\u202e1", "NULL", True, -7]
)


def workbook_text(text):
    """The text, without what a workbook cannot be given by the library that writes it here."""
    return re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]", "", text) if isinstance(text, str) else text


def meant_kg(cell):
    """Kilograms that a cell in the column Weight (kg) can mean, worked out apart from the program; None if nothing."""
    if isinstance(cell, bool) or cell is None or isinstance(cell, (date, datetime, time)):
        return None
    if isinstance(cell, (int, float)):
        return Fraction(Decimal(repr(cell))) if cell > 0 else None
    if cell in MEANT or cell in UNCLEAR:
        return Fraction(MEANT[cell]) if cell in MEANT else None
    text = re.sub(r"\s+", " ", cell.replace("\u00a0", " ")).strip()
    plain = re.fullmatch(
        r"(\d*[.,]?\d+|\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?) ?(kg|l|lbs?|g)?", text, re.ASCII | re.IGNORECASE
    )
    if plain is None or (plain[2] or "kg").casefold() in ("l", "g"):
        return None
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", plain[1]) or plain[1].startswith(","):
        return None
    number = Fraction(plain[1].replace(" ", "").replace("'", "").replace(",", "."))
    return number * (Fraction(45359237, 10**8) if (plain[2] or "").casefold().startswith("lb") else 1)


def plan(sheets, folder):
    """The plan of a session, or None where it is refused in one sentence."""
    try:
        result = sheets.plan(folder)
    except UnusableInputError as refused:
        assert "\n" not in str(refused)  # noqa: PT017 - refused is as good as planned
        return None
    for finding in result.findings:
        assert finding.message
        assert finding.where.workbook
    return result


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


@settings(max_examples=EXAMPLES * 2, phases=PHASES)
@given(row=st.integers(2, 13), cell=CELL)
def test_any_weight_gives_its_own_dose_or_none(folder, row, cell):
    sheets = Sheets()
    cell = workbook_text(cell)
    sheets.put("Weights", row, "Weight (kg)", cell)
    result = plan(sheets, folder)
    if result is None:
        return
    given_ml = doses(result)
    assert_others_keep_their_doses(result, given_ml, {row})
    if row in given_ml:
        kilograms = meant_kg(cell)
        assert kilograms is not None, f"a dose from {cell!r}"
        assert given_ml[row] == dose_ml(kilograms)


@settings(max_examples=EXAMPLES * 2, phases=PHASES)
@given(st.lists(st.tuples(st.integers(2, 13), st.sampled_from(HEADINGS), CELL), min_size=1, max_size=4))
def test_any_cells_of_the_weighing_sheet(folder, changes):
    sheets = Sheets()
    kilograms = dict(enumerate(map(str, WEIGHTS_KG), 2))
    for row, heading, cell in changes:
        sheets.put("Weights", row, heading, workbook_text(cell))
        if heading == "Weight (kg)":
            kilograms[row] = meant_kg(workbook_text(cell))
    result = plan(sheets, folder)
    if result is None:
        return
    given_ml = doses(result)
    assert_others_keep_their_doses(result, given_ml, {row for row, *_ in changes})
    for row, dose in given_ml.items():
        assert dose == dose_ml(Fraction(kilograms[row]))


def assert_others_keep_their_doses(result, given_ml, touched):
    """Animals whose cells were not touched have their dose, or a finding says why not."""
    for row, dose in CLEAN.items():
        if row not in touched:
            assert given_ml.get(row, dose) == dose
            assert row in given_ml or explained(result, row)


HEADING_CELLS = [(HEADINGS, "Weights"), (MEDICINES[0], "Medicines"), (STOCK[0], "Stock")]


@settings(max_examples=EXAMPLES, phases=PHASES)
@given(data=st.data())
def test_any_heading(folder, data):
    headings, sheet = data.draw(st.sampled_from(HEADING_CELLS))
    heading = data.draw(st.sampled_from(headings))
    sheets = Sheets()
    sheets.put(sheet, 1, heading, workbook_text(data.draw(CELL | st.sampled_from(headings))))
    if (result := plan(sheets, folder)) is not None:
        given_ml = doses(result)
        assert {row: given_ml.get(row, CLEAN[row]) for row in CLEAN} == CLEAN


@settings(max_examples=EXAMPLES * 2, phases=PHASES)
@given(heading=st.sampled_from(MEDICINES[0]), cell=GARBAGE)
def test_garbage_on_the_label_never_changes_a_dose(folder, heading, cell):
    sheets = Sheets()
    sheets.put("Medicines", 2, heading, cell)
    if (result := plan(sheets, folder)) is not None:
        given_ml = doses(result)
        assert given_ml.items() <= CLEAN.items()
        assert given_ml == CLEAN or any(finding.hold for finding in result.findings)


@settings(max_examples=EXAMPLES, phases=PHASES)
@given(heading=st.sampled_from(MEDICINES[0]), cell=CELL)
def test_anything_on_the_label_is_no_fault(folder, heading, cell):
    sheets = Sheets()
    sheets.put("Medicines", 2, heading, workbook_text(cell))
    plan(sheets, folder)


@settings(max_examples=EXAMPLES, phases=PHASES)
@given(name=st.sampled_from([row[0] for row in SESSION]), heading=st.sampled_from(STOCK[0]), cell=CELL, other=CELL)
def test_anything_in_session_and_stock_is_no_fault(folder, name, heading, cell, other):
    sheets = Sheets()
    sheets.put("Session", 0, name, workbook_text(cell))
    sheets.put("Stock", 2, heading, workbook_text(other))
    if (result := plan(sheets, folder)) is not None:
        assert doses(result).items() <= CLEAN.items()


@settings(max_examples=max(EXAMPLES // 4, 5), phases=PHASES)
@given(st.lists(st.tuples(st.integers(2, 13), st.sampled_from(HEADINGS), CELL), min_size=1, max_size=6))
def test_what_is_planned_can_be_written(tmp_path_factory, changes):
    folder = tmp_path_factory.mktemp("written")
    sheets = Sheets()
    for row, heading, cell in changes:
        sheets.put("Weights", row, heading, workbook_text(cell))
    if (result := plan(sheets, folder)) is not None:
        paths, _ = write_outputs(result, folder / "out")
        assert len(paths) in {3, 4}, "a calendar only where a date is known"


@settings(max_examples=EXAMPLES, phases=PHASES)
@given(st.lists(st.lists(TEXT, max_size=5), max_size=8), st.sampled_from([",", ";", "\t", "|"]), st.booleans())
def test_any_text_file_is_no_fault(folder, rows, mark, headed):
    path = folder / "weighing.csv"
    lines = ([mark.join(["Tag", "Weight (kg)", "Mob"])] if headed else []) + [mark.join(row) for row in rows]
    path.write_bytes("\n".join(lines).encode("utf-8", "replace"))
    medicines = write_book(folder / "medicines.xlsx", Sheets().medicines)
    try:
        plan_job(path, medicines, Settings(on=ON))
    except UnusableInputError as refused:
        assert "\n" not in str(refused)  # noqa: PT017 - refused is as good as planned


# Files of the examples, damaged.


@dataclass(frozen=True)
class Example:
    """A session of the examples: bytes of its weighing workbook, a place for copies, its medicines and doses."""

    name: str
    whole: bytes = field(repr=False)
    copy: Path = field(repr=False)
    medicines: Path = field(repr=False)
    wanted: dict[tuple[int, int], str] = field(repr=False)


@pytest.fixture(scope="module", params=["hoggets", "dairy_goats"])
def example(request, tmp_path_factory):
    weighing, medicines = (SESSIONS / request.param / f"{name}.xlsx" for name in ("weighing", "medicines"))
    copy = tmp_path_factory.mktemp(request.param) / "weighing.xlsx"
    return Example(request.param, weighing.read_bytes(), copy, medicines, planned_doses(weighing, medicines))


def planned_doses(weighing, medicines):
    """Doses by sheet row and medicine as text; those held are left out."""
    result = plan_job(weighing, medicines)
    rows = result.treatments[~result.treatments["held"]].to_dict("records")
    return {(row["animal"], row["medicine"]): str(row["dose"]) for row in rows}


def assert_sound_or_refused(example):
    """A damaged copy is refused, or gives no dose that the whole workbook does not give."""
    try:
        given_ml = planned_doses(example.copy, example.medicines)
    except UnusableInputError as refused:
        assert "\n" not in str(refused)  # noqa: PT017 - refused is as good as planned
        return
    assert given_ml.items() <= example.wanted.items()


@settings(max_examples=EXAMPLES, phases=PHASES)
@given(seed=st.integers(0, 10**9))
def test_bytes_overwritten_or_cut(example, seed):
    chance, data = random.Random(seed), bytearray(example.whole)  # noqa: S311 - damage, no secret
    for _ in range(chance.randint(1, 20)):
        data[chance.randrange(len(data))] = chance.randrange(256)
    example.copy.write_bytes(data[: chance.randint(len(data) // 2, len(data))] if chance.random() < 0.3 else data)
    assert_sound_or_refused(example)


TAG = re.compile(rb"<[^>]*>")


def _drop(xml, spans, chance):
    start, end = chance.choice(spans)
    return xml[:start] + xml[end:]


def _repeat(xml, spans, chance):
    start, end = chance.choice(spans)
    return xml[:end] + xml[start:end] * chance.choice((1, 1, 3, 1000)) + xml[end:]


def _cut(xml, spans, chance):
    return xml[: chance.choice(spans)[0]]


def _rename(xml, spans, chance):
    start, end = chance.choice(spans)
    return xml[:start] + re.sub(rb"(?<=</|.<)\w+|(?<=<)\w+", b"x", xml[start:end], count=1) + xml[end:]


def _strip(xml, spans, chance):
    start, end = chance.choice(spans)
    return xml[:start] + re.sub(rb' \w+="[^"]*"', b"", xml[start:end], count=1) + xml[end:]


@settings(max_examples=EXAMPLES * 2, phases=PHASES)
@given(seed=st.integers(0, 10**9))
def test_parts_of_a_workbook_damaged(example, seed):
    chance = random.Random(seed)  # noqa: S311 - damage, no secret
    with zipfile.ZipFile(io.BytesIO(example.whole)) as package:
        part = chance.choice(package.namelist())
    example.copy.write_bytes(example.whole)
    change = chance.choice((_drop, _repeat, _cut, _rename, _strip))
    edit_part(example.copy, lambda xml: change(xml, [match.span() for match in TAG.finditer(xml)], chance), part)
    try:
        planned_doses(example.copy, example.medicines)
    except UnusableInputError as refused:
        assert "\n" not in str(refused)  # noqa: PT017 - refused is as good as planned


#: What may be left of a cell that was lost.
LOST = (b"<c %b/>", b'<c %b t="e"><v>#REF!</v></c>', b"<c %b><f>A1</f></c>", b"<c %b><v>nan</v></c>")


@settings(max_examples=EXAMPLES, phases=PHASES)
@given(seed=st.integers(0, 10**9))
def test_cells_of_a_workbook_lost(example, seed):
    chance = random.Random(seed)  # noqa: S311 - damage, no secret
    example.copy.write_bytes(example.whole)

    def lose(xml):
        cells = [match.span() for match in re.finditer(rb"<c [^>]*?(?:/>|>.*?</c>)", xml, re.DOTALL)]
        for start, end in sorted(chance.sample(cells[12:], min(3, len(cells) - 12)), reverse=True):
            place = re.search(rb'r="\w+"', xml[start:end])[0]
            left = chance.choice(
                [b"<c %b/>", b'<c %b t="e"><v>#REF!</v></c>', b"<c %b><f>A1</f></c>", b"<c %b><v>nan</v></c>"]
            )
            xml = xml[:start] + left % place + xml[end:]
        return xml

    edit_part(example.copy, lose, SHEET)
    assert_sound_or_refused(example)
