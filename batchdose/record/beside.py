"""Which record a job goes with: the one that is given, or the client's own that lies beside the weighing workbook.

It is never guessed: where it is not sure whose record it is, none is read, and a finding says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from batchdose.findings import Finding, UnusableInputError
from batchdose.kept import Facts, facts_of
from batchdose.read.book import sheet_alone
from batchdose.read.limits import RECORD_ROOM
from batchdose.record import problems
from batchdose.record.book import Record, open_record
from batchdose.texts import say
from batchdose.words import same_name
from batchdose.write.record_book import FACTS_SHEET


def record_of_client(given: Path | None, beside: Sequence[Path], client: str) -> tuple[Record | None, list[Finding]]:
    """The record of a client, None where there is none or it is not sure; and what is to be said of it.

    Raises UnusableInputError where the given one cannot be read or is of another client.
    """
    if given is not None:
        record = open_record(given)
        clients = clients_of(record)
        if client and clients and not _agrees(clients, client):
            raise UnusableInputError(
                given.name, f"This is the record of {_named(clients)}, and the job is of {client}.",
                "Give the record of the same client after --record.",
            )  # fmt: skip
        return record, []
    found = {path: _clients_in(path) for path in beside}
    mine = [path for path, clients in found.items() if _agrees(clients, client)]
    if not mine and len(found) == 1 and None in found.values():
        # It may be the client's, and its chain will not hold: then nobody is called clear.
        mine = list(found)
    if len(mine) == 1:
        return _opened(mine[0])
    why = say("{n} records of {client} lie beside the workbook", n=len(mine), client=client or say("no client"))
    return None, [
        problems.record_not_used(path.name, why if mine else _other_client(found[path], client))
        for path in mine or found
    ]


def _other_client(clients: set[str] | None, client: str) -> str:
    """Why a record is not of the job's client."""
    if clients is None:
        return say("whose it is cannot be read")
    if client:
        return say("it is of {clients}, and the job is of {client}", clients=_named(clients), client=client)
    return say("it is of {clients}, and the job names no client", clients=_named(clients))


def clients_of(record: Record) -> set[str]:
    """Clients whose jobs stand in a record."""
    return {facts.session.client for facts in record.facts.values()} - {""}


def _agrees(clients: set[str] | None, client: str) -> bool:
    """Whether a record and a job name the same client, or neither names one."""
    return clients is not None and set(map(same_name, clients)) == ({same_name(client)} if client else set())


def _named(clients: set[str]) -> str:
    return "; ".join(sorted(clients)) or say("a client it does not name")


def _clients_in(path: Path) -> set[str] | None:
    """Clients of a record, from its facts alone, since a folder may hold many records; None where it is not read."""
    try:
        rows = sheet_alone(path, FACTS_SHEET, RECORD_ROOM)
    except UnusableInputError:
        return None
    texts = [row[1] for row in rows[1:] if len(row) > 1 and isinstance(row[1], str)]
    facts = [known for text in texts if (known := _facts(text)) is not None]
    return {known.session.client for known in facts} - {""} if facts or not texts else None


def _facts(text: str) -> Facts | None:
    """Facts, None where they were altered so that they cannot be read: the chain will tell of it."""
    try:
        return facts_of(text)
    except (ValueError, LookupError, TypeError, AttributeError):
        return None


def _opened(path: Path) -> tuple[Record | None, list[Finding]]:
    """A record beside the workbook, or a finding where it cannot be read."""
    try:
        return open_record(path), []
    except UnusableInputError as error:
        return None, [problems.record_not_used(path.name, str(error))]
