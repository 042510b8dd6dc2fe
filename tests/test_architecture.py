"""Data flows one way, and the imports show it: read, then check, calculate, check again, then write."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "batchdose"
FILES = {path.relative_to(PACKAGE).as_posix(): path for path in sorted(PACKAGE.rglob("*.py"))}
#: What each part may import of the others. A part is a folder of the package, or a module beside them.
MAY_IMPORT = {
    "findings": {"texts"},
    "texts": set(),
    "amounts": {"texts"},
    "memory": set(),
    "units": set(),
    "given": set(),
    "kept": {"findings", "model"},
    "model": {"findings"},
    "words": {"amounts", "texts"},
    "read": {"findings", "model", "amounts", "texts", "memory", "words", "units", "given"},
    "calculate": {"findings", "model", "amounts", "texts", "words"},
    "check": {"findings", "model", "amounts", "texts", "words", "calculate"},
    "write": {"findings", "model", "amounts", "texts", "words", "calculate", "given", "kept", "__init__"},
    "record": {
        "findings",
        "memory",
        "model",
        "amounts",
        "texts",
        "words",
        "given",
        "kept",
        "read",
        "calculate",
        "write",
    },
    "clients": {
        "findings",
        "model",
        "amounts",
        "texts",
        "words",
        "read",
        "calculate",
        "write",
        "record",
        "job",
        "__init__",
    },
    "before": {"findings", "model", "given", "read", "record"},
    "job": {"findings", "before", "memory", "model", "texts", "words", "read", "check", "calculate", "write"},
    "catalogue": {"mail", "read", "check", "calculate", "record"},
    "plain": {"findings"},
    "starter": {"findings", "model", "texts", "read", "write"},
    "doctor": {"write", "__init__"},
    "cli_start": {"plain", "starter", "doctor"},
    "mail": {"findings", "words", "texts", "read", "write", "clients"},
    "cli_round": {"findings", "mail", "model", "clients", "write", "plain", "texts"},
    "cli": {
        "plain",
        "cli_round",
        "cli_start",
        "doctor",
        "findings",
        "memory",
        "model",
        "texts",
        "job",
        "check",
        "write",
        "record",
        "clients",
        "catalogue",
        "__init__",
    },
    "__main__": {"cli"},
    "__init__": set(),
}
#: Libraries that only one file, or the files of one folder, may import.
ONLY_IN = {
    "pint": "units.py",
    "openpyxl": (
        "write/result_sheets.py",
        "write/given_sheets.py",
        "write/record_book.py",
        "write/tables_book.py",
        "starter/workbooks.py",
    ),
    "python_calamine": "read/book.py",
    "icalendar": ("write/calendar.py", "write/zones.py"),
}


def imports(name: str, *, at_start: bool = False) -> set[str]:
    """Full names of what a file imports; `at_start` leaves out what functions and type checkers import."""
    tree = ast.parse(FILES[name].read_text(encoding="utf-8"))
    nodes = list(tree.body if at_start else ast.walk(tree))
    plain = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    return plain | {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}


@pytest.mark.parametrize("name", FILES)
def test_a_module_imports_only_what_it_may(name):
    own = name.split("/")[0].removesuffix(".py")
    parts = [module.split(".") for module in imports(name)]
    assert {(*names, "__init__")[1] for names in parts if names[0] == "batchdose"} <= MAY_IMPORT[own] | {own}
    assert all(name.startswith(ONLY_IN.get(names[0], "")) for names in parts)


@pytest.mark.parametrize(
    "name",
    ["__init__.py", "__main__.py", "cli.py", "cli_round.py", "cli_start.py", "findings.py", "plain.py", "texts.py"],
)
def test_help_and_import_load_nothing_heavy(name):
    others = {module for module in imports(name, at_start=True) if module.split(".")[0] not in sys.stdlib_module_names}
    light = {f"batchdose.{module}" for module in ("cli", "cli_round", "cli_start", "findings", "plain", "texts")}
    assert others <= {"click", "batchdose", *light}
