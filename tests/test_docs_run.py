"""The commands in the docs are run, in the order of their page, and the pages build as a site without a warning."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from clients_farm import write_client, write_shared
from openpyxl import load_workbook
from sheets import write_book
from starter.test_starter import fill

from batchdose.cli import cli

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
PAGES = sorted(DOCS.glob("*.md"))
BLOCK = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)
#: Commands that reach a machine which is not there in a test; what they do has tests of its own.
ELSEWHERE = ("--send", "--scheduler")


def commands(page: Path) -> list[list[str]]:
    """Commands of a page, in order, without the program's name."""
    lines = (line for block in BLOCK.findall(page.read_text(encoding="utf-8")) for line in block.splitlines())
    return [shlex.split(line)[1:] for line in lines if line.startswith("batchdose ")]


def prepare(folder: Path) -> None:
    """What the pages speak of: a folder of clients with a sheet for all, an address list."""
    write_client(folder / "clients" / "hill", "1", "Hill Farm")
    write_shared(folder / "medicines.xlsx")
    write_book(folder / "contacts.xlsx", {"Contacts": "Client | To\nHill Farm | ann@example.org"})


def before(command: list[str], folder: Path) -> None:
    """What a person does before a command: fill in the starter workbooks, the dosed workbook, plan the clients."""
    if command[0] in ("check", "dose") and (folder / "start").exists():
        fill(folder / "start")
    if command[0] == "record":
        dosed = folder / command[1]
        if not dosed.exists():
            weighing = write_client(folder, "1", "Hill Farm", {})
            CliRunner().invoke(cli, ["dose", str(weighing), str(folder / "medicines.xlsx"), "--no-pdf"])
        book = load_workbook(dosed)
        heads = {cell.value: cell.column for cell in book["Job given"][1]}
        book["Job given"].cell(2, heads["Given"]).value = "yes"
        book.save(dosed)
    if command[0] == "mail":
        CliRunner().invoke(cli, ["clients", "clients", "--medicines", "medicines.xlsx", "--out", "round", "--no-pdf"])


@pytest.mark.parametrize("page", [page for page in PAGES if commands(page)], ids=lambda page: page.stem)
def test_the_commands_of_a_page_run(page, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    prepare(tmp_path)
    for command in commands(page):
        if any(option in command for option in ELSEWHERE):
            continue
        before(command, tmp_path)
        done = CliRunner().invoke(cli, command)
        assert done.exit_code in (0, 1), f"batchdose {shlex.join(command)}\n{done.output}"
        assert "fault of the program" not in done.output


@pytest.mark.parametrize("page", [*PAGES, ROOT / "README.md"], ids=lambda page: page.stem)
def test_every_command_named_in_a_text_is_one_with_options_that_it_has(page):
    spans = re.findall(r"`batchdose ([a-z][^`\n]*)`", page.read_text(encoding="utf-8"))
    for name, *words in [*commands(page), *(shlex.split(span.replace("…", "")) for span in spans)]:
        assert name in cli.commands
        options = {option for parameter in cli.commands[name].params for option in parameter.opts}
        assert {word.split("=")[0] for word in words if word.startswith("--")} <= options | {"--help"}


def test_links_between_the_pages_lead_somewhere():
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert (DOCS / target).exists(), f"{page.name}: {target}"
    index = (DOCS / "index.md").read_text(encoding="utf-8")
    assert {page.name for page in PAGES} - {"index.md"} <= set(re.findall(r"\]\(([^)]+)\)", index))


def test_the_pages_build_as_a_site_without_a_warning(tmp_path):
    pytest.importorskip("sphinx", reason="sphinx is not installed")
    shutil.copytree(DOCS, tmp_path / "docs")
    command = [sys.executable, "-m", "sphinx", "-W", "-q", "-b", "html", str(tmp_path / "docs"), str(tmp_path / "site")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert {page.with_suffix(".html").name for page in PAGES} <= {path.name for path in (tmp_path / "site").iterdir()}
