"""What one worker does with one client: plan, write, and tell in few words. Everything goes in and out as plain values.

A worker lives for many clients, so that it loads its libraries once; WeasyPrint prints in the worker itself.
"""

from __future__ import annotations

import gc
import signal
import traceback
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from batchdose.clients.find import SHARED
from batchdose.clients.jobs import ClearFrom, ClientJob, HeldBack, Need, Setting, Written
from batchdose.findings import Level, UnusableInputError
from batchdose.model import Settings
from batchdose.texts import speaking
from batchdose.words import same_name

if TYPE_CHECKING:
    from batchdose.model import ProductPlan, Result
    from batchdose.write.pdf import Progress
    from batchdose.write.sheet import Card, Order


@dataclass(frozen=True)
class Options:
    """How all jobs of a run are planned and printed."""

    settings: Settings = field(default_factory=Settings)
    order: Order = "tag"
    pdf: bool = True


@dataclass(frozen=True)
class Task:
    """One session to be planned.

    `files` holds the inputs as bytes, by place, where the worker does not see the folders, and `earlier` what of an
    earlier run a new one depends on, by name; `unread` says why they could not be read. `place` is the folder of the
    outputs below `out`. `mark` is a file that shows whether the worker sees `out`.
    """

    key: str
    weighing: Path
    medicines: Path | None
    records: tuple[Path, ...]
    whose: str
    name: str
    out: Path
    place: str
    mark: Path
    options: Options
    files: Mapping[str, bytes] | None = None
    earlier: Mapping[str, bytes] | None = None
    unread: str = ""

    @property
    def inputs(self) -> tuple[Path, ...]:
        """All workbooks that are read."""
        return (self.weighing, *((self.medicines,) if self.medicines else ()), *self.records)


@dataclass(frozen=True)
class Done:
    """What became of a task; `contents` are the outputs where the worker could not write them itself."""

    key: str
    job: ClientJob
    contents: Mapping[str, bytes] | None = None


#: What a worker answers that does not see the folders: send the files themselves.
NOT_SHARED: Literal["not shared"] = "not shared"


class _Printer:
    """Prints in this process; the same two calls as `PdfPrinter`."""

    def __init__(self) -> None:
        self._html = self._for_browser = ""

    def begin(self, html: str, for_browser: str = "") -> None:
        """Take the HTML, and what a browser prints instead."""
        self._html, self._for_browser = html, for_browser or html

    def finish(self, progress: Progress | None = None) -> bytes:  # noqa: ARG002 - one client has no bar of its own
        """Bytes of the PDF. Raises PdfUnavailableError where neither WeasyPrint nor a browser can print here."""
        from batchdose.write.pdf import by_browser
        from batchdose.write.printing import print_pdf

        try:
            return print_pdf(self._html, processes=1)
        except (ImportError, OSError):
            return by_browser(self._for_browser)

    def close(self) -> None:
        """Nothing to end."""


def begin_worker(*, pdf: bool) -> None:
    """Load what every client needs, once. Ctrl-C is the business of the main process: a job that is begun is ended."""
    import contextlib

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import batchdose.job
    import batchdose.write.job_sheet
    import batchdose.write.workbook  # noqa: F401

    if pdf:
        with contextlib.suppress(ImportError, OSError):
            import weasyprint  # noqa: F401
    gc.freeze()  # what was loaded stays, so that looking for what may go is quick


def do_task(task: Task) -> Done | Literal["not shared"]:
    """Plan one session and write its outputs; what goes wrong with it is told, and never raised."""
    try:
        if task.unread:
            return Done(task.key, _failed(task, task.unread))
        if task.files is not None:
            return _from_bytes(task, task.files)
        if not task.mark.is_file():
            return NOT_SHARED
        return Done(task.key, _done(task, task.weighing, task.medicines, task.out / task.place))
    except UnusableInputError as error:
        return Done(task.key, _failed(task, str(error)))
    except Exception as error:  # noqa: BLE001 - one bad workbook never stops the rest
        at = traceback.extract_tb(error.__traceback__)[-1]
        return Done(task.key, _failed(
            task, "This is a fault of the program, not of the sheets: please report it with the two workbooks "
            f"({type(error).__name__}: {error}, {Path(at.filename).name} line {at.lineno}).",
        ))  # fmt: skip
    finally:
        gc.collect()


def gave_up(task: Task) -> Done:
    """The answer for a task whose worker was ended each time."""
    return Done(task.key, _failed(
        task, "The system ended the program while it did this one; perhaps its memory is too small. Try it alone: "
        f"batchdose dose {task.weighing.name}.",
    ))  # fmt: skip


def _failed(task: Task, why: str) -> ClientJob:
    medicines = task.medicines.name if task.medicines else ""
    return ClientJob(task.key, task.name, medicines, task.whose, failed=why)


def _from_bytes(task: Task, files: Mapping[str, bytes]) -> Done:
    """The same in a folder of the worker's own, its outputs as bytes."""
    with TemporaryDirectory(prefix="batchdose-") as name:
        folder = Path(name)
        here = {}
        for number, (path, content) in enumerate(files.items()):
            # The record lies beside the workbook, the medicines sheet of all may have the same name as the own one.
            place = folder / ("in" if path != str(task.medicines) else f"medicines{number}") / Path(path).name
            place.parent.mkdir(exist_ok=True)
            place.write_bytes(content)
            here[path] = place
        medicines = here[str(task.medicines)] if task.medicines else None
        outputs = folder / "out" / task.place
        outputs.mkdir(parents=True)
        for name_before, content in (task.earlier or {}).items():
            (outputs / name_before).write_bytes(content)
        job = _done(task, here[str(task.weighing)], medicines, outputs)
        contents = {written.path: (folder / "out" / written.path).read_bytes() for written in job.files}
        return Done(task.key, job, contents)


def _done(task: Task, weighing: Path, medicines: Path | None, folder: Path) -> ClientJob:
    from batchdose.job import plan_job, write_outputs

    result = plan_job(weighing, medicines, task.options.settings)
    printer = _Printer() if task.options.pdf else None
    paths, remarks = write_outputs(result, folder, printer, task.options.order)  # type: ignore[arg-type]
    files = tuple(
        Written(f"{task.place}/{path.name}", sha256(path.read_bytes()).hexdigest()) for path in paths
    )  # fmt: skip
    told = job_told(result, task.key, task.name, by_option=task.options.settings.on is not None,
                    shared=task.whose == SHARED)  # fmt: skip
    return replace(told, files=files, remarks=tuple(remarks), whose=task.whose,
                   medicines=task.medicines.name if task.medicines else "")  # fmt: skip


def job_told(result: Result, key: str, name: str, *, by_option: bool, shared: bool = False) -> ClientJob:
    """A result in the words and the language of the job sheet; `name` is the client's where the session names none.

    `by_option` says that the moment was given for the run; without that and a date of the session it is today.
    `shared` says that the medicines are on the sheet shared by all.
    """
    with speaking(result.session.facts.language):
        return _job_told(result, key, name, by_option=by_option, shared=shared)


def _job_told(result: Result, key: str, name: str, *, by_option: bool, shared: bool) -> ClientJob:
    from batchdose.write.cards import medicine_card
    from batchdose.write.clear_dates import clear_dates
    from batchdose.write.job_sheet import counts, held_animals, planned_text

    ready, not_ready = counts(result)
    levels = [finding.level for finding in result.findings]
    used = [result.medicines[i] for i in sorted(result.treatments["medicine"].unique())]
    facts = result.session.facts
    by_clock = facts.date is None and not by_option
    return ClientJob(
        key=key, client=facts.client or name, planned=planned_text(result),
        today=today_in(facts.time_zone.key) if by_clock else "",
        ready=ready, not_ready=not_ready, errors=levels.count(Level.ERROR), warnings=levels.count(Level.WARNING),
        language=facts.language,
        settings=tuple(line for medicine in used for line in _settings(medicine.name, medicine_card(medicine, result))),
        held=tuple(HeldBack(*row) for row in held_animals(result)),
        clear=tuple(
            ClearFrom(mob.name, line.product, line.text, line.day.isoformat() if line.day else "", line.who)
            for mob in clear_dates(result) for line in mob.lines
        ),
        needs=tuple(_need(plan, result, shared=shared) for plan in result.product if plan.to_draw),
    )  # fmt: skip


def _settings(medicine: str, card: Card) -> Iterator[Setting]:
    """Settings of a card; the mob, which stands there once, in every line."""
    mob = ""
    for name, span, setting, head, _ in card.settings:
        mob = name or mob
        yield Setting(medicine, mob, span, setting, head)


def _need(plan: ProductPlan, result: Result, *, shared: bool) -> Need:
    from batchdose.amounts import amount_text

    mine = [p for p in result.stock if p.medicine == same_name(plan.medicine) and p.unit == plan.unit]
    offers = {pack.size: pack.price for pack in mine}
    usable = [p for p in mine if p.opened_on is None and (p.expiry is None or p.expiry >= result.planned.at.date())]
    return Need(
        plan.medicine, plan.unit, str(plan.to_draw), str(plan.short) if plan.stock_known else "",
        "; ".join(f"{use.packs} x {amount_text(use.size, plan.unit)}" for use in plan.packs),
        str(sum(pack.size * pack.packs for pack in usable)) if mine else "",
        tuple((str(size), "" if price is None else str(price)) for size, price in sorted(offers.items())), shared,
    )  # fmt: skip


def today_in(zone: str) -> str:
    """The day of today in a time zone, with the zone, so that it can be compared later.

    >>> today_in("UTC").endswith(" UTC")
    True
    """
    return f"{datetime.now(ZoneInfo(zone)).date().isoformat()} {zone}"
