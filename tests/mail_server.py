"""A real mail server for tests: TLS with a certificate of the test, a password, and answers as a test wants them."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, Session

PASSWORD = "correct horse"  # noqa: S105 - of the test's own server
AUTHORITY = trustme.CA()


class Post:
    """What the server took, and what it answers: `on_rcpt` and `on_data` give an answer, or None for yes."""

    def __init__(self) -> None:
        self.taken: list[tuple[list[str], bytes]] = []
        self.on_rcpt: Callable[[str], str | None] = lambda _: None
        self.on_data: Callable[[SMTP], str | None] = lambda _: None
        self.before_data: Callable[[SMTP], bool] = lambda _: False

    async def handle_RCPT(  # noqa: N802 - aiosmtpd's own name and order
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]
    ) -> str:
        answer = self.on_rcpt(address)
        if answer is None:
            envelope.rcpt_tos.append(address)
        return answer or "250 OK"

    async def handle_DATA(self, server: SMTP, _session: Session, envelope: Envelope) -> str:  # noqa: N802 - the same
        answer = self.on_data(server)
        if answer is None:
            self.taken.append((list(envelope.rcpt_tos), bytes(envelope.content or b"")))
        return answer or "250 OK"


class _Server(SMTP):
    """A server that can drop the line in the middle of a message."""

    async def smtp_DATA(self, arg: str) -> None:  # noqa: N802 - the same
        if self.event_handler.before_data(self):
            await self.push("354 go on")
            self.transport.abort()
            return
        await super().smtp_DATA(arg)


class _Controller(Controller):
    def __init__(self, *args: Any, **more: Any) -> None:
        self._more = more.pop("more")
        super().__init__(*args, **more)

    def factory(self) -> SMTP:
        return _Server(self.handler, **self._more)


def _knows(_server: object, _session: object, _envelope: object, _mechanism: str, data: Any) -> AuthResult:
    return AuthResult(success=data.password.decode() == PASSWORD, handled=False)


def _free_port() -> int:
    with socket.create_server(("localhost", 0)) as free:
        return int(free.getsockname()[1])


@contextmanager
def mail_server(*, tls: bool = True, starttls: bool = True) -> Iterator[tuple[Post, int]]:
    """A server on localhost, and its port: with STARTTLS, with TLS from the start, or with neither."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    AUTHORITY.issue_cert("localhost").configure_cert(context)
    more: dict[str, Any] = {"data_size_limit": None}
    if tls and starttls:
        more |= {"tls_context": context, "require_starttls": True, "auth_required": True, "authenticator": _knows}
    elif tls:
        more |= {"authenticator": _knows, "auth_require_tls": False}
    post = Post()
    controller = _Controller(
        post, hostname="localhost", port=_free_port(), more=more, ssl_context=context if tls and not starttls else None
    )
    controller.start()
    try:
        yield post, controller.port
    finally:
        controller.stop()


def trusting() -> ssl.SSLContext:
    """A context that trusts the test's own authority, and checks the name as always."""
    context = ssl.create_default_context()
    AUTHORITY.configure_trust(context)
    return context
