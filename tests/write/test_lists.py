"""The lists and what stands before and after them: order, pages, units, needles, records, colours, size."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import combinations
from pathlib import Path

import pytest
from click.testing import CliRunner
from written import NAMES, example, example_html, html_of

from batchdose import plan_job
from batchdose.cli import cli
from batchdose.write.job_sheet import build_job_sheet
from batchdose.write.paging import in_pages, two_columns
from batchdose.write.render import render_html
from batchdose.write.sheet import AnimalRow, DoseCell
from batchdose.write.svg import FILLS

EXAMPLES = Path(__file__).resolve().parents[2] / "example_sheets"
_ONCE = (("0/0/1", "2 mL"),)
CSS = (Path(__file__).resolve().parents[2] / "templates" / "job_sheet.css").read_text(encoding="utf-8")

FIVE = """
Tag  | Mob | Weight (kg)
0405 | A   | 52
0401 | A   | 40
0404 | A   | 41
0402 | A   | 51
0403 | A   |
"""
DRAFTS = {"Dose by": "drafts", "Graduation": "0.1 mL"}


def tags(result, order):
    [mob] = build_job_sheet(result, order).lists
    return [row.tag for page in mob.pages for column in page for row in column]


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ("tag", ["0401", "0402", "0403", "0404", "0405"]), ("weight", ["0403", "0401", "0404", "0402", "0405"]),
        ("sheet", ["0405", "0401", "0404", "0402", "0403"]), ("draft", ["0401", "0404", "0402", "0405", "0403"]),
    ],
)  # fmt: skip
def test_the_order_asked_for(job, order, expected):
    assert tags(job(FIVE, DRAFTS, Session=[["Species", "sheep"], ["Largest number of drafts", 2]]), order) == expected


def test_weight_groups_are_in_pounds_where_the_session_weighs_in_pounds(job):
    animals = [["Tag", "Mob", "Weight (lb)"], *([f"04{n:02d}", "A", 92 + n] for n in range(12))]
    result = job(animals, {"Dose by": "mob"})
    [card] = build_job_sheet(result).cards
    assert card.settings[0][1] == "A: 92 to 103 lb"
    [mob] = build_job_sheet(result).lists
    assert "A: 92 to 103 lb: " in mob.pictures[0]
    assert " kg" not in mob.pictures[0]


def test_the_letter_of_the_weight_group_stands_beside_each_dose(job):
    [mob] = build_job_sheet(job(FIVE, DRAFTS, Session=[["Species", "sheep"], ["Largest number of drafts", 2]])).lists
    rows_of_mob = [row for page in mob.pages for column in page for row in column]
    assert [(row.tag, row.doses[0].dose, row.doses[0].group) for row in rows_of_mob] == [
        ("0401", "0.9 mL", "A"), ("0402", "1.1 mL", "B"), ("0403", "DO NOT DOSE", ""), ("0404", "0.9 mL", "A"),
        ("0405", "1.1 mL", "B"),
    ]  # fmt: skip
    assert mob.same[0][1].startswith("by weight group, its letter beside the box")


def test_what_is_the_same_for_all_stands_once_above(job):
    vaccine = {"Medicine": "vaccine V", "Type": "vaccine", "Strength": None, "Dose rate": "2 mL/head", "Route": "SC"}
    [mob] = build_job_sheet(job(FIVE, vaccine | {"Graduation": "1 mL", "Site": "neck"})).lists
    assert mob.same == [("vaccine V", "2 mL each; under the skin (SC); neck; marks of 1 mL")]
    [mob] = build_job_sheet(job(FIVE)).lists
    assert mob.same[0][1].startswith("each its own dose, in the list; ")


@pytest.mark.parametrize(
    ("species", "per_needle", "expected"),
    [("sheep", None, 3), ("cattle", None, 3), ("sheep", 25, 1), ("sheep", 1, 25)],
)
def test_needles_are_counted(job, species, per_needle, expected):
    """At least every 10 head in cattle: Idaho BUL923, key points; in sheep common practice, no source."""
    animals = [["Tag", "Weight (kg)"], *([f"04{n:02d}", 100 if species == "cattle" else 50] for n in range(25))]
    label = {"Route": "SC", "Species": species, "Needle": "18 G x 1 in", "Animals per needle": per_needle}
    [take] = build_job_sheet(job(animals, label, Session=[["Species", species]])).take
    assert take.needles.startswith(f"{expected} and spare ones: 18 G x 1 in (1.2 mm wide, pink hub, 25 mm long).")
    assert ("BUL923" in take.needles) == (species == "cattle")
    assert ("no source" in take.needles) == (species == "sheep" and per_needle is None)


def test_a_drench_needs_no_needles(job):
    [take] = build_job_sheet(job(FIVE)).take
    assert take.needles == ""


def test_the_gun_is_checked_at_its_largest_setting(job):
    result = job(FIVE, DRAFTS, Session=[["Species", "sheep"], ["Largest number of drafts", 2]])
    largest = max(draft.setting for mob in result.mobs for draft in mob.drafts)
    assert largest == Fraction(11, 10)
    assert [check.what for check in build_job_sheet(result).checks] == [
        "Scale: put on a weight that you know.", "Gun for wormer A: 10 shots of 1.1 mL are 11 mL.",
        "Bottle numbers, expiry dates and this sheet agree.",
    ]  # fmt: skip


def test_the_record_has_a_line_for_each_mob_and_medicine_without_the_held(job):
    [line] = build_job_sheet(job(FIVE, {"Doses": 2, "Every": "24 h"})).record
    assert (line.mob, line.medicine, line.planned) == ("A", "wormer A", "4 head, 8 doses")


def rows(count, more=""):
    return [AnimalRow(f"{n:04d}", "", "45 kg", [DoseCell("2 mL", more, _ONCE)], held=False) for n in range(count)]


@pytest.mark.parametrize("count", [13, 56, 57, 200, 500])
@pytest.mark.parametrize("more", ["", "2 places: 5 + 5", "3 places: 10 + 10 + 10; 14 Mar, 15 Mar, 16 Mar"])
def test_pages_hold_every_row_once_in_order(count, more):
    pages = in_pages(rows(count, more), [("vaccine", "2 mL each")], [], two=True)
    assert [row for page in pages for column in page for row in column] == rows(count, more)
    assert all(1 <= len(page) <= 2 for page in pages)
    assert len(pages[-1][0]) - len(pages[-1][-1]) in (0, 1), "the last page is even"


@pytest.mark.parametrize(
    ("tag", "dose", "medicines", "two"),
    [
        ("0401", "2 mL", 1, True), ("0401", "0.8 mL", 2, True), ("0401", "2 mL", 3, False),
        ("0123 0000001", "12.5 mL", 1, True), ("UK 0123456 00001", "0.8 mL", 2, False),
        ("UK 0123456 00001, red", "12.5 mL", 1, False),
    ],
)  # fmt: skip
def test_two_columns_stand_where_tags_and_doses_leave_room(tag, dose, medicines, two):
    animals = [AnimalRow(tag, "", "45.5 kg", [DoseCell(dose, "", _ONCE)] * medicines, held=False)] * 20
    assert two_columns(animals, medicines) == two
    assert not two_columns(animals[:12], medicines)


def test_a_mob_of_seventy_stands_on_one_page():
    assert len(in_pages(rows(70), [("vaccine", "2 mL each")], [], two=True)) == 1


def colours(css: str) -> set[tuple[str, str]]:
    """Pairs of text and ground of every rule that sets one of them, with the page's own for the other."""
    names = dict(re.findall(r"--(\w+): (#\w+)", css))
    pairs = set()
    for body in re.findall(r"\{([^{}]*)\}", css):
        values = re.sub(r"var\(--(\w+)\)", lambda found: names[found[1]], body)
        ink = re.search(r"(?<![-\w])color: (#\w+)", values)
        ground = re.search(r"background: (#\w+)", values)
        edge = re.search(r"(?:border|outline)[\w-]*: [\d.]+(?:pt|px) solid (#\w+)", values)
        pairs |= {(ink[1] if ink else names["ink"], ground[1] if ground else "#fff")} if ink or ground else set()
        pairs |= {(edge[1], "#fff")} if edge else set()
    return pairs


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    parts = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_check_of_contrast_agrees_with_known_pairs():
    """Own arithmetic by WCAG 2.2: #767676 on white passes 4.5, #777777 fails."""
    assert contrast("#767676", "#fff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < 4.5


def test_every_text_and_edge_has_enough_contrast():
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text; 1.4.11: 3 to 1 for edges, held to the same here."""
    pairs = colours(CSS)
    assert ("#fff", "#111") in pairs
    assert len(pairs) >= 4
    assert [pair for pair in pairs if contrast(*pair) < 4.5] == []


def test_neighbouring_bars_differ_in_grey_print():
    assert min(contrast(one, other) for one, other in combinations(FILLS, 2)) > 1.8


def test_five_hundred_animals_stay_under_four_hundred_kilobytes(job):
    animals = [
        ["Tag", "EID", "Mob", "Weight (kg)"],
        *([f"{n:04d}", str(999000001000000 + n), f"Mob {n % 3}", 40 + n % 40 / 2] for n in range(500)),
    ]
    session = [["Species", "sheep"], ["Largest number of drafts", 3]]
    result = job(
        animals, DRAFTS | {"Device size": "5 mL"}, {"Medicine": "wormer B", "Route": "SC"},
        Treatments="Medicine\nwormer A\nwormer B", Session=session,
    )  # fmt: skip
    html = html_of(result)
    assert html.count("data-eid=") == 500
    assert len(html.encode("utf-8")) < 400_000


@pytest.mark.parametrize("name", NAMES)
def test_every_picture_says_what_it_shows(name):
    drawings = re.findall(r"<svg [^>]*>", example_html(name))
    assert len(drawings) >= 5
    assert all(re.search(r'role="img" aria-label="[^"]{10,}"', drawing) for drawing in drawings)


def test_an_order_changes_the_order_alone():
    result = example("hoggets")
    by_tag, by_weight = (render_html(build_job_sheet(result, order)) for order in ("tag", "weight"))
    assert by_tag != by_weight
    rows_of = re.compile(r"<tr(?: class=\"stop\")?(?: data-eid=\"\d+\")?><th.*")
    assert sorted(rows_of.findall(by_tag)) == sorted(rows_of.findall(by_weight))


def test_the_untidy_example_prints_pounds_in_its_groups():
    folder = EXAMPLES / "untidy_lambs"
    html = html_of(plan_job(folder / "weighing.xlsx", folder / "medicines.xlsx"))
    assert "A: 92.5 to 101.5 lb" in html


@pytest.mark.parametrize(
    ("label", "caution", "first_aid"),
    [
        ({"Active substance": "tilmicosin", "Route": "SC"}, "can kill", "Emergency call at once"),
        ({"Active substance": "tulathromycin", "Route": "SC"}, "macrolides", "see a doctor with the label"),
        ({"Active substance": "cloprostenol", "Route": "IM"}, "Women of child-bearing age", "soap and water"),
        ({"Type": "hormone", "Route": "IM"}, "Pregnant women", "soap and water"),
        ({"Form": "oil-based emulsion", "Route": "SC"}, "cost the finger", "say mineral oil injection"),
        ({"Active substance": "amoxicillin", "Route": "IM"}, "Penicillins can cause allergy", "emergency call"),
        ({"Route": "SC"}, "rigid sharps box", "never send it away unannounced"),
    ],
)
def test_a_caution_stands_where_it_applies_and_nowhere_else(job, label, caution, first_aid):
    """Cautions and first aid as listed with their sources in `batchdose/data/cautions.csv`."""
    found = build_job_sheet(job(FIVE, label)).cautions
    assert [1 for words, aid in found if caution in words and first_aid in aid] == [1]
    plain = build_job_sheet(job(FIVE)).cautions
    assert not [1 for words, _ in plain if caution in words]


def test_the_command_takes_the_order(tmp_path):
    inputs = [str(EXAMPLES / "hoggets" / name) for name in ("weighing.xlsx", "medicines.xlsx")]
    run = CliRunner().invoke(cli, ["dose", *inputs, "--out", str(tmp_path), "--no-pdf", "--order", "weight"])
    assert run.exit_code == 1, run.stderr
    html = (tmp_path / "weighing-job-sheet.html").read_text(encoding="utf-8")
    hill = html.split('data-mob="Hoggets, hill"')[1].split("</section>")[0]
    weights = [float(text) for text in re.findall(r'<td class="weight">([\d.]+) kg', hill)]
    assert len(weights) > 50
    assert weights == sorted(weights)
    assert CliRunner().invoke(cli, ["dose", *inputs, "--order", "age"]).exit_code == 2
