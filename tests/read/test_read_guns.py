"""A gun's reading on the sheet `Session`: to one medicine, never guessed, and never against the medicines sheet."""

from __future__ import annotations

from fractions import Fraction

import pytest
from sheets import given, held, told

from batchdose.write.job_sheet import build_job_sheet

ONE = "Tag | Weight (kg)\n0412 | 50"
BOTH = "Medicine\nwormer A\nwormer B"
DRENCH = {"Strength": "2 mg/mL", "Dose by": "drafts"}  # 50 kg get 5 mL
OTHER = {"Medicine": "wormer B"}


def session(*entries):
    return [("Species", "sheep"), ("Time zone", "UTC"), *entries]


def gun(result, at=0):
    reading = result.medicines[at].practice.gun
    return reading and (reading.set_to, reading.gave, reading.shots)


@pytest.mark.parametrize(
    ("set_to", "gave"),
    [("Gun set to", "Gun gave"), ("gun SET TO (mL)", "Gun gave in all (mL)"), ("Gun set to: wormer A", "Gun gave"),
     ("Gun set to (Wormer A)", "Gun gave for wormer a"), ("Gun set to - wormer A (mL)", "Gun gave: wormer A [mL]:")],
)  # fmt: skip
def test_the_reading_in_every_form_is_that_of_the_one_medicine(job, set_to, gave):
    result = job(ONE, DRENCH, Session=session((set_to, 5), (gave, "45")))
    assert gun(result) == (5, 45, 10)
    assert [(row[0], row[2]) for row in told(result)] == [("gun-off", "Session!B4")]
    [card] = build_job_sheet(result).cards
    assert card.settings[0][2] == "5 mL (set to 5.6 mL)"


def test_a_reading_with_its_own_number_of_shots(job):
    entries = (("Gun set to", "5 mL"), ("Gun gave", "24.5 mL"), ("Gun shots", 5))
    result = job(ONE, DRENCH, Session=session(*entries))
    assert (gun(result), told(result)) == ((5, Fraction("24.5"), 5), [])


def test_a_gun_that_gives_nothing_like_it_holds_its_medicine_and_no_other(job):
    entries = (("Gun set to: wormer A", "5 mL"), ("Gun gave: wormer A", "0.4 mL"))
    result = job(ONE, DRENCH | {"Device size": "20 mL"}, OTHER, Treatments=BOTH, Session=session(*entries))
    assert ("gun-off", "error", "Session!B4") in told(result)
    assert held(result) == [("0412", "wormer A")]
    assert ("0412", "wormer B") in given(result)


def test_with_two_medicines_a_reading_without_a_name_is_asked_about_and_not_used(job):
    entries = (("Gun set to", "5 mL"), ("Gun gave", "45 mL"))
    result = job(ONE, DRENCH, OTHER, Treatments=BOTH, Session=session(*entries))
    assert {row for row in told(result) if row[0].startswith("gun")} == {
        ("gun-reading-of-which", "error", "Session!B3"),
        ("gun-reading-of-which", "error", "Session!B4"),
    }
    assert gun(result, 0) is gun(result, 1) is None


def test_of_two_medicines_only_the_one_that_is_given_can_be_meant(job):
    entries = (("Gun set to", "5 mL"), ("Gun gave", "49 mL"))
    result = job(ONE, DRENCH, OTHER, Treatments="Medicine\nwormer A", Session=session(*entries))
    assert (gun(result, 0), gun(result, 1)) == ((5, 49, 10), None)


def test_a_name_that_is_on_no_row_is_offered_the_nearest(job):
    entries = (("Gun set to: wormerA", "5 mL"), ("Gun gave: wormerA", "45 mL"))
    result = job(ONE, DRENCH, Session=session(*entries))
    found = [finding for finding in result.findings if finding.rule == "gun-reading-of-which"]
    assert len(found) == 2
    assert 'Write "Gun set to: wormer A"' in found[0].fix
    assert gun(result) is None


@pytest.mark.parametrize(
    ("entries", "problem"),
    [
        ([("Gun gave", "45 mL")], "needs what it was set to"),
        ([("Gun set to", "5 mL")], "needs what it was set to"),
        ([("Gun set to", "5 mL"), ("Gun gave", "about 50")], "not understood"),
        ([("Gun set to", "5 mL"), ("Gun gave", "50 g")], "does not go with a dose in mL"),
        ([("Gun set to", "5 mL"), ("Gun gave", 0)], "does not go with a dose in mL"),
        ([("Gun set to", "5 mL"), ("Gun gave", 49), ("Gun gave", 45)], "twice"),
        ([("Gun set to", "5 mL"), ("Gun gave", 49), ("Gun shots", "some")], "some"),
        ([("Gun set to", "5 mL"), ("Gun gave", "=A1")], "the cell"),
    ],
)
def test_what_is_no_whole_reading_holds_the_medicine(job, entries, problem):
    result = job(ONE, DRENCH, OTHER, Treatments=BOTH, Session=session(*((f"{n}: wormer A", v) for n, v in entries)))
    [found] = [finding for finding in result.findings if finding.rule == "gun-reading-refused"]
    assert problem in found.message
    assert (held(result), gun(result)) == ([("0412", "wormer A")], None)


@pytest.mark.parametrize(("gave", "refused"), [("49 mL", False), ("48 mL", True)])
def test_the_session_and_the_medicines_sheet_must_say_the_same(job, gave, refused):
    entries = (("Gun set to: wormer A", "5 mL"), ("Gun gave: wormer A", "49 mL"))
    label = DRENCH | {"Gun set to": "5 mL", "Gun gave": gave}
    result = job(ONE, label, OTHER, Treatments=BOTH, Session=session(*entries))
    assert held(result) == ([("0412", "wormer A")] if refused else [])
    assert ("gun-reading-refused" in {row[0] for row in told(result)}) is refused


def test_rows_of_one_medicine_with_different_devices_cannot_share_a_reading(job):
    entries = (("Gun set to", "5 mL"), ("Gun gave", "49 mL"))
    cattle = {"Species": "cattle", "Graduation": "1 mL"}
    result = job(ONE + "\n0413 | 45", DRENCH, cattle, OTHER, Treatments=BOTH, Session=session(*entries))
    assert gun(result) is None
    entries = tuple((f"{name}: wormer A", value) for name, value in entries)
    result = job(ONE, DRENCH, cattle, OTHER, Treatments=BOTH, Session=session(*entries))
    assert ("gun-reading-refused", "error", "Session!B3") in told(result)
    assert held(result) == [("0412", "wormer A")]


def test_a_misspelt_entry_is_offered_the_right_one(job):
    result = job(ONE, DRENCH, Session=session(("Gun gaev", "45 mL")))
    assert [row[:2] for row in told(result)] == [("heading-near-miss", "warning")]
