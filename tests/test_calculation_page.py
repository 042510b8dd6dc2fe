"""The page that explains the calculation cannot part from the program.

Its blocks run as doctests, in order, as a reader would try them. The results of a worked example are bold, and each
must stand in what the blocks of its part print. The sums written out in words are worked out again.
"""

from __future__ import annotations

import doctest
import re
from fractions import Fraction
from pathlib import Path

import pytest

from batchdose.calculate.minimums import minimums
from batchdose.check.legal import rules_told

PAGE = Path(__file__).resolve().parent.parent / "docs" / "calculation.md"
TEXT = PAGE.read_text(encoding="utf-8")
PARTS = re.split(r"^(?=## )", TEXT, flags=re.MULTILINE)
BLOCK = re.compile(r"^```pycon\n(.*?)^```$", re.MULTILINE | re.DOTALL)
NUMBER = r"\d+(?:\.\d+)?"
#: `28 + 18 = 46` and the like: a sum of numbers in plain signs, and what it is said to be.
SUM = re.compile(rf"((?:\(*{NUMBER}\)* [x/+-] )+\(*{NUMBER}\)*) = ({NUMBER})")


def heading(part: str) -> str:
    return part.splitlines()[0].removeprefix("## ")


def words(part: str) -> str:
    """The text of a part without its blocks, in one line."""
    return " ".join(BLOCK.sub("", part).split())


@pytest.fixture(scope="module")
def ran() -> dict[str, tuple[str, str]]:
    """What went wrong in the blocks of each part (empty: nothing), and what they are to print."""
    names: dict[str, object] = {}
    found = {}
    for part in PARTS:
        code, wrong = "\n".join(BLOCK.findall(part)), []
        test = doctest.DocTestParser().get_doctest(code, names, heading(part), str(PAGE), 0)
        doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(test, out=wrong.append, clear_globs=False)
        names = test.globs
        found[heading(part)] = ("".join(wrong), "".join(example.want for example in test.examples))
    return found


@pytest.mark.parametrize("part", PARTS, ids=heading)
def test_its_examples_run(part, ran):
    wrong, _ = ran[heading(part)]
    assert not wrong, wrong


@pytest.mark.parametrize("part", PARTS[1:], ids=heading)
def test_every_part_names_a_source_and_its_bold_figures_are_what_the_program_prints(part, ran):
    assert re.search(r"^Sources?: ", part, flags=re.MULTILINE)
    _, example = re.split(r"^Example[:,]", part, flags=re.MULTILINE)
    _, printed = ran[heading(part)]
    figures = re.findall(r"\*\*(.+?)\*\*", words(example))
    assert figures
    for figure in figures:
        assert re.search(rf"(?<![\w.]){re.escape(figure)}(?!\w|\.\d)", printed), f"{figure} is not printed"


def test_sums_in_words_are_right():
    sums = SUM.findall(words(TEXT).replace("*", ""))
    assert len(sums) > 15
    for written, said in sums:
        # Figures and plain signs of our own page, and nothing else, are let through by the pattern.
        exact = eval(re.sub(f"({NUMBER})", r"Fraction('\1')", written.replace("x", "*")))  # noqa: S307
        assert round(exact, len(said.partition(".")[2])) == Fraction(said), f"{written} = {said}"


def test_every_minimum_stands_on_the_page_with_its_article():
    line = "| {rules} | {product} | {case} | {species} | {active} | {value} {unit} | {article} | {state} |"
    table = re.findall(r"^\| [A-Z]{2} \|.*$", TEXT, flags=re.MULTILINE)
    told = "| {rules} | {case} | {species} | {value} {unit} | {article} | {state} |"
    assert table == [*(line.format(**row) for row in minimums()), *(told.format(**row) for row in rules_told())]
