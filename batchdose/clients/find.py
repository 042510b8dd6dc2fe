"""The workbooks below a folder: which are weighing sessions, and which medicines sheet belongs to each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from batchdose.findings import UnusableInputError
from batchdose.read.animals import find_weighing_table
from batchdose.read.book import READABLE, open_book
from batchdose.read.medicines import find_medicines_table
from batchdose.read.package import names_sheet
from batchdose.read.session import read_session_sheet
from batchdose.record.told import is_record_file
from batchdose.write.book_part import RESULTS
from batchdose.write.files import output_stem

WEIGHING, BOTH, MEDICINES, RECORD, CONTACTS = "weighing", "both", "medicines", "record", "contacts"
#: Whose medicines sheet a session is planned with.
OWN, SHARED = "its own", "the shared one"
#: What stands before the kind of a workbook that an earlier run wrote its results into.
_COPY = "copy: "
#: Folder of what is kept, in the folder of the outputs of a round.
KEPT = ".batchdose"
#: Sheet of the addresses.
CONTACTS_SHEET = "Contacts"
#: What stands before the sentence that says why a workbook cannot be opened.
_CLOSED = "closed: "


@dataclass(frozen=True)
class Session:
    """A weighing workbook, the medicines workbook it is planned with, and the records of its folder.

    `medicines` is None where the weighing workbook holds its own list; `whose` says in words whose sheet it is.
    """

    weighing: Path
    medicines: Path | None
    whose: str
    records: tuple[Path, ...] = ()

    @property
    def inputs(self) -> tuple[Path, ...]:
        """All workbooks that the plan depends on."""
        return (self.weighing, *((self.medicines,) if self.medicines else ()), *self.records)


@dataclass(frozen=True)
class NotTaken:
    """A workbook that no job is made of, and why."""

    path: Path
    why: str

    def told(self, folder: Path) -> tuple[str, str]:
        """Its place below the folder of the clients, and why; letters of a name that cannot be written are marked."""
        place = self.path.relative_to(folder).as_posix() if self.path.is_relative_to(folder) else self.path.name
        return printable(place), printable(self.why.removeprefix(f"{self.path.name}: "))


def printable(name: str) -> str:
    r"""A name with a question mark for each byte that is no letter, as old archives leave them on Linux.

    >>> printable("Hill\udcff")
    'Hill?'
    """
    return name.encode("utf-8", "replace").decode()


def workbooks_below(folder: Path, *leave_out: Path) -> dict[Path, list[Path]]:
    """Workbooks by folder, in order of name; hidden ones, owner files of open ones and `leave_out` are passed over.

    Raises UnusableInputError where the folder is not there.
    """
    if not folder.is_dir():
        raise UnusableInputError(str(folder), "There is no such folder.", "Give the folder that holds the clients.")
    out = {Path(os.path.realpath(path)) for path in leave_out}
    found: dict[Path, list[Path]] = {}
    for place, folders, names in os.walk(folder):
        here = Path(place)
        round_before = KEPT in folders
        folders[:] = sorted(n for n in folders if not n.startswith(".") and Path(os.path.realpath(here / n)) not in out)
        if here != folder and round_before:
            folders[:] = []
            continue
        if here != folder and _is_output(names):
            continue
        wanted = [here / name for name in sorted(names) if _is_workbook(name)]
        if kept := [path for path in wanted if Path(os.path.realpath(path)) not in out and path.is_file()]:
            found[here] = kept
    return found


def _is_workbook(name: str) -> bool:
    return not name.startswith((".", "~$")) and name.lower().endswith(READABLE)


def _is_output(names: Iterable[str]) -> bool:
    """Whether a folder holds what an earlier run wrote."""
    endings = ("-results.json", "-job-sheet.html")
    return all(any(name.endswith(ending) for name in names) for ending in endings)


def kind_of(path: Path) -> str:
    """What a workbook is; where it is nothing that we know, the sentence that says why."""
    package = path.suffix.lower() != ".csv"
    if package and is_record_file(path):
        return RECORD
    try:
        book = open_book(path)
        facts, _ = read_session_sheet((book,))
    except UnusableInputError as error:
        return closed(str(error))
    no_medicines = _why_not(lambda: find_medicines_table(book))
    no_weighing = _why_not(lambda: find_weighing_table(book, facts))
    copy = _COPY if package and names_sheet(path, RESULTS) else ""
    if not no_weighing:
        return copy + (WEIGHING if no_medicines else BOTH)
    if not no_medicines:
        return MEDICINES
    return CONTACTS if book.sheet_named(CONTACTS_SHEET) else no_weighing


def closed(why: str) -> str:
    """The kind of a workbook that cannot be opened, with the sentence that says why."""
    return f"{_CLOSED}{why}"


def _why_not(find: Callable[[], object]) -> str:
    """Why a table is not found, or nothing."""
    try:
        find()
    except UnusableInputError as error:
        return str(error)
    return ""


def _kinds(of_folder: Sequence[Path], kinds: Mapping[Path, str]) -> Iterator[tuple[Path, str]]:
    """Workbooks of a folder with their kinds; the copy of an earlier run counts only where its original is gone."""
    originals = {path.stem for path in of_folder if not kinds[path].startswith(_COPY)}
    for path in of_folder:
        kind = kinds[path]
        if not kind.startswith(_COPY):
            yield path, kind
        elif output_stem(path) not in originals:
            yield path, kind.removeprefix(_COPY)


def sessions(
    books: Mapping[Path, Sequence[Path]], kinds: Mapping[Path, str], shared: Path | None
) -> tuple[list[Session], list[NotTaken]]:
    """The sessions of all folders, each with its medicines: of its own, else of its folder, else those shared by all.

    A session without one, or with several to choose from, is not taken, nor is a workbook that is nothing we know.
    """
    found: list[Session] = []
    left: list[NotTaken] = []
    for of_folder in books.values():
        here = dict(_kinds(of_folder, kinds))
        own = [path for path, kind in here.items() if kind == MEDICINES]
        records = tuple(path for path, kind in here.items() if kind == RECORD)
        shut = [path for path in of_folder if kinds[path].startswith(_CLOSED)]
        alone = sum(kind in (WEIGHING, BOTH) for kind in here.values()) == 1  # else the folder may be that of many
        for path, kind in here.items():
            if kind == WEIGHING and alone and not own and shut:
                left.append(_perhaps_own(path, shut))
            elif kind in (WEIGHING, BOTH):
                found += _session(path, kind, own, shared, records, left)
            elif kind not in (MEDICINES, RECORD, CONTACTS):
                left.append(NotTaken(path, kind.removeprefix(_CLOSED)))
    return found, left


def _perhaps_own(path: Path, beside: Sequence[Path]) -> NotTaken:
    """A session beside a workbook that cannot be opened: its own list may be in there, so no other one will do."""
    names = " and ".join(file.name for file in beside)
    return NotTaken(
        path, f"{path.name}: {names} in the same folder cannot be opened, and may be its own list of medicines. "
        "Mend it, or take it away.",
    )  # fmt: skip


def _session(
    path: Path, kind: str, own: Sequence[Path], shared: Path | None, records: tuple[Path, ...], left: list[NotTaken]
) -> Iterator[Session]:
    if kind == BOTH:
        yield Session(path, None, OWN, records)
    elif len(own) == 1:
        yield Session(path, own[0], OWN, records)
    elif own:
        names = " and ".join(file.name for file in own)
        left.append(NotTaken(path, f"{path.name}: {names} are all lists of medicines. Leave one of them there."))
    elif shared is not None:
        yield Session(path, shared, SHARED, records)
    else:
        left.append(NotTaken(
            path, f"{path.name}: There is no list of medicines in its folder. Put one there, or name one for all with "
            "--medicines.",
        ))  # fmt: skip
