"""Which record a job goes with: the one that is given, or the client's own that lies beside the weighing workbook.

It is never guessed: where it is not sure whose record it is, none is read, and a finding says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from batchdose.findings import Finding, UnusableInputError
from batchdose.record import problems
from batchdose.record.book import Record, open_record
from batchdose.words import same_name


def record_of_client(given: Path | None, beside: Sequence[Path], client: str) -> tuple[Record | None, list[Finding]]:
    """The record of a client, None where there is none or it is not sure; and what is to be said of it.

    Raises UnusableInputError where the given one cannot be read or is of another client.
    """
    if given is not None:
        record = open_record(given)
        if client and not _is_of(record, client) and clients_of(record):
            raise UnusableInputError(
                given.name, f"This is the record of {_named(record)}, and the job is of {client}.",
                "Give the record of the same client after --record.",
            )  # fmt: skip
        return record, []
    found = [(path, *_opened(path)) for path in beside]
    findings = [problems.record_not_used(path.name, why) for path, record, why in found if record is None]
    records = [record for _, record, _ in found if record is not None]
    mine = [record for record in records if _is_of(record, client)]
    if len(mine) == 1:
        return mine[0], findings
    for record in mine or records:
        why = f"{len(mine)} records of {client or 'no client'} lie beside the workbook" if mine else (
            f"it is of {_named(record)}, and the job is of {client}" if client
            else f"it is of {_named(record)}, and the job names no client"
        )  # fmt: skip
        findings.append(problems.record_not_used(record.book.source.name, why))
    return None, findings


def clients_of(record: Record) -> set[str]:
    """Clients whose jobs stand in a record."""
    return {facts.session.client for facts in record.facts.values()} - {""}


def _is_of(record: Record, client: str) -> bool:
    """Whether a record and a job name the same client, or neither names one."""
    there = set(map(same_name, clients_of(record)))
    return there == ({same_name(client)} if client else set())


def _named(record: Record) -> str:
    return "; ".join(sorted(clients_of(record))) or "a client it does not name"


def _opened(path: Path) -> tuple[Record | None, str]:
    """A record beside the workbook, or why it cannot be read."""
    try:
        return open_record(path), ""
    except UnusableInputError as error:
        return None, str(error)
