"""Headings: matched regardless of how they are written, offered when nearly right, never guessed."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheets import table

from batchdose import UnusableInputError
from batchdose.model import InputFile
from batchdose.read.book import Book, NoValue, Sheet
from batchdose.read.columns import find_table, missing_fields, single
from batchdose.read.fields import MEDICINES, WEIGHING
from batchdose.read.table import cell_text


def found(text, fields=WEIGHING, *, withdrawals=False):
    """The table on a sheet "Weights" of "weighing.xlsx"."""
    rows = table(text) if isinstance(text, str) else text
    sheet = Sheet("Weights", rows)
    return find_table(Book(InputFile(Path("weighing.xlsx"), ""), [sheet], b""), sheet, fields, withdrawals=withdrawals)


def columns(text, fields=WEIGHING, *, withdrawals=False):
    return dict(found(text, fields, withdrawals=withdrawals).columns)


@pytest.mark.parametrize(
    "headings",
    [
        "Tag | Weight", "TAG | WEIGHT", "tag: | weight.", " T a g | Weight ", "Ear-Tag | Live_Weight", "Ear tag | Wt",
        "Visual ID | Liveweight", "Animal | Weaning weight", "Tag no. | Body weight", "Animal ID | Bodyweight",
        "Tag number | weight (kg)", "Tag | Weight [lb]", "Tag | Weight(kg)",
    ],
)  # fmt: skip
def test_case_spaces_and_punctuation_do_not_matter(headings):
    assert columns(f"{headings}\n0412 | 41.5") == {"tag": 0, "weight": 1}


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("E.I.D.", "eid"), ("EID", "eid"), ("Electronic ID", "eid"), ("RFID", "eid"), ("Group", "mob"), ("Pen", "mob"),
        ("Herd", "mob"), ("Flock", "mob"), ("Class", "kind"), ("State", "status"), ("Remarks", "note"),
        ("Date of birth", "born"), ("Give anyway", "give_anyway"), ("Slaughter date", "slaughter_on"),
        ("Leaves on", "leaves_on"), ("Due", "due"), ("Lambed", "gave_birth"), ("First milk sold", "first_milk_sold"),
    ],
)  # fmt: skip
def test_headings_seen_on_farms(heading, field):
    assert columns(f"Tag | Weight | {heading}") == {"tag": 0, "weight": 1, field: 2}


@given(st.permutations(["Tag", "Weight (kg)", "Mob", "Species", "EID", "Feet"]))
def test_order_does_not_matter(headings):
    of_field = {"tag": "Tag", "weight": "Weight (kg)", "mob": "Mob", "species": "Species", "eid": "EID"}
    assert columns([headings]) == {field: headings.index(heading) for field, heading in of_field.items()}


@pytest.mark.parametrize(
    ("heading", "unit"), [("Weight (kg)", "kg"), ("Weight [lb]", "lb"), ("Weight ( kg )", "kg"), ("Weight", None)]
)
def test_the_unit_in_brackets_is_kept(heading, unit):
    assert found(f"Tag | {heading}").units.get("weight") == unit


def test_the_heading_row_may_stand_below_titles():
    weights = found(
        """
        Hoggets through the scale, 13 March
        Weighed by | Operator 1
        |
        Tag        | Weight (kg) | Mob
        0412       | 41.5        | Hill
        |
        0413       | 43          | Hill
        """
    )
    assert weights.header_row == 4
    assert [(row, cells["tag"]) for row, cells in weights.rows()] == [(5, "0412"), (7, "0413")]
    assert str(weights.where(5, "weight")) == "weighing.xlsx: Weights!B5"


def test_a_title_that_is_a_known_word_does_not_hide_the_headings():
    assert found("Weight\nTag | Weight (kg)\n0412 | 41.5").header_row == 2


def test_no_heading_is_no_table():
    assert found("0412 | 41.5\n0413 | 43") is None
    assert found([]) is None


def test_unknown_columns_are_left_alone():
    weights = found("Feet | Tag | Eye colour | Weight (kg)")
    assert dict(weights.columns) == {"tag": 1, "weight": 3}
    assert weights.findings == ()


def test_columns_of_an_earlier_run_are_not_read_back():
    assert columns("Tag | Weight (kg) | Job: tag | Job: dose") == {"tag": 0, "weight": 1}


@pytest.mark.parametrize(
    ("heading", "meant"),
    [
        ("Wieght", "Weight"), ("Weigth (kg)", "Weight"), ("Spicies", "Species"),
        ("Statuss", "Status"),
    ],
)  # fmt: skip
def test_a_near_miss_is_offered_and_never_used(heading, meant):
    weights = found(f"Tag | Mob | {heading}\n0412 | Hill | 41.5")
    assert 2 not in weights.columns.values()
    [finding] = weights.findings
    assert (finding.rule, finding.level.word, str(finding.where)) == (
        "heading-near-miss",
        "warning",
        "weighing.xlsx: Weights!C1",
    )
    assert f'Did you mean "{meant}"?' in finding.fix


@pytest.mark.parametrize("field", WEIGHING, ids=lambda field: field.name)
def test_what_is_offered_is_accepted(field):
    misspelt = f"{field.headings[0]}{field.headings[0][-1]}"
    beside = "Tag" if field.name != "tag" else "Weight"
    [finding] = found([[beside, misspelt]]).findings
    offered = finding.fix.split('"')[1]
    assert field.name in columns([[offered]])


def test_a_near_miss_is_not_offered_for_a_field_that_is_there():
    assert found("Tag | Weight | Mob | Mobs").findings == ()


def test_a_needed_field_that_is_missing_is_named():
    assert missing_fields(found("Tag | Mob"), WEIGHING) == ["Weight"]
    assert missing_fields(found("Tag | Weight"), WEIGHING) == []


@pytest.mark.parametrize(
    ("headings", "cell", "both"),
    [
        ("Tag | Weight | Weight (kg)", "C1", '"Weight"'), ("Tag | Ear tag | Weight", "B1", '"Tag"'),
        ("Tag | Weight | Mob | Group", "D1", '"Mob"'), ("Tag | Liveweight | Feet | Weaning weight", "D1", '"Weight"'),
    ],
)  # fmt: skip
def test_two_columns_with_one_meaning_are_refused(headings, cell, both):
    with pytest.raises(UnusableInputError, match=both) as refused:
        single(found(f"{headings}\n0412 | 41.5 | 42"))
    assert str(refused.value.where) == f"weighing.xlsx: Weights!{cell}"


@pytest.mark.parametrize(
    ("heading", "product"),
    [
        ("Meat withdrawal", "meat"), ("MEAT WITHDRAWAL", "meat"), ("Milk withdrawal period", "milk"),
        ("Meat withholding", "meat"), ("Milk withholding period", "milk"), ("Eggs withdrawal", "eggs"),
        ("Wool withdrawal", "wool"), ("Export slaughter withholding period (days)", "export slaughter"),
        ("Meat-withdrawal", "meat"), ("Meat_withdrawal", "meat"), ("Meat  withdrawal:", "meat"),
        ("Meat withdrawal ", "meat"), ("Egg withdrawal", "eggs"),
    ],
)  # fmt: skip
def test_a_withdrawal_column_names_its_product(heading, product):
    labels = columns([["Medicine", "Dose rate", heading]], MEDICINES, withdrawals=True)
    assert labels == {"medicine": 0, "dose_rate": 1, f"withdrawal:{product}": 2}


@pytest.mark.parametrize(
    "headings",
    [
        "Meat withdrawal | Meat withdrawal", "Meat withdrawal | Meat withholding period",
        "Milk withdrawal (h) | Milk withdrawal",
    ],
)  # fmt: skip
def test_two_withdrawal_columns_for_one_product_are_refused(headings):
    with pytest.raises(UnusableInputError, match="both mean"):
        single(found(f"Medicine | Dose rate | {headings}", MEDICINES, withdrawals=True))


def test_a_misspelt_withdrawal_column_is_offered():
    labels = found("Medicine | Dose rate | Meat withdrawl", MEDICINES, withdrawals=True)
    assert [finding.rule for finding in labels.findings] == ["heading-near-miss"]


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (412.0, "412"), (982000100000000.0, "982000100000000"), (412, "412"), (41.5, "41.5"), ("0412", "0412"),
        (" 04\u00a012 ", "04 12"), (None, ""), (NoValue("#N/A", "shows an error"), "#N/A"), ("0000", "0000"),
    ],
)  # fmt: skip
def test_a_tag_stays_as_it_is_shown(cell, text):
    assert cell_text(cell) == text
