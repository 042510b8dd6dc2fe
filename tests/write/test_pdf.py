"""The printed job sheet: every animal, page and identity on it, tagged, the same bytes, nothing fetched."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
from functools import cache
from http.server import BaseHTTPRequestHandler, HTTPServer
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from written import EXAMPLES, HELD, NAMES, example, example_html, listed

from batchdose.write.identity import job_identity
from batchdose.write.pdf import PdfPrinter, PdfUnavailableError

#: Stand-ins for WeasyPrint, found before the real one.
NO_PANGO = 'raise OSError("cannot load library libpango-1.0-0")'
NOT_INSTALLED = 'raise ImportError("no module named weasyprint")'
LOADS = """
import sys, types
urls = sys.modules["weasyprint.urls"] = types.ModuleType("weasyprint.urls")
urls.URLFetcher = URLFetcher = type("URLFetcher", (), {"__init__": lambda self, *_, **__: None})
class HTML:
    def __init__(self, *_, **__): pass
    def write_pdf(self, *_, **__): """
FAILS = f'{LOADS} raise ZeroDivisionError("the page has no height")'
NOTHING = f'{LOADS} return b""'


def print_html(html: str) -> bytes:
    """The PDF of an HTML text, by the process of its own."""
    printer = PdfPrinter()
    try:
        printer.begin(html)
        return printer.finish()
    finally:
        printer.close()


@cache
def example_pdf(name: str) -> bytes:
    return print_html(example_html(name))


def pages(pdf: bytes) -> list[str]:
    """The text of every page, spaces collapsed."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf)).pages]


def dose(folder: Path) -> subprocess.CompletedProcess[str]:
    """The command on an example, run in `folder` with its outputs in `folder/out`."""
    command = shutil.which("batchdose", path=Path(sys.executable).parent)
    assert command, "the command is installed beside the interpreter"
    inputs = [EXAMPLES / "dairy_goats" / name for name in ("weighing.xlsx", "medicines.xlsx")]
    return subprocess.run(
        [command, "dose", *inputs, "--out", "out"], cwd=folder,
        capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip


@pytest.fixture
def stand_in(tmp_path, monkeypatch):
    """Put a module of the name weasyprint before the real one, for this process's children."""

    def put(code: str) -> None:
        folder = tmp_path / "stand_in"
        folder.mkdir()
        (folder / "weasyprint.py").write_text(code, encoding="utf-8")
        monkeypatch.setenv("PYTHONPATH", str(folder), prepend=os.pathsep)

    return put


@pytest.mark.parametrize("name", NAMES)
class TestExamples:
    def test_every_page_carries_its_number_and_the_job(self, name):
        texts = pages(example_pdf(name))
        assert len(texts) > 1
        for number, text in enumerate(texts, 1):
            assert f"page {number} of {len(texts)}" in text
            assert text.count(f"job {job_identity(example(name))}") == 1

    def test_every_planned_animal_is_printed_with_its_doses_and_a_held_one_with_none(self, name):
        """The rows of the lists stand in the PDF one after the other, with no further animal between."""
        printed = _without_page_heads(name)
        at = printed.index(listed(example(name))[0][1], printed.rindex("Check by hand"))
        for mob, tag, doses in listed(example(name)):
            row = re.compile(
                rf"\b{re.escape(tag)} (?:[\d.]+ (?:kg|lb) )?{_doses(doses)}(?= |$)(?! (?:[\d.]+ mL|DO NOT))"
            )
            found = row.search(printed, at)
            assert found, (mob, tag, doses)
            assert not re.search(r"\d (?:kg|lb) (?:[\d.]+ mL|DO NOT)", printed[at : found.start()]), (mob, tag)
            at = found.end()
        assert not re.search(r"\d (?:kg|lb) (?:[\d.]+ mL|DO NOT)", printed[at:]), "a row that is not planned"
        held = [tag for _, tag, doses in listed(example(name)) if set(doses) <= {HELD, ""}]
        for tag in held:
            assert not re.search(rf"\b{tag} (?:[\d.]+ (?:kg|lb) )?(?:{HELD} )*[\d.]+ mL", printed)

    def test_it_is_tagged_and_says_its_language_and_title(self, name):
        reader = PdfReader(BytesIO(example_pdf(name)))
        root = reader.trailer["/Root"]
        tags = _tags(root["/StructTreeRoot"])
        html = example_html(name)
        assert bool(root["/MarkInfo"]["/Marked"])
        assert root["/Lang"] == "en"
        assert reader.metadata.title == f"Job sheet · {example(name).session.facts.client}"
        assert tags.count("/H1") == 1
        assert tags.count("/H2") == html.count("<h2>")
        assert tags.count("/H3") == html.count("<h3>")
        assert tags.count("/Table") >= html.count("<table")
        assert {"/THead", "/TBody", "/TH", "/TD"} <= set(tags)
        assert tags.count("/TD") >= html.count("<td")

    def test_the_same_html_gives_the_same_bytes(self, name):
        assert print_html(example_html(name)) == example_pdf(name)

    def test_nothing_is_cut_off_at_the_edge_of_the_paper(self, name, tmp_path):
        if not shutil.which("pdftotext"):
            pytest.skip("pdftotext (poppler-utils) is not installed")
        (tmp_path / "sheet.pdf").write_bytes(example_pdf(name))
        subprocess.run(["pdftotext", "-bbox", "sheet.pdf", "sheet.html"], cwd=tmp_path, check=True)
        words = (tmp_path / "sheet.html").read_text(encoding="utf-8")
        width, height = (float(size) for size in re.search(r'<page width="([\d.]+)" height="([\d.]+)"', words).groups())
        assert (round(width), round(height)) == (595, 842), "the paper is A4"
        boxes = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*)</word>', words
        )
        assert len(boxes) > 200
        for *corners, word in boxes:
            left, top, right, bottom = map(float, corners)
            assert 0 < left < right < width - 20, word
            assert 0 < top < bottom < height, word


@pytest.mark.parametrize("name", ["dairy_goats", "untidy_lambs"])
def test_a_mob_stands_on_one_page_where_it_fits(name):
    mobs = {}
    for mob, tag, _ in listed(example(name)):
        mobs.setdefault(mob, []).append(tag)
    texts = [text for text in pages(example_pdf(name)) if re.search(r"\bTag\s+Weight\b", text)]
    for mob, tags in mobs.items():
        assert any(mob in text and all(re.search(rf"\b{tag} ", text) for tag in tags) for text in texts), mob


def test_the_example_stays_short():
    """Four medicines; the mobs of 64 and 56 with several medicines each need a second page."""
    assert len(pages(example_pdf("hoggets"))) <= 12


def _doses(doses: tuple[str, ...]) -> str:
    """Pattern of the doses of a row: group, places and dates may follow each."""
    more = r"(?: (?:[A-Z]+|\d+ places: [\d.+ ]+|\d+ [A-Z][a-z]{2}(?:, )?)[;,]?)*"
    return " ".join(re.escape(dose) + more for dose in doses if dose)


def _without_page_heads(name: str) -> str:
    """The text of the lists: all pages in a row, without what is repeated on each."""
    result = example(name)
    text = "\n".join(pages(example_pdf(name)))
    text = re.sub(r" Job sheet · [^\n]*? · job [0-9a-f-]{9}", "", text)
    text = re.sub(r" ?Label and prescribing vet first\. Made from [^\n]*? page \d+ of \d+", "", text)
    medicines = "|".join(re.escape(medicine.name) for medicine in result.medicines)
    words = text.replace("\n", " ").replace("mg/ mL", "mg/mL")
    return re.sub(rf" ?Tag Weight(?: (?:{medicines}))+", "", words)


def _tags(element) -> list[str]:
    """Names of an element of the structure tree and of all below it."""
    element = element.get_object()
    if not hasattr(element, "get"):
        return []
    below = element.get("/K", [])
    below = below if isinstance(below, list) else [below]
    return [element.get("/S", "")] + [tag for child in below if hasattr(child, "get_object") for tag in _tags(child)]


def test_nothing_is_fetched_from_disk_or_network(tmp_path, monkeypatch):
    asked: list[str] = []

    class Server(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_response(404)
            self.end_headers()

        def log_message(self, *_):
            pass

    secret = tmp_path / "secret.txt"
    secret.write_text("a line from the disk", encoding="utf-8")
    style = tmp_path / "style.css"
    style.write_text("p::after { content: ' styled from the disk' }", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with HTTPServer(("127.0.0.1", 0), Server) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        here = f"http://127.0.0.1:{server.server_port}"
        pdf = print_html(
            f'<link rel="stylesheet" href="{here}/a.css"><link rel="stylesheet" href="{style.as_uri()}">'
            f'<link rel="stylesheet" href="style.css"><link rel="attachment" href="{secret.as_uri()}">'
            f'<style>@import "{here}/b.css"; body {{ background: url({here}/c.png) }}'
            f"@font-face {{ font-family: x; src: url({here}/d.ttf) }}</style>"
            f'<p>shown<img src="{here}/x.png"><img src="http://127.0.0.1:9/x.png"><img src="{secret.as_uri()}">'
            f'<object data="{here}/e.svg"></object><embed src="{here}/f.svg"><a rel="attachment" href="secret.txt">'
        )
        server.shutdown()
    assert asked == []
    assert "shown" in pages(pdf)[0]
    assert "from the disk" not in "".join(pages(pdf))
    reader = PdfReader(BytesIO(pdf))
    assert not reader.attachments
    assert not reader.pages[0].images


def test_files_beside_the_sheets_are_never_run(tmp_path):
    """The command is often run in the folder of the sheets; what lies there is no part of the program."""
    for name in ("weasyprint.py", "fractions.py", "logging.py"):
        (tmp_path / name).write_text(f"open('{name}.ran', 'w').close()\n{NO_PANGO}\n", encoding="utf-8")
    done = dose(tmp_path)
    assert not list(tmp_path.glob("*.ran")), done.stderr
    assert (tmp_path / "out" / "weighing-job-sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("code", "reason"), [(FAILS, "the page has no height"), (NOTHING, "no reason given")], ids=["raises", "empty"]
)
def test_a_printing_that_fails_is_an_error_with_its_reason(stand_in, code, reason):
    stand_in(code)
    printer = PdfPrinter()
    printer.begin("<p>x</p>")
    with pytest.raises(RuntimeError, match=reason):
        printer.finish()


def test_a_printing_that_fails_leaves_nothing_behind(stand_in, tmp_path):
    stand_in(FAILS)
    done = dose(tmp_path)
    assert done.returncode == 2
    assert "Nothing was written." in done.stderr
    assert "the page has no height" in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("code", [NO_PANGO, NOT_INSTALLED], ids=["no Pango", "no WeasyPrint"])
def test_without_pango_the_printer_says_what_to_install(stand_in, code):
    stand_in(code)
    printer = PdfPrinter()
    printer.begin("<p>x</p>" * 100_000)
    with pytest.raises(PdfUnavailableError, match=r"(?s)Pango.*apt-get install.*print that"):
        printer.finish()


def test_without_pango_the_other_three_files_are_written(stand_in, tmp_path):
    with_pdf, without = tmp_path / "with", tmp_path / "without"
    with_pdf.mkdir()
    without.mkdir()
    usual = dose(with_pdf)
    stand_in(NO_PANGO)
    done = dose(without)
    assert done.returncode == usual.returncode == 1
    assert "apt-get install libpango" in done.stderr
    assert "apt-get" not in usual.stderr
    assert sorted(path.name for path in (without / "out").iterdir()) == [
        "weighing-dosed.xlsx", "weighing-job-sheet.html", "weighing-results.json",
    ]  # fmt: skip
    for path in (without / "out").iterdir():
        assert path.read_bytes() == (with_pdf / "out" / path.name).read_bytes()


def test_closing_before_printing_ends_the_process():
    printer = PdfPrinter()
    process = printer._process
    printer.close()
    assert process.poll() is not None
    printer.close()


def test_finish_needs_begin():
    printer = PdfPrinter()
    with pytest.raises(RuntimeError, match="begin"):
        printer.finish()
    printer.close()
