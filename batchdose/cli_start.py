"""The commands for the first day: workbooks to begin with, and whether all that is needed is there."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from batchdose.plain import plain_words

_PLACE = click.Path(path_type=Path)


@click.command()
@click.argument("folder", metavar="DIR", type=_PLACE)
@click.option(
    "--like", type=_PLACE, multiple=True, help="Take over tags, mobs and medicines of this workbook. May be repeated."
)
@click.option(
    "--lang", type=click.Choice(["en", "es", "fr"]), default="en", show_default=True, help="Language of the notes."
)
def new(folder: Path, like: tuple[Path, ...], lang: str) -> None:
    """Write a weighing workbook and a medicines sheet to begin with into DIR.

    With --like, an earlier workbook gives the tags, mobs, medicines and stock; more than one may be given.
    """
    from batchdose.starter.files import write_starters

    with plain_words():
        paths, remarks = write_starters(folder, like, lang)
    for line in (*remarks, *(f"Wrote {path}" for path in paths)):
        click.echo(line, err=True)
    click.echo(
        "Open them, begin with the sheet Read me first, then: batchdose check " + " ".join(map(str, paths)), err=True
    )


@click.command()
def doctor() -> None:
    """Say whether everything is there that the program needs, and how to mend what is not."""
    from batchdose.doctor import examined

    found = examined()
    for line in found.lines:
        click.echo(line)
    sys.exit(found.exit_status)
