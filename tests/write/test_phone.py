"""The job sheet on a phone: look a tag up, tick it, say why not, keep it, save it, record it, print it."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections import Counter
from io import BytesIO, StringIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from sheets import VACCINE
from written import HELD, NAMES, example, example_html, html_of

from batchdose.write.identity import job_identity

pytestmark = pytest.mark.browser

HEADINGS = [
    "tag", "eid", "mob", "medicine", "given", "amount", "when", "batch_no", "by", "why_not", "note", "broken_needle",
    "line", "job",
]  # fmt: skip


@pytest.fixture
def hoggets(opened):
    """The first example, a tag looked for."""

    def page_of(tag="", **more):
        page = opened(example_html("hoggets"), **more)
        page.get_by_label("Find a tag").fill(tag)
        return page

    return page_of


def animals(page):
    """Texts of the animals shown."""
    return [" ".join(text.split()) for text in page.locator(".animal").all_inner_texts()]


def counted(page):
    return page.locator("#count").inner_text()


def give(page, at=0):
    return page.locator(".give").nth(at)


def not_all(page, at=0):
    return page.get_by_role("button", name="Not given, part, note").nth(at)


def letters(texts):
    """Every letter and how often it stands there: joined letters taken apart, whatever the order on the page."""
    return Counter("".join(unicodedata.normalize("NFKC", "".join(texts)).split()))


def saved(page):
    """The .csv file that is saved: its text and its rows."""
    page.locator("summary").click()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save ticks as .csv").click()
    text = Path(waiting.value.path()).read_bytes().decode("utf-8-sig")
    return waiting.value.suggested_filename, text, list(csv.DictReader(StringIO(text, newline="")))


class TestLookingUp:
    @pytest.mark.parametrize(
        ("asked", "tags"),
        [
            ("0429", ["0429"]), ("429", ["0429"]), (" 04 01", ["0401"]), ("0467", ["0467", "0467"]), ("nothing", []),
            ("999000001000401", ["0401"]), ("999 000 001 000 401", ["0401"]), ("GB 000001000401", ["0401"]),
            ("LA 999-000001000401", ["0401"]), ("A0000000 999000001000401", ["0401"]),
        ],
    )  # fmt: skip
    def test_a_tag_is_found_by_part_by_number_or_as_it_was_read(self, hoggets, asked, tags):
        page = hoggets(asked)
        assert [text.split()[0] for text in animals(page)] == tags
        assert ("No such tag on this sheet: do not dose." in counted(page)) == (not tags)

    def test_a_file_opened_at_a_tag_shows_it(self, opened):
        page = opened(example_html("hoggets"), "#tag=04%2029")
        assert [text.split()[0] for text in animals(page)] == ["0429"]

    def test_an_animal_shows_its_doses_and_a_held_one_that_it_gets_none(self, hoggets):
        page = hoggets("0429")
        [sick] = animals(page)
        assert re.search(r"2 mL.*procaine.*1 mL into muscle .*neck.*1 of 3.*2 of 3.*3 of 3", sick)
        page.get_by_label("Find a tag").fill("0467")
        held = animals(page)
        assert len(held) == 2
        assert all(HELD in text and "tag stands" in text for text in held)
        assert page.locator(".animal button").count() == 0

    def test_the_mob_filter_leaves_the_others_out_and_says_where_they_are(self, hoggets):
        page = hoggets("0401")
        mob = page.get_by_label("Mob")
        assert mob.locator("option").all_inner_texts() == ["All mobs", "Hoggets, river field", "Hoggets, hill"]
        mob.select_option("Hoggets, hill")
        assert counted(page) == "Not in this mob, but in: Hoggets, river field. 0 of 107 doses ticked."
        assert animals(page) == []

    def test_many_are_cut_and_counted(self, hoggets):
        page = hoggets("04")
        assert page.locator(".animal").count() == 12
        assert re.search(r"\d+ more: type more of the tag\.", page.locator("#found").inner_text())

    def test_without_its_script_the_page_shows_no_panel_and_all_the_rest(self, browser, tmp_path):
        (tmp_path / "sheet.html").write_text(example_html("hoggets"), encoding="utf-8")
        context = browser.new_context(java_script_enabled=False)
        page = context.new_page()
        page.goto((tmp_path / "sheet.html").as_uri())
        assert page.locator(".phone").is_hidden()
        assert page.get_by_text("0429").first.is_visible()
        context.close()


class TestReaders:
    EID = "999000001000401"

    def test_a_reader_that_types_ends_with_enter_and_the_next_one_replaces_it(self, hoggets):
        page = hoggets()
        page.get_by_label("Find a tag").focus()
        for eid in (self.EID, "999000001000429"):
            page.keyboard.type(f"{eid}\n", delay=3)
            assert [text[:4] for text in animals(page)] == [f"0{eid[-3:]}"]
        assert page.get_by_label("Find a tag").input_value() == "999000001000429"

    @pytest.mark.parametrize(
        ("start", "focus"), [("", ".give"), ("GB ", ".give"), ("L ", ".give"), ("", "[role=checkbox]"), ("", "#mob")]
    )
    def test_a_reader_is_heard_wherever_the_page_is_and_its_enter_ticks_nothing(self, hoggets, start, focus):
        page = hoggets("0429")
        give(page).click()
        page.locator(focus).first.focus()
        page.clock.pause_at("2030-01-01")  # a reader is quick, however slow this machine is
        page.keyboard.type(f"{start}{self.EID}\n")
        assert [text[:4] for text in animals(page)] == ["0401"]
        assert "1 of 235 doses ticked." in counted(page)
        assert page.evaluate("document.activeElement.id + window.getSelection().toString()") == f"find{self.EID}"

    def test_figures_typed_by_hand_elsewhere_are_no_reader(self, hoggets):
        page = hoggets("0429")
        not_all(page).focus()
        page.keyboard.type(f"{self.EID}", delay=130)
        assert page.get_by_label("Find a tag").input_value() == "0429"

    CAMERA = """
    window.BarcodeDetector = function () { this.detect = function () {
      window.looked = (window.looked || 0) + 1;
      return Promise.resolve(window.looked < 3 ? [] : [{ rawValue: "999000001000401" }]); }; };
    window.BarcodeDetector.getSupportedFormats = function () { return Promise.resolve(%s); };
    navigator.mediaDevices.getUserMedia = function () { return %s; };
    """

    def test_the_camera_is_offered_where_bar_codes_are_known_and_stops_when_it_has_one(self, hoggets):
        stream = "Promise.resolve(document.createElement('canvas').captureStream())"
        page = hoggets(before=self.CAMERA % ("['code_128']", stream))
        page.get_by_role("button", name="Scan with the camera").click()
        page.locator(".animal").wait_for()
        assert [text[:4] for text in animals(page)] == ["0401"]
        assert page.locator("video").count() == 0
        assert page.get_by_role("button", name="Scan with the camera").is_visible()

    @pytest.mark.parametrize("before", [CAMERA % ("[]", "0"), "delete window.BarcodeDetector;"])
    def test_no_camera_is_offered_where_no_bar_code_is_known(self, hoggets, before):
        assert hoggets(before=before).locator("#scan").is_hidden()

    def test_a_camera_that_is_refused_says_so(self, hoggets):
        page = hoggets(before=self.CAMERA % ("['code_128']", "Promise.reject(new Error())"))
        page.get_by_role("button", name="Scan with the camera").click()
        page.get_by_text("The camera cannot be used here.").wait_for()


class TestTicking:
    def test_a_tick_shows_its_time_and_the_list_agrees(self, hoggets):
        page = hoggets("0401")
        box = page.get_by_role("checkbox", name=re.compile("^0401, ivermectin"))
        assert not box.is_checked()
        give(page).click()
        assert box.is_checked()
        assert re.fullmatch(r"✓ Given \d\d:\d\d", give(page).inner_text())
        assert give(page).get_attribute("aria-pressed") == "true"

    def test_a_second_tap_in_the_same_moment_is_a_bounce_and_a_later_one_takes_it_back(self, hoggets):
        page = hoggets("0401")
        page.clock.pause_at("2030-01-01")
        give(page).dblclick()
        assert "1 of 235 doses ticked." in counted(page)
        page.clock.run_for(1000)
        give(page).click()
        assert "0 of 235 doses ticked." in counted(page)
        assert page.evaluate("localStorage.length") == 1

    def test_a_page_opened_again_has_its_ticks_and_another_job_has_none(self, hoggets, phone):
        page = hoggets("0401")
        give(page).click()
        page.reload()
        assert counted(page) == "1 of 235 doses ticked."
        other = phone.new_page()
        other.goto(page.url)
        other.get_by_label("Find a tag").fill("0401")
        assert give(other).get_attribute("aria-pressed") == "true"

    def test_a_browser_that_keeps_nothing_says_so_and_still_ticks(self, hoggets):
        page = hoggets(
            "0401", before='Object.defineProperty(window, "localStorage", { get() { throw new Error(); } });'
        )
        give(page).click()
        assert "1 of 235 doses ticked." in counted(page)
        assert "does not keep ticks" in page.locator("#kept").text_content()

    def test_those_left_to_do_are_shown(self, opened, job):
        page = opened(html_of(job("Tag | Weight (kg)\nA1 | 41.5\nA2 | 40\nA3 | ")))
        page.get_by_label("Find a tag").fill("A1")
        give(page).click()
        page.locator("summary").click()
        page.get_by_role("button", name="Show those left to do").click()
        assert [text[:2] for text in animals(page)] == ["A2"]

    def test_texts_of_the_sheets_stay_texts(self, opened, job):
        bad = '@1+1<img src=x onerror="document.title=1">'
        page = opened(html_of(job([["Tag", "Mob", "Weight (kg)"], [bad, bad, 41.5]])))
        page.get_by_label("Find a tag").fill("@1+1")
        [shown] = animals(page)
        assert shown.startswith(bad)
        assert page.locator("img").count() == 0


class TestNotAsPlanned:
    @pytest.mark.parametrize(
        ("do", "said", "row"),
        [
            (["Got away"], "✗ Not given, Got away", ("no", "", "Got away", "")),
            (["½", "Spat out or spilt"], "½ Part given: 0.45 mL, Spat out or spilt",
             ("part", "0.45 mL", "Spat out or spilt", "")),
            (["All", "Sick or hurt"], "✓ Given HH:MM, Sick or hurt", ("yes", "0.9 mL", "", "Sick or hurt")),
            (["¼", "¾", "Keep this"], "½ Part given: 0.675 mL", ("part", "0.675 mL", "", "")),
            ([("Or the amount, in mL", "0,5"), "Bottle empty"], "½ Part given: 0.5 mL, Bottle empty",
             ("part", "0.5 mL", "Bottle empty", "")),
            ([("Or the amount, in mL", "1.2"), ("In your own words", "slipped"), "Keep this"],
             "✓ Given HH:MM: 1.2 mL, slipped", ("yes", "1.2 mL", "", "slipped")),
            ([("Or the amount, in mL", "0"), "Keep this"], "✗ Not given", ("no", "", "", "")),
            (["A needle broke", "All", "Keep this"], "✓ Given HH:MM, needle broken", ("yes", "0.9 mL", "", "")),
        ],
    )  # fmt: skip
    def test_what_is_said_is_shown_and_saved(self, hoggets, do, said, row):
        page = hoggets("0401")
        not_all(page).click()
        for step in do:
            if isinstance(step, tuple):
                page.get_by_label(step[0]).fill(step[1])
            elif step == "A needle broke":
                page.get_by_label(step).check()
            else:
                page.get_by_role("button", name=step, exact=True).click()
        assert re.sub(r"\d\d:\d\d", "HH:MM", page.locator(".give").first.inner_text()) == said
        assert page.locator(".otherwise").count() == 0
        _, _, [line] = saved(page)
        assert (line["given"], line["amount"], line["why_not"], line["note"]) == row
        assert line["broken_needle"] == ("yes" if "A needle broke" in do else "")
        assert bool(line["when"]) == bool(line["batch_no"]) == (row[0] != "no")

    @pytest.mark.parametrize("typed", ["half", "1.2.3", "-1", "1/2"])
    def test_an_amount_that_cannot_be_read_is_asked_again(self, hoggets, typed):
        page = hoggets("0401")
        not_all(page).click()
        page.get_by_label("Or the amount, in mL").fill(typed)
        page.get_by_role("button", name="Got away").click()
        assert page.get_by_role("alert").inner_text() == "This amount cannot be read: write it in figures."
        assert "0 of 235 doses ticked." in counted(page)

    def test_a_large_dose_is_never_read_as_a_thousandth(self, opened, job):
        """Of a drench of 1,500 mL, "1,200" and "1.200" could be all but 300 mL, or next to nothing."""
        page = opened(html_of(job("Tag | Weight (kg)\nA1 | 41.5", DRENCH)))
        page.get_by_label("Find a tag").fill("A1")
        not_all(page).click()
        for typed in ("1,200", "1.200"):
            page.get_by_label("Or the amount, in mL").fill(typed)
            page.get_by_role("button", name="Keep this").click()
            assert page.get_by_role("alert").inner_text()
        page.get_by_label("Or the amount, in mL").fill("1 200")
        page.get_by_role("button", name="Keep this").click()
        assert saved(page)[2][0]["amount"] == "1200 mL"

    def test_it_can_be_taken_back(self, hoggets):
        page = hoggets("0401")
        not_all(page).click()
        page.get_by_role("button", name="Got away").click()
        assert counted(page) == "1 of 235 doses ticked. 1 of them not given in full."
        not_all(page).click()
        page.get_by_role("button", name="Take back").click()
        assert counted(page) == "0 of 235 doses ticked."


DRENCH = VACCINE | {"Medicine": "drench D", "Route": "oral", "Dose rate": "1500 mL/head", "Graduation": "50 mL"}


class TestSaving:
    def test_ticks_are_saved_as_csv(self, hoggets):
        page = hoggets("0429")
        page.locator("summary").click()
        page.get_by_label("Given by (initials)").fill('Op "1", day')
        page.locator("summary").click()
        give(page, 2).click()
        page.get_by_label("Find a tag").fill("0401")
        give(page).click()
        name, text, lines = saved(page)
        job = job_identity(example("hoggets"))
        assert name == f"ticks-{job}.csv"
        assert text.count("\r\n") == 3
        assert list(lines[0]) == HEADINGS
        assert [(line["tag"], line["medicine"].split()[0], line["amount"], line["batch_no"]) for line in lines] == [
            ("0401", "ivermectin", "0.9 mL", "B-1001"), ("0429", "procaine", "1 mL", "B-1005"),
        ]  # fmt: skip
        assert [line["eid"] for line in lines] == ["999000001000401", "999000001000429"]
        assert {(line["mob"], line["given"], line["by"], line["job"]) for line in lines} == {
            ("Hoggets, river field", "yes", 'Op "1", day', job)
        }
        assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d[+-]\d\d:\d\d", line["when"]) for line in lines)

    def test_formulas_are_guarded(self, opened, job):
        page = opened(html_of(job([["Tag", "Mob", "Weight (kg)"], ["@1+1", "-x", 41.5]])))
        page.get_by_label("Find a tag").fill("@1+1")
        give(page).click()
        [line] = saved(page)[2]
        assert (line["tag"], line["mob"]) == ("'@1+1", "'-x")


class TestPrinting:
    @pytest.mark.parametrize("name", NAMES)
    def test_what_the_browser_prints_is_the_sheet_without_the_panel_and_without_ticks(self, opened, name):
        page = opened(example_html(name), "#tag=0")
        give(page).click()
        not_all(page, 1).click()
        page.get_by_role("button", name="Got away").click()
        page.emulate_media(media="print")
        shown = letters(page.locator("main, header").all_inner_texts())
        page.emulate_media(media="null")
        pdf = PdfReader(BytesIO(page.pdf(prefer_css_page_size=True)))
        printed = "".join(page.extract_text() for page in pdf.pages)
        assert "Find a tag" not in printed
        assert "✗" not in printed
        assert not shown - letters([printed])
        assert not [row["tag"] for row in example(name).treatments.to_dict("records") if row["tag"] not in printed]


class TestKeyboard:
    def test_a_dose_is_looked_up_ticked_and_explained_without_a_mouse(self, opened):
        page = opened(example_html("hoggets"))
        press = page.keyboard.press
        press("Tab")
        page.keyboard.type("0401", delay=150)
        for _ in range(2):
            press("Tab")
        press("Space")
        assert "1 of 235 doses ticked." in counted(page)
        press("Tab")
        press("Enter")
        press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "None"
        while page.evaluate("document.activeElement.textContent") != "Got away":
            press("Tab")
        press("Enter")
        assert page.locator(".give").first.inner_text() == "✗ Not given, Got away"
        assert page.evaluate("document.activeElement.textContent") == "Not given, part, note"
        for _ in range(3):
            press("Tab")
        press("Enter")
        for _ in range(3):
            press("Tab")
        with page.expect_download():
            press("Enter")

    def test_a_box_of_the_list_is_ticked_with_the_space_bar(self, hoggets):
        page = hoggets()
        box = page.get_by_role("checkbox", name=re.compile("^0401, ivermectin"))
        box.focus()
        page.keyboard.press("Space")
        assert box.is_checked()
