"""The whole round: find the sessions, plan what changed, keep what was done, and sum it all up."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path, PurePosixPath

from batchdose.clients.engines import Engine, processes, run
from batchdose.clients.find import NotTaken, Session, closed, kind_of, printable, sessions, workbooks_below
from batchdose.clients.jobs import ClientJob
from batchdose.clients.kept import Kept, fingerprint, sha256_of
from batchdose.clients.names import safe_name
from batchdose.clients.work import NOT_SHARED, Done, Options, Task, do_task, gave_up
from batchdose.findings import UnusableInputError
from batchdose.write.files import save_all

#: Told of each step: how many are done, of how many, and the name of what was done.
Told = Callable[[int, int, str], None]
#: Workbooks whose kind is found in one go.
_AT_ONCE = 16
#: Ends of the names of outputs that a new run looks at before it replaces them.
_LOOKED_AT = ("-dosed.xlsx", "-dosed.xlsm", "-results.xlsx", "-clear.ics")


@dataclass(frozen=True)
class Round:
    """All clients of a round, in order of their folders; `not_taken` are workbooks that no job is made of.

    `unchanged` are the keys of the jobs that were done before and not again.
    """

    folder: Path
    out: Path
    jobs: tuple[ClientJob, ...]
    unchanged: frozenset[str]
    not_taken: tuple[NotTaken, ...]

    @property
    def exit_status(self) -> int:
        """0 if all are planned and nothing is held or in error, else 1."""
        return int(bool(self.not_taken) or any(job.status != "ready" for job in self.jobs))


def plan_clients(
    folder: Path | str, out: Path | str, options: Options | None = None, *, engine: Engine | None = None,
    medicines: Path | str | None = None, again: bool = False, told: Told | None = None,
) -> Round:  # fmt: skip
    """Plan every session below a folder and write its outputs below `out`; what did not change is not done again.

    `medicines` is the sheet of those that have none of their own; without an `engine`, all cores of this machine are
    used. Raises UnusableInputError where a folder is not there, `out` cannot be written, or no session is found at all.
    Stopped half way, what is done stays whole and is not done again.
    """
    folder, out, options = Path(folder), Path(out), options or Options()
    shared = Path(medicines) if medicines else None
    _check(folder, out, shared)
    if engine is None:
        with processes(pdf=options.pdf) as local:
            return _planned_round(folder, out, options, local, local, shared, again=again, told=told or _nobody)
    with processes(pdf=False) as local:
        here = engine if engine.is_here else local
        return _planned_round(folder, out, options, engine, here, shared, again=again, told=told or _nobody)


def _check(folder: Path, out: Path, shared: Path | None) -> None:
    if not folder.is_dir():
        raise UnusableInputError(str(folder), "There is no such folder.", "Give the folder that holds the clients.")
    if shared is not None and not shared.is_file():
        raise UnusableInputError(str(shared), "There is no such medicines sheet.", "Check the name and the folder.")
    if os.path.realpath(out) == os.path.realpath(folder):
        raise UnusableInputError(str(out), "The outputs cannot lie among the inputs.", "Choose another --out.")


def _planned_round(
    folder: Path, out: Path, options: Options, engine: Engine, local: Engine, shared: Path | None, *, again: bool,
    told: Told,
) -> Round:  # fmt: skip
    books = workbooks_below(folder, out, *((shared,) if shared else ()))
    every = [path for paths in books.values() for path in paths]
    with _marked(out) as kept:
        hashes, left = _hashes(every, shared)
        kinds = _kinds([path for path in every if path in hashes], hashes, kept, local, told)
        kinds |= {other.path: closed(other.why) for other in left}
        found, not_taken = sessions(books, kinds, shared)
        if not found:
            why = next((": ".join(other.told(folder)) for other in not_taken),
                       "No workbook with Tag and Weight was found.")  # fmt: skip
            raise UnusableInputError(str(folder), why, "Put each client's weighing workbook into a folder below it.")
        tasks = _tasks(folder, out, found, options, kept)
        marks = {t.key: fingerprint([hashes[p] for p in t.inputs], options, t.whose, t.name) for t in tasks}
        done = {} if again else {t.key: job for t in tasks if (job := kept.job(t.key, marks[t.key]))}
        unchanged = frozenset(done)
        for job in _planned([task for task in tasks if task.key not in done], engine):
            kept.keep(job, marks[job.key])
            done[job.key] = job
            told(len(done), len(tasks), job.client)
        kept.forget_all_but(done)
    return Round(folder, out, tuple(done[task.key] for task in tasks), unchanged, tuple(not_taken))


def _nobody(done: int, of: int, name: str) -> None:
    """Tell nobody."""


@contextmanager
def _marked(out: Path) -> Iterator[Kept]:
    """The folder of the outputs, with the mark by which workers know it. Raises UnusableInputError if it cannot be."""
    kept = Kept(out)
    try:
        kept.mark.parent.mkdir(parents=True, exist_ok=True)
        kept.mark.touch()
    except OSError as error:
        raise UnusableInputError(
            str(out), f"The folder cannot be written: {error.strerror}.", "Check the folder and its rights."
        ) from None
    try:
        yield kept
    finally:
        kept.mark.unlink(missing_ok=True)


def _hashes(paths: Sequence[Path], shared: Path | None) -> tuple[dict[Path, str], list[NotTaken]]:
    """SHA-256 of each file, and those that cannot be opened or told by their names.

    Raises UnusableInputError where the sheet shared by all cannot be opened.
    """
    found: dict[Path, str] = {}
    left = []
    for path in (*paths, *((shared,) if shared else ())):
        if path != shared and printable(str(path)) != str(path):
            left.append(NotTaken(
                path, "Its name, or that of its folder, holds letters that this system cannot read. Rename it."
            ))  # fmt: skip
            continue
        try:
            found[path] = sha256_of(path)
        except OSError as error:
            why, cure = f"The file cannot be opened: {error.strerror}.", "Close it elsewhere, and check its rights."
            if path == shared:
                raise UnusableInputError(path.name, why, cure) from None
            left.append(NotTaken(path, f"{path.name}: {why} {cure}"))
    return found, left


def _kinds(
    paths: Sequence[Path], hashes: Mapping[Path, str], kept: Kept, local: Engine, told: Told
) -> dict[Path, str]:  # fmt: skip
    """What each workbook is; one of the same contents and name is looked into once, and not again at a rerun."""
    known = kept.kinds()
    keys = {path: f"{hashes[path]} {path.name}" for path in paths}
    new = list({keys[path]: path for path in paths if keys[path] not in known}.values())
    parts = [tuple(new[at : at + _AT_ONCE]) for at in range(0, len(new), _AT_ONCE)]
    count, lost = 0, set[str]()
    for part, answer in run(local, kinds_of, parts, _unknown):
        known |= {keys[path]: kind for path, kind in zip(part, answer, strict=True)}
        lost |= {keys[path] for path in part} if answer == _unknown(part) else set()
        count += len(part)
        told(count, len(new), "looking into the workbooks")
    if new:
        kept.keep_kinds({key: known[key] for key in keys.values() if key not in lost})
    return {path: known[keys[path]] for path in paths}


def kinds_of(paths: tuple[Path, ...]) -> list[str]:
    """What several workbooks are."""
    return [kind_of(path) for path in paths]


def _unknown(paths: tuple[Path, ...]) -> list[str]:
    return [closed(f"{path.name}: It could not be looked into: the program was ended by the system.") for path in paths]


def _tasks(folder: Path, out: Path, found: Sequence[Session], options: Options, kept: Kept) -> list[Task]:
    """A task for each session, with a folder for its outputs that no other has on any system."""
    keys = {session.weighing: session.weighing.relative_to(folder).as_posix() for session in found}
    places = _places(keys.values())
    return [
        Task(keys[s.weighing], s.weighing, s.medicines, s.records, s.whose, _name(keys[s.weighing]), out,
             places[keys[s.weighing]], kept.mark, options)
        for s in found
    ]  # fmt: skip


def _places(keys: Iterable[str]) -> dict[str, str]:
    """Folder of the outputs of each workbook: its own place without the ending, in names that every system takes."""
    plain = {key: "/".join(map(safe_name, PurePosixPath(key).with_suffix("").parts)) for key in keys}
    several = Counter(place.casefold() for place in plain.values())
    return {
        key: place if several[place.casefold()] == 1 else f"{place}-{sha256(key.encode()).hexdigest()[:8]}"
        for key, place in plain.items()
    }


def _name(key: str) -> str:
    """Name of a client whose session names none: its folder, or the workbook where it lies in none."""
    place = PurePosixPath(key)
    return place.parent.as_posix() if place.parent.parts else place.stem


def _planned(tasks: Sequence[Task], engine: Engine) -> Iterator[ClientJob]:
    """Plan all; workers that do not see the folders get the files themselves, and their outputs are written here."""
    apart: list[Task] = []

    def given() -> Iterator[Task]:
        for task in tasks:
            yield _with_files(task) if apart else task

    for task, answer in run(engine, do_task, given(), gave_up):
        if answer == NOT_SHARED:
            apart.append(task)
        else:
            yield _written(task, answer)
    for task, answer in run(engine, do_task, map(_with_files, apart), gave_up):
        if answer != NOT_SHARED:
            yield _written(task, answer)


def _with_files(task: Task) -> Task:
    """The task with its inputs, and with what a new run looks at of an earlier one: filled-in sheets, the calendar."""
    outputs = task.out / task.place
    try:
        files = {str(path): path.read_bytes() for path in task.inputs}
        before = [path for path in outputs.glob("*") if path.name.endswith(_LOOKED_AT)]
        return replace(task, files=files, earlier={path.name: path.read_bytes() for path in before})
    except OSError as error:
        name = Path(error.filename or task.weighing).name
        return replace(task, unread=f"{name}: The file cannot be opened: {error.strerror}. Run the same command again.")


def _written(task: Task, done: Done) -> ClientJob:
    """The job, its outputs in place."""
    if done.contents is None:
        return done.job
    contents = {PurePosixPath(path).name: content for path, content in done.contents.items()}
    try:
        save_all(task.out / task.place, contents, task.inputs)
    except UnusableInputError as error:
        return ClientJob(task.key, done.job.client, done.job.medicines, done.job.whose, failed=str(error))
    return done.job
