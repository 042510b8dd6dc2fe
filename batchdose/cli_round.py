"""The commands for many clients; like all commands they parse, call, print and exit."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from batchdose.plain import plain_words
from batchdose.texts import LANGUAGES

if TYPE_CHECKING:
    from batchdose.clients.engines import Engine
    from batchdose.clients.plan import Told
    from batchdose.mail.send import Security, Server
    from batchdose.mail.told import Post
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
@click.option(
    "--lang", type=click.Choice(list(LANGUAGES)), help="Language of all job sheets; before those of the sessions."
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
    lang: str | None,
    again: bool,
    processes: int | None,
    scheduler: str | None,
) -> None:
    """Plan every client below FOLDER, each into a folder of its own, with one summary.

    A workbook with Tag and Weight is a job. Its medicines are its own sheet, else the list in its folder, else that of
    --medicines. What did not change since the last run is not done again. Exit status: 0 all planned and ready; 1 some
    held or not planned, or no summary; 2 nothing written.
    """
    from batchdose.clients.plan import plan_clients
    from batchdose.clients.summary import counts_text, job_lines, write_summary
    from batchdose.clients.work import Options
    from batchdose.findings import UnusableInputError
    from batchdose.model import Settings

    options = Options(Settings(on=on, give=give, species=species, language=lang or ""), order, pdf=not no_pdf)
    with plain_words(), _engine(processes, scheduler, pdf=not no_pdf) as engine:
        try:
            with _progress() as told:
                planned = plan_clients(folder, out, options, engine=engine, medicines=medicines, again=again, told=told)
        except KeyboardInterrupt:
            click.echo("Stopped. What was done is whole; the same command goes on with the rest.", err=True)
            sys.exit(130)
        for _, line in job_lines(planned):
            click.echo(line, err=True)
        status = planned.exit_status
        try:
            for name in write_summary(planned):
                click.echo(f"Wrote {out / name}", err=True)
        except UnusableInputError as error:  # it may be open; the job sheets are written all the same
            click.echo(f"The summary was not written. {error}", err=True)
            status = 1
    click.echo(f"{counts_text(planned)}.", err=True)
    sys.exit(status)


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
        if not bars or bars[-1].length != of or done < bars[-1].pos:  # another part of the work
            if bars:
                bars.pop().render_finish()
            bars.append(click.progressbar(length=of, file=sys.stderr, item_show_func=lambda _: "".join(shown)))
        shown[:] = [name[:40]]
        bars[-1].update(done - bars[-1].pos)

    try:
        yield told if sys.stderr.isatty() else lambda *_: None
    finally:
        for bar in bars:
            bar.render_finish()


@click.command()
@click.argument("out", type=_PLACE)
@click.option(
    "--contacts", type=_PLACE, required=True, help="Workbook with the sheet Contacts: Client, To, Cc, Language."
)
@click.option("--from", "sender", required=True, envvar="BATCHDOSE_MAIL_FROM", help="Your own address.")
@click.option("--client", "only", multiple=True, metavar="NAME", help="Only this client. May be repeated.")
@click.option("--again", is_flag=True, help="Also what was sent before, or is in doubt.")
@click.option("--send", is_flag=True, help="Send the messages instead of writing drafts.")
@click.option("--server", default="", help="Mail server: HOST or HOST:PORT.")
@click.option(
    "--security",
    type=click.Choice(["starttls", "tls", "none"]),
    default="starttls",
    show_default=True,
    help="How the connection is encrypted; none for localhost alone.",
)
@click.option("--user", default="", help="Who logs in there. The password is never an option: see the docs.")
@click.option("--yes", is_flag=True, help="Do not ask before sending.")
def mail(  # noqa: PLR0913, PLR0917 - one argument an option
    out: Path,
    contacts: Path,
    sender: str,
    only: tuple[str, ...],
    again: bool,
    send: bool,
    server: str,
    security: Security,
    user: str,
    yes: bool,
) -> None:
    """Job sheets of the clients in OUT as messages, one a client: drafts (.eml), or sent with --send.

    The password comes from the environment (BATCHDOSE_MAIL_PASSWORD) or the keyring of the system. Exit status: 0 all
    done; 1 some client has no message; 2 nothing done.
    """
    from batchdose.findings import Level
    from batchdose.mail.told import drafts, prepared, server_of, who_gets_what

    if send and not server:
        raise click.UsageError("--send needs --server.")
    with plain_words():
        post = prepared(out, contacts, sender, only, again=again)
        for line in (*map(str, post.findings), *who_gets_what(post.messages)):
            click.echo(line, err=True)
        for message in post.sent_before:
            click.echo(f"{message.client}: sent before", err=True)
        failed = any(finding.level == Level.ERROR for finding in post.findings)
        if send:
            failed |= _sent(post, server_of(server, security, user), yes=yes)
        else:
            for path in drafts(post):
                click.echo(f"Draft {path}", err=True)
    sys.exit(int(failed))


def _sent(post: Post, server: Server, *, yes: bool) -> bool:
    """Ask, send, and tell; gives whether one was not sent."""
    from batchdose.findings import UnusableInputError
    from batchdose.mail.told import sent

    count = len(post.messages)
    if not count:
        click.echo("Nothing to send.", err=True)
        return False
    if not yes and not click.confirm(
        f"Send {count} message{'s' if count > 1 else ''} through {server.host}?", err=True
    ):
        click.echo("Nothing was sent.", err=True)
        return True
    failed = begun = False
    try:
        for outcome in sent(post, server):
            begun = True
            failed |= outcome.finding is not None
            click.echo(str(outcome.finding) if outcome.finding else f"Sent to {outcome.message.client}", err=True)
    except UnusableInputError as error:
        if not begun:
            raise
        click.echo(f"Stopped before the rest. {error}", err=True)
        return True
    return failed
