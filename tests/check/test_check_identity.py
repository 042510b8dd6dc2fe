"""Rules about who is who: tag-repeated, tag-in-two-forms, tag-turned-date, and born-in-the-future."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from sheets import given, held, told

# Forms of one number: animal identification, national number of up to twelve digits after two letters or, in a
# radio tag, after three digits (ISO 11784; Regulation (EU) 2021/520 article 12).
RADIO, PRINTED = "826012345600001", "UK0123456 00001"


def two(one, other, headings=("Tag", "EID", "Weight (kg)")):
    return [list(headings), one, other]


class TestOneNumberInTwoPlaces:
    @pytest.mark.parametrize(
        ("one", "other"),
        [
            ((RADIO, None), ("0413", RADIO)),
            (("0413", RADIO), (RADIO, None)),
            (("0412", "826-012345600001"), ("0413", RADIO)),
            (("UK 0123456 00001", None), ("UK0123456-00001", None)),
            (("uk.0123456.00001", None), (PRINTED, None)),
        ],
    )
    def test_an_animal_of_two_weights_is_held_in_both_rows(self, job, one, other):
        result = job(two([*one, 41.5], [*other, 45]))
        assert [row[:2] for row in told(result)] == [("tag-repeated", "error")]
        assert len(held(result)) == 2

    def test_the_same_weight_by_tag_and_by_eid_is_planned_once(self, job):
        result = job(two([RADIO, None, 41.5], ["0413", RADIO, 41.5]))
        assert told(result) == [("tag-repeated", "error", "Weights!B3")]
        assert (held(result), given(result)) == ([("0413", "wormer A")], {(RADIO, "wormer A"): 0.9})

    @pytest.mark.parametrize("tags", [("1-12", "112"), ("1.12", "112"), ("0412", "412"), ("A-12", "A12")])
    def test_short_tags_stay_what_they_are(self, job, tags):
        assert len(given(job([["Tag", "Weight (kg)"], [tags[0], 41.5], [tags[1], 45]]))) == 2

    def test_one_row_may_hold_its_number_in_both_columns(self, job):
        assert told(job(two([RADIO, RADIO, 41.5], ["0413", None, 45]))) == []


class TestSameWeightIsNotEnough:
    HEADINGS = ("Tag", "EID", "Weight (kg)", "Status", "Class", "Born")

    @pytest.mark.parametrize(
        ("one", "other", "word"),
        [
            ((None, None, None, None), (None, "in milk", None, None), "status"),
            ((None, None, "ewe", None), (None, None, "lamb", None), "class"),
            ((None, None, None, date(2024, 3, 1)), (None, None, None, date(2025, 3, 1)), "dates of birth"),
            ((RADIO, None, None, None), ("826012345600002", None, None, None), "EIDs"),
        ],
    )
    def test_rows_that_differ_are_all_held(self, job, one, other, word):
        rows = [["0412", cells[0], 41.5, *cells[1:]] for cells in (one, other)]
        result = job([list(self.HEADINGS), *rows])
        assert told(result) == [("tag-repeated", "error", "Weights!A2")]
        assert f"with different {word}" in result.findings[0].message
        assert len(held(result)) == 2

    def test_an_eid_may_be_missing_in_the_repeat(self, job):
        result = job(two(["0412", RADIO, 41.5], ["0412", None, 41.5]))
        assert (held(result), len(given(result))) == ([("0412", "wormer A")], 1)
        assert result.treatments["held"].tolist() == [False, True]


class TestDamagedNumbersAsTags:
    def test_two_alike_are_one_finding_and_both_are_held(self, job):
        result = job([["EID", "Weight (kg)"], ["8.26E+14", 45], ["8.26E+14", 45], [RADIO, 45]])
        assert told(result) == [("tag-repeated", "error", "Weights!A2")]
        assert "digits are lost" in result.findings[0].message
        assert len(given(result)) == 1

    def test_one_alone_is_told_of_as_damaged(self, job):
        result = job([["EID", "Weight (kg)"], ["8.26E+14", 45], [RADIO, 45]])
        assert told(result) == [("eid-unlikely", "warning", "Weights!A2")]


class TestTagInTwoForms:
    def test_passes_side_by_side_in_one_row(self, job):
        assert told(job(two([PRINTED, RADIO, 41.5], ["0413", None, 45]))) == []

    @pytest.mark.parametrize("other", [("0413", RADIO), (RADIO, None)])
    def test_in_two_rows_they_are_asked_about(self, job, other):
        result = job(two([PRINTED, None, 41.5], [*other, 45]))
        assert told(result) == [("tag-in-two-forms", "warning", "Weights!A2")]
        assert f"tag {other[0]}" in result.findings[0].message
        assert (len(given(result)), result.exit_status) == (2, 0)

    @pytest.mark.parametrize(
        ("printed", "radio"), [("IE 1234567 01234", "372123456701234"), ("DE 01 234 56789", "276000123456789")]
    )
    def test_of_other_countries_too(self, job, printed, radio):
        assert told(job(two([printed, None, 41.5], ["0413", radio, 45])))[0][0] == "tag-in-two-forms"


class TestTagTurnedDate:
    def test_passes_as_text(self, job):
        assert told(job([["Tag", "Weight (kg)"], ["3-4", 41.5], ["4/3", 45]])) == []

    @pytest.mark.parametrize("tag", [date(2026, 3, 4), datetime(2026, 3, 4), "2026-03-04"])  # noqa: DTZ001 - a cell
    def test_a_date_holds_the_animal(self, job, tag):
        result = job([["Tag", "Weight (kg)"], [tag, 41.5], ["0413", 45]])
        assert told(result) == [("tag-turned-date", "error", "Weights!A2")]
        assert given(result) == {("0413", "wormer A"): 0.9}

    def test_an_animal_known_by_its_eid_is_not_held(self, job):
        result = job(two([date(2026, 3, 4), RADIO, 41.5], ["0413", None, 45]))
        assert told(result) == [("tag-turned-date", "warning", "Weights!A2")]
        assert len(given(result)) == 2


class TestBornInTheFuture:
    @pytest.mark.parametrize("born", [date(2024, 3, 1), date(2026, 6, 1), None])
    def test_passes_up_to_the_day_of_treatment(self, job, born):
        assert told(job([["Tag", "Weight (kg)", "Born"], ["0412", 41.5, born]])) == []

    def test_a_later_day_holds_the_animal(self, job):
        rows = [["Tag", "Weight (kg)", "Born"], ["0412", 41.5, date(2026, 6, 2)], ["0413", 45, None]]
        result = job(rows)
        assert told(result) == [("born-in-the-future", "error", "Weights!C2")]
        assert given(result) == {("0413", "wormer A"): 0.9}
