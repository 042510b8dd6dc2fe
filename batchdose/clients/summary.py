"""The summary for the adviser, as a workbook and as a page: what is planned, held and brought, and when it is clear."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from urllib.parse import quote

from batchdose import __version__
from batchdose.clients.bring import Bring, to_bring
from batchdose.clients.jobs import ClientJob
from batchdose.clients.names import alike
from batchdose.clients.plan import Round
from batchdose.findings import Level
from batchdose.write.files import save_all
from batchdose.write.render import render_page
from batchdose.write.tables_book import Link, Table, workbook_of
from batchdose.write.words import heads

SUMMARY = "clients-summary"


@dataclass(frozen=True)
class Summary:
    """All that stands on the summary; the page lays it out."""

    title: str
    line: str
    jobs: list[ClientJob]
    failed: list[tuple[str, str, str]]
    bring: list[Bring]
    remarks: list[str]
    version: str


def summary_of(planned: Round) -> Summary:
    """The summary of a round; clients with something held come first, then by name."""
    done = sorted(
        (j for j in planned.jobs if not j.failed), key=lambda j: (j.status == "ready", j.client.casefold(), j.key)
    )
    failed = [(job.client, job.key, job.failed) for job in planned.jobs if job.failed]
    failed += [("", *other.told(planned.folder)) for other in planned.not_taken]
    return Summary(
        "Clients", counts_text(planned), done, failed, to_bring(done), list(_remarks(planned)), __version__
    )  # fmt: skip


def counts_text(planned: Round) -> str:
    """How many clients and animals are ready, and how many are not.

    A client has as many jobs as it has weighing workbooks.
    """
    done = [job for job in planned.jobs if not job.failed]
    ready, held = sum(job.ready for job in done), sum(job.not_ready for job in done)
    not_planned = len(planned.jobs) - len(done) + len(planned.not_taken)
    parts = [f"{len(done)} of {len(done) + not_planned} workbooks planned", f"{ready} animals ready, {held} not"]
    return "; ".join([*parts, f"{len(planned.unchanged)} unchanged"] if planned.unchanged else parts)


def _remarks(planned: Round) -> Iterator[str]:
    for names in alike(job.client for job in planned.jobs):
        yield f"Written in two ways: {' and '.join(names)}. If they are one client, write the name alike."
    for job in planned.jobs:
        yield from (f"{job.client}: {remark}" for remark in job.remarks)


def write_summary(planned: Round) -> list[str]:
    """Write both into the folder of the outputs; gives their names. Raises UnusableInputError if it cannot."""
    summary = summary_of(planned)
    contents = {
        f"{SUMMARY}.html": render_page("clients.html", summary=summary, file_link=quote).encode(),
        f"{SUMMARY}.xlsx": workbook_of(_tables(summary)),
    }
    return [path.name for path in save_all(planned.out, contents, ())]


def _tables(summary: Summary) -> Iterator[Table]:
    jobs = summary.jobs
    yield Table(
        "Clients",
        [("Client", 28), ("Workbook", 30), ("Planned for", 24), ("Ready", 8), ("Not", 8), ("Settings", 48),
         ("Clear from", 48), ("Medicines sheet", 26), ("Errors", 8), ("Warnings", 10), ("Job sheet", 14),
         ("For the phone", 14), ("Dosed workbook", 16)],
        [
            (job.client, job.key, job.planned, job.ready, job.not_ready, "; ".join(settings_lines(job)),
             "; ".join(clear_lines(job)), f"{job.medicines} ({job.whose})" if job.medicines else job.whose, job.errors,
             job.warnings, _link("PDF", job, ".pdf"), _link("HTML", job, ".html"), _link("Workbook", job, ".xlsx"))
            for job in jobs
        ],
    )  # fmt: skip
    yield Table(
        "Do not dose", [("Client", 28), ("Tags", 30), ("Mob", 18), ("Not this", 36), ("Because", 60)],
        [(job.client, held.tags, held.mob, held.medicines, held.why) for job in jobs for held in job.held],
    )  # fmt: skip
    yield Table(
        "To bring", [("Medicine", 44), ("To draw", 14), ("To bring", 14), ("Packs", 30), ("Jobs", 10), ("Remarks", 60)],
        [(line.medicine, line.to_draw, line.to_bring, line.packs, line.clients, line.remark) for line in summary.bring],
    )  # fmt: skip
    yield Table(
        "Clear from", [("Client", 28), ("Mob", 20), ("Product", 14), ("May be used from", 60), ("Which animals", 40)],
        [(job.client, line.mob, line.product, line.text, line.who) for job in jobs for line in job.clear],
    )  # fmt: skip
    yield Table("Not planned", [("Client", 28), ("Workbook", 36), ("Why", 100)], summary.failed)
    if summary.remarks:
        yield Table("Remarks", [("Remark", 120)], [(remark,) for remark in summary.remarks])


def settings_lines(job: ClientJob) -> Iterator[str]:
    """Each setting in one line."""
    for line in job.settings:
        group = f"{line.group}, " if line.group else ""
        yield f"{line.medicine}, {line.mob}: {group}{line.setting} ({heads(int(line.head))})"


def clear_lines(job: ClientJob) -> Iterator[str]:
    """Each clear-from in one line."""
    for line in job.clear:
        who = f" ({line.who})" if line.who else ""
        yield f"{line.mob}, {line.product}: {'from ' if line.day else ''}{line.text}{who}"


def _link(text: str, job: ClientJob, ending: str) -> Link | str:
    place = job.file(ending)
    return Link(text, quote(place)) if place else ""


def job_lines(planned: Round) -> Iterator[tuple[Level, str]]:
    """A line for each workbook: what became of it, and with which medicines sheet."""
    for job in planned.jobs:
        sheet = f"{job.whose} medicines sheet" + (f" ({job.medicines})" if job.medicines else "")
        if job.failed:
            yield Level.ERROR, f"{job.client}: not planned. {job.failed}"
        else:
            held = f", {job.not_ready} not" if job.not_ready else ""
            again = "; unchanged" if job.key in planned.unchanged else ""
            level = Level.NOTE if job.status == "ready" else Level.WARNING
            yield level, f"{job.client}: {job.ready} ready{held}; {sheet}{again}"
    for other in planned.not_taken:
        yield Level.ERROR, f"not planned: {': '.join(other.told(planned.folder))}"


def names_of(jobs: Iterable[ClientJob]) -> list[str]:
    """Clients in order, each once."""
    return sorted(dict.fromkeys(job.client for job in jobs), key=str.casefold)
