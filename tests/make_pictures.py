"""Make the pictures in docs/ from the example: `python tests/make_pictures.py` (needs pdftoppm and Chromium)."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright
from pypdf import PdfReader

ROOT = Path(__file__).resolve().parent.parent
EXAMPLE = ROOT / "example_sheets" / "hoggets"
#: Pictures of pages of the job sheet -> words by which the first such page is found.
PAGES = {"job-sheet-1": "Take along", "job-sheet-2": "head, 3 marked DO NOT DOSE"}
#: The animal that is looked up in the picture of the phone.
TAG = "0429"


def main() -> None:
    """Plan the example, turn the chosen pages into PNG files, and take a picture of the sheet on a phone."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "batchdose", "dose", "weighing.xlsx", "medicines.xlsx", "--out", folder]
        subprocess.run(command, cwd=EXAMPLE, check=False, capture_output=True)
        pdf, html = (Path(folder) / f"weighing-job-sheet.{ending}" for ending in ("pdf", "html"))
        texts = [" ".join(page.extract_text().split()) for page in PdfReader(pdf).pages]
        for name, words in PAGES.items():
            page = next(number for number, text in enumerate(texts, 1) if words in text)
            which = ["-f", str(page), "-l", str(page), "-r", "70", "-png", "-singlefile"]
            subprocess.run(["pdftoppm", *which, str(pdf), str(ROOT / "docs" / name)], check=True)
        on_a_phone(f"{html.as_uri()}#tag={TAG}", ROOT / "docs" / "job-sheet-phone.png")


def on_a_phone(address: str, picture: Path) -> None:
    """A picture of the sheet on a small phone, the first dose ticked."""
    browser = shutil.which("chromium") or shutil.which("google-chrome") or "chromium"
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=browser, args=["--no-sandbox"])
        page = started.new_page(viewport={"width": 360, "height": 740}, device_scale_factor=1.25)
        page.clock.set_fixed_time("2026-03-14T09:12")
        page.goto(address)
        page.locator(".give").first.click()
        page.mouse.move(0, 0)
        page.screenshot(path=picture)
        started.close()


if __name__ == "__main__":
    main()
