"""Make the pages of docs/ that come from the program: `python tests/make_docs.py`."""

from __future__ import annotations

import csv
import inspect
import re
import sys
from functools import partial
from pathlib import Path

import batchdose
from batchdose.catalogue import findings_page
from batchdose.read.fields import headings_page
from batchdose.read.session_names import session_page
from batchdose.starter import columns

sys.path.append(str(Path(__file__).resolve().parent / "calculate"))  # its tests hold tables for a page

from published_page import published_page

DOCS = Path(__file__).resolve().parent.parent / "docs"
_NAMES = "## The public names\n"


def api_page() -> str:
    """The page on the programming interface: written by hand but for the table of names at its end."""
    written = (DOCS / "api.md").read_text(encoding="utf-8").partition(_NAMES)[0]
    lines = ["", "| Name | What it is |", "|---|---|"]
    for name in batchdose.__all__:
        if name != "__version__":
            first = " ".join((inspect.getdoc(getattr(batchdose, name)) or "").partition("\n\n")[0].split())
            lines.append(f"| `{name}` | {first} |")
    return written + _NAMES + "\n".join(lines) + "\n"


_BETWEEN = re.compile(r"(<!-- (columns: (?P<sheet>\w+)|cautions) -->\n)(?:.*?)(<!-- end -->)", re.DOTALL)
_COLUMNS = {
    "Weights": columns.WEIGHTS, "Session": columns.SESSION, "Treatments": columns.TREATMENTS, "Mobs": columns.MOBS,
    "Medicines": columns.MEDICINES, "Stock": columns.STOCK,
}  # fmt: skip


def with_tables(name: str) -> str:
    """A page written by hand, with the tables in it that come from the program."""

    def made(found: re.Match[str]) -> str:
        rows = _columns(found["sheet"]) if found["sheet"] else _cautions()
        return "".join([found[1], *(f"{row}\n" for row in rows), found[4]])

    return _BETWEEN.sub(made, (DOCS / name).read_text(encoding="utf-8"))


def _columns(sheet: str) -> list[str]:
    """What goes into each column of a starter sheet; needed ones are bold."""
    rows = ["| Heading | For example | What goes there |", "|---|---|---|"]
    if sheet == "Session":
        rows = ["| Name | What it is |", "|---|---|"]
    for column in _COLUMNS[sheet]:
        choices = f" Choices: {', '.join(columns.LISTS[column.choices])}." if column.choices else ""
        heading = f"**{column.heading}**" if column.needed else column.heading
        example = f"`{column.example}`" if column.example else ""
        cells = (heading, column.note + choices) if sheet == "Session" else (heading, example, column.note + choices)
        rows.append(f"| {' | '.join(cells)} |")
    return rows


def _cautions() -> list[str]:
    """The cautions that the job sheet prints, with what to do after an accident."""
    with (Path(batchdose.__file__).parent / "data" / "cautions.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    rows = ["| Caution | If it happens | Source |", "|---|---|---|"]
    return rows + [f"| {line['caution']} | {line['first_aid']} | {line['source']} |" for line in lines]


PAGES = {
    **{name: partial(with_tables, name) for name in ("weighing.md", "medicines.md", "cautions.md")},
    "api.md": api_page,
    "findings.md": findings_page,
    "headings.md": lambda: headings_page() + session_page(),
    "published-checks.md": published_page,
}


def main() -> None:
    """Write every page."""
    for name, page in PAGES.items():
        (DOCS / name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
