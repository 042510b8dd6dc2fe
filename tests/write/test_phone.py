"""The job sheet opened in a browser without a screen: look a tag up, tick it, keep it, save it, print it."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
from io import StringIO
from pathlib import Path

import pytest
import tinyhtml5
from written import HELD, example, example_html, html_of

from batchdose.write.identity import job_identity

BROWSER = shutil.which("chromium") or shutil.which("google-chrome") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(BROWSER is None, reason="no Chromium is installed (Debian: apt-get install chromium)"),
]

#: What a person would do, at the end of a copy of the page; what it leaves is read from the page.
ACT = """
<pre id="log"></pre><script>
var log = document.getElementById("log"), made = null;
function out(name, value) { log.textContent += JSON.stringify(name) + " " + JSON.stringify(value) + "\\n"; }
URL.createObjectURL = function (blob) { made = blob; return "data:text/csv,x"; };
function type(id, text) {
  var field = document.getElementById(id); field.value = text; field.dispatchEvent(new Event("input"));
}
%s
</script>"""


def opened(folder: Path, html: str, *, address: str = "", act: str = "", more: tuple[str, ...] = ()) -> str:
    """The page as the browser has it after its scripts have run."""
    page = folder / "sheet.html"
    page.write_text(html.replace("</body>", f"{ACT % act}</body>") if act else html, encoding="utf-8")
    command = [
        BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--virtual-time-budget=4000", "--dump-dom",
        f"--user-data-dir={folder / 'profile'}", *more, page.as_uri() + address,
    ]  # fmt: skip
    done = subprocess.run(
        command, capture_output=True, text=True, encoding="utf-8", check=True, timeout=120, errors="replace"
    )
    return done.stdout


def words(element) -> str:
    return " ".join("".join(element.itertext()).split())


def panel(dom: str):
    """The part for phones: what it counts, and the animals shown with their texts."""
    page = tinyhtml5.parse(dom, namespace_html_elements=False)
    found = [words(part) for part in page.findall(".//div[@class='animal']")]
    return page, words(page.find(".//p[@id='count']")), found


def logged(dom: str) -> list[str]:
    return tinyhtml5.parse(dom, namespace_html_elements=False).find(".//pre[@id='log']").text.splitlines()


@pytest.mark.parametrize(
    ("asked", "tags"),
    [
        ("0429", ["0429"]), ("429", ["0429"]), ("999000001000401", ["0401"]), (" 04 01", ["0401"]),
        ("0467", ["0467", "0467"]), ("nothing", []),
    ],
)  # fmt: skip
def test_a_tag_is_looked_up_by_part_by_number_or_as_scanned(tmp_path, asked, tags):
    _, count, found = panel(opened(tmp_path, example_html("hoggets"), address=f"#tag={asked.replace(' ', '%20')}"))
    assert [text.split()[0][:4] for text in found] == tags
    assert ("No such tag on this sheet: do not dose." in count) == (not tags)


def test_an_animal_shows_its_doses_and_a_held_one_that_it_gets_none(tmp_path):
    _, _, [sick] = panel(opened(tmp_path, example_html("hoggets"), address="#tag=0429"))
    assert re.search(r"2 mL.*procaine benzylpenicillin.*1 mL.*1 of 3.*2 of 3.*3 of 3", sick)
    page, _, held = panel(opened(tmp_path, example_html("hoggets"), address="#tag=0467"))
    assert len(held) == 2
    assert all(HELD in text and "tag stands" in text for text in held)
    assert not page.findall(".//div[@class='animal']//button")


def test_without_its_script_the_page_shows_no_panel(tmp_path):
    html = re.sub(r"<script>.*?</script>", "", example_html("hoggets"), flags=re.DOTALL)
    page, count, found = panel(opened(tmp_path, html, address="#tag=0429"))
    assert page.find(".//div[@class='phone']").get("hidden") is not None
    assert (count, found) == ("", [])


def test_ticks_are_kept_shown_and_saved_as_csv(tmp_path):
    act = """
    type("by", "Operator 1"); type("find", "0429"); type("note", 'kicked, "hard"');
    document.querySelectorAll(".animal button")[2].click();
    type("find", "0401"); document.querySelector(".animal button").click();
    out("pressed", document.querySelector(".animal button").getAttribute("aria-pressed"));
    out("boxes", document.querySelectorAll('[aria-checked="true"]').length);
    document.getElementById("save").click();
    made.text().then(function (text) { out("csv", text); });
    """
    dom = opened(tmp_path, example_html("hoggets"), act=act)
    log = dict(re.findall(r'^"(\w+)" (.*)$', "\n".join(logged(dom)), re.MULTILINE))
    assert log["pressed"] == '"true"'
    assert log["boxes"] == "2"
    text = log["csv"][1:-1].encode().decode("unicode_escape")
    lines = list(csv.DictReader(StringIO(text, newline="")))
    assert text.count("\r\n") == 3
    assert list(lines[0]) == [
        "tag", "eid", "mob", "medicine", "given", "amount", "when", "batch_no", "by", "note", "job",
    ]  # fmt: skip
    assert [(line["tag"], line["medicine"].split()[0], line["amount"], line["batch_no"]) for line in lines] == [
        ("0401", "ivermectin", "0.9 mL", "B-1001"), ("0429", "procaine", "1 mL", "B-1005"),
    ]  # fmt: skip
    assert [line["eid"] for line in lines] == ["999000001000401", "999000001000429"]
    assert [line["note"] for line in lines] == ["", 'kicked, "hard"']
    assert {(line["mob"], line["given"], line["by"], line["job"]) for line in lines} == {
        ("Hoggets, river field", "yes", "Operator 1", job_identity(example("hoggets")))
    }
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d[+-]\d\d:\d\d", line["when"]) for line in lines)
    assert "2 of 235 doses ticked." in panel(dom)[1]


def test_a_tick_can_be_taken_back_and_the_list_and_the_card_agree(tmp_path):
    act = """
    type("find", "0401");
    var box = document.querySelector('[role="checkbox"][aria-label^="0401,"]');
    function both() { return [box.getAttribute("aria-checked"),
      document.querySelector(".animal button").getAttribute("aria-pressed")]; }
    box.dispatchEvent(new KeyboardEvent("keydown", { key: " " })); out("on", both());
    document.querySelector(".animal button").click(); out("off", both());
    out("kept", localStorage.length);
    """
    log = logged(opened(tmp_path, example_html("hoggets"), act=act))
    assert log[:2] == ['"on" ["true","true"]', '"off" ["false","false"]']
    assert log[2] == '"kept" 1'


def test_a_page_opened_again_has_its_ticks(tmp_path):
    """The page is read a second time within one run: the store of a browser without a screen ends with it."""
    act = """
    if (!sessionStorage.getItem("again")) {
      sessionStorage.setItem("again", "1");
      type("find", "0401"); document.querySelector(".animal button").click();
      location.reload();
    } else { out("count", document.getElementById("count").textContent); }
    """
    assert '"count" "1 of 235 doses ticked."' in logged(opened(tmp_path, example_html("hoggets"), act=act))


def test_a_browser_that_keeps_nothing_says_so_and_still_ticks(tmp_path):
    html = example_html("hoggets").replace(
        "<script>",
        '<script>Object.defineProperty(window, "localStorage", { get: function () { throw new Error(); } });</script>'
        "<script>",
        1,
    )
    act = 'type("find", "0401"); document.querySelector(".animal button").click();'
    page, count, _ = panel(opened(tmp_path, html, act=act))
    assert "1 of 235 doses ticked." in count
    assert "does not keep ticks" in words(page.find(".//p[@id='kept']"))


def test_the_mob_filter_leaves_the_others_out(tmp_path):
    act = """
    var mob = document.getElementById("mob");
    out("mobs", Array.prototype.map.call(mob.options, function (o) { return o.textContent; }));
    mob.value = "Hoggets, hill"; mob.dispatchEvent(new Event("change")); type("find", "0401");
    """
    dom = opened(tmp_path, example_html("hoggets"), act=act)
    assert logged(dom) == ['"mobs" ["All mobs","Hoggets, river field","Hoggets, hill"]']
    assert panel(dom)[1] == "No such tag on this sheet: do not dose. 0 of 107 doses ticked."


def test_texts_of_the_sheets_stay_texts_and_formulas_are_guarded(tmp_path, job):
    bad = '@1+1<img src=x onerror="document.title=1">'
    html = html_of(job([["Tag", "Mob", "Weight (kg)"], [bad, bad, 41.5]]))
    act = """
    type("find", "@1+1"); document.querySelector(".animal button").click();
    document.getElementById("save").click();
    made.text().then(function (text) { out("csv", text); });
    """
    dom = opened(tmp_path, html, act=act)
    page, _, [shown] = panel(dom)
    assert shown.startswith(bad)
    assert not list(page.iter("img"))
    assert "\\\"'@1+1<img" in logged(dom)[0]


def test_every_field_has_a_name_and_large_targets(tmp_path):
    act = """
    type("find", "04");
    var small = [], nameless = [];
    document.querySelectorAll("input, select, button, summary, [role=checkbox]").forEach(function (e) {
      if (!e.getClientRects().length) { return; }
      var r = e.getBoundingClientRect(), id = e.id && document.querySelector('label[for="' + e.id + '"]');
      if (r.width < 24 || r.height < 24) { small.push(e.outerHTML.slice(0, 80)); }
      if (!(id || e.getAttribute("aria-label") || e.textContent.trim())) { nameless.push(e.outerHTML); }
    });
    out("small", small); out("nameless", nameless); out("wide", document.documentElement.scrollWidth);
    """
    log = logged(opened(tmp_path, example_html("hoggets"), act=act, more=("--window-size=420,900",)))
    assert log[:2] == ['"small" []', '"nameless" []'], "WCAG 2.2, 2.5.8: 24 px"
    assert int(log[2].split()[1]) <= 500


def test_printing_from_the_browser_leaves_the_panel_out_and_loses_no_animal(tmp_path):
    from pypdf import PdfReader

    pdf = tmp_path / "printed.pdf"
    opened(tmp_path, example_html("hoggets"), more=(f"--print-to-pdf={pdf}",))
    if not pdf.exists():
        page = (tmp_path / "sheet.html").as_uri()
        command = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", f"--print-to-pdf={pdf}", page]
        subprocess.run(command, capture_output=True, check=True, timeout=120)
    printed = " ".join(page.extract_text() for page in PdfReader(pdf).pages)
    assert "Find a tag" not in printed
    tags = set(example("hoggets").treatments["tag"])
    assert not [tag for tag in tags if tag not in printed]
