"""`python -m batchdose` is the same as the `batchdose` command."""

from batchdose.cli import cli

cli(prog_name="batchdose")
