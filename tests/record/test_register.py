"""The register: the columns that each list asks for, in order of date, with what is missing and how long to keep it."""

from __future__ import annotations

import csv
import re
from html import unescape
from io import BytesIO
from pathlib import Path
from typing import ClassVar

import pytest
from pypdf import PdfReader
from sheets import WORMER
from yard import ANIMALS, WHEN, Yard

import batchdose
from batchdose.record.register import _OF_FIELD, KEPT_APART, VIEWS, required_fields

FIELDS = Path(batchdose.__file__).parent / "data" / "record_fields.csv"
#: Years as printed in the sources that the table names.
YEARS = {"EU": ["5"], "GB": ["5"], "US": ["2", "3"], "AU": ["2", "3"], "NZ": ["4"], "GB-VET": ["5"], "US-VET": ["2"]}
VETS = ("GB-VET", "US-VET")


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    yard = Yard(
        tmp_path_factory.mktemp("register"), ANIMALS,
        WORMER | {"Active substance": "activine", "Supplier": "Supplier 1"},
        Session="Species | sheep\nTime zone | UTC\nClient | Farm <One>\nHolding number | 00/1",
        Stock="Medicine | Pack size | Packs | Batch number | Expiry\nwormer A | 100 mL | 1 | B1 | 2027-06-15",
    )  # fmt: skip
    yard.fill({"0412": {"given": "yes", "when": "2026-06-03 09:30", "by": "Operator 1", "batch_no": "B1"},
               "0413": {"given": "yes", "when": WHEN}, "0415": {"given": "no", "why_not": "absent"}})  # fmt: skip
    yard.record()
    return yard


def table(yard, rules, *more):
    told = yard.run("register", yard.record_path, "--for", rules, "--no-pdf", *more)
    assert told.exit_code == 0, told.output
    text = (yard.folder / f"record-register-{rules}.html").read_text(encoding="utf-8")
    head = [unescape(cell) for cell in re.findall(r"<th scope=\"col\">(.*?)</th>", text)]
    rows = [[unescape(cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", row)]
            for row in re.findall(r"<tr><td.*?</tr>", text, re.DOTALL)]  # fmt: skip
    return text, [dict(zip(head, row, strict=True)) for row in rows]


@pytest.mark.parametrize("rules", sorted(VIEWS.keys() - set(VETS)))
def test_every_field_that_a_list_asks_for_is_a_column_or_named_as_kept_apart(yard, rules):
    text, rows = table(yard, rules)
    with FIELDS.open(encoding="utf-8") as file:
        asked = [row["field"] for row in csv.DictReader(file)
                 if any(row[view] == "required" for view in VIEWS[rules])]  # fmt: skip
    assert set(asked) <= set(required_fields(rules))
    assert set(asked) <= set(_OF_FIELD) | set(KEPT_APART)
    assert len(rows[0]) == 2 + sum(field not in KEPT_APART for field in required_fields(rules))
    assert all(field in text for field in asked if field in KEPT_APART)


class TestThePrescribersOwn:
    """21 CFR 530.5, and regulation 24 of the UK Veterinary Medicines Regulations, as the table of fields has them."""

    ASKED: ClassVar = {
        "GB-VET": ["Active substance", "Number of animals", "Owner name and address", "Batch (lot) number",
                   "Withdrawal period (also when zero)", "Duration of treatment",
                   "Reason / diagnosis / condition treated"],
        "US-VET": ["Active substance", "Number of animals", "Species", "Withdrawal period (also when zero)",
                   "Duration of treatment", "Reason / diagnosis / condition treated"],
    }  # fmt: skip

    @pytest.fixture(scope="class")
    @classmethod
    def off_label(cls, tmp_path_factory):
        medicine = WORMER | {"Active substance": "activine", "Off label": "yes", "Prescriber": "Vet 1"}
        yard = Yard(
            tmp_path_factory.mktemp("vet"), ANIMALS, medicine, WORMER | {"Medicine": "wormer B"},
            Session="Species | sheep\nTime zone | UTC\nClient | Farm One",
            Treatments="Medicine | Mob | Reason\nwormer A | Hill | fluke\nwormer B | Hill | worms",
        )  # fmt: skip
        yard.fill({("0412", name, 1): {"given": "yes", "when": WHEN} for name in ("wormer A", "wormer B")})
        yard.record()
        return yard

    @pytest.mark.parametrize("rules", VETS)
    def test_it_has_the_vets_fields_and_what_was_off_label_alone(self, off_label, rules):
        text, rows = table(off_label, rules)
        assert [row["Medicine name"] for row in rows] == ["wormer A"]
        assert set(self.ASKED[rules]) <= rows[0].keys()
        assert rows[0]["Reason / diagnosis / condition treated"] == "fluke"
        assert ("under the cascade (GB)" if rules == "GB-VET" else "extra-label (US)") in text

    def test_the_owner_is_the_client(self, off_label):
        assert table(off_label, "GB-VET")[1][0]["Owner name and address"] == "Farm One"

    @pytest.mark.parametrize("rules", VETS)
    def test_every_field_asked_for_is_there(self, off_label, rules):
        assert set(required_fields(rules)) <= set(_OF_FIELD) | set(KEPT_APART)
        assert len(table(off_label, rules)[1][0]) == 2 + len(set(required_fields(rules)) & set(_OF_FIELD))


@pytest.mark.parametrize("rules", VIEWS)
def test_the_time_to_keep_it_is_stated(yard, rules):
    assert re.findall(r"at least (\d) years", table(yard, rules)[0]) == YEARS[rules]


def test_lines_stand_in_order_of_date_and_say_what_is_missing(yard):
    _, rows = table(yard, "AU")
    assert [row["Animal or group identification"] for row in rows] == ["0413, Hill", "0412, Hill"]
    assert rows[1]["Missing"] == ""
    assert rows[0]["Missing"] == "batch (lot) number; expiry date; person administering"
    assert rows[1]["Withholding end date"].startswith("meat 17 Jun 2026 09:30; milk 6 Jun 2026")


def test_what_was_not_given_is_not_on_it(yard):
    assert "0415" not in table(yard, "EU")[0]


def test_a_buyer_is_told_of_the_animals_on_a_list_only(yard):
    text, rows = table(yard, "EU", "--animals", yard.list_of("0412", "9999"), "--out", yard.folder)
    assert [row["Animal or group identification"] for row in rows] == ["0412, Hill"]
    assert "Not known in this record: 9999." in text


@pytest.mark.parametrize(("days", "head"), [(60, 0), (100_000, 2)])
def test_a_buyer_is_told_of_the_last_days(yard, days, head, monkeypatch):
    from batchdose.record import told

    class Now(told.datetime):
        @classmethod
        def now(cls, tz=None):
            return cls(2026, 9, 1, tzinfo=tz)

    monkeypatch.setattr(told, "datetime", Now)
    text, rows = table(yard, "EU", "--days", str(days))
    assert f"in the {days} days before Tuesday 1 September 2026" in text
    assert len(rows) == head


def test_texts_are_escaped(yard):
    assert "Farm &lt;One&gt;" in table(yard, "EU")[0]


def test_the_pdf_has_every_animal(yard):
    told = yard.run("register", yard.record_path, "--for", "gb", "--out", yard.folder / "print")
    assert told.exit_code == 0, told.output
    pages = PdfReader(BytesIO((yard.folder / "print" / "record-register-GB.pdf").read_bytes())).pages
    words = "".join(page.extract_text() for page in pages)
    assert "0412" in words
    assert "0413" in words


def test_a_place_without_a_list_is_refused(yard):
    assert yard.run("register", yard.record_path, "--for", "XX", "--no-pdf").exit_code == 2
