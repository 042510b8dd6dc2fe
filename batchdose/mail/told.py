"""What the command `mail` does and says: who gets what, drafts, sending."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from batchdose.clients.jobs import ClientJob
from batchdose.clients.kept import jobs_in
from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.mail import problems
from batchdose.mail.contacts import addresses, read_contacts
from batchdose.mail.drafts import write_drafts
from batchdose.mail.log import Log
from batchdose.mail.message import Message, build_messages, contacts_without_job
from batchdose.mail.send import Outcome, Security, Server, send_all
from batchdose.words import same_name

_PORTS: dict[Security, int] = {"starttls": 587, "tls": 465, "none": 25}


@dataclass(frozen=True)
class Post:
    """All messages of a folder of outputs: to be sent, sent before, and what stands against others.

    `clients` are the names of all clients there, also of those that are not meant now.
    """

    out: Path
    messages: tuple[Message, ...]
    sent_before: tuple[Message, ...]
    findings: tuple[Finding, ...]
    clients: tuple[str, ...] = ()


def prepared(out: Path, contacts: Path, sender: str, only: Sequence[str] = (), *, again: bool = False) -> Post:
    """Make the messages of the clients planned into `out`; `only` names the clients that are meant.

    Raises UnusableInputError where the folder was not written by `clients`, the address list cannot be read, or the
    sender is no address.
    """
    jobs = jobs_in(out)
    if not jobs:
        raise UnusableInputError(
            str(out),
            "There are no job sheets of clients here.",
            "Write them first: batchdose clients FOLDER --out DIR.",
        )
    try:
        (address,) = addresses(sender)
    except ValueError:
        raise UnusableInputError("--from", f'"{sender}" is no address.', "Write it as name@example.org.") from None
    wanted = _wanted(jobs_names := {same_name(job.client): job.client for job in jobs}, only)
    listed, findings = read_contacts(contacts)
    messages, found = build_messages(out, [job for job in jobs if same_name(job.client) in wanted], listed, address)
    findings += found
    if len(wanted) == len(jobs_names):
        findings += contacts_without_job(listed.contacts, jobs)
    log = Log(out)
    states = {message.mark: None if again else log.state(message) for message in messages}
    findings += [problems.message_in_doubt(_where(m), m.client) for m in messages if states[m.mark] == "in doubt"]
    return Post(
        out, tuple(m for m in messages if states[m.mark] is None),
        tuple(m for m in messages if states[m.mark] == "sent"), tuple(findings), tuple(_first_names(jobs)),
    )  # fmt: skip


def _where(message: Message) -> CellRef:
    return CellRef(message.client)


def _first_names(jobs: Iterable[ClientJob]) -> Iterator[str]:
    """Each client once, as its first job names it, which is how its message does."""
    first: dict[str, str] = {}
    for job in jobs:
        first.setdefault(same_name(job.client), job.client)
    yield from first.values()


def _wanted(names: dict[str, str], only: Sequence[str]) -> set[str]:
    for name in only:
        if same_name(name) not in names:
            raise UnusableInputError(
                "--client", f'There is no client "{name}" here.', f"There are: {', '.join(sorted(names.values()))}."
            )
    return {same_name(name) for name in only} or set(names)


def who_gets_what(messages: Iterable[Message]) -> Iterator[str]:
    """A line for each message: client, addresses, files."""
    for message in messages:
        copies = f" (copy to {', '.join(map(str, message.cc))})" if message.cc else ""
        files = ", ".join(name for name, _ in message.files) or "no file"
        yield f"{message.client} -> {', '.join(map(str, message.to))}{copies}: {files}"


def drafts(post: Post) -> list[Path]:
    """Write the messages as drafts, also those that were sent before."""
    return write_drafts(
        post.out, (*post.messages, *post.sent_before), datetime.now(UTC).replace(microsecond=0), post.clients
    )


def server_of(text: str, security: Security, user: str) -> Server:
    """The mail server of HOST or HOST:PORT, with the password of its user. Raises UnusableInputError."""
    from batchdose.mail.password import password_of

    host, _, port = text.rpartition(":") if text.count(":") == 1 else (text, "", "")
    if not host or (port and not port.isdecimal()):
        raise UnusableInputError("--server", f'"{text}" is no mail server.', "Write HOST or HOST:PORT.")
    plain = Server(host, int(port) if port else _PORTS[security], security, user)
    return plain if not user else Server(host, plain.port, security, user, password_of(user, host))


def sent(post: Post, server: Server) -> Iterator[Outcome]:
    """Send what was not sent before."""
    return send_all(post.messages, server, Log(post.out))
