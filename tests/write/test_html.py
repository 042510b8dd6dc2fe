"""The job sheet as HTML: one file, escaped, complete, in the order of the work, in the words of the place."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
import tinyhtml5
from written import HELD, NAMES, example, example_html, html_of, listed

from batchdose.write.results import results

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

#: Attributes that make a browser fetch something.
FETCHING = {"src", "srcset", "href", "data", "poster", "action", "background", "formaction", "ping", "cite", "style"}
HOSTILE = '<b onclick="x()">1</b> & \'2\' </style><script src="http://example.com/x.js"></script> {{ 7 * 7 }}'


def tree(html: str) -> Element:
    """The page as a browser would build it."""
    return tinyhtml5.parse(html, namespace_html_elements=False)


def text(element: Element) -> str:
    """The text of an element, spaces collapsed."""
    return " ".join("".join(element.itertext()).split())


def body_text(html: str) -> str:
    """All words of the page, with spaces between cells."""
    body = tree(html).find("body")
    for script in body.findall("script"):
        body.remove(script)
    return " ".join(" ".join(body.itertext()).split())


def shape(element: Element) -> tuple:
    """Names of an element and of everything in it, without texts."""
    return element.tag, tuple(shape(child) for child in element)


def section(html: str, name: str) -> Element | None:
    return tree(html).find(f".//section[@class='{name}']")


def rows_of(html: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """The lists as printed: mob, tag, and the dose text of each medicine."""
    rows = []
    for mob in tree(html).findall(".//section[@class='list']"):
        for row in mob.findall(".//tbody/tr"):
            doses = [cell for cell in row.findall("td") if cell.get("class") in ("dose", "never")]
            rows.append(
                (text(mob.find("h3")), text(row.find("th")), tuple((cell.text or "").strip() for cell in doses))
            )
    return rows


@pytest.mark.parametrize("name", NAMES)
class TestExamples:
    def test_it_is_one_file_that_fetches_nothing(self, name):
        html = example_html(name)
        page = tree(html)
        assert not {element.tag for element in page.iter()} & {
            "link", "img", "iframe", "object", "embed", "base", "form", "video", "audio", "image", "use",
        }  # fmt: skip
        assert [dict(script.attrib) for script in page.iter("script")] == [
            {"type": "application/json", "id": "words"}, {},
        ]  # fmt: skip
        assert not [(e.tag, key) for e in page.iter() for key in e.attrib if key in FETCHING or key.startswith("on")]
        for forbidden in ("@import", "url(", "http:", "https:", "//", "file:", "fetch(", "XMLHttp", "import("):
            assert forbidden not in html

    def test_language_characters_and_title_are_declared(self, name):
        html = example_html(name)
        page = tree(html)
        assert html.startswith("<!DOCTYPE html>")
        assert page.get("lang") == "en"
        assert page.find("head/meta[@charset]").get("charset") == "utf-8"
        assert text(page.find("head/title")) == f"Job sheet · {example(name).session.facts.client}"

    def test_every_planned_animal_is_listed_once_with_its_dose(self, name):
        assert rows_of(example_html(name)) == listed(example(name))

    def test_every_dose_has_a_box_for_each_time_and_a_held_one_has_none(self, name):
        times = sum(row["doses"] for row in results(example(name))["treatments"] if not row["held"])
        boxes = [
            cell for mob in tree(example_html(name)).findall(".//section[@class='list']")
            for cell in mob.findall(".//span[@class='box']")
        ]  # fmt: skip
        assert len(boxes) == times
        stopped = [cell for cell in tree(example_html(name)).iter("td") if cell.get("class") == "never"]
        assert stopped
        assert all(cell.find("span") is None and text(cell) == HELD for cell in stopped)

    def test_every_held_animal_stands_under_do_not_dose_with_its_reason(self, name):
        printed = [[text(cell) for cell in row] for row in section(example_html(name), "held").iter("tr")]
        held = [row for row in results(example(name))["treatments"] if row["held"]]
        assert held
        for row in held:
            reason = "; ".join(row["why"])
            assert [
                line for line in printed
                if row["tag"] in line[0].split(", ") and line[1] == row["mob"]
                and row["medicine"] in line[2].split("; ") and line[3] == reason
            ], row  # fmt: skip

    def test_headings_follow_the_work_and_skip_no_level(self, name):
        page = tree(example_html(name))
        headings = [(int(e.tag[1]), text(e)) for e in page.iter() if re.fullmatch("h[1-6]", e.tag)]
        levels = [level for level, _ in headings]
        used = {row["medicine"]: None for row in results(example(name))["treatments"]}
        cards = [medicine.name for medicine in example(name).medicines if medicine.name in used]
        mobs = list(dict.fromkeys(mob for mob, _, _ in listed(example(name))))
        assert levels.count(1) == 1
        assert all(after - before <= 1 for before, after in pairwise(levels))
        assert [title for level, title in headings if level == 2] == [
            "Do not dose", "Before", "During", "After", "Findings in the sheets",
        ]  # fmt: skip
        assert [title for level, title in headings if level == 3] == [
            "Take along", "Check", "Cautions", *cards, *mobs,
            "Write down what was really given", "May be used again", "Put away",
        ]  # fmt: skip

    def test_every_table_names_its_columns_and_its_rows(self, name):
        for table in tree(example_html(name)).iter("table"):
            heads = table.findall("thead/tr/th")
            assert all(head.get("scope") == "col" and text(head) for head in heads)
            for row in table.findall("tbody/tr"):
                assert len(row) == len(heads)
                # A mob of several weight groups is named once.
                assert row[0].get("scope") == "row" or not text(row[0])

    def test_doses_and_dates_are_written_the_safe_way(self, name):
        page = tree(example_html(name))
        doses = [(cell.text or "").strip() for cell in page.iter("td") if cell.get("class") == "dose"]
        assert len(doses) > 24
        for dose in filter(None, doses):
            assert re.fullmatch(r"(0|[1-9]\d{0,2}(,\d{3})*)(\.\d*[1-9])? mL|each by its own weight", dose), dose
        words = body_text(example_html(name))
        assert not re.search(r"\b\d{4}-\d\d-\d\d\b|\b\d?\d/\d?\d/\d{4}\b", words), "a date as figures"
        assert not {"nan", "None", "NaT"} & {text(cell) for cell in page.iter("td")}


def test_texts_of_the_sheets_are_shown_as_they_are_and_never_become_markup(job):
    def sheet(words: str) -> str:
        animals = [
            ["Tag", "Mob", "Weight (kg)"],
            [f"1 {words}", f"mob {words}", 41.5],
            [f"2 {words}", f"mob {words}", "4o"],
        ]
        medicine = dict.fromkeys(
            ("Active substance", "Label source", "Site", "Needle", "Caution", "Prescriber", "Device size"), words
        ) | {"Medicine": f"drench {words}", "Route": "SC"}
        stock = [
            ["Medicine", "Pack size", "Packs", "Batch number"],
            [f"drench {words}", "100 mL", 1, words],
            [f"drench {words}", "100 mL", 1, "no date"],
        ]
        facts = [["Species", "sheep"], *([name, words] for name in ("Client", "Operator", "Holding number"))]
        return html_of(job(animals, medicine, Stock=stock, Session=facts))

    hostile, plain = sheet(HOSTILE), sheet("plain")
    assert shape(tree(hostile)) == shape(tree(plain))
    changing = r"job [0-9a-f]{4}-[0-9a-f]{4}|(?<=\.xlsx )[0-9a-f]{16}"
    shown, expected = (re.sub(changing, "", body_text(html)) for html in (hostile, plain))
    assert shown.count(HOSTILE) >= 20
    assert shown.replace(HOSTILE, "plain") == expected


@pytest.mark.parametrize(("mistakes", "shown", "more"), [(0, 0, ""), (5, 5, ""), (8, 5, "3 more in the workbook")])
def test_at_most_five_findings_are_printed(job, mistakes, shown, more):
    result = job([["Tag", "Weight (kg)"], ["0412", 41.5], *([f"{n:04d}", f"{n}o"] for n in range(mistakes))])
    assert len(result.findings) == mistakes
    found = section(html_of(result), "findings")
    assert len(found.findall(".//tbody/tr")) == shown
    assert more in text(found)
    assert ("more in the workbook" in text(found)) == bool(more)
    assert ("None." in text(found)) == (not mistakes)


def test_the_worst_findings_are_the_ones_that_are_printed(job):
    result = job(
        """
        Tag  | Mob | Status  | Weight (kg)
        0412 | A   | in milk | 41.5
        0413 | B   | in milk | 41.5
        0414 | C   | in milk | 4o
        """,
        {"Graduation": "0.5 mL", "Meat withdrawal": None},
    )
    levels = [text(row[0]) for row in section(html_of(result), "findings").findall(".//tbody/tr")]
    assert levels[0] == "error"
    assert levels == sorted(levels, key=["error", "warning", "note"].index)
    assert len(set(levels)) > 1


@pytest.mark.parametrize(
    ("rules", "said", "unsaid"),
    [
        ("EU", ["withdrawal period", "batch B-1"], ["withholding", "lot B-1"]),
        ("GB", ["withdrawal period", "batch B-1"], ["withholding", "lot B-1", "off label", "off-label"]),
        ("AU", ["withholding period", "batch B-1"], ["withdrawal", "lot B-1"]),
        ("NZ", ["withholding period", "batch B-1"], ["withdrawal", "lot B-1"]),
        ("US", ["withdrawal period", "lot B-1"], ["withholding", "batch", "off label", "off-label"]),
    ],
)
def test_the_words_are_those_of_the_place(job, rules, said, unsaid):
    """The second pack is past its expiry and the meat period is missing: findings use the words too."""
    result = job(
        """
        Tag  | Mob     | Status  | Weight (kg)
        0412 | Hoggets | dry     | 41.5
        0413 | Milkers | in milk | 60
        """,
        {"Meat withdrawal": None, "Off label": "yes", "Longest label meat": "7 days", "Prescriber": "Prescriber 1"},
        Stock="""
        Medicine | Pack size | Packs | Batch number | Expiry
        wormer A | 1 L       | 1     | B-1          | 2027-05-31
        wormer A | 1 L       | 1     | B-2          | 2025-05-31
        """,
        Session=[["Species", "sheep"], ["Rules", rules]],
    )
    words = body_text(html_of(result)).casefold()
    for word in said:
        assert word.casefold() in words
    for word in unsaid:
        assert word.casefold() not in words


def test_an_animal_without_a_mob_is_listed_under_all_animals(job):
    html = html_of(job([["Tag", "Weight (kg)"], ["0412", 41.5]]))
    assert rows_of(html) == [("All animals", "0412", ("0.9 mL",))]
    assert section(html, "held") is None


def test_repeated_doses_and_places_stand_beside_the_dose(job):
    result = job(
        [["Tag", "Weight (kg)"], ["0412", 600]],
        {
            "Species": "cattle", "Route": "IM", "Strength": "100 mg/mL", "Dose rate": "5 mg/kg",
            "Max per site": "15 mL", "Graduation": "1 mL", "Doses": 2, "Every": "24 h",
        },
        Session=[["Species", "cattle"]],
    )  # fmt: skip
    row = section(html_of(result), "list").find(".//tbody/tr")
    assert text(row[2]) == "30 mL 2 places: 15 + 15; 1 Jun, 2 Jun"
    assert len(row[2].findall(".//span[@class='box']")) == 2


def test_a_medicine_planned_twice_for_an_animal_shows_both(job):
    result = job(
        [["Tag", "Weight (kg)"], ["0412", 41.5], ["0413", 50]],
        Treatments=[["Medicine", "Tag", "On"], ["wormer A", None, "2026-06-01"], ["wormer A", "0412", "2026-06-08"]],
    )
    twice, once = section(html_of(result), "list").findall(".//tbody/tr")
    assert (len(twice.findall(".//span[@class='box']")), len(once.findall(".//span[@class='box']"))) == (2, 1)
    assert "1 Jun" in text(twice)
    assert "8 Jun" in text(twice)


def test_an_animal_that_gets_nothing_stays_on_the_list(job):
    html = html_of(job([["Tag", "Mob", "Weight (kg)"], ["0412", "Hoggets", 41.5], ["0413", "Hoggets", None]]))
    assert rows_of(html) == [("Hoggets", "0412", ("0.9 mL",)), ("Hoggets", "0413", (HELD,))]
