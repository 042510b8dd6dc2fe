"""From the sheets to the results: assurance, gun check, product in full, drafts' curve, earlier withdrawal periods."""

from __future__ import annotations

import json
from datetime import datetime
from fractions import Fraction
from io import BytesIO
from zoneinfo import ZoneInfo

import pytest
from openpyxl import load_workbook
from sheets import given, held, medicine_cell, told

from batchdose.write.job_sheet import build_job_sheet
from batchdose.write.results import results_json
from batchdose.write.workbook import updated_workbook

ONE = "Tag | Weight (kg)\n0412 | 50"
UTC = ZoneInfo("UTC")


def session(**entries):
    rows = {"Species": "sheep", "Time zone": "UTC"} | {k.replace("_", " "): v for k, v in entries.items()}
    return [[name, value] for name, value in rows.items()]


# What an animal may really get: 50 kg, 1 mL of 10 mg/mL. Scale in steps of 0.5 kg: 49.75 to 50.25 kg. Syringe of 2 mL
# to ISO 7886-1 (5 % from half its size) and half a mark of 0.05 mL: 0.9 to 1.1 mL. So 9 / 50.25 to 11 / 49.75 mg/kg.


def test_the_range_that_an_animal_may_really_get(job):
    result = job(ONE, {"Device size": "2 mL"}, Session=session(Scale_step="0.5 kg"))
    [found] = result.assurance
    assert found.low == pytest.approx(9 / 50.25)
    assert found.high == pytest.approx(11 / 49.75)
    assert found.low < found.likely_low < 0.2 < found.likely_high < found.high
    assert json.loads(results_json(result))["assurance"][0]["unit"] == "mg/kg"
    [card] = build_job_sheet(result).cards
    assert any("may really get 0.179 to 0.221 mg/kg" in remark for remark in card.remarks)


def test_a_stated_tolerance_and_that_of_the_scale_count(job):
    label = {"Device tolerance": "10 %", "Dose by": "mob"}
    result = job(ONE, label, Session=session(Scale_step="0.5 kg", Scale_tolerance="1 kg"))
    [found] = result.assurance
    assert found.low == pytest.approx((1 - 0.1 - 0.05) * 10 / (50 + 1.25))
    assert found.draft == "A"


@pytest.mark.parametrize("entries", [{}, {"Scale_step": "0.5 kg"}])
def test_nothing_is_said_where_scale_or_device_say_nothing(job, entries):
    label = {} if entries else {"Device size": "2 mL"}
    assert job(ONE, label, Session=session(**entries)).assurance == ()


@pytest.mark.parametrize(("lowest", "under"), [("0.18 mg/kg", True), ("0.17 mg/kg", False), (None, False)])
def test_a_dose_that_may_be_under_the_lowest_rate_is_told(job, lowest, under):
    label = {"Device size": "2 mL", "Lowest rate": lowest}
    result = job(ONE, label, Session=session(Scale_step="0.5 kg"))
    rule = ("dose-may-be-under", "warning", medicine_cell("Lowest rate", label))
    assert told(result) == ([rule] if under else [])


# The gun: set to 5 mL, 10 shots are 50 mL; 47.5 to 52.5 mL pass (5 %, Kansas State study as quoted).
BOTH = "Medicine\nwormer A\nwormer B"
DRENCH = {"Strength": "2 mg/mL", "Dose by": "drafts", "Gun set to": "5 mL"}  # 50 kg get 5 mL


@pytest.mark.parametrize(
    ("gave", "level"),
    [("50 mL", None), ("47.5 mL", None), ("45 mL", "warning"), ("55 mL", "warning"), ("0.4 mL", "error")],
)
def test_a_gun_that_was_measured(job, gave, level):
    label = DRENCH | {"Gun gave": gave, "Device size": "20 mL"}
    other = {"Medicine": "wormer B"}
    result = job(ONE, label, other, Treatments="Medicine\nwormer A\nwormer B")
    found = [finding for finding in result.findings if finding.rule == "gun-off"]
    assert [finding.level.word for finding in found] == ([level] if level else [])
    assert ("0412", "wormer A") in (held(result) if level == "error" else given(result))


def test_the_job_sheet_has_the_check_and_the_corrected_setting(job):
    [card] = build_job_sheet(job(ONE, DRENCH | {"Gun gave": "45 mL"})).cards
    assert card.settings[0][2] == "5 mL (set to 5.6 mL)"
    assert any("Squirt 10 shots of 5 mL into a measuring cylinder: 50 mL is right" in r for r in card.remarks)


def test_half_a_reading_of_a_gun_is_refused(job):
    result = job(ONE, DRENCH, {"Medicine": "wormer B"}, Treatments="Medicine\nwormer A\nwormer B")
    assert ("label-figure-unreadable", "error") in {row[:2] for row in told(result)}


# Product in full.


def test_priming_needles_and_loss_are_in_the_product(job):
    rows = "Tag | Weight (kg)\n" + "\n".join(f"{n:04d} | 50" for n in range(401, 421))  # 20 x 1 mL
    label = {
        "Device size": "5 mL",
        "Priming": "0.5 mL",
        "Dead space": "0.1 mL",
        "Animals per needle": 10,
        "Loss": "10 %",
    }
    stock = "Medicine | Pack size | Packs | Price | Batch number\nwormer A | 50 mL | 1 | 20 | B-1"
    [plan] = job(rows, label, Stock=stock).product
    fills = 5  # four doses of 1.1 mL, with 0.1 mL for a needle, in the 4.5 mL that priming leaves
    assert plan.to_draw == 20 * Fraction("1.1") + fills * Fraction("0.5") + 2 * Fraction("0.1")
    assert plan.remarks[0] == "Included: 2.5 mL for priming at 5 fills, 0.2 mL for 2 needles, 2 mL for loss."
    assert plan.cost == plan.to_draw / 50 * 20
    assert (plan.animals, plan.cost_per_animal) == (20, pytest.approx(float(plan.cost) / 20))
    assert plan.cost_per_kg == pytest.approx(float(plan.cost) / 1000)


def test_priming_that_fills_the_device_is_refused(job):
    result = job(ONE, {"Device size": "1 mL", "Priming": "1 mL"}, {"Medicine": "wormer B"},
                 Treatments="Medicine\nwormer A\nwormer B")  # fmt: skip
    assert held(result) == [("0412", "wormer A")]


def test_the_cost_by_the_price_of_the_packs(job):
    [plan] = job(ONE, Stock='Medicine | Pack size | Price\nwormer A | 100 mL | "EUR 38.50"').product
    assert plan.cost == Fraction("38.5") / 100
    [plan] = job(ONE, Stock="Medicine | Pack size\nwormer A | 100 mL").product
    assert (plan.cost, plan.cost_per_animal, plan.cost_per_kg) == (None, None, None)


# Drafts: the curve, fewest head, what another draft must save, and the rule of thumb.

FIVE = "Tag | Weight (kg)\n0401 | 30\n0402 | 31\n0403 | 40\n0404 | 50\n0405 | 59"


def test_the_curve_of_drafts_against_product(job):
    [mob] = job(FIVE, {"Dose by": "drafts"}).mobs
    assert [float(point.product) for point in mob.curve] == [6.0, 4.8, 4.6, 4.4]
    assert [point.drafts for point in mob.curve] == [1, 2, 3, 4]


def test_another_draft_that_saves_too_little_is_not_recommended(job):
    [mob] = job(FIVE, {"Dose by": "drafts"}, Session=session(Least_saving="10 %")).mobs
    assert mob.remarks[0] == "2 weight groups would do: 0.2 mL more a round, and each further one saves less than 10 %."


@pytest.mark.parametrize(
    ("most", "saving", "said"),
    [(2, "1 %", "More than 2 weight groups are recommended"), (2, "5 %", "2 weight groups: the number recommended"),
     (3, "5 %", "2 weight groups would do")],
)  # fmt: skip
def test_the_recommended_number_stands_with_the_curve_on_the_job_sheet(job, most, saving, said):
    # 6 mL, 4.8 mL, 4.6 mL (4.2 % less), 4.4 mL (4.3 % less).
    entries = session(Least_saving=saving, Largest_number_of_drafts=most)
    [card] = build_job_sheet(job(FIVE, {"Dose by": "drafts"}, Session=entries)).cards
    assert any(said in remark for remark in card.remarks)
    assert any("by the number of weight groups: 1: 6 mL; 2: 4.8 mL; 3: 4.6 mL" in remark for remark in card.remarks)


def test_an_animal_that_the_scale_cannot_tell_from_the_heavier_draft_goes_there(job):
    weights = (38.6, 38.6, 38.6, 39, 40, 41, 41, 41)
    rows = [["Tag", "Weight (kg)"], *([f"{tag:04d}", kg] for tag, kg in enumerate(weights, 401))]
    label = {"Dose rate": "1 mg/kg", "Dose by": "drafts"}  # 0.1 mL a kilogram: 3.9 mL and 4.1 mL
    [mob] = job(rows, label, Session=session(Largest_number_of_drafts=2)).mobs
    assert ([draft.head for draft in mob.drafts], mob.total) == ([4, 4], 32)
    scale = session(Scale_step="1 kg", Scale_tolerance="0.5 kg", Largest_number_of_drafts=2)
    result = job(rows, label, Session=scale)
    # 39 kg and 1 kg of error reach 40 kg; 38.6 kg do not.
    assert given(result)["0404", "wormer A"] == 4.1
    [mob] = result.mobs
    assert [(draft.label, draft.from_kg, draft.head) for draft in mob.drafts] == [("A", 38.6, 3), ("B", 39, 5)]
    assert mob.total == 3 * Fraction("3.9") + 5 * Fraction("4.1")
    assert "1 within the scale's error (1 kg) of the next heavier weight group gets its setting." in mob.remarks
    few = [*scale, ("Least head in a draft", 4)]
    [mob] = job(rows, label, Session=few).mobs
    assert [draft.head for draft in mob.drafts] == [4, 4]


def test_an_animal_for_which_the_heavier_setting_is_too_much_stays(job):
    rows = "Tag | Weight (kg)\n0401 | 38\n0402 | 39.5\n0403 | 40\n0404 | 44"
    label = {"Dose rate": "1 mg/kg", "Dose by": "drafts", "Highest rate": "1.08 mg/kg"}
    entries = session(Scale_step="1 kg", Largest_number_of_drafts=2)
    [mob] = job(rows, label, Session=entries).mobs
    assert not [remark for remark in mob.remarks if "scale" in remark]
    entries = session(Scale_step="2 kg", Scale_tolerance="3 kg", Largest_number_of_drafts=2)
    [mob] = job(rows, label, Session=entries).mobs
    assert any("stay, for it would be too much" in remark for remark in mob.remarks)
    assert [draft.head for draft in mob.drafts] == [3, 1]


def test_a_draft_has_at_least_so_many_head(job):
    [mob] = job(FIVE, {"Dose by": "drafts"}, Session=session(Least_head_in_a_draft=2)).mobs
    assert min(draft.head for draft in mob.drafts) >= 2


@pytest.mark.parametrize(("lightest", "wide"), [(25, False), (24, True)])
def test_one_setting_for_too_wide_a_mob_is_told(job, lightest, wide):
    label = {"Dose by": "mob", "Highest rate": "1 mg/kg"}
    result = job(f"Tag | Weight (kg)\n0401 | {lightest}\n0402 | 50", label)
    assert ("mob-spread-wide" in {rule for rule, *_ in told(result)}) == wide


# Earlier treatments that still run: the later date holds.


@pytest.mark.parametrize(
    ("earlier", "clear"), [("2026-06-10", "2026-06-16"), ("2026-07-01", "2026-07-01"), ("", "2026-06-16")]
)
def test_an_earlier_treatment_still_running_counts(job, earlier, clear):
    result = job(f"Tag | Weight (kg) | Meat clear from\n0412 | 50 | {earlier}")
    assert result.treatments["clear:meat"].iloc[0].at == datetime.fromisoformat(clear).replace(tzinfo=UTC)


def test_an_animal_that_gets_nothing_now_is_still_not_clear(job):
    rows = "Tag | Weight (kg) | Meat clear from\n0412 | 4o | 2026-07-01\n0413 | 50 |"
    result = job(rows)
    assert f"{result.treatments['clear:meat'].iloc[0].at:%Y-%m-%d}" == "2026-07-01"


def test_slaughter_before_an_earlier_treatment_is_clear_holds(job):
    result = job("Tag | Weight (kg) | Meat clear from | Slaughter on\n0412 | 50 | 2026-07-01 | 2026-06-20")
    assert [rule for rule, *_ in told(result)] == ["leaves-before-clear"]


def test_a_setting_that_the_measured_gun_cannot_give_is_held_and_the_others_are_given(job):
    # 0.3 mL a shot where 0.25 mL were set: 1.2 mL for each 1 mL. 5 mL are given by 4.2 mL; for 1 mL no mark of 0.5 mL
    # gives 0.95 to 1.05 mL (0.5 mL gives 0.6 mL, 1 mL gives 1.2 mL).
    label = {"Strength": "2 mg/mL", "Dose by": "drafts", "Graduation": "0.5 mL", "Gun set to": "5 mL",
             "Gun gave": "60 mL"}  # fmt: skip
    result = job("Tag | Weight (kg)\n0412 | 50\n0413 | 10", label, Session=session(Max_drafts=2))
    assert held(result) == [("0413", "wormer A")]
    assert {row[0] for row in told(result)} == {"gun-off", "no-mark-allowed"}
    [draft] = result.mobs[0].drafts
    assert (draft.label, draft.setting, draft.gun_to) == ("B", 5, 4)  # 4.5 marks give 5.4 mL, 4 mL give 4.8 mL


def test_a_dose_for_a_head_is_corrected_too(job):
    label = {"Strength": None, "Dose rate": "2 mL/head", "Gun set to": "2 mL", "Gun gave": "18 mL"}
    result = job("Tag | Weight (kg)\n0412 | 50", label)
    [card] = build_job_sheet(result).cards
    assert card.settings[0][2] == "2 mL (set to 2.3 mL)"  # 0.9 for 1: 2.07 mL
    result = job(ONE, label | {"Graduation": "1 mL"}, {"Medicine": "wormer B"}, Treatments=BOTH)
    assert held(result) == [("0412", "wormer A")]


def test_a_gun_that_is_off_is_no_way_to_give_each_its_own_dose(job):
    label = DRENCH | {"Dose by": "animal", "Gun gave": "45 mL"}
    result = job(ONE, label, {"Medicine": "wormer B"}, Treatments=BOTH)
    assert held(result) == [("0412", "wormer A")]
    assert told(result)[0][:2] == ("gun-off", "error")


def test_the_cost_stands_on_the_product_sheet_and_the_job_sheet(job):
    result = job(ONE, Stock="Medicine | Pack size | Packs | Price\nwormer A | 50 mL | 1 | 20")  # 1 mL of 50 for 20
    sheet = load_workbook(BytesIO(updated_workbook(result)[1]))["Job product"]
    row = dict(zip(*list(sheet.values)[:2], strict=True))
    assert (row["Cost"], row["Cost per animal"], row["Cost per kg"]) == (0.4, 0.4, 0.008)
    [take] = build_job_sheet(result).take
    assert "0.40" not in take.remarks, "money is no matter for the yard"
    bare = job(ONE, Stock="Medicine | Pack size | Packs\nwormer A | 50 mL | 1")
    sheet = load_workbook(BytesIO(updated_workbook(bare)[1]))["Job product"]
    assert [cell.value for cell in sheet[2]][7:10] == [None, None, None]
    assert "Cost" not in build_job_sheet(bare).take[0].remarks


def test_what_is_left_over_is_told_of_a_plain_job_too(job):
    stock = "Medicine | Pack size | Packs | Batch number | Expiry | Use within\n"
    [plan] = job(ONE, Stock=f"{stock}wormer A | 50 mL | 1 | B-1 | 2027-06-30 | 28 days").product
    assert plan.remarks == ("Left over in opened packs: 49 mL of B-1, use by Sunday 28 June 2026.",)


# Two actives, each with limits of its own: 10 + 5 mg/kg of 200 + 100 mg/mL are 0.05 mL/kg.


@pytest.mark.parametrize(
    ("lowest", "highest", "weight", "dose"),
    [
        ("9 + 4.5 mg/kg", "12 + 6 mg/kg", 19, 1.0),  # 0.95 mL; at most 1.14 mL
        ("9 + 4.5 mg/kg", "12 + 5.2 mg/kg", 19, None),  # the second at most 0.988 mL; 0.5 mL are under the lowest
        ("9 + 4.5 mg/kg", "10.2 + 6 mg/kg", 19, None),  # the first at most 0.969 mL
        ("8 + 4 mg/kg", "11 + 5.2 mg/kg", 21, 1.0),  # 1.05 mL; at most 1.092 mL, at least 0.84 mL
        ("8 + 4.9 mg/kg", "11 + 5.2 mg/kg", 21, None),  # the second at least 1.029 mL
    ],
)
def test_each_of_two_actives_keeps_its_own_limits(job, lowest, highest, weight, dose):
    label = {"Strength": "200 + 100 mg/mL", "Dose rate": "10 + 5 mg/kg", "Graduation": "0.5 mL"}
    label |= {"Lowest rate": lowest, "Highest rate": highest}
    result = job(f"Tag | Weight (kg)\n0412 | {weight}", label, {"Medicine": "wormer B"}, Treatments=BOTH)
    assert given(result).get(("0412", "wormer A")) == dose
