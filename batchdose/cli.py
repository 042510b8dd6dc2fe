"""The commands. Each parses, calls, prints and exits; heavy libraries are loaded only where a command needs them."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from batchdose import __version__
from batchdose.cli_round import clients, mail
from batchdose.cli_start import doctor, new
from batchdose.findings import Finding, Level, count_by_level, grouped
from batchdose.plain import plain_words
from batchdose.texts import LANGUAGES

if TYPE_CHECKING:
    from datetime import datetime

    from batchdose.model import Result, Settings
    from batchdose.write.pdf import PdfPrinter
    from batchdose.write.sheet import Order, PaperName

_WORKBOOK = click.Path(path_type=Path)
#: How lines stand out on a terminal; elsewhere the signs for it are left out.
_STYLES: dict[str, dict[str, Any]] = {"heading": {"bold": True}, "held": {"fg": "red", "bold": True}, "plain": {}}
#: What takes longer shows how far it is [s].
_LONG_S = 2.0


def _show_versions(context: click.Context, _: click.Parameter, asked: object) -> None:
    """Print what a person is asked for who reports a fault."""
    if asked:
        from batchdose.doctor import library_versions

        libraries = ", ".join(f"{name} {version or 'not installed'}" for name, version in library_versions().items())
        click.echo(f"batchdose {__version__} (Python {sys.version.split()[0]}; {libraries})")
        context.exit()


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_versions,
    help="Print the version, and those of the libraries.",
)
def cli() -> None:
    """Doses for a mob of animals, from a weighing sheet and a medicines sheet.

    The label and the prescribing vet come first. Exit status: 0 done; 1 done, but something is held or
    in error; 2 nothing written.
    """


@cli.command()
@click.argument("weighing", type=_WORKBOOK)
@click.argument("medicines", type=_WORKBOOK, required=False)
@click.option("--out", type=_WORKBOOK, help="Folder for the outputs. Default: STEM-job beside WEIGHING.")
@click.option("--on", help="Day, or day and time, of treatment: 2026-03-14 or 2026-03-14T09:00.")
@click.option("--give", multiple=True, metavar="MEDICINE", help="Give this medicine to all. May be repeated.")
@click.option("--species", default="", help="Species of animals whose sheet does not say it.")
@click.option("--record", type=_WORKBOOK, help="The client's treatment record. Default: the one beside WEIGHING.")
@click.option("--json", "json_to", type=click.Choice(["-"]), help="Print the results as JSON on standard output.")
@click.option("--no-pdf", is_flag=True, help="Leave out the PDF of the job sheet.")
@click.option(
    "--order",
    type=click.Choice(["tag", "weight", "sheet", "draft"]),
    default="tag",
    show_default=True,
    help="Order of the animals in the lists: by tag, the lightest first, as in the sheet, or by weight group.",
)
@click.option(
    "--lang", type=click.Choice(list(LANGUAGES)), help="Language of the job sheet; before that of the session."
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper to print on."
)
@click.option("--lists-only", is_flag=True, help="On the job sheet only the lists: what staff need at the race.")
@click.option("--quiet", "told", flag_value="quiet", help="Say only what is in error, and the last line.")
@click.option("--verbose", "told", flag_value="verbose", help="Say also what was read, and how long it took.")
def dose(  # noqa: PLR0913, PLR0917 - one argument an option
    weighing: Path, medicines: Path | None, out: Path | None, on: str | None, give: tuple[str, ...], species: str,
    record: Path | None, json_to: str | None, no_pdf: bool, order: Order, paper: PaperName, lists_only: bool,
    lang: str | None, told: str | None,
) -> None:  # fmt: skip
    """Check, calculate, and write the updated workbook, the job sheet and the results."""
    from batchdose.model import Settings
    from batchdose.write.pdf import PdfPrinter

    printer, started = None if no_pdf else PdfPrinter(), time.monotonic()
    try:
        settings = Settings(on=on, give=give, species=species, record=record, language=lang or "")
        result = _plan(weighing, medicines, settings)
        for finding in result.findings:
            if told != "quiet" or finding.level == Level.ERROR:
                click.echo(str(finding), err=True)
        if told == "verbose":
            _tell_read(result, time.monotonic() - started)
        _write(result, out, printer, json_to, told, order=order, paper=paper, lists_only=lists_only)
    finally:
        if printer is not None:
            printer.close()
    sys.exit(result.exit_status)


@cli.command()
@click.argument("weighing", type=_WORKBOOK)
@click.argument("medicines", type=_WORKBOOK, required=False)
@click.option("--on", help="Day, or day and time, of treatment: 2026-03-14 or 2026-03-14T09:00.")
@click.option("--give", multiple=True, metavar="MEDICINE", help="Give this medicine to all. May be repeated.")
@click.option("--species", default="", help="Species of animals whose sheet does not say it.")
@click.option("--record", type=_WORKBOOK, help="The client's treatment record. Default: the one beside WEIGHING.")
def check(
    weighing: Path, medicines: Path | None, on: str | None, give: tuple[str, ...], species: str, record: Path | None
) -> None:  # fmt: skip
    """Print what is wrong or worth knowing in the sheets, or whether a record was altered; write nothing."""
    from batchdose.model import Settings

    if medicines is None and _is_record(weighing):
        sys.exit(_check_record(weighing))
    result = _plan(weighing, medicines, Settings(on=on, give=give, species=species, record=record))
    for line in (*grouped(result.findings), _closing_line(result)):
        click.echo(line, err=True)
    sys.exit(result.exit_status)


@cli.command()
@click.argument("dosed", type=_WORKBOOK)
@click.option("--ticks", type=_WORKBOOK, help="The .csv that was ticked on the phone.")
@click.option("--to", type=_WORKBOOK, required=True, help="The client's treatment record (.xlsx); made if new.")
@click.option("--on", help="When it is recorded. Default: now.")
def record(dosed: Path, ticks: Path | None, to: Path, on: str | None) -> None:
    """Take back what was given, check it against the plan, and add it to the treatment record."""
    from batchdose.memory import no_collecting
    from batchdose.record.after import after_recording
    from batchdose.record.append import record_job
    from batchdose.record.told import recorded_lines

    with plain_words(), no_collecting():
        done = record_job(dosed, ticks, to, _moment(on))
        after = after_recording(dosed, done)
        findings = (*done.findings, *after.findings)
        _tell(findings, (*recorded_lines(done, to), *after.lines))
    sys.exit(int(any(finding.level == Level.ERROR for finding in findings)))


@cli.command()
@click.argument("record", type=_WORKBOOK)
@click.option("--row", "rows", type=int, multiple=True, required=True, help="Row of the record. May be repeated.")
@click.option("--by", required=True, help="Who says so: for a period, the prescriber.")
@click.option("--reason", required=True, help="Why.")
@click.option("--period", "periods", multiple=True, metavar="PRODUCT=PERIOD", help="meat=35 days. May be repeated.")
@click.option("--on", help="When it is recorded. Default: now.")
def release(
    record: Path, rows: tuple[int, ...], by: str, reason: str, periods: tuple[str, ...], on: str | None
) -> None:  # fmt: skip
    """Release a broken needle, or enter the withdrawal period that a prescriber gave."""
    from batchdose.record.release import release as release_rows

    with plain_words():
        added = release_rows(record, rows, by, reason, periods, _moment(on))
    click.echo(f"Added {len(added)} rows to {record.name}. Hash of the last row: {added[-1].hash}", err=True)


@cli.command()
@click.argument("record", type=_WORKBOOK)
@click.option("--on", help="The moment asked about. Default: now.")
@click.option("--animals", type=_WORKBOOK, help="A list of tags or EIDs that are to go. Default: all of the record.")
@click.option("--for", "products", multiple=True, help="meat, milk or another product. Default: all.")
def clear(record: Path, on: str | None, animals: Path | None, products: tuple[str, ...]) -> None:
    """Who is clear, who is not and until when; exit status 1 if anyone on the list is not."""
    from batchdose.record.told import clear_answers, clear_lines

    with plain_words():
        found = clear_answers(record, animals, products, on)
        if found.remark:
            click.echo(found.remark, err=True)
        for line in clear_lines(found):
            click.echo(line)
    sys.exit(int(not found.sound or (found.of_list and not found.all_clear)))


@cli.command()
@click.argument("record", type=_WORKBOOK)
@click.option(
    "--for",
    "rules",
    required=True,
    help="EU, GB, US, AU or NZ: whose list of columns; GB-VET or US-VET: the prescriber's.",
)
@click.option("--days", type=click.IntRange(min=0), help="Only what was given in so many days up to now.")
@click.option("--animals", type=_WORKBOOK, help="Only what the animals on this list got: for a buyer.")
@click.option("--out", type=_WORKBOOK, help="Folder for the register. Default: beside RECORD.")
@click.option("--no-pdf", is_flag=True, help="Leave out the PDF.")
def register(
    record: Path, rules: str, days: int | None, animals: Path | None, out: Path | None, no_pdf: bool
) -> None:  # fmt: skip
    """Print the record as a register for an inspector or a buyer, in order of date, with what is missing."""
    from batchdose.record.told import write_register

    with plain_words():
        paths = write_register(record, rules, out, pdf=not no_pdf, days=days, animals=animals)
    for path in paths:
        click.echo(f"Wrote {path}", err=True)


@cli.command()
@click.argument("rule")
def explain(rule: str) -> None:
    """Print what a rule asks, what passes, what fails, and why it matters."""
    from batchdose.catalogue import explain as explain_rule

    try:
        click.echo(explain_rule(rule), nl=False)
    except KeyError as error:
        click.echo(error.args[0], err=True)
        sys.exit(2)


def _plan(weighing: Path, medicines: Path | None, settings: Settings) -> Result:
    """Plan the job; one that cannot be done ends here with status 2."""
    from batchdose.job import plan_job

    with plain_words():
        return plan_job(weighing, medicines, settings)


def _write(
    result: Result, out: Path | None, printer: PdfPrinter | None, json_to: str | None, told: str | None, **layout: Any
) -> None:  # fmt: skip
    """Write the outputs, say where they are, and print the results if asked."""
    from batchdose.job import write_outputs
    from batchdose.write.closing import closing_lines
    from batchdose.write.results import results_json

    started = time.monotonic()
    with plain_words(), _progress("Printing") as progress:
        paths, remarks = write_outputs(result, out, printer, progress=progress, **layout)
    if json_to:
        # As bytes, so that a terminal of another encoding neither stops nor changes it.
        sys.stdout.flush()
        sys.stdout.buffer.write(results_json(result).encode("utf-8"))
        sys.stdout.buffer.flush()
    for remark in remarks:
        click.echo(remark, err=True)
    for line in closing_lines(result, paths) if told != "quiet" else ():
        click.echo(click.style(line.text, **_STYLES[line.kind]), err=True)
    if told == "verbose":
        click.echo(f"Written in {time.monotonic() - started:.1f} s.", err=True)
    click.echo(_closing_line(result), err=True)


def _tell_read(result: Result, seconds: float) -> None:
    """What was read, by the beginning of its hash, and how long reading and calculating took."""
    for file in result.inputs:
        click.echo(f"Read {file.path} (SHA-256 {file.sha256[:16]})", err=True)
    click.echo(f"Read and worked out in {seconds:.1f} s.", err=True)


def _is_record(path: Path) -> bool:
    from batchdose.record.told import is_record_file

    return is_record_file(path)


def _check_record(path: Path) -> int:
    """Verify the chain of a record; gives the exit status."""
    from batchdose.record.told import chain_lines, checked_chain

    with plain_words():
        record, findings = checked_chain(path)
    _tell(findings, chain_lines(record, findings))
    return int(any(finding.level == Level.ERROR for finding in findings))


def _moment(on: str | None) -> datetime:
    from batchdose.record.told import moment_on

    return moment_on(on)


def _tell(findings: Iterable[Finding], lines: Iterable[str]) -> None:
    for line in (*map(str, findings), *lines):
        click.echo(line, err=True)


@contextmanager
def _progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """What to call with (done, of all): draws a bar on standard error, if that is a terminal, once it takes long."""
    started = time.monotonic()
    with ExitStack() as stack:
        bar: Any = None

        def tell(done: int, of_all: int) -> None:
            nonlocal bar
            if bar is None and sys.stderr.isatty() and time.monotonic() - started > _LONG_S:
                bar = stack.enter_context(click.progressbar(length=of_all, label=label, file=sys.stderr))
            if bar is not None:
                bar.update(done - bar.pos)

        yield tell


def _closing_line(result: Result) -> str:
    from batchdose.write.job_sheet import summary_text

    return f"{summary_text(result)}; {count_by_level(result.findings)}."


cli.add_command(clients)
cli.add_command(mail)
cli.add_command(new)
cli.add_command(doctor)
