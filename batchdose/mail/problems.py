"""What can be wrong with the address list and the messages: one function a rule, with its words."""

from __future__ import annotations

from collections.abc import Sequence

from batchdose.findings import CellRef, Finding, Level


def address_unreadable(where: CellRef, seen: str, problem: str) -> Finding:
    """An address of the list can be used as it stands.

    Passes: `ann@example.org`; several with a semicolon between. Fails: `ann at example.org`. The client gets no
    message, since a guess may reach a stranger.
    """
    return Finding(
        Level.ERROR, "address-unreadable", where, seen, f"This is no address that can be used: {problem}.",
        "Write it as name@example.org, several with a semicolon between.",
    )  # fmt: skip


def contact_repeated(where: CellRef, client: str) -> Finding:
    """A client stands once on the address list.

    Passes: one row with two addresses. Fails: two rows of one client. No message is made, since one of them may be old.
    """
    return Finding(
        Level.ERROR, "contact-repeated", where, client, f"{client} stands on more than one row of the address list.",
        "Keep one row, with all addresses in it.",
    )  # fmt: skip


def contact_language_unknown(where: CellRef, seen: str, choices: str) -> Finding:
    """The language of a contact is one in which messages can be written.

    Passes: es. Fails: Latin. The message is in English.
    """
    return Finding(
        Level.WARNING, "contact-language-unknown", where, seen, "Messages cannot be written in this language.",
        f"Write one of {choices}.",
    )  # fmt: skip


def contact_missing(where: CellRef, client: str) -> Finding:
    """Every client with a job sheet stands on the address list.

    Passes: a row whose Client is written as on the sheet Session. Fails: none. No message is made; a name that is
    nearly the same is not taken for it, since the sheet of one client must never reach another.
    """
    return Finding(
        Level.ERROR, "contact-missing", where, client, f"{client} is not on the address list.",
        "Add a row, with the client written as on the sheet Session.",
    )  # fmt: skip


def contact_without_job(where: CellRef, client: str, near: str) -> Finding:
    """Every row of the address list has a job sheet in this round.

    Passes: a client that was planned. Fails: one that was not; nothing is sent there.
    """
    hint = f' Is "{near}" meant? Then write it so.' if near else " Nothing to do if it has none this time."
    return Finding(
        Level.NOTE, "contact-without-job", where, client, f"There is no job sheet of {client}.", hint.strip()
    )


def sheet_changed(where: CellRef, names: Sequence[str]) -> Finding:
    """What is sent is what was written by the last run.

    Passes: files as they were written. Fails: one that was changed, replaced or removed since. No message is made.
    """
    return Finding(
        Level.ERROR, "sheet-changed", where, ", ".join(names), "These files are not as they were written.",
        "Run batchdose clients again with --again.",
    )  # fmt: skip


def sheet_in_other_language(where: CellRef, client: str, asked: str, has: str) -> Finding:
    """The job sheet is in the language of the contact.

    Passes: a Spanish sheet for a contact with es. Fails: an English one. It is sent all the same.
    """
    return Finding(
        Level.WARNING, "sheet-in-other-language", where, client, f"The message is in {asked}, the job sheet in {has}.",
        "Write the language on the sheet Session of the client, and run batchdose clients again.",
    )  # fmt: skip


def message_not_sent(where: CellRef, client: str, problem: str) -> Finding:
    """The mail server takes each message.

    Passes: accepted. Fails: an address that it refuses, or a server that is busy for too long. The others are sent; the
    same command sends what is missing.
    """
    return Finding(
        Level.ERROR, "message-not-sent", where, client, f"The message to {client} was not sent: {problem}.",
        "Correct the address or wait, and run the same command again: what was sent is not sent twice.",
    )  # fmt: skip


def message_in_doubt(where: CellRef, client: str) -> Finding:
    """The mail server says whether it took a message.

    Passes: an answer. Fails: a connection that ended after the last line was sent and before the answer came. Whether
    it arrived is not known, so that it is not sent again by itself.
    """
    return Finding(
        Level.ERROR, "message-in-doubt", where, client,
        f"The connection ended before the server said whether it took the message to {client}.",
        f'Ask whether it arrived. If not, send it with --client "{client}" --again.',
    )  # fmt: skip
