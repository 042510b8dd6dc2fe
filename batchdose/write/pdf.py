"""HTML to PDF in a process of its own, so that loading WeasyPrint runs beside the reading and calculating.

The child is `printing` run as a program, with `-P`, so that it loads no module that happens to lie in the folder of
the sheets. Where WeasyPrint cannot be loaded, an installed browser prints instead (`browser`).
"""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import IO

#: The child's exit status where WeasyPrint cannot be loaded, and its lines that say how far it is (see `printing`).
NOT_INSTALLED, PROGRESS = 3, "printed "
#: Called with the number of printed parts, and of how many.
Progress = Callable[[int, int], None]


class PdfUnavailableError(Exception):
    """No PDF can be made here; the message says what to install."""


class PdfPrinter:
    """Prints one HTML text to PDF. Start it early; `begin` hands over the HTML, `finish` gives the bytes."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(  # noqa: S603 - our own file in our own interpreter
            [sys.executable, "-P", Path(__file__).with_name("printing.py")],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._printed: Future[bytes] | None = None
        self._for_browser = ""
        self._told: list[str] = []
        self._progress: Progress | None = None

    def begin(self, html: str, for_browser: str = "") -> None:
        """Hand over the HTML; printing goes on while the caller does other work.

        `for_browser` is what a browser prints instead, where that is not the same.
        """
        self._for_browser = for_browser or html
        self._printed = self._pool.submit(self._print, html.encode("utf-8"))

    def _print(self, html: bytes) -> bytes:
        """Feed the child while its lines are read; gives what it printed."""
        child = self._process
        assert child.stdin is not None and child.stdout is not None and child.stderr is not None  # noqa: S101, PT018
        listener = threading.Thread(target=self._listen, args=(child.stderr,), daemon=True)
        listener.start()
        with child:  # closes the pipes and waits for the end
            # One that has ended already takes no more; its exit status says why.
            with suppress(OSError), child.stdin:
                child.stdin.write(html)
            pdf = child.stdout.read()
            listener.join()
        return pdf

    def _listen(self, lines: IO[bytes]) -> None:
        for line in lines:
            text = line.decode("utf-8", "replace").strip()
            if not text.startswith(PROGRESS):
                self._told.append(text)
            elif self._progress is not None:
                done, of_all = text.removeprefix(PROGRESS).split()
                self._progress(int(done), int(of_all))

    def finish(self, progress: Progress | None = None) -> bytes:
        """Bytes of the PDF; `progress` is called while a long one is printed.

        Raises PdfUnavailableError where neither WeasyPrint nor a browser can print here.
        """
        if self._printed is None:
            raise RuntimeError("begin was not called")
        self._progress = progress
        pdf = self._printed.result()
        self.close()
        if self._process.returncode == NOT_INSTALLED:
            return by_browser(self._for_browser)
        if self._process.returncode != 0 or not pdf.startswith(b"%PDF"):
            raise RuntimeError(f"the PDF could not be made: {(self._told or ['no reason given'])[-1]}")
        return pdf

    def close(self) -> None:
        """End the child, whatever it is doing."""
        if self._process.poll() is None and self._printed is None:
            self._process.kill()
            self._process.communicate()
        self._pool.shutdown()


def by_browser(html: str) -> bytes:
    """PDF by an installed browser, in place of WeasyPrint. Raises PdfUnavailableError where there is none."""
    from batchdose.write.browser import BrowserError, print_pdf

    try:
        return print_pdf(html)
    except BrowserError as error:
        raise PdfUnavailableError(
            "The PDF could not be made, because WeasyPrint or the Pango it needs is not installed. "
            "On Debian or Ubuntu: apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0. "
            f"Or install Microsoft Edge, Google Chrome or Chromium: {error} "
            "The HTML job sheet is complete: print that."
        ) from error
