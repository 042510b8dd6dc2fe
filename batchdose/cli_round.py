"""The commands for many clients; like all commands they parse, call, print and exit."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from batchdose.plain import plain_words

if TYPE_CHECKING:
    from batchdose.clients.engines import Engine
    from batchdose.clients.plan import Told
    from batchdose.write.sheet import Order

_PLACE = click.Path(path_type=Path)


@click.command()
@click.argument("folder", type=_PLACE)
@click.option("--medicines", type=_PLACE, help="The medicines sheet of clients that have none of their own.")
@click.option("--out", type=_PLACE, required=True, help="Folder for all outputs; made if new.")
@click.option("--on", help="Day, or day and time, of treatment: 2026-03-14 or 2026-03-14T09:00.")
@click.option("--give", multiple=True, metavar="MEDICINE", help="Give this medicine to all. May be repeated.")
@click.option("--species", default="", help="Species of animals whose sheet does not say it.")
@click.option("--no-pdf", is_flag=True, help="Leave out the PDFs of the job sheets.")
@click.option(
    "--order",
    type=click.Choice(["tag", "weight", "sheet", "draft"]),
    default="tag",
    show_default=True,
    help="Order of the animals in the lists.",
)
@click.option("--again", is_flag=True, help="Do all, also what did not change.")
@click.option("--processes", type=click.IntRange(min=1), help="How many to work on at once. Default: all cores.")
@click.option("--scheduler", metavar="ADDRESS", help="Work on the Dask cluster of this scheduler: tcp://HOST:8786.")
def clients(  # noqa: PLR0913, PLR0917 - one argument an option
    folder: Path,
    medicines: Path | None,
    out: Path,
    on: str | None,
    give: tuple[str, ...],
    species: str,
    no_pdf: bool,
    order: Order,
    again: bool,
    processes: int | None,
    scheduler: str | None,
) -> None:
    """Plan every client below FOLDER, each into a folder of its own, with one summary.

    A workbook with Tag and Weight is a job. Its medicines are its own sheet, else the list in its folder, else that of
    --medicines. What did not change since the last run is not done again. Exit status: 0 all planned and ready; 1 some
    held or not planned; 2 nothing written.
    """
    from batchdose.clients.plan import plan_clients
    from batchdose.clients.summary import counts_text, job_lines, write_summary
    from batchdose.clients.work import Options
    from batchdose.model import Settings

    options = Options(Settings(on=on, give=give, species=species), order, pdf=not no_pdf)
    with plain_words(), _engine(processes, scheduler, pdf=not no_pdf) as engine:
        try:
            with _progress() as told:
                planned = plan_clients(folder, out, options, engine=engine, medicines=medicines, again=again, told=told)
        except KeyboardInterrupt:
            click.echo("Stopped. What was done is whole; the same command goes on with the rest.", err=True)
            sys.exit(130)
        names = write_summary(planned)
    for _, line in job_lines(planned):
        click.echo(line, err=True)
    for name in names:
        click.echo(f"Wrote {out / name}", err=True)
    click.echo(f"{counts_text(planned)}.", err=True)
    sys.exit(planned.exit_status)


@contextmanager
def _engine(processes: int | None, scheduler: str | None, *, pdf: bool) -> Iterator[Engine]:
    from batchdose.clients import engines

    with engines.cluster(scheduler) if scheduler else engines.processes(processes, pdf=pdf) as engine:
        yield engine


@contextmanager
def _progress() -> Iterator[Told]:
    """A bar with the name of the client that was just done, on a terminal alone."""
    shown: list[str] = []
    bars: list[Any] = []

    def told(done: int, of: int, name: str) -> None:
        if not bars or bars[-1].length != of:
            bars.append(click.progressbar(length=of, file=sys.stderr, item_show_func=lambda _: "".join(shown)))
        shown[:] = [name[:40]]
        bars[-1].update(done - bars[-1].pos)

    try:
        yield told if sys.stderr.isatty() else lambda *_: None
    finally:
        for bar in bars:
            bar.render_finish()
