"""Make the pictures in docs/ from the example: `python tests/make_pictures.py` (needs poppler's pdftoppm)."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
EXAMPLE = ROOT / "example_sheets" / "hoggets"
#: Pages of the job sheet that are shown -> names of the pictures.
PAGES = {1: "job-sheet-1", 4: "job-sheet-2"}


def main() -> None:
    """Plan the example and turn the chosen pages into PNG files."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "batchdose", "dose", "weighing.xlsx", "medicines.xlsx", "--out", folder]
        subprocess.run(command, cwd=EXAMPLE, check=False, capture_output=True)
        pdf = Path(folder) / "weighing-job-sheet.pdf"
        for page, name in PAGES.items():
            which = ["-f", str(page), "-l", str(page), "-r", "70", "-png", "-singlefile"]
            subprocess.run(["pdftoppm", *which, str(pdf), str(ROOT / "docs" / name)], check=True)


if __name__ == "__main__":
    main()
