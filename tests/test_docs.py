"""The docs say what the program does: pages made from it are up to date, commands and rules are in them."""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from make_docs import PAGES

from batchdose import catalogue
from batchdose.cli import cli

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", PAGES)
def test_pages_made_from_the_program_are_up_to_date(name):
    assert (ROOT / "docs" / name).read_text(encoding="utf-8") == PAGES[name]()


def rule_names_in_the_code() -> set[str]:
    """First text argument with hyphens of every `Finding(...)` and `_Refusal(...)` in the package."""
    names = set()
    for path in (ROOT / "batchdose").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in ("Finding", "_Refusal")
            ):
                texts = [a.value for a in node.args[:2] if isinstance(a, ast.Constant) and isinstance(a.value, str)]
                names |= set(texts[:1])
    return names


def test_every_rule_in_the_code_explains_itself_and_every_explained_rule_is_in_the_code():
    assert rule_names_in_the_code() == set(catalogue.rules())


@pytest.mark.parametrize("name", sorted(catalogue.rules()))
def test_a_rule_says_what_passes_what_fails_or_that_it_is_a_note(name):
    text = catalogue.rules()[name]
    assert re.search(r"Passes|Only a note", text)
    assert re.search(r"Fails|Only a note|Noted", text)


def test_explain_prints_a_rule_and_offers_the_nearest_name():
    runner = CliRunner()
    assert "slipped decimal point" in runner.invoke(cli, ["explain", "weight-implausible"]).stdout
    wrong = runner.invoke(cli, ["explain", "weight-implausable"])
    assert wrong.exit_code == 2
    assert "weight-implausible" in wrong.stderr


@pytest.mark.parametrize("command", sorted(cli.commands))
def test_every_command_has_help_and_stands_in_the_readme(command):
    assert cli.commands[command].help
    assert f"batchdose {command}" in README


def test_the_readme_holds_the_one_test_command_that_ci_runs():
    commands = re.findall(r"^ *(\$\(command -v sudo\) apt-get update .*-m pytest)$", README, re.MULTILINE)
    assert len(commands) == 1


def test_every_dependency_has_its_reason():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for requirement in project["dependencies"]:
        assert f"| {re.split('[>=]', requirement)[0]} |" in developers
