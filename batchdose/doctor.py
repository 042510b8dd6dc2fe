"""Whether everything is there that the program needs, and how to mend what is not."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import metadata, util
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from batchdose import __version__
from batchdose.write.browser import found_browsers
from batchdose.write.templates import template_folder

#: How Pango is installed, by system.
_PANGO = {
    "linux": "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0, or dnf install pango",
    "darwin": "brew install pango",
    "win32": "nothing, if Microsoft Edge is there: it prints the PDF instead",
}
_TEMPLATES = ("job_sheet.html", "job_sheet.css", "job_sheet.js", "register.html", "clients.html", "message.txt")
_EXTRAS = {"distributed": ("cluster", "clients --scheduler"), "keyring": ("mail", "the password of mail --send")}
_TIMEOUT_S = 120


@dataclass(frozen=True)
class Look:
    """One thing looked at: what, whether it is well, what was found, and how to mend it."""

    what: str
    well: bool
    found: str
    mend: str = ""

    def __str__(self) -> str:
        mend = f"\n      To mend it: {self.mend}" if not self.well and self.mend else ""
        return f"{'good' if self.well else 'MISSING':8} {self.what}: {self.found}{mend}"


@dataclass(frozen=True)
class Examined:
    """All that was looked at; `needed` are those without which something cannot be done, `extras` the others."""

    needed: tuple[Look, ...]
    extras: tuple[str, ...]

    @property
    def exit_status(self) -> int:
        """0 where nothing needed is missing, else 1."""
        return int(not all(look.well for look in self.needed))

    @property
    def lines(self) -> list[str]:
        """What to print."""
        end = "Everything is there." if not self.exit_status else "Mend what is marked MISSING, and look again."
        return [f"batchdose {__version__}", *map(str, self.needed), *self.extras, end]


def examined(folder: Path | None = None) -> Examined:
    """Look at the system, the libraries, the PDF, the files of the program, time zones, and the folder worked in."""
    needed = (
        _python(),
        _libraries(),
        _pdf(),
        _files(),
        _zones(),
        _writable(lambda: folder or Path.cwd()),
        _writable(lambda: Path(tempfile.gettempdir())),
    )
    return Examined(needed, tuple(_extras()))


def library_versions() -> dict[str, str]:
    """Versions of the libraries that the program needs, by name; empty where one is not installed."""
    try:
        names = [text for text in metadata.requires("batchdose") or () if "extra ==" not in text]
    except metadata.PackageNotFoundError:  # run from a folder that was only copied
        return {"batchdose": ""}
    found = {}
    for text in names:
        name = text.split(";")[0].split(">")[0].split("=")[0].split("<")[0].strip()
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = ""
    return dict(sorted(found.items()))


def _python() -> Look:
    version = ".".join(map(str, sys.version_info[:3]))
    return Look("Python", sys.version_info >= (3, 11), version, "install Python 3.11 or newer")


def _libraries() -> Look:
    versions = library_versions()
    lost = [name for name, version in versions.items() if not version]
    if lost:
        return Look(
            "Libraries",
            well=False,
            found=f"not installed: {', '.join(lost)}",
            mend="pip install --force-reinstall batchdose",
        )
    return Look("Libraries", well=True, found=", ".join(f"{name} {version}" for name, version in versions.items()))


def _pdf() -> Look:
    """WeasyPrint with Pango, tried in a process of its own, since what does not fit may end it; or a browser."""
    code = "from weasyprint import HTML; print(len(HTML(string='<p>x').write_pdf()))"
    try:
        done = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, timeout=_TIMEOUT_S, check=False)  # noqa: S603
        prints = done.returncode == 0 and int(done.stdout or b"0") > 0
    except (OSError, ValueError, subprocess.TimeoutExpired):
        prints = False
    browsers = [str(path) for path in found_browsers()]
    if prints:
        return Look("PDF", well=True, found="WeasyPrint with Pango")
    if browsers:
        return Look("PDF", well=True, found=f"no Pango, so {browsers[0]} prints it")
    system = "linux" if sys.platform.startswith("linux") else sys.platform
    mend = f"{_PANGO.get(system, 'install Pango')}; or install one of those browsers"
    return Look(
        "PDF",
        well=False,
        found="neither Pango nor Edge, Chrome or Chromium",
        mend=mend,
    )


def _files() -> Look:
    folder = template_folder()
    lost = [name for name in _TEMPLATES if not (folder / name).is_file()]
    fonts = sorted(path.name for path in (folder / "fonts").glob("*.ttf"))
    if lost or not fonts:
        lost += [] if fonts else ["fonts"]
        return Look("Templates and fonts", well=False, found=f"not there: {', '.join(lost)}",
                    mend="pip install --force-reinstall batchdose")  # fmt: skip
    return Look("Templates and fonts", well=True, found=str(folder))


def _zones() -> Look:
    try:
        ZoneInfo("Europe/Dublin")
    except ZoneInfoNotFoundError:
        return Look("Time zones", well=False, found="not there", mend="pip install tzdata")
    return Look("Time zones", well=True, found="there")


def _writable(place: Callable[[], Path]) -> Look:
    """Whether files can be written, put in place of each other and removed there."""
    folder: Path | str = "the folder worked in, or that of passing files"
    try:
        folder = place()  # fails where the folder was removed, or there is none for passing files
        handle, name = tempfile.mkstemp(prefix=".batchdose-", dir=folder)
        os.close(handle)
        path = Path(name).replace(Path(f"{name}-2"))
        path.unlink()
    except OSError as error:
        return Look(
            "Folder", well=False, found=f"{folder}: {error.strerror}", mend="work in a folder of your own, or use --out"
        )
    return Look("Folder", well=True, found=f"{folder} can be written")


def _extras() -> Iterator[str]:
    for module, (extra, use) in _EXTRAS.items():
        if util.find_spec(module) is None:
            yield f'{"extra":8} {use}: not installed; pip install "batchdose[{extra}]" if you need it'
        else:
            yield f"{'extra':8} {use}: there"
