"""Make the pages of docs/ that come from the program: `python tests/make_docs.py`."""

from __future__ import annotations

import sys
from pathlib import Path

from batchdose.catalogue import findings_page
from batchdose.read.fields import headings_page
from batchdose.read.session_names import session_page

sys.path.append(str(Path(__file__).resolve().parent / "calculate"))  # its tests hold tables for a page

from published_page import published_page

DOCS = Path(__file__).resolve().parent.parent / "docs"
PAGES = {
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
