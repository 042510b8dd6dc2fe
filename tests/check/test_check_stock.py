"""Rules on opened packs and on the device: opened-left-unknown, device-too-large."""

from __future__ import annotations

from sheets import VACCINE, given, held, told

TWO = "Tag | Weight (kg)\n0412 | 41.5\n0413 | 45"
OPENED = "Medicine | Pack size | Packs | Opened on | Left\nwormer A | 100 mL | 1 | 2026-05-30 |"


def test_an_opened_pack_of_which_nobody_wrote_what_is_left_is_not_counted_on(job):
    result = job(TWO, Stock=OPENED)
    assert ("opened-left-unknown", "warning", "Stock!A2") in told(result)
    assert float(result.product[0].short) == 1.8
    assert len(given(result)) == 2


def test_an_opened_pack_with_what_is_left_is_counted_on(job):
    assert told(job(TWO, Stock=f"{OPENED} 60 mL")) == []


def test_an_opened_pack_of_a_medicine_that_is_not_used_is_not_asked_about(job):
    assert told(job(TWO, {}, VACCINE, give=["vaccine V"], Stock=OPENED)) == []


def test_a_device_as_large_as_the_label_allows_passes(job):
    assert told(job(TWO, {"Device size": "2 mL", "Largest device": "2 mL"})) == []


def test_a_larger_device_holds_the_medicine(job):
    label = {"Device size": "20 mL", "Largest device": "2 mL"}
    result = job(TWO, label, VACCINE, Treatments="Medicine\nwormer A\nvaccine V")
    assert [row[:2] for row in told(result)] == [("device-too-large", "error")]
    assert held(result) == [("0412", "wormer A"), ("0413", "wormer A")]


def test_a_device_in_words_is_printed_and_not_compared(job):
    assert told(job(TWO, {"Device size": "repeater gun", "Largest device": "2 mL"})) == []
