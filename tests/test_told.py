"""Every finding, reason, working and remark can be said in every language of the job sheet.

The sheets that fail in the other tests are looked at where they are planned (the fixture `job`); here are the
examples and the corrupted sheets, and the sources themselves: no finding, hold or reason is made of a plain text.
"""

from __future__ import annotations

import ast
import pickle
import sys
from pathlib import Path

import pytest
from untold import untold

from batchdose import UnusableInputError, plan_job
from batchdose.texts import speaking, tell

sys.path.insert(0, str(Path(__file__).parent / "robust"))

from clean import Sheets
from test_corruptions import CORRUPTIONS

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = sorted(path.name for path in (ROOT / "example_sheets").iterdir() if path.is_dir())
#: What is made of sentences: name of the call, and the places of the sentences among what it is given.
MADE_OF = {
    "Finding": (4, 5), "Hold": (0,), "Clear": (2,), "Verdict": (4,), "CellError": (0,), "NoUnitError": (0,),
    "LabelError": (0,), "NotANumberError": (0,), "RatesDisagreeError": (0,), "NoValue": (1,), "_Refusal": (2, 3, 4),
    "_RefusedError": (1,), "refuse": (1, 2), "append": (0,),
}  # fmt: skip


@pytest.mark.parametrize("name", EXAMPLES)
def test_all_that_an_example_says_can_be_told(name):
    result = plan_job(
        ROOT / "example_sheets" / name / "weighing.xlsx", ROOT / "example_sheets" / name / "medicines.xlsx"
    )
    assert result.findings
    assert not untold(result)


@pytest.mark.parametrize("corruption", CORRUPTIONS, ids=lambda corruption: corruption.name)
def test_all_that_is_said_of_a_corrupted_sheet_can_be_told(tmp_path, corruption):
    sheets = Sheets()
    sheets.put(corruption.sheet, corruption.row, corruption.heading, corruption.value)
    try:
        result = sheets.plan(tmp_path)
    except UnusableInputError:
        return
    assert not untold(result)


def plain_sentences(path):
    """Lines of a source where a sentence is given as a plain text."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        name = getattr(getattr(node, "func", None), "id", getattr(getattr(node, "func", None), "attr", ""))
        given = list(node.args) if name in MADE_OF else []
        for place in MADE_OF.get(name, ()):
            if place < len(given) and any(map(is_plain, choices(given[place]))):
                yield f"{path.name}:{node.lineno}"


def choices(node):
    """What an expression may come to, of `a if b else c`."""
    return (*choices(node.body), *choices(node.orelse)) if isinstance(node, ast.IfExp) else (node,)


def is_plain(node):
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str) and " " in node.value
    return isinstance(node, ast.JoinedStr)


@pytest.mark.parametrize("part", ["check", "calculate", "read"])
def test_no_sentence_is_a_plain_text(part):
    of_docs = ("fields.py", "session_names.py")
    paths = [path for path in (ROOT / "batchdose" / part).glob("*.py") if path.name not in of_docs]
    assert not [line for path in paths for line in plain_sentences(path)]


@pytest.mark.parametrize(
    ("language", "wanted"),
    [
        ("es", "12,5 kg x 0,2 mg/kg / 10 mg/mL = 0,25 -> 0,3 mL"),
        ("fr", "12,5 kg x 0,2 mg/kg / 10 mg/mL = 0,25 -> 0,3 mL"),
    ],
)
def test_a_working_has_the_numbers_of_the_language(job, language, wanted):
    made = job("Tag | Weight (kg)\n0412 | 12.5", {}).treatments["working"].iloc[0]
    with speaking(language):
        assert tell(made) == tell(pickle.loads(pickle.dumps(made))) == wanted  # noqa: S301 - our own


@pytest.mark.parametrize(
    ("language", "message", "why"),
    [
        ("es", "El peso no se puede leer: «1,250» podría ser 1,25 o 1250.",
         "no se puede leer el peso: «1,250» podría ser 1,25 o 1250"),
        ("fr", "Le poids est illisible\u00a0: «\u00a01,250\u00a0» pourrait être 1,25 ou 1250.",
         "le poids est illisible\u00a0: «\u00a01,250\u00a0» pourrait être 1,25 ou 1250"),
    ],
)  # fmt: skip
def test_a_finding_and_its_reason_are_told_with_what_was_typed(job, language, message, why):
    result = job('Tag | Weight (kg)\n0412 | "1,250"\n0413 | 41', {})
    finding = next(f for f in result.findings if f.rule == "weight-unreadable")
    [held] = result.treatments["why"][result.treatments["held"]]
    with speaking(language):
        assert tell(finding.message) == message
        assert [tell(reason) for reason in held] == [why]
