"""The job sheet in other languages: chosen, complete, its doses and dates never misread, its data the same in all."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from io import BytesIO

import pytest
from make_catalogues import messages
from pypdf import PdfReader
from python_calamine import CalamineWorkbook
from test_pdf import print_html
from written import EXAMPLES, NAMES, example, html_of, listed

from batchdose import Settings, plan_job
from batchdose.clients.summary import settings_lines
from batchdose.clients.work import job_told
from batchdose.findings import UnusableInputError
from batchdose.texts import LANGUAGES, say, say_many, speaking
from batchdose.write.identity import job_identity
from batchdose.write.job_sheet import build_job_sheet
from batchdose.write.render import render_print
from batchdose.write.results import results

OTHERS = [language for language in LANGUAGES if language != "en"]
EVERY = [*NAMES, "untidy_lambs"]
HELD = {"es": "NO DOSIFICAR", "fr": "NE PAS TRAITER"}
#: Texts that are the same in every language: units, letters of weight groups, our sheet names; `lot`, which is
#: French for a batch too.
SAME = re.compile(r"(mL|kg|mg|lb|mm|%|csv|xlsx|Job findings|lot|[A-Z]:?|G x|\W|\d)*")


def in_language(result, language):
    facts = replace(result.session.facts, language=language)
    return replace(result, session=replace(result.session, facts=facts))


@cache
def sheet(name, language):
    return html_of(in_language(example(name), language))


class Texts(HTMLParser):
    """Every text that a person sees or hears, and every text of the script's block of words."""

    def __init__(self, html):
        super().__init__()
        self.found, self.inside, self.words = [], "", ""
        self.feed(html)
        self.close()
        self.found += [text for word in json.loads(self.words).values() for text in _flat(word)]

    def handle_starttag(self, tag, attrs):
        self.inside = f"{tag}{dict(attrs).get('id', '')}" if tag in ("script", "style") else ""
        self.found += [value for name, value in attrs if name in ("aria-label", "alt", "title", "placeholder")]

    def handle_endtag(self, tag):
        self.inside = "" if tag in ("script", "style") else self.inside

    def handle_data(self, data):
        if self.inside == "scriptwords":
            self.words += data
        elif not self.inside and data.strip():
            self.found.append(" ".join(data.split()))


def _flat(word):
    if isinstance(word, str):
        return [word]
    return [text for part in (word.values() if isinstance(word, dict) else word) for text in _flat(part)]


@cache
def own_texts(name):
    """A pattern for every text that stands in the user's workbooks, the longest first, with the names of these."""
    texts = {file.name for file in (EXAMPLES / name).iterdir()}
    for path in (EXAMPLES / name).glob("*.xlsx"):
        for page in CalamineWorkbook.from_path(path).sheet_names:
            texts.add(page)
            rows = CalamineWorkbook.from_path(path).get_sheet_by_name(page).to_python()
            texts |= {str(cell).strip() for row in rows for cell in row}
    longest = sorted((text for text in texts if len(text) > 3), key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest))})(?!\w)")


@cache
def shown(name, language):
    """The texts of a sheet without what is the user's own."""
    return [" ".join(own_texts(name).sub(" ", text).split()) for text in Texts(sheet(name, language)).found]


@cache
def alike(language):
    """Messages that read the same in English."""
    with speaking(language):
        plain = [message for message in messages().values() if "{" not in message.one + message.many]
        return {m.one for m in plain if say(m.one) == m.one} | {
            m.many for m in plain if m.many and say_many(m.one, m.many, 2) == m.many
        }


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("name", EVERY)
class TestExamples:
    def test_no_text_is_the_one_of_the_english_sheet(self, name, language):
        left = set(shown(name, language)) & set(shown(name, "en")) - alike(language)
        assert [text for text in left if not SAME.fullmatch(text)] == []

    def test_no_part_of_an_english_sentence_is_left(self, name, language):
        texts = "\n".join(shown(name, language))
        parts = {
            part.strip() for message in messages().values() for text in (message.one, message.many)
            for part in re.split(r"\{\w+\}|<\w+>|</\w+>", text) if len(part.split()) > 2
        }  # fmt: skip
        assert [part for part in parts if part in texts] == []

    def test_the_language_is_declared(self, name, language):
        assert f'<html lang="{language}">' in sheet(name, language)

    def test_doses_are_those_of_the_results_with_a_decimal_comma(self, name, language):
        def cells(html):
            return [
                re.sub(r"<.*", "", cell).strip()
                for cell in re.findall(r'<td class="(?:dose|never)"[^>]*>(.*?)</td>', html, re.DOTALL)
            ]

        english, other = cells(sheet(name, "en")), cells(sheet(name, language))
        told = [text.replace(".", ",").replace("DO NOT DOSE", HELD[language]) for text in english]
        figures = [text for text in told if re.fullmatch(r"[\d, ]+ mL", text) or text == HELD[language]]
        assert len(figures) >= 20
        assert [text for text in other if re.fullmatch(r"[\d, ]+ mL", text) or text == HELD[language]] == figures
        for text in figures:
            assert re.fullmatch(r"(0|[1-9]\d*)(,\d*[1-9])? mL", text) or text == HELD[language]

    def test_no_number_has_a_decimal_point_or_a_group_parted_by_a_mark(self, name, language):
        wrong = re.compile(r"(?<![\d.])\d+\.\d+(?![\d.])|\d,\d{3},\d")
        assert [text for text in shown(name, language) if wrong.search(text)] == []

    def test_what_goes_back_to_the_record_is_the_same_in_every_language(self, name, language):
        def data(html):
            return re.findall(r' data-(?:line|amount|eid|tag|mob|job)="[^"]*"', html)

        assert len(data(sheet(name, "en"))) > 20
        assert data(sheet(name, language)) == data(sheet(name, "en"))

    def test_the_job_and_its_results_are_the_same_in_every_language(self, name, language):
        english, other = results(example(name)), results(in_language(example(name), language))
        assert other["job"].pop("language") == language
        assert english["job"].pop("language") == "en"
        assert other == english
        assert job_identity(in_language(example(name), language)) == job_identity(example(name))


@pytest.mark.parametrize(("language", "numbered"), [("es", "página {} de {}"), ("fr", "page {} sur {}")])
def test_the_printed_sheet_is_in_the_language_with_every_dose(language, numbered):
    result = in_language(example("dairy_goats"), language)
    reader = PdfReader(BytesIO(print_html(render_print(build_job_sheet(result)))))
    pages = [" ".join(page.extract_text().split()) for page in reader.pages]
    assert reader.trailer["/Root"]["/Lang"] == language
    for number, page in enumerate(pages, 1):
        assert numbered.format(number, len(pages)) in page
    for _, tag, doses in listed(result):
        shown = " ".join(d.replace(".", ",").replace("DO NOT DOSE", HELD[language]) for d in doses if d)
        assert re.search(rf"\b{tag} [\d,]+ lb {shown}".replace(" mL ", " mL\\W*"), " ".join(pages)), tag


ANIMALS = "Tag | Weight (kg)\n0412 | 41.5\n0413 | 45"


@pytest.mark.parametrize(
    ("entry", "language"),
    [
        ("English", "en"), ("en", "en"), ("Spanish", "es"), ("Español", "es"), ("ESPANOL", "es"), ("es-MX", "es"),
        ("castellano", "es"), ("French", "fr"), ("français", "fr"), ("fr_CA", "fr"),
    ],
)  # fmt: skip
def test_the_session_chooses_the_language(job, entry, language):
    result = job(ANIMALS, Session=[["Species", "sheep"], ["Time zone", "UTC"], ["Language", entry]])
    assert result.session.facts.language == language
    assert not result.findings
    assert f'<html lang="{language}">' in html_of(result)


@pytest.mark.parametrize("entry", ["Welsh", "e", "Englisch", "de", 7])
def test_another_language_is_a_finding_that_names_the_choices_and_the_sheet_stays_english(job, entry):
    result = job(ANIMALS, Session=[["Species", "sheep"], ["Time zone", "UTC"], ["Language", entry]])
    [finding] = result.findings
    assert (finding.rule, finding.where.sheet, finding.where.cell) == ("session-entry-unreadable", "Session", "B3")
    assert all(name in finding.message for name in ("English (en)", "español (es)", "français (fr)"))
    assert '<html lang="en">' in html_of(result)


def test_the_run_wins_over_the_session():
    paths = [EXAMPLES / "hoggets" / name for name in ("weighing.xlsx", "medicines.xlsx")]
    assert plan_job(*paths, Settings(language="fr")).session.facts.language == "fr"
    with pytest.raises(UnusableInputError, match="en, es, fr"):
        plan_job(*paths, Settings(language="cy"))


def test_words_of_the_place_are_said_in_english_alone(job):
    stock = "Medicine | Pack size | Packs | Batch number | Expiry\nwormer A | 1 L | 1 | B-1 | 2027-05-31"
    session = [["Species", "sheep"], ["Time zone", "UTC"], ["Rules", "AU"], ["Language", "es"]]
    html = html_of(job(ANIMALS, Stock=stock, Session=session))
    assert "el tiempo de espera corre desde" in html
    assert "lote B-1" in html


def test_weights_in_pounds_have_the_decimal_comma_in_the_working_too(job):
    animals = [["Tag", "Weight"], ["0412", "98.5 lb"], ["0413", "98.5 lb"]]
    html = html_of(job(animals, Session=[["Species", "sheep"], ["Time zone", "UTC"], ["Language", "fr"]]))
    assert "0412\u00a0: 98,5 lb = 44,679 kg x 0,2 mg/kg" in html
    assert "98.5" not in html


def test_units_in_words_are_told_and_a_text_of_the_sheet_stays(job):
    label = {
        "Medicine": "bolus of the vet", "Strength": "300 000 IU/bolus", "Dose rate": "15000 IU/kg",
        "Graduation": "1 bolus", "Site": "over the tongue",
    }  # fmt: skip
    result = job(ANIMALS, label, Session=[["Species", "sheep"], ["Time zone", "UTC"], ["Language", "fr"]])
    html = html_of(result)
    assert ">3 bolus<" in html
    assert "unités" in html
    assert not re.search(r"\bunits\b|\bIU\b", html.split('id="words"')[0].replace("300 000 IU/bolus", ""))
    assert "over the tongue" in html


def test_a_client_is_told_of_the_job_in_the_language_of_the_sheet():
    told = job_told(in_language(example("hoggets"), "es"), "a.xlsx", "A", by_option=True)
    assert (told.language, told.planned) == ("es", "sábado 14 de marzo de 2026, 09:00")
    assert told.held[0].why == "sin peso"
    with speaking("es"):
        assert "(61 animales)" in next(iter(settings_lines(told)))


@pytest.mark.parametrize(("language", "loaded"), [("en", False), ("es", True)])
def test_english_loads_no_catalogue(tmp_path, language, loaded):
    # Where Babel is installed, pint loads a little of it for itself.
    code = """if True:
        import sys
        from batchdose.cli import cli
        try:
            cli(["dose", *sys.argv[1:], "--no-pdf"])
        finally:
            print("babel.messages" in sys.modules or "babel.dates" in sys.modules)
    """
    paths = [EXAMPLES / "hoggets" / name for name in ("weighing.xlsx", "medicines.xlsx")]
    command = [sys.executable, "-c", code, *paths, "--lang", language, "--out", tmp_path / "out"]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode in (0, 1), run.stderr
    assert run.stdout.strip() == str(loaded)


def test_a_clear_from_time_line_has_room_for_its_words():
    # Bold words of 3.4 mm stand left of the line, which begins at 46 mm (`write/charts.py`).
    for language in OTHERS:
        html = sheet("hoggets", language)
        for size, text in re.findall(r'<text x="0" [^>]*font-size="([\d.]+)"[^>]*>([^<]*)</text>', html):
            assert len(text) * float(size) * 0.62 <= 46, text
