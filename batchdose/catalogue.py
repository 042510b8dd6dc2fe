"""All rules by name, with what each says of itself: for `batchdose explain` and the findings page of the docs."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from difflib import get_close_matches
from types import ModuleType
from typing import Any, TypeAlias

from batchdose.calculate import problems as planning
from batchdose.check import doses
from batchdose.check.rules import LATE_RULES, RULES
from batchdose.mail import problems as mailing
from batchdose.read import label_problems, problems, table_problems
from batchdose.record import problems as recording

_Part: TypeAlias = tuple[ModuleType | Callable[..., Any], ...]

#: Parts of the page: heading, and where its rules are.
_PARTS: tuple[tuple[str, _Part], ...] = (
    ("While the sheets are read", (table_problems, problems, label_problems)),
    ("While the medicines are given to the animals", (planning,)),
    ("On animals, medicines and plans", (*RULES, *LATE_RULES)),
    ("On the doses that were worked out", (doses,)),
    ("On what was given, and on the record", (recording,)),
    ("On the address list, and on messages", (mailing,)),
)


def _rules_of(part: _Part) -> dict[str, str]:
    """Names and docstrings of the rules of a part: modules whose public functions are rules, and single rules."""
    functions: list[Callable[..., Any]] = []
    for piece in part:
        functions += [piece] if not isinstance(piece, ModuleType) else [
            function
            for name, function in vars(piece).items()
            if inspect.isfunction(function) and function.__module__ == piece.__name__ and not name.startswith("_")
        ]  # fmt: skip
    return {f.__name__.replace("_", "-"): inspect.getdoc(f) or "" for f in functions}


def rules() -> dict[str, str]:
    """What every rule says of itself, by its name."""
    return {name: text for _, part in _PARTS for name, text in _rules_of(part).items()}


def explain(name: str) -> str:
    """One rule in words. Raises KeyError, with the nearest names, where there is no such rule."""
    every = rules()
    if name not in every:
        close = get_close_matches(name, every, n=3, cutoff=0.5)
        offer = f" Did you mean {' or '.join(close)}?" if close else ""
        raise KeyError(f'There is no rule "{name}".{offer}')
    return f"{name}\n\n{every[name]}\n"


def findings_page() -> str:
    """The page `docs/findings.md`."""
    lines = [
        "# Findings",
        "",
        "Every finding names workbook, sheet and cell, what was seen and what to do. An error holds an animal, a",
        "medicine, or one for the other; a warning or a note does not. `batchdose explain RULE` prints an entry.",
        "This page is made from the program by `python tests/make_docs.py`.",
    ]
    for heading, part in _PARTS:
        lines += ["", f"## {heading}"]
        for name, text in _rules_of(part).items():
            lines += ["", f"### {name}", "", text]
    return "\n".join(lines) + "\n"
