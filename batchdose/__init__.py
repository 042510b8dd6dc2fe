"""Doses for a mob of animals, from a weighing sheet and a medicines sheet.

The names below are the programming interface; they are loaded on first use, so that
`import batchdose` and the command's help stay quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "Settings": "batchdose.model",
    "Result": "batchdose.model",
    "UnusableInputError": "batchdose.findings",
    "plan_job": "batchdose.job",
    "write_outputs": "batchdose.job",
    "parse_dose_rate": "batchdose.read.labels",
    "parse_strength": "batchdose.read.labels",
    "parse_period": "batchdose.read.labels",
    "clear_from": "batchdose.calculate.withdrawal",
    "record_job": "batchdose.record.append",
    "open_record": "batchdose.record.book",
    "plan_clients": "batchdose.clients.plan",
    "Options": "batchdose.clients.work",
    "Round": "batchdose.clients.plan",
    "ClientJob": "batchdose.clients.jobs",
    "processes": "batchdose.clients.engines",
    "cluster": "batchdose.clients.engines",
    "to_bring": "batchdose.clients.bring",
    "write_summary": "batchdose.clients.summary",
    "read_contacts": "batchdose.mail.contacts",
    "build_messages": "batchdose.mail.message",
    "write_drafts": "batchdose.mail.drafts",
    "send_all": "batchdose.mail.send",
    "Server": "batchdose.mail.send",
}
__all__ = [  # noqa: PLE0604 - the names are those of the table above
    "__version__",
    *_HOME,
]


def __getattr__(name: str) -> Any:
    """Load a public name from its module on first use."""
    if name not in _HOME:
        raise AttributeError(f"batchdose has no {name!r}")
    return getattr(import_module(_HOME[name]), name)
