"""What readers and screen readers need of the PDF (PDF/UA-1), whole or joined from parts; paper, fonts, lists alone."""

from __future__ import annotations

import re
import shutil
import subprocess
from functools import cache
from io import BytesIO

import pytest
from pypdf import PdfReader
from sheets import write_job
from written import example, example_print

from batchdose import plan_job
from batchdose.write.fonts import font_faces, has_letters, text_mm
from batchdose.write.identity import job_identity
from batchdose.write.job_sheet import build_job_sheet
from batchdose.write.parts import PART, in_parts
from batchdose.write.pdf import PdfPrinter
from batchdose.write.render import css_text, render_html, render_print

TAGS = [f"{401 + at:04d}" for at in range(330)]


@cache
def printed(html: str) -> bytes:
    return print_html(html)


def print_html(html: str, told: list | None = None) -> bytes:
    printer = PdfPrinter()
    try:
        printer.begin(html)
        return printer.finish(None if told is None else lambda *progress: told.append(progress))
    finally:
        printer.close()


@pytest.fixture(scope="module")
def long_job(tmp_path_factory):
    """Animals enough for two parts, one of them held."""
    rows = [["Tag", "Weight (kg)", "Mob"]]
    rows += [[tag, None if at == 7 else 30 + at % 25, f"Mob {at // 70 + 1}"] for at, tag in enumerate(TAGS)]
    paths = write_job(tmp_path_factory.mktemp("long"), rows)
    return plan_job(*paths)


@pytest.fixture(scope="module")
def long_html(long_job) -> str:
    return render_print(build_job_sheet(long_job))


@pytest.fixture(params=["one part", "joined"])
def pdf_and_job(request, long_job, long_html):
    """A sheet that is printed whole, and one that is printed in parts."""
    if request.param == "joined":
        assert len(in_parts(long_html)) > 1
        return printed(long_html), long_job
    assert len(in_parts(example_print("dairy_goats"))) == 1
    return printed(example_print("dairy_goats")), example("dairy_goats")


def texts(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf)).pages]


def outline(pdf: bytes) -> list:
    """Titles of the bookmarks with their pages, those below in a list."""
    reader = PdfReader(BytesIO(pdf))

    def titles(items: list) -> list:
        return [
            titles(item) if isinstance(item, list) else (item.title, reader.get_destination_page_number(item) + 1)
            for item in items
        ]

    return titles(reader.outline)


def elements(pdf: bytes) -> list:
    """All elements of the structure tree, each with the one it hangs on."""
    found = []
    root = PdfReader(BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]
    todo = [(kid, root) for kid in root["/K"]]
    while todo:
        reference, parent = todo.pop()
        element = reference.get_object()
        found.append((reference, element, parent))
        kids = element.get("/K", [])
        todo += [(kid, element) for kid in kids if not isinstance(kid, int)]
    return found


def test_it_declares_pdf_ua_with_its_language_and_title(pdf_and_job):
    pdf, job = pdf_and_job
    reader = PdfReader(BytesIO(pdf))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712 - a PDF value
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert root["/Lang"] == "en"
    described = root["/Metadata"].get_object().get_data().decode("utf-8")
    assert re.search(r'pdfuaid:part(="1"|>1<)', described)
    title = " · ".join(part for part in ("Job sheet", job.session.facts.client) if part)
    assert reader.metadata.title == title
    assert title in described
    assert all(page["/Tabs"] == "/S" for page in reader.pages)


def test_every_tagged_text_leads_to_its_element_and_back(pdf_and_job):
    pdf, _ = pdf_and_job
    reader = PdfReader(BytesIO(pdf))
    numbers = reader.trailer["/Root"]["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    of_page = dict(zip(numbers[::2], numbers[1::2], strict=True))
    for at, page in enumerate(reader.pages):
        assert page["/StructParents"] == at
        for mark, element in enumerate(of_page[at]):
            assert mark in element.get_object()["/K"]
            assert element.get_object()["/Pg"].get_object() == page.get_object()
    assert len(of_page) == len(reader.pages)
    for reference, element, parent in elements(pdf):
        assert element["/P"].get_object() == parent, reference


def test_every_cell_names_headings_that_are_there_once(pdf_and_job):
    pdf, _ = pdf_and_job
    names = [element["/ID"] for _, element, _ in elements(pdf) if "/ID" in element]
    assert len(names) == len(set(names)) > 0
    cells = [element for _, element, _ in elements(pdf) if element["/S"] == "/TD"]
    assert cells
    for cell in cells:
        assert set(cell["/A"]["/Headers"]) <= set(names)


def test_pictures_say_what_they_show(pdf_and_job):
    pdf, _ = pdf_and_job
    figures = [element for _, element, _ in elements(pdf) if element["/S"] == "/Figure"]
    assert figures
    assert all(figure["/Alt"] for figure in figures)
    assert any(str(figure["/Alt"]).startswith("Weights from") for figure in figures)


def test_bookmarks_follow_the_work_with_the_mobs_below(pdf_and_job):
    pdf, job = pdf_and_job
    marks = outline(pdf)
    names = [mark[0] for mark in marks if isinstance(mark, tuple)]
    assert names == ["Do not dose", "Before", "During", "After", "Findings in the sheets"]
    [mobs] = [mark for mark in marks if isinstance(mark, list)]
    assert marks.index(mobs) == 3, "below During"
    assert [name for name, _ in mobs] == list(job.treatments["mob"].unique())
    pages = texts(pdf)
    assert all(re.search(rf"{re.escape(name)} \d+ head", pages[page - 1]) for name, page in mobs)


def test_every_page_has_its_number_the_job_and_the_inputs(pdf_and_job):
    pdf, job = pdf_and_job
    pages = texts(pdf)
    for number, text in enumerate(pages, 1):
        assert text.count(f"page {number} of {len(pages)}") == 1
        assert len(re.findall(r"page \d+ of \d+", text)) == 1
        assert f"job {job_identity(job)}" in text
        assert all(source.sha256[:16] in text for source in job.inputs)


def test_joined_parts_read_as_the_same_sheet_printed_whole(long_html):
    whole = printed(long_html.replace(PART, ""))
    assert [sorted(text.split()) for text in texts(printed(long_html))] == [sorted(t.split()) for t in texts(whole)]
    assert outline(printed(long_html)) == outline(whole)
    joined, one = ([element["/S"] for _, element, _ in elements(pdf)] for pdf in (printed(long_html), whole))
    assert sorted(joined) == sorted(one)


def test_every_animal_stands_once_in_the_joined_lists(long_html):
    text = " ".join(texts(printed(long_html)))
    for tag in TAGS:
        rows = re.findall(rf"\b{tag} (?:\d+ kg )?(?:[\d.]+ mL|DO NOT DOSE)", text)
        assert len(rows) == 1, tag
        assert ("DO NOT" in rows[0]) == (tag == TAGS[7])


@pytest.mark.parametrize("processes", ["1", "2"])
def test_any_number_of_processes_gives_the_same_bytes_and_says_how_far_it_is(long_html, processes, monkeypatch):
    monkeypatch.setenv("BATCHDOSE_PROCESSES", processes)
    told = []
    assert print_html(long_html, told) == printed(long_html)
    assert told == [(1, 2), (2, 2)]


def test_fonts_of_the_machine_change_nothing(tmp_path, monkeypatch):
    usual = printed(example_print("dairy_goats"))
    bare = tmp_path / "fonts.conf"
    bare.write_text("<fontconfig></fontconfig>", encoding="utf-8")
    monkeypatch.setenv("FONTCONFIG_FILE", str(bare))
    assert print_html(example_print("dairy_goats")) == usual


def test_only_our_fonts_are_inside_and_all_of_them_are(pdf_and_job):
    pdf, _ = pdf_and_job
    names = set()
    for page in PdfReader(BytesIO(pdf)).pages:
        resources = [page["/Resources"]]
        forms = resources[0].get("/XObject", {})
        resources += [
            form["/Resources"] for form in (forms[name].get_object() for name in forms) if "/Resources" in form
        ]
        for font in (font.get_object() for part in resources for font in part["/Font"].get_object().values()):
            descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            assert "/FontFile2" in descriptor or "/FontFile3" in descriptor
            names.add(font["/BaseFont"].split("+")[1])
    assert names == {"Job-Sheet-Sans", "Job-Sheet-Sans-Bold"}


def test_a_tag_in_a_script_that_our_fonts_lack_is_printed_all_the_same():
    html = f"<style>{font_faces('ttf')} body {{ font-family: 'Job Sheet Sans' }}</style><p>Tag 羊 0412"
    assert not has_letters(html)
    assert "0412" in texts(print_html(html))[0].replace("\0", "")


def test_figures_are_of_one_width_and_all_letters_of_our_languages_are_there():
    for bold in (False, True):
        assert len({text_mm(figure, 12, bold=bold) for figure in "0123456789"}) == 1
    assert has_letters("áéíóúüñ¿¡ àâæçéèêëîïôœùûüÿ ÁÉÍÓÚÜÑ ÀÂÆÇÉÈÊËÎÏÔŒÙÛÜŸ µ · – ’ « » €")


def test_texts_in_the_margins_cannot_leave_their_string():
    assert css_text('a"b\\c</style>') == '"a\\22 b\\5c c\\3c \\2f style\\3e "'


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_paper(paper, size):
    pdf = printed(render_print(build_job_sheet(example("dairy_goats"), paper=paper)))
    assert {tuple(round(edge) for edge in page.mediabox[2:]) for page in PdfReader(BytesIO(pdf)).pages} == {size}


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_lists_alone_have_what_is_needed_at_the_race(paper):
    sheet = build_job_sheet(example("hoggets"), paper=paper, lists_only=True)
    pdf = printed(render_print(sheet))
    pages = texts(pdf)
    assert "Job sheet" in pages[0]
    assert "DO NOT DOSE Tag Mob" in pages[0]
    assert re.search(r"Cautions: .*show the job sheet and the label to the doctor", pages[0])
    assert all(f"job {sheet.identity}" in text for text in pages)
    assert [name for name, _ in outline(pdf)] == ["Do not dose"] or outline(pdf)[0][0] == "Do not dose"
    for left_out in ("Take along", "Check by hand", "Write down", "May be used again", "Findings"):
        assert left_out not in " ".join(pages)
        assert f">{left_out}" not in render_html(sheet)
    assert len(pages) < len(texts(printed(example_print("hoggets"))))


def test_a_sheet_of_five_hundred_stays_small(tmp_path):
    """WORKING LIMIT: what opens from an e-mail on a phone without a wait."""
    rows = [["Tag", "EID", "Weight (kg)", "Mob"]]
    rows += [[f"{at:05d}", f"9990000{at:08d}", 30 + at % 25, f"Mob {at // 50}"] for at in range(500)]
    assert len(render_html(build_job_sheet(plan_job(*write_job(tmp_path, rows)))).encode("utf-8")) < 400_000


def test_nothing_lies_over_anything_else(tmp_path):
    """Words of a page do not cross: those of two columns least of all."""
    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext (poppler-utils) is not installed")
    for paper in ("a4", "letter"):
        (tmp_path / "sheet.pdf").write_bytes(printed(render_print(build_job_sheet(example("hoggets"), paper=paper))))
        subprocess.run(["pdftotext", "-bbox", "sheet.pdf", "sheet.html"], cwd=tmp_path, check=True)
        page_texts = (tmp_path / "sheet.html").read_text(encoding="utf-8").split("<page ")[1:]
        lists = [text for text in page_texts if text.count("\N{BALLOT BOX}") > 20]
        assert lists
        for text in lists:
            boxes = [tuple(map(float, found)) for found in re.findall(
                r'xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)"', text)]  # fmt: skip
            for at, one in enumerate(boxes):
                for other in boxes[at + 1 :]:
                    over = min(one[2], other[2]) - max(one[0], other[0])
                    along = min(one[3], other[3]) - max(one[1], other[1])
                    assert not (over > 1 and along > 6), (one, other)
