"""Where WeasyPrint cannot be loaded, an installed browser prints; where there is none, the message says what to do."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from written import example, example_html, listed

from batchdose.write import browser
from batchdose.write.browser import BrowserError, found_browsers, print_pdf
from batchdose.write.identity import job_identity
from batchdose.write.pdf import PdfPrinter, PdfUnavailableError

CHROMIUM = next(found_browsers(), None)
needs_browser = pytest.mark.skipif(
    CHROMIUM is None, reason="no browser is installed (Debian: apt-get install chromium)"
)
windows_only = pytest.mark.skipif(os.name == "nt", reason="a shell script stands in for the browser")
#: A browser that prints as one did before margin boxes.
OLD = ['for o; do case $o in --print-to-pdf=*) echo "%PDF-1.4 (Skia/PDF m120)" > "${o#*=}";; esac; done']


@pytest.fixture
def no_weasyprint(tmp_path, monkeypatch):
    """The printing process finds a WeasyPrint that lacks its libraries."""
    folder = tmp_path / "stand_in"
    folder.mkdir()
    (folder / "weasyprint.py").write_text('raise OSError("cannot load library libpango-1.0-0")', encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(folder), prepend=os.pathsep)


@pytest.fixture
def stand_in(tmp_path, monkeypatch):
    """A browser of our own making, the only one on the path: the lines of a shell script."""

    def put(*lines: str) -> None:
        program = tmp_path / "bin" / "chromium"
        program.parent.mkdir()
        program.write_text("\n".join(("#!/bin/sh", *lines, "")), encoding="utf-8")
        program.chmod(0o755)
        monkeypatch.setenv("PATH", f"{program.parent}")

    return put


@pytest.mark.usefixtures("no_weasyprint")
@pytest.mark.browser
@needs_browser
def test_the_browser_prints_the_same_sheet():
    printer = PdfPrinter()
    printer.begin("<p>for WeasyPrint", for_browser=example_html("dairy_goats"))
    reader = PdfReader(BytesIO(printer.finish()))
    printer.close()
    pages = [" ".join(page.extract_text().split()) for page in reader.pages]
    for number, text in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in text
        assert f"job {job_identity(example('dairy_goats'))}" in text
        assert all(source.sha256[:16] in text for source in example("dairy_goats").inputs)
    whole = " ".join(pages)
    for _, tag, doses in listed(example("dairy_goats")):
        assert re.search(rf"\b{tag} [\d.]+ lb {re.escape(doses[0])}", whole), tag
    assert "Find a tag" not in whole
    assert {round(float(edge)) for page in reader.pages for edge in page.mediabox[2:]} == {595, 842}
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    fonts = {font.get_object()["/BaseFont"].split("+")[-1] for page in reader.pages
             for font in page["/Resources"].get("/Font", {}).values()}  # fmt: skip
    assert {"JobSheetSansRegular", "JobSheetSansBold"} <= fonts


@pytest.mark.browser
@needs_browser
def test_nothing_of_the_browser_is_left_behind(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert print_pdf("<p>x").startswith(b"%PDF")
    assert not list(tmp_path.iterdir())


@pytest.mark.usefixtures("no_weasyprint")
def test_without_any_browser_the_message_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(browser, "found_browsers", lambda: iter(()))
    printer = PdfPrinter()
    printer.begin("<p>x</p>" * 100_000)
    with pytest.raises(PdfUnavailableError, match=r"(?s)Pango.*apt-get install.*Edge.*Chrome.*Chromium.*print that"):
        printer.finish()
    printer.close()


@windows_only
@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (["echo no display >&2", "exit 1"], "no display"),
        (["exit 0"], "did not print"),
        (
            ['for o; do case $o in --print-to-pdf=*) echo "%PDF-1.4 (Skia/PDF m120)" > "${o#*=}";; esac; done'],
            "too old",
        ),
    ],
    ids=["fails", "prints nothing", "too old"],
)
def test_a_browser_that_does_not_print_says_why(stand_in, lines, says):
    stand_in(*lines)
    with pytest.raises(BrowserError, match=says):
        print_pdf("<p>x")


@windows_only
def test_a_browser_that_hangs_is_ended_with_what_it_started(stand_in, monkeypatch, tmp_path):
    monkeypatch.setattr(browser, "_TIMEOUT_S", 0.5)
    stand_in(f"(/bin/sleep 3; echo late > {tmp_path}/late) &", "wait")
    with pytest.raises(BrowserError, match="did not end"):
        print_pdf("<p>x")
    time.sleep(3)
    assert not (tmp_path / "late").exists()


@windows_only
def test_the_sandbox_is_left_out_for_root_alone(stand_in, monkeypatch, tmp_path):
    stand_in(f'echo "$@" > {tmp_path}/options')
    for user, without in ((0, True), (1000, False)):
        monkeypatch.setattr(os, "geteuid", lambda user=user: user)
        with pytest.raises(BrowserError):
            print_pdf("<p>x")
        options = (tmp_path / "options").read_text(encoding="utf-8")
        assert ("--no-sandbox" in options) == without
        assert "--headless" in options
        assert "--user-data-dir=" in options


@pytest.mark.parametrize(
    ("platform", "place"),
    [
        ("win32", "PROGRAMFILES(X86)/Microsoft/Edge/Application/msedge.exe"),
        ("win32", "PROGRAMFILES/Google/Chrome/Application/chrome.exe"),
        ("win32", "LOCALAPPDATA/Chromium/Application/chrome.exe"),
        ("darwin", "Applications/Google Chrome.app/Contents/MacOS/Google Chrome"),
        ("linux", "microsoft-edge"),
    ],
)
def test_browsers_are_found_where_each_system_has_them(platform, place, tmp_path):
    program = tmp_path / place
    program.parent.mkdir(parents=True, exist_ok=True)
    program.write_text("", encoding="utf-8")
    program.chmod(0o755)
    folders = {name: str(tmp_path / name) for name in ("PROGRAMFILES(X86)", "PROGRAMFILES", "LOCALAPPDATA")}
    assert next(found_browsers(platform, folders | {"PATH": str(tmp_path)}, home=tmp_path)) == program


@pytest.mark.usefixtures("no_weasyprint")
def test_without_either_everything_else_is_written(tmp_path):
    """A whole run with neither WeasyPrint nor a browser: all but the PDF, a remark, and the usual exit status."""
    command = shutil.which("batchdose", path=Path(sys.executable).parent)
    assert command
    folder = Path(__file__).resolve().parents[2] / "example_sheets" / "dairy_goats"
    inputs = [folder / name for name in ("weighing.xlsx", "medicines.xlsx")]
    empty = tmp_path / "empty"
    empty.mkdir()
    done = subprocess.run(
        [command, "dose", *inputs, "--out", tmp_path / "out"], cwd=tmp_path, env=os.environ | {"PATH": str(empty)},
        capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert "Edge" in done.stderr
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "weighing-clear.ics", "weighing-dosed.xlsx", "weighing-job-sheet.html", "weighing-results.json",
    ]  # fmt: skip
