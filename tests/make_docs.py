"""Make the pages of docs/ that come from the program: `python tests/make_docs.py`."""

from __future__ import annotations

import inspect
import sys
from pathlib import Path

import batchdose
from batchdose.catalogue import findings_page
from batchdose.read.fields import headings_page
from batchdose.read.session_names import session_page

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


PAGES = {
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
