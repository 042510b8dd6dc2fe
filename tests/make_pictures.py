"""Make the pictures in docs/ from the example: `python tests/make_pictures.py` (needs pdftoppm and Chromium)."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
EXAMPLE = ROOT / "example_sheets" / "hoggets"
#: Pages of the job sheet that are shown -> names of the pictures.
PAGES = {1: "job-sheet-1", 6: "job-sheet-2"}
#: The animal that is looked up in the picture of the phone.
TAG = "0429"


def main() -> None:
    """Plan the example, turn the chosen pages into PNG files, and take a picture of the sheet on a phone."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "batchdose", "dose", "weighing.xlsx", "medicines.xlsx", "--out", folder]
        subprocess.run(command, cwd=EXAMPLE, check=False, capture_output=True)
        pdf, html = (Path(folder) / f"weighing-job-sheet.{ending}" for ending in ("pdf", "html"))
        for page, name in PAGES.items():
            which = ["-f", str(page), "-l", str(page), "-r", "70", "-png", "-singlefile"]
            subprocess.run(["pdftoppm", *which, str(pdf), str(ROOT / "docs" / name)], check=True)
        browser = shutil.which("chromium") or shutil.which("google-chrome") or "chromium"
        picture = ROOT / "docs" / "job-sheet-phone.png"
        options = ["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--window-size=420,840"]
        subprocess.run(
            [browser, *options, f"--screenshot={picture}", f"{html.as_uri()}#tag={TAG}"],
            check=True, capture_output=True,
        )  # fmt: skip


if __name__ == "__main__":
    main()
