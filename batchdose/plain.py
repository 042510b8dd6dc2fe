"""How a command ends where the job cannot be done: in plain words, and never with a traceback."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import click

from batchdose.findings import UnusableInputError


@contextmanager
def plain_words() -> Iterator[None]:
    """End with status 2 and one plain line where the job cannot be done, or where the program itself fails.

    With BATCHDOSE_TRACEBACK set in the environment, a failure of the program is shown whole.
    """
    try:
        yield
    except UnusableInputError as error:
        click.echo(f"Nothing was written. {error}", err=True)
    except (click.ClickException, click.Abort, click.exceptions.Exit):
        raise  # an answer that was refused, or a question that was left with Ctrl-C, is no fault
    except Exception as error:
        if os.environ.get("BATCHDOSE_TRACEBACK"):
            raise
        click.echo(
            "Nothing was written. This is a fault of the program, not of your sheets: please report it with the two "
            f"workbooks ({type(error).__name__}: {error}).",
            err=True,
        )
    else:
        return
    sys.exit(2)
