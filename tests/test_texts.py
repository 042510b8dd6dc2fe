"""Texts said in another language, numbers and dates that cannot be misread there."""

from __future__ import annotations

import pickle
from datetime import date
from fractions import Fraction

import pytest

from batchdose.amounts import amount_text, date_text, days_text, number_text, short_date_text
from batchdose.texts import joined, language_spoken, listed, say, say_many, speaking, tell

WORKED = [
    # SI Brochure, 9th edition, 5.4.4: groups parted by a space, never by a point or a comma.
    (1250.5, "1,250.5", "1250,5", "1\u00a0250,5"),
    (12500, "12,500", "12\u00a0500", "12\u00a0500"),
    (0.05, "0.05", "0,05", "0,05"),
    (Fraction(5), "5", "5", "5"),
]


@pytest.mark.parametrize(("value", "english", "spanish", "french"), WORKED)
def test_numbers_take_the_form_of_the_language_and_no_other(value, english, spanish, french):
    texts = []
    for language in ("en", "es", "fr"):
        with speaking(language):
            texts.append(number_text(value))
    assert texts == [english, spanish, french]


def test_what_was_made_in_english_is_told_in_another_language_with_all_its_parts():
    made = say("{amount} on {day}", amount=amount_text(1.5, "mL"), day=date_text(date(2026, 4, 15)))
    assert made == "1.5 mL on Wednesday 15 April 2026"
    with speaking("fr"):
        assert tell(made) == "1,5 mL on mercredi 15 avril 2026"
    with speaking("es"):
        assert tell(joined("; ", [made, "Hill"])) == "1,5 mL on miércoles 15 de abril de 2026; Hill"
    assert tell(made) == made


def test_short_dates_are_those_of_the_language():
    with speaking("fr"):
        assert days_text([date(2026, 8, 1), date(2026, 8, 3)]) == "1 août, 3 août"
        assert short_date_text(date(2026, 8, 1), year=True, weekday=True) == "sam. 1 août 2026"


def test_braces_in_a_value_are_no_pattern():
    assert say("tag {tag}", tag="{0}") == "tag {0}"


def test_a_text_survives_a_trip_to_another_process():
    made = pickle.loads(pickle.dumps(say_many("{n} head", "{n} heads", 2, n=number_text(2.5))))  # noqa: S301 - our own
    assert made == "2.5 heads"
    with speaking("es"):
        assert tell(made) == "2,5 heads"


def test_the_language_is_english_again_after_an_error():
    with pytest.raises(ValueError, match="stop"), speaking("es"):
        raise ValueError("stop")
    assert language_spoken() == "en"


@pytest.mark.parametrize(
    ("names", "wanted"),
    [
        (["closantel", "ivermectin"], "closantel e ivermectin"),
        (["ivermectin", "closantel"], "ivermectin y closantel"),
        (["a", "b", "hierro"], "a, b y hierro"),
        (["0412", "0413"], "0412 y 0413"),
    ],
)  # fmt: skip
def test_spanish_says_e_before_the_sound_of_an_i(names, wanted):
    # The usual rule of Spanish; no source.
    with speaking("es"):
        assert tell(listed(names)) == wanted
