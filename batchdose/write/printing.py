"""HTML to PDF by WeasyPrint: the program that `pdf` starts as a process of its own.

It loads WeasyPrint, reads HTML from standard input, and writes the PDF to standard output; on standard error it says
how far it is. A long sheet is printed in parts by as many processes as there are processors. Nothing is fetched, from
disk or network: fonts and pictures are in the HTML.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

if __name__ in ("__main__", "__mp_main__"):
    # Behind all other places, so that what lies beside this file hides nothing.
    sys.path.append(str(Path(__file__).resolve().parents[2]))

from batchdose.write.fonts import FAMILY, has_letters
from batchdose.write.parts import blank_pages, in_parts, with_style
from batchdose.write.templates import template_folder

if TYPE_CHECKING:
    from collections.abc import Callable

    from batchdose.write.joining import Piece

#: Exit status where WeasyPrint or the libraries below it cannot be loaded.
NOT_INSTALLED = 3
#: What a line on standard error begins with that says how many parts of how many are printed.
PROGRESS = "printed "
_VARIANT = "pdf/ua-1"
_NO_NUMBERS = "@page { @bottom-right { content: none } }"


def print_pdf(html: str, processes: int | None = None, tell: Callable[[int, int], None] | None = None) -> bytes:
    """PDF of an HTML text, tagged (PDF/UA-1), with the same bytes for the same HTML and any number of processes.

    Without `processes`, as many as there are processors; `tell` is called with the parts that are done, and of how
    many. Raises ImportError or OSError where WeasyPrint cannot be loaded.
    """
    parts = in_parts(html)
    with _fonts_for(html):
        if len(parts) == 1:
            return bytes(_document(html).write_pdf(pdf_identifier=_identifier(html), pdf_variant=_VARIANT))
        from batchdose.write.joining import join, page_numbers

        without = [with_style(part, _NO_NUMBERS) for part in parts]
        pieces = []
        for piece in _printed(without, min(len(parts), processes or _processors())):
            pieces.append(piece)
            if tell is not None:
                tell(len(pieces), len(parts))
        pages = sum(len(piece.pages) for piece in pieces)
        return join(pieces, _taken(blank_pages(parts[0], pages), page_numbers, pdf_tags=False), _identifier(html))


@contextmanager
def _fonts_for(html: str) -> Iterator[None]:
    """Hide the fonts of the machine where ours are there and have every letter, so that they cannot change a byte."""
    if not (f'font-family: "{FAMILY}"' in html and has_letters(html)):
        yield
        return
    before = os.environ.get("FONTCONFIG_FILE")
    os.environ["FONTCONFIG_FILE"] = str(template_folder() / "fonts" / "fonts.conf")
    try:
        yield
    finally:
        del os.environ["FONTCONFIG_FILE"]
        if before is not None:
            os.environ["FONTCONFIG_FILE"] = before


def _identifier(html: str) -> bytes:
    return sha256(html.encode("utf-8")).digest()[:16]


def _document(html: str, **options: object) -> Any:
    from weasyprint import HTML
    from weasyprint.urls import URLFetcher

    return HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=("data",))).render(**options)


def _taken(html: str, take: Callable[[Any, Any], Piece], **options: object) -> Piece:
    """Print an HTML text and take its PDF apart before it is written."""
    found: list[Piece] = []
    document = _document(html, **options)
    document.write_pdf(finisher=lambda *printed: found.append(take(*printed)), **options)
    return found[0]


def print_part(html: str) -> Piece:
    """One part of a sheet, in whatever process."""
    from batchdose.write.joining import take

    gc.collect()  # what the part before left behind
    return _taken(html, take, pdf_variant=_VARIANT)


def _printed(parts: list[str], processes: int) -> Iterator[Piece]:
    """The parts in their order, printed by so many processes."""
    if processes == 1:
        yield from map(print_part, parts)
        return
    # A copy of this process has WeasyPrint loaded; elsewhere than on Linux copying a process is not safe.
    context = multiprocessing.get_context("fork" if sys.platform == "linux" else "spawn")
    with ProcessPoolExecutor(processes, context) as pool:
        yield from pool.map(print_part, parts)


def _processors() -> int:
    """Processors that this process may use, or as many as BATCHDOSE_PROCESSES in the environment says."""
    asked = os.environ.get("BATCHDOSE_PROCESSES", "")
    if asked.isdigit() and int(asked):
        return int(asked)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _tell(done: int, of_all: int) -> None:
    sys.stderr.write(f"{PROGRESS}{done} {of_all}\n")
    sys.stderr.flush()


def main() -> int:
    """Print what comes on standard input; gives the exit status."""
    # Collecting cycles would cost a fifth of the time; what a part leaves behind is collected before the next.
    gc.disable()
    try:
        import weasyprint  # noqa: F401 - loaded while the parent reads and calculates
    except (ImportError, OSError):
        return NOT_INSTALLED
    gc.freeze()
    sys.stdout.buffer.write(print_pdf(sys.stdin.buffer.read().decode("utf-8"), tell=_tell))
    sys.stdout.flush()
    os._exit(0)  # taking the interpreter down in order would take as long as ten animals


if __name__ == "__main__":
    sys.exit(main())
