"""Where WeasyPrint cannot be loaded: an installed Edge, Chrome or Chromium prints the HTML, without a window.

It runs with a profile of its own, which is removed again, and with no network. Its page numbers come from the margin
boxes of `@page`, which these browsers know since version 131 (from memory of its release notes).
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

LEAST_VERSION = 131
_TIMEOUT_S = 180.0
_ON_PATH = (
    "microsoft-edge", "microsoft-edge-stable", "google-chrome", "google-chrome-stable", "chromium", "chromium-browser",
)  # fmt: skip
_ON_WINDOWS = (
    "Microsoft/Edge/Application/msedge.exe", "Google/Chrome/Application/chrome.exe", "Chromium/Application/chrome.exe",
)  # fmt: skip
_ON_MAC = (
    "Microsoft Edge.app/Contents/MacOS/Microsoft Edge", "Google Chrome.app/Contents/MacOS/Google Chrome",
    "Chromium.app/Contents/MacOS/Chromium",
)  # fmt: skip
_OPTIONS = (
    "--headless", "--disable-gpu", "--no-first-run", "--no-default-browser-check", "--disable-extensions",
    "--disable-sync", "--disable-background-networking", "--disable-component-update",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer", "--generate-pdf-document-outline",
)  # fmt: skip
_MADE_BY = re.compile(rb"Skia/PDF m(\d+)")


class BrowserError(Exception):
    """No browser printed; the message says why."""


def print_pdf(html: str) -> bytes:
    """PDF of an HTML text by the first browser found. Raises BrowserError where there is none, or it fails."""
    browser = next(found_browsers(), None)
    if browser is None:
        raise BrowserError("none of them was found.")
    with TemporaryDirectory(prefix="batchdose-", ignore_cleanup_errors=True) as place:
        folder = Path(place)
        page, pdf = folder / "sheet.html", folder / "sheet.pdf"
        page.write_text(html, encoding="utf-8")
        options = [*_OPTIONS, f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={pdf}", page.as_uri()]
        said = _run([str(browser), *_for_root(), *options])
        printed = pdf.read_bytes() if pdf.is_file() else b""
    return _checked(printed, browser, said)


def found_browsers(
    platform: str = sys.platform, environment: Mapping[str, str] = os.environ, home: Path | None = None
) -> Iterator[Path]:
    """Installed browsers that can print, the most usual of the system first."""
    if platform == "win32":
        folders = [environment[name] for name in ("PROGRAMFILES(X86)", "PROGRAMFILES", "LOCALAPPDATA")
                   if environment.get(name)]  # fmt: skip
        places = [Path(folder, program) for program in _ON_WINDOWS for folder in folders]
    elif platform == "darwin":
        places = [folder / program for program in _ON_MAC
                  for folder in (Path("/Applications"), (home or Path.home()) / "Applications")]  # fmt: skip
    else:
        named = (shutil.which(name, path=environment.get("PATH")) for name in _ON_PATH)
        places = [Path(program) for program in named if program]
    yield from (place for place in places if place.is_file())


def _for_root() -> list[str]:
    """Chromium refuses to run as root with its sandbox, and only then goes without."""
    return ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []


def _run(command: list[str]) -> str:
    """Run a browser to its end, or end it and what it started when it takes too long; gives what it said last."""
    process = subprocess.Popen(  # noqa: S603 - a browser that is installed, with our own options
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True
    )
    try:
        _, errors = process.communicate(timeout=_TIMEOUT_S)
    except subprocess.TimeoutExpired:
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        process.kill()
        process.communicate()
        return f"it did not end within {_TIMEOUT_S:.0f} s"
    return (errors.decode("utf-8", "replace").strip().splitlines() or ["no reason given"])[-1]


def _checked(pdf: bytes, browser: Path, said: str) -> bytes:
    """The PDF, if it is one and has page numbers."""
    if not pdf.startswith(b"%PDF"):
        raise BrowserError(f"{browser.name} was found, but did not print: {said}.")
    version = _MADE_BY.search(pdf)
    if version and int(version[1]) < LEAST_VERSION:
        raise BrowserError(f"{browser.name} is too old to print page numbers: update it to {LEAST_VERSION} or newer.")
    return pdf
