"""The command, then its peak memory and that of the process that prints, as JSON. Arguments: those of `batchdose`."""

from __future__ import annotations

import json
import resource
import sys

from run_stages import peak_mb

from batchdose.cli import cli


def main() -> None:
    """Run the command, whatever its exit status, and print the memory."""
    try:
        cli(sys.argv[1:], prog_name="batchdose")
    except SystemExit as end:
        status = end.code
    memory = {"ours": peak_mb(), "printing": peak_mb(resource.RUSAGE_CHILDREN)}
    print(json.dumps({"status": status, "memory": memory}))  # noqa: T201 - read by the test


if __name__ == "__main__":
    main()
