"""The sheet Session: which entries are used, which are asked about, and where their values stand."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from openpyxl import load_workbook
from sheets import ON, given, held, told, write_job

from batchdose import Settings, UnusableInputError, plan_job

ONE = "Tag | Weight (kg)\n0412 | 41.5"
SOUND = "Species | sheep\nTime zone | UTC"
DOSE = {("0412", "wormer A"): 0.9}


class TestRepeats:
    @pytest.mark.parametrize(
        ("one", "other"),
        [
            ("Weight unit | kg", "Weight unit | lb"), ("Species | sheep", "Species | goat"),
            ("Rules | EU", "Rules | US"),
            ("Date | 2026-06-01", "Treatment date | 2026-06-02"), ("Time zone | UTC", "Time zone | Europe/Dublin"),
            ("Date order | day first", "Date order | month first"), ("Rules | EU", "Country | US"),
        ],
    )  # fmt: skip
    def test_two_values_of_what_decides_stop_the_run(self, job, one, other):
        with pytest.raises(UnusableInputError, match=r"Session!B2: .*B1.*Clear the one"):
            job(ONE, Session=f"{one}\n{other}")

    def test_two_values_of_another_entry_are_an_error_and_neither_is_used(self, job):
        result = job(ONE, Session=f"{SOUND}\nSpare | 5 %\nSpare | 10 %")
        assert told(result) == [("session-entry-repeated", "error", "Session!B4")]
        assert float(result.product[0].to_draw) == 0.9
        assert given(result) == DOSE

    def test_the_same_value_twice_passes(self, job):
        assert told(job(ONE, Session=f"{SOUND}\nSpecies | Sheep\nSpare | 5 %\nSpare | 5 %")) == []

    def test_two_sheets_are_read_as_one(self, tmp_path):
        weighing, labels = write_job(tmp_path, ONE, Session="Species | sheep\nTime zone | UTC")
        book = load_workbook(labels)
        for row in (("Spare", "5 %"), ("Species", "Sheep")):
            (book["Session"] if "Session" in book.sheetnames else book.create_sheet("Session")).append(row)
        book.save(labels)
        assert float(plan_job(weighing, labels, Settings(on=ON)).session.facts.spare) == 0.05
        book["Session"]["B2"] = "goat"
        book.save(labels)
        with pytest.raises(UnusableInputError, match=r"medicines.xlsx: Session!B2.*weighing.xlsx: Session!B1"):
            plan_job(weighing, labels, Settings(on=ON))


class TestNames:
    @pytest.mark.parametrize("name", ["Date of treatment", "Treatment date", "Day", "Date"])
    def test_the_day_by_any_name(self, job, name):
        result = job(ONE, on=None, Session=f"{SOUND}\n{name} | 15 June 2026")
        assert result.planned.at == datetime(2026, 6, 15, tzinfo=UTC)

    def test_other_names_that_are_clear(self, job):
        session = f"{SOUND}\nOrganic farm | yes\nCountry | UK\nUnit | lb\nMax drafts | 3\nNotes | bring the crook"
        result = job("Tag | Weight\n0412 | 100", Session=session)
        facts = result.session.facts
        assert (facts.organic, facts.rules, facts.weight_unit, facts.max_drafts) == (True, "GB", "lb", 3)
        assert not [rule for rule, *_ in told(result) if rule.startswith("session-entry")]

    @pytest.mark.parametrize(("name", "offer"), [("Weather", ""), ("Number of drafts at most", "Largest number")])
    def test_an_unknown_entry_is_a_warning(self, job, name, offer):
        result = job(ONE, Session=f"{SOUND}\n{name} | 3")
        assert told(result) == [("session-entry-unknown", "warning", "Session!B3")]
        assert offer in result.findings[0].fix
        assert (given(result), result.exit_status) == (DOSE, 0)

    def test_a_title_and_an_entry_without_a_value_pass(self, job):
        assert told(job(ONE, Session=f"Weighing of the lambs |\n{SOUND}\nSpare |\nWeather |")) == []


class TestWhereTheValueStands:
    def test_a_note_is_not_taken_for_a_value(self, job):
        session = "Name | Value | Note\nSpecies | sheep |\nTime zone | UTC |\nSpare | | 5 %\nOrganic | | ask"
        result = job(ONE, Session=session)
        assert told(result) == []
        assert result.session.facts.spare == 0

    def test_the_column_headed_value_counts(self, job):
        session = "Name | Note | Value\nSpecies | all of them | sheep\nTime zone | | UTC\nSpare | or ten | 5 %"
        result = job(ONE, Session=session)
        assert told(result) == []
        assert float(result.session.facts.spare) == 0.05

    def test_a_finding_names_the_cell(self, job):
        session = "Name | Note | Value\nSpecies | | sheep\nTime zone | | UTC\nSpare | | lots"
        assert told(job(ONE, Session=session)) == [("session-entry-unreadable", "error", "Session!C4")]


class TestSpare:
    def test_a_bare_number_below_one_is_asked_about(self, job):
        result = job(ONE, Session=f"{SOUND}\nSpare | 0.5")
        assert told(result) == [("session-entry-unreadable", "error", "Session!B3")]
        assert "50 % or 0.5 %" in result.findings[0].message
        assert float(result.product[0].to_draw) == 0.9

    def test_a_cell_that_is_shown_as_a_percentage_is_that(self, tmp_path):
        weighing, labels = write_job(tmp_path, ONE, Session=f"{SOUND}\nSpare | 0.05")
        book = load_workbook(weighing)
        book["Session"]["B3"].number_format = "0%"
        book.save(weighing)
        result = plan_job(weighing, labels, Settings(on=ON))
        assert told(result, but=["copy-may-lose"]) == []
        assert float(result.session.facts.spare) == 0.05


@pytest.mark.parametrize(
    ("order", "month"),
    [("dd/mm/yyyy", 4), ("Day-first", 4), ("DMY", 4), ("mm/dd/yyyy", 3), ("month-first", 3), ("m/d/yy", 3)],
)
def test_the_order_of_dates_in_other_words(job, order, month):
    result = job(ONE, on=None, Session=f"{SOUND}\nDate order | {order}\nDate | 03/04/2026")
    assert result.planned.at.month == month


@pytest.mark.parametrize(
    ("said", "rules"),
    [("UK", "GB"), ("gb", "GB"), ("USA", "US"), ("Ireland", "EU"), ("New Zealand", "NZ"), ("None", "")],
)
def test_the_rules_in_other_words(job, said, rules):
    assert job(ONE, Session=f"{SOUND}\nRules | {said}").session.facts.rules == rules


@pytest.mark.parametrize(
    ("said", "species"),
    [("Ewes", "sheep"), ("lamb", "sheep"), ("cows", "cattle"), ("Calves", "cattle"), ("piglets", "pig")],
)
def test_animals_of_one_species_by_their_name(job, said, species):
    result = job(ONE, {"Species": species}, Session=f"Time zone | UTC\nSpecies | {said}")
    assert (held(result), given(result)) == ([], DOSE)


def test_a_species_without_a_value_is_not_taken_from_the_medicines(job):
    result = job(ONE, Session="Time zone | UTC\nSpecies | =A1")
    assert ("session-entry-unreadable", "error", "Session!B2") in told(result)
    assert given(result) == {}


def test_a_sheet_that_is_not_there_is_told_with_those_that_are(job):
    with pytest.raises(UnusableInputError, match=r"Session!B3: There is no sheet .Weigts.*Weights; Session"):
        job(ONE, Session=f"{SOUND}\nWeighing sheet | Weigts")
