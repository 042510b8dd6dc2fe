"""The message of a client: subject, plain text with the essentials, and the job sheets of that client alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from hashlib import sha256
from pathlib import Path, PurePosixPath

from batchdose.clients.jobs import ClearFrom, ClientJob
from batchdose.clients.names import safe_name
from batchdose.clients.summary import settings_lines
from batchdose.findings import CellRef, Finding
from batchdose.mail import problems
from batchdose.mail.contacts import Contact, Listed
from batchdose.texts import LANGUAGES, say, say_many, speaking
from batchdose.words import same_name
from batchdose.write.render import render_text

#: What is attached, by the end of its name.
ATTACHED = {".pdf": ("application", "pdf"), ".html": ("text", "html")}


@dataclass(frozen=True)
class _Essentials:
    """What stands in the message itself of one job, line by line."""

    planned: str
    held: list[str]
    settings: list[str]
    clear: list[str]


@dataclass(frozen=True)
class Message:
    """One message before it is sent: all of it but the date.

    `files` are the attachments, name and content; `mark` is a hash of everything, by which it is known again.
    """

    client: str
    sender: Address
    to: tuple[Address, ...]
    cc: tuple[Address, ...]
    subject: str
    text: str
    files: tuple[tuple[str, bytes], ...] = field(repr=False)
    mark: str

    @property
    def receivers(self) -> tuple[str, ...]:
        """Plain addresses of all that get it, each once."""
        return tuple(dict.fromkeys(address.addr_spec for address in (*self.to, *self.cc)))

    @property
    def message_id(self) -> str:
        """The same for the same message, so that a second copy can be told as such (RFC 5322, 3.6.4)."""
        return f"<{self.mark[:40]}@{self.sender.domain}>"

    def written(self, at: datetime, *, draft: bool = False) -> EmailMessage:
        """The message as RFC 5322 and RFC 2045 to 2047 have it; a draft is marked as not sent yet."""
        message = EmailMessage(policy=SMTP)
        message["From"], message["To"] = self.sender, self.to
        if self.cc:
            message["Cc"] = self.cc
        message["Subject"], message["Date"], message["Message-ID"] = self.subject, at, self.message_id
        if draft:
            message["X-Unsent"] = "1"
        message.set_content(self.text, cte="quoted-printable")
        for name, content in self.files:
            maintype, subtype = ATTACHED[PurePosixPath(name).suffix]
            message.add_attachment(content, maintype=maintype, subtype=subtype, filename=name)
        message.set_boundary(f"=_{self.mark[:32]}")
        return message


def build_messages(
    out: Path, jobs: Iterable[ClientJob], listed: Listed, sender: Address
) -> tuple[list[Message], list[Finding]]:
    """A message for each client that is on the address list, and why others have none.

    Files of a client are those that its own jobs name, and only as long as they are as they were written.
    """
    of_client: dict[str, list[ClientJob]] = {}
    for job in jobs:
        if not job.failed:
            of_client.setdefault(same_name(job.client), []).append(job)
    messages: list[Message] = []
    findings: list[Finding] = []
    for name, mine in of_client.items():
        contact, client = listed.contacts.get(name), mine[0].client
        if contact is None and name in listed.names:
            continue  # what is wrong with its row is a finding already
        if contact is None:
            findings.append(problems.contact_missing(CellRef(mine[0].key), client))
            continue
        files, changed = _files(out, mine)
        if changed:
            findings.append(problems.sheet_changed(CellRef(mine[0].key), changed))
            continue
        if others := {job.language for job in mine} - {contact.language}:
            has, asked = (
                " and ".join(LANGUAGES.get(other, other) for other in sorted(others)),
                LANGUAGES[contact.language],
            )
            findings.append(problems.sheet_in_other_language(contact.where, client, asked, has))
        messages.append(_message(client, mine, contact, sender, files))
    return messages, findings


def _files(out: Path, jobs: Sequence[ClientJob]) -> tuple[list[tuple[str, bytes]], list[str]]:
    """Job sheets of a client with their names for the message, and those that are not as they were written."""
    files, changed = [], []
    for job in jobs:
        for written in job.files:
            path = PurePosixPath(written.path)
            if path.suffix not in ATTACHED:
                continue
            try:
                content = (out / written.path).read_bytes()
            except OSError:
                content = b""
            if sha256(content).hexdigest() != written.sha256:
                changed.append(path.name)
            name = safe_name(f"{job.client} {path.stem}" if len(jobs) == 1 else f"{job.client} {path.stem} {job.key}")
            files.append((f"{name}{path.suffix}", content))
    return files, changed


def _message(
    client: str, jobs: Sequence[ClientJob], contact: Contact, sender: Address, files: Sequence[tuple[str, bytes]]
) -> Message:
    with speaking(contact.language):
        heading = say("Job sheet for {client}, {planned}", client=client, planned=jobs[0].planned)
        text = render_text("message.txt", words=_words(), jobs=[_told(job) for job in jobs])
    subject = " ".join(heading.split())
    parts = (
        str(sender),
        str(contact.to),
        str(contact.cc),
        subject,
        text,
        *(f"{n}{sha256(c).hexdigest()}" for n, c in files),
    )
    mark = sha256("\n".join(parts).encode()).hexdigest()
    return Message(client, sender, contact.to, contact.cc, subject, text, tuple(files), mark)


def _words() -> dict[str, str]:
    """What stands in every message, in the language spoken."""
    return {
        "first": say("The label and the prescribing vet come first. This message only says what the attached job sheet "
                     "says; take that one to the yard."),
        "held": say("DO NOT DOSE"), "none_held": say("Nothing is held."), "settings": say("Settings"),
        "usable": say("May be used again, if all is given as planned"),
        "attached": say(
            "Attached: the job sheet as PDF for paper, and as HTML for the phone (open it there; it needs no network)."
        ),
    }  # fmt: skip


def _told(job: ClientJob) -> _Essentials:
    """The essentials of one job, line by line."""
    ready = say_many("{n} animal ready", "{n} animals ready", job.ready, n=job.ready)
    planned = say("{planned}: {ready}", planned=job.planned, ready=ready)
    if job.not_ready:
        planned = say("{planned}: {ready}, {held} not", planned=job.planned, ready=ready, held=job.not_ready)
    return _Essentials(
        planned,
        [f"{held.tags} ({held.mob or '-'}): {held.medicines}. {held.why}" for held in job.held],
        list(settings_lines(job)),
        [_clear(line) for line in job.clear],
    )


def _clear(line: ClearFrom) -> str:
    who = f" ({line.who})" if line.who else ""
    if not line.day:
        return f"{line.mob}, {line.product}: {line.text}{who}"
    return say("{mob}, {product}: from {day}{who}", mob=line.mob, product=line.product, day=line.text, who=who)


def contacts_without_job(contacts: Mapping[str, Contact], jobs: Iterable[ClientJob]) -> Iterator[Finding]:
    """Rows of the address list of whose client there is no job sheet; a name that is nearly one is offered."""
    from difflib import get_close_matches

    names = {same_name(job.client): job.client for job in jobs}
    for name, contact in contacts.items():
        if name not in names:
            near = [n for n in get_close_matches(name, names, n=1, cutoff=0.8) if n not in contacts]
            yield problems.contact_without_job(contact.where, contact.client, names[near[0]] if near else "")
