"""Sending through a mail server (SMTP, RFC 5321): encrypted, each message once, and going on where it stopped.

What a server may answer: 2xx it is done, 4xx try again later, 5xx never (RFC 5321, 4.2.1); 421 it closes the line. A
message is taken when the server says so after its last line (4.1.1.4); if the line breaks before that answer, nobody
knows, and the message is not sent again by itself.
"""

from __future__ import annotations

import re
import smtplib
import ssl
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.mail import problems
from batchdose.mail.log import Log
from batchdose.mail.message import Message

Security = Literal["starttls", "tls", "none"]
#: Waits [s] before a message that the server put off is tried again; then it is left for a later run.
WAITS = (2.0, 10.0, 60.0)
_TIMEOUT = 60
_LOCAL = frozenset({"localhost", "127.0.0.1", "::1"})
#: A point that begins a line is doubled on the way (RFC 5321, 4.5.2).
_LINE_WITH_POINT = re.compile(rb"^\.", re.MULTILINE)
_DATA_FOLLOWS = 354
_CLOSING = 421


@dataclass(frozen=True)
class Server:
    """The mail server, and how it is spoken to. The password is never shown."""

    host: str
    port: int
    security: Security
    user: str = ""
    password: str = field(default="", repr=False)
    context: ssl.SSLContext | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        if self.security == "none" and self.host not in _LOCAL:
            raise UnusableInputError(
                "--security", f"Without encryption nothing is sent to {self.host}.",
                "Use starttls (port 587) or tls (port 465); none is for localhost alone.",
            )  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """What became of a message: sent, or the finding that says why not."""

    message: Message
    finding: Finding | None = None


class _PutOffError(Exception):
    """The server asks to try again later; `closing` says that it ends the connection."""

    def __init__(self, reason: str, *, closing: bool = False) -> None:
        super().__init__(reason)
        self.closing = closing


class _RefusedError(Exception):
    """The server will never take this message."""


class _InDoubtError(Exception):
    """The connection ended between the last line and the answer, or the answer could not be noted."""


def send_all(
    messages: Sequence[Message], server: Server, log: Log, *, now: Callable[[], datetime] = lambda: datetime.now(UTC),
    sleep: Callable[[float], None] = time.sleep,
) -> Iterator[Outcome]:  # fmt: skip
    """Send messages one after the other and give what became of each; one that is noted as sent must not be among them.

    One that the server puts off is tried again behind the others, with growing waits. Raises UnusableInputError where
    the server cannot be reached, is not encrypted, or does not take the password: then nothing more is sent.
    """
    todo = deque((message, 0) for message in messages)
    line: smtplib.SMTP | None = None
    begun = False
    try:
        while todo:
            message, tries = todo.popleft()
            try:
                line = line or _connect(server, again=begun)
                begun = True
                _send(line, message, log, now())
                yield Outcome(message)
            except _RefusedError as error:
                yield Outcome(message, problems.message_not_sent(_where(message), message.client, str(error)))
            except _InDoubtError:
                _close(line)
                line = None
                yield Outcome(message, problems.message_in_doubt(_where(message), message.client))
            except _PutOffError as error:
                if error.closing:
                    _close(line)
                    line = None
                if tries >= len(WAITS):
                    yield Outcome(message, problems.message_not_sent(_where(message), message.client, str(error)))
                else:
                    sleep(WAITS[tries])
                    todo.append((message, tries + 1))
    except BaseException:
        _close(line)  # no word of goodbye: in the middle of a message it would be a line of that
        line = None
        raise
    finally:
        if line is not None:
            _quit(line)


def _where(message: Message) -> CellRef:
    return CellRef(message.client)


def _connect(server: Server, *, again: bool) -> smtplib.SMTP:
    """An encrypted line to the server; `again` says that it was reached before, so that it may be again."""
    context = server.context or ssl.create_default_context()
    try:
        if server.security == "tls":
            line: smtplib.SMTP = smtplib.SMTP_SSL(server.host, server.port, timeout=_TIMEOUT, context=context)
        else:
            line = smtplib.SMTP(server.host, server.port, timeout=_TIMEOUT)
    except UnicodeError:  # a label of the name that is empty or too long
        raise UnusableInputError(
            "--server", f'"{server.host}" is no name of a mail server.', "Write HOST or HOST:PORT."
        ) from None
    except ssl.SSLError as error:
        raise UnusableInputError(
            server.host, f"The connection cannot be trusted: {error.reason or error}.", "Check --server and --security."
        ) from None
    except smtplib.SMTPConnectError as error:
        raise _PutOffError(_answer(error.smtp_code, error.smtp_error), closing=True) from None
    except (OSError, smtplib.SMTPException) as error:
        if again:
            raise _PutOffError(_reason(error), closing=True) from None
        raise UnusableInputError(
            server.host, f"The mail server cannot be reached on port {server.port} ({_reason(error)}).",
            "Check --server and the network, and run the same command again.",
        ) from None  # fmt: skip
    try:
        _secure(line, server, context)
    except BaseException:
        line.close()
        raise
    return line


def _secure(line: smtplib.SMTP, server: Server, context: ssl.SSLContext) -> None:
    """Encrypt the line and log in; without encryption no password and no message goes over it."""
    try:
        line.ehlo()
        if server.security == "starttls":
            if not line.has_extn("starttls"):
                raise UnusableInputError(
                    server.host, "This server offers no encryption (STARTTLS), so nothing was sent.",
                    "Ask for its encrypted port, and use --security tls.",
                )  # fmt: skip
            line.starttls(context=context)
            line.ehlo()
        if server.user:
            line.login(server.user, server.password)
    except UnicodeError:  # says nothing of what is in it: the password is never shown
        raise UnusableInputError(
            server.host, "The user or the password has letters that cannot be sent to a mail server, such as accents.",
            "Ask the mail provider for a password of plain letters and digits, made for programs.",
        ) from None  # fmt: skip
    except smtplib.SMTPAuthenticationError as error:
        raise UnusableInputError(
            server.host, f"The server does not take this user and password (it says {error.smtp_code}).",
            "Check --user and the password; some servers ask for a password made for programs.",
        ) from None  # fmt: skip
    except ssl.SSLError as error:
        raise UnusableInputError(
            server.host, f"The connection cannot be trusted: {error.reason or error}.", "Check --server."
        ) from None
    except (OSError, smtplib.SMTPException) as error:
        raise _PutOffError(_reason(error), closing=True) from None


def _send(line: smtplib.SMTP, message: Message, log: Log, at: datetime) -> None:
    """Hand over one message, to all its receivers or to none."""
    content = message.written(at).as_bytes()
    try:
        _said(line.mail(message.sender.addr_spec, [f"size={len(content)}"] if line.has_extn("size") else []), line)
        for receiver in message.receivers:
            _said(line.rcpt(receiver), line, receiver)
        code, text = line.docmd("DATA")
        if code != _DATA_FOLLOWS:
            _said((code, text), line)
            raise _PutOffError(_answer(code, text))
        line.send(_LINE_WITH_POINT.sub(b"..", content))
        # With its last line the server may have all of it; so it is noted before that goes out.
        log.note(message, "in doubt", at)
        line.send(b".\r\n")
    except (OSError, smtplib.SMTPException) as error:
        log.forget(message)  # the last line did not go out
        raise _PutOffError(_reason(error), closing=True) from None
    try:
        answer = line.getreply()
    except (OSError, smtplib.SMTPException):
        raise _InDoubtError from None
    try:
        _said(answer, line)
    except (_PutOffError, _RefusedError):
        log.forget(message)
        raise
    try:
        log.note(message, "sent", at)
    except OSError:  # the note of before stands: better asked about than sent twice
        raise _InDoubtError from None


def _said(answer: tuple[int, bytes], line: smtplib.SMTP, about: str = "") -> None:
    """Look at an answer. Raises _PutOffError or _RefusedError where it is not yes; then this message is taken back."""
    code, text = answer
    if 200 <= code < 300:
        return
    reason = f"{about}: {_answer(code, text)}" if about else _answer(code, text)
    if code == _CLOSING or code < 0:
        raise _PutOffError(reason, closing=True)
    _reset(line)
    if 400 <= code < 500:
        raise _PutOffError(reason)
    raise _RefusedError(reason)


def _reset(line: smtplib.SMTP) -> None:
    try:
        line.rset()
    except (OSError, smtplib.SMTPException):
        line.close()


def _close(line: smtplib.SMTP | None) -> None:
    if line is not None:
        line.close()


def _quit(line: smtplib.SMTP) -> None:
    try:
        line.quit()
    except (OSError, smtplib.SMTPException):
        line.close()


def _answer(code: int, text: bytes | str) -> str:
    said = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    return f"the server says {code} {' '.join(said.split())}".strip()


def _reason(error: Exception) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        return _answer(error.smtp_code, error.smtp_error)
    if isinstance(error, TimeoutError):
        return "it does not answer"
    return getattr(error, "strerror", None) or "the connection ended"
