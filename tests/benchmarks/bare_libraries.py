"""The same reading and printing by the bare libraries, timed, as JSON. Arguments: weighing, medicines, html.

Importing them counts. The printing is asked for the same as ours: a tagged PDF.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from run_stages import peak_mb


def main(weighing: Path, medicines: Path, html: Path) -> None:
    """Read every sheet of both workbooks, print the HTML, and say what each took."""
    start = time.perf_counter()
    from python_calamine import load_workbook

    for path in (weighing, medicines):
        book = load_workbook(str(path))
        for name in book.sheet_names:
            book.get_sheet_by_name(name).to_python()
    read = time.perf_counter()
    import weasyprint

    loaded = time.perf_counter()
    weasyprint.HTML(string=html.read_text(encoding="utf-8")).write_pdf(pdf_tags=True)
    printed = time.perf_counter()
    seconds = {"import and read": read - start, "import WeasyPrint": loaded - read, "print": printed - loaded}
    print(json.dumps({"seconds": seconds, "memory": {"all": peak_mb()}}))  # noqa: T201 - read by the test


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))
