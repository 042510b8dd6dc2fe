"""HTML to PDF in a process of its own, so that loading WeasyPrint runs beside the reading and calculating.

The child is this module run as a program: it loads WeasyPrint, reads HTML from standard input and
writes the PDF to standard output. It fetches nothing, from disk or network, and with `-P` it loads no module
that happens to lie in the folder of the sheets.
"""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from hashlib import sha256

#: Exit status of the child where WeasyPrint or the libraries below it cannot be loaded.
NOT_INSTALLED = 3


class PdfUnavailableError(Exception):
    """WeasyPrint cannot be loaded here; the message says what to install."""


class PdfPrinter:
    """Prints one HTML text to PDF. Start it early; `begin` hands over the HTML, `finish` gives the bytes."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(  # noqa: S603 - this very file in our own interpreter
            [sys.executable, "-P", __file__],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._printed: Future[tuple[bytes, bytes]] | None = None

    def begin(self, html: str) -> None:
        """Hand over the HTML; printing goes on while the caller does other work."""
        self._printed = self._pool.submit(self._process.communicate, html.encode("utf-8"))

    def finish(self) -> bytes:
        """Bytes of the PDF. Raises PdfUnavailableError where WeasyPrint cannot be loaded."""
        if self._printed is None:
            raise RuntimeError("begin was not called")
        pdf, errors = self._printed.result()
        self.close()
        if self._process.returncode == NOT_INSTALLED:
            raise PdfUnavailableError(
                "The PDF could not be made, because WeasyPrint or the Pango it needs is not installed. "
                "On Debian or Ubuntu: apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0. "
                "The HTML job sheet is complete: print that."
            )
        if self._process.returncode != 0 or not pdf.startswith(b"%PDF"):
            last = errors.decode("utf-8", "replace").strip().splitlines()[-1:] or ["no reason given"]
            raise RuntimeError(f"the PDF could not be made: {last[0]}")
        return pdf

    def close(self) -> None:
        """End the child, whatever it is doing."""
        if self._process.poll() is None and self._printed is None:
            self._process.kill()
            self._process.communicate()
        self._pool.shutdown()


def print_pdf(html: str) -> bytes:
    """PDF of an HTML text, tagged, with the same bytes for the same HTML."""
    from weasyprint import HTML
    from weasyprint.urls import URLFetcher

    page = HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=()))
    return bytes(page.write_pdf(pdf_identifier=sha256(html.encode("utf-8")).digest()[:16], pdf_tags=True))


def _child() -> int:
    # One document and the process ends: collecting cycles would cost a fifth of the time and free next to nothing.
    gc.disable()
    try:
        import weasyprint  # noqa: F401 - loaded while the parent reads and calculates
    except (ImportError, OSError):
        return NOT_INSTALLED
    sys.stdout.buffer.write(print_pdf(sys.stdin.buffer.read().decode("utf-8")))
    sys.stdout.flush()
    os._exit(0)  # taking the interpreter down in order would take as long as ten animals


if __name__ == "__main__":
    sys.exit(_child())
