"""The page of published statements: what each source states beside what the program computes now.

Made from the tables that the tests use (`tests/published/`, and those inside the modules of `tests/calculate/`), so
that no statement can stand on the page and not in a test. Whether theirs and ours agree is for those tests to say.
"""

from __future__ import annotations

import published_elsewhere as elsewhere
import published_lines as printed
from published_lines import MEMORY, NOT_TESTED, Line
from published_sheets import ON

HEADINGS = "| Row | Source | It states | Theirs | Ours | Tolerance | Remark |\n|---|---|---|---|---|---|---|\n"

INTRO = """# Published statements and what the program makes of them

Regulations, data sheets and handbooks print doses, withdrawal periods and figures. Here is every such statement that
the tests check: who states it, what it states, their figure, ours, how far ours may be from it, and what is odd about
it. **Ours is computed by the program when this page is made** (`python tests/make_docs.py`), and a test fails when
the page is not what it makes. `docs/calculation.md` explains the formulas.

A statement is no advice: what an animal may be given is on the label in your hand and with the prescribing vet.

"From memory" means that the source was not at hand when its figure was written down: check it before you rely on it.
Where a source rounds, is at odds with itself or with another, its own figure is kept and the remark says why ours
differs. The tolerance is what the printed digits justify.
"""

_LAST_DOSE = (
    f"The first dose is on {ON.replace('T', ' at ')}; milking is at 07:00 and 19:00. Clear-from is as in the workbook."
)
TABLES = (
    ("Doses", "From a weighing sheet and a label of one row each, through the whole program.", printed.doses),
    ("Withdrawal periods of labels", _LAST_DOSE, printed.withdrawals),
    ("Counting of periods", "One period after one last dose, by the clock of the zone.", printed.periods),
    ("Legal minimums and organic rules", "One dose, and the hours until clear.", printed.printed_minimums),
    (
        "Legal minimums, an example for each article",
        "The prescriber states 0 days, so the legal minimum holds. Half days go up to whole ones.",
        elsewhere.minimums_by_article,
    ),
    ("Legal minimums, worked from sheet to date", "Whole jobs of one sheep.", elsewhere.worked_minimums),
    ("Mobs weighed in part", "Factors and numbers to weigh, for a mob without end.", printed.limits_of_samples),
    ("Syringes and scales", "Tolerances to either side.", elsewhere.devices),
    (
        "Needles",
        "The whole range where several sources differ. SC is under the skin, IM into muscle.",
        elsewhere.needles,
    ),
    ("Single figures", "Figures that stand in the program as they are printed.", elsewhere.single_figures),
)


def published_page() -> str:
    """The whole page; doses and withdrawal periods go through workbooks, as a user's would."""
    tables = [(title, intro, list(lines())) for title, intro, lines in TABLES]
    every = [line for _, _, lines in tables for line in lines]
    untested, remembered = (sum(mark in line.remark for line in every) for mark in (NOT_TESTED, MEMORY))
    page = f"{INTRO}\n{len(every)} rows: {untested} are not tested and say why, {remembered} are from memory.\n"
    for title, intro, lines in tables:
        page += f"\n## {title}\n\n{intro}\n\n{HEADINGS}" + "".join(map(_markdown, lines))
    return page


def _markdown(line: Line) -> str:
    return "| " + " | ".join(" ".join(cell.replace("|", "/").split()) for cell in line) + " |\n"
