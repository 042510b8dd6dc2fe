"""Sending, against a real mail server: what it refuses, puts off, drops; and that nothing goes out unencrypted."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.headerregistry import Address

import pytest
from mail_server import PASSWORD, mail_server, trusting

from batchdose import UnusableInputError
from batchdose.mail.log import Log
from batchdose.mail.message import Message
from batchdose.mail.send import WAITS, Server, send_all

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
SENDER = Address("", "adviser", "example.org")
NOW = datetime(2026, 3, 14, 8, tzinfo=UTC)


def message(n: int) -> Message:
    to = Address(f"Client {n}", f"client{n}", "example.org")
    text = f"Hello {n}\n.a line with a point first\n..and another\nünïcode\n"
    return Message(
        f"Client {n}", SENDER, (to,), (), f"Job sheet {n}", text, ((f"sheet {n}.html", b"<p>x\n.y</p>"),), str(n) * 64
    )


@pytest.fixture
def server():
    """The server with STARTTLS: what it takes, and how it is reached."""
    with mail_server() as (post, port):
        yield post, Server("localhost", port, "starttls", "adviser", PASSWORD, trusting())


def send(messages, reached, log, waited=None):
    """Outcomes as (client, rule of the finding or None)."""
    sleep = (waited if waited is not None else []).append
    outcomes = send_all(messages, reached, log, now=lambda: NOW, sleep=sleep)
    return [(outcome.message.client, outcome.finding.rule if outcome.finding else None) for outcome in outcomes]


def test_every_message_arrives_once_at_its_own_receiver_and_whole(server, tmp_path):
    post, reached = server
    log = Log(tmp_path)
    assert send([message(1), message(2)], reached, log) == [("Client 1", None), ("Client 2", None)]
    assert [to for to, _ in post.taken] == [["client1@example.org"], ["client2@example.org"]]
    first = message_from_bytes(post.taken[0][1], policy=policy.default)
    assert first.get_body().get_content().splitlines() == message(1).text.splitlines()
    (attached,) = first.iter_attachments()
    assert attached.get_payload(decode=True) == message(1).files[0][1]
    assert [log.state(message(n)) for n in (1, 2, 3)] == ["sent", "sent", None]


def test_tls_from_the_start_works_too(tmp_path):
    with mail_server(starttls=False) as (post, port):
        reached = Server("localhost", port, "tls", "adviser", PASSWORD, trusting())
        assert send([message(1)], reached, Log(tmp_path)) == [("Client 1", None)]
        assert len(post.taken) == 1


def test_a_refused_address_is_told_and_the_others_get_theirs(server, tmp_path):
    post, reached = server
    post.on_rcpt = lambda address: "550 5.1.1 no such user" if address.startswith("client2") else None
    log = Log(tmp_path)
    outcomes = send([message(1), message(2), message(3)], reached, log)
    assert outcomes == [("Client 1", None), ("Client 2", "message-not-sent"), ("Client 3", None)]
    assert log.state(message(2)) is None


def test_where_one_of_two_addresses_is_refused_nobody_gets_half_of_it(server, tmp_path):
    post, reached = server
    post.on_rcpt = lambda address: "550 no" if address.startswith("copy") else None
    both = replace(message(1), cc=(Address("", "copy", "example.org"),))
    assert send([both, message(2)], reached, Log(tmp_path)) == [("Client 1", "message-not-sent"), ("Client 2", None)]
    assert [to for to, _ in post.taken] == [["client2@example.org"]]


def test_what_is_put_off_is_tried_again_behind_the_others(server, tmp_path):
    post, reached = server
    asked = []

    def first_no(address):
        asked.append(address)
        return "451 4.7.1 try again later" if asked.count("client1@example.org") == 1 and len(asked) == 1 else None

    post.on_rcpt = first_no
    waited = []
    assert send([message(1), message(2)], reached, Log(tmp_path), waited) == [("Client 2", None), ("Client 1", None)]
    assert waited == [WAITS[0]]


@pytest.mark.parametrize("answer", ["452 4.2.2 too many messages", "421 4.7.0 slow down"])
def test_a_limit_of_the_rate_that_does_not_end_leaves_the_rest_for_the_next_run(server, tmp_path, answer):
    post, reached = server
    post.on_data = lambda _: answer if post.taken else None
    log, waited = Log(tmp_path), []
    assert send([message(1), message(2)], reached, log, waited) == [
        ("Client 1", None),
        ("Client 2", "message-not-sent"),
    ]
    assert waited == list(WAITS)
    assert log.state(message(2)) is None
    post.on_data = lambda _: None
    assert send([message(2)], reached, log) == [("Client 2", None)]
    assert len(post.taken) == 2


def test_a_line_that_breaks_in_the_middle_of_a_message_is_made_anew(server, tmp_path):
    post, reached = server
    dropped = []
    post.before_data = lambda _: not dropped and not dropped.append(1)
    large = replace(message(1), files=(("sheet.pdf", bytes(4_000_000)),))
    assert send([large], reached, Log(tmp_path)) == [("Client 1", None)]
    assert len(post.taken) == 1


def test_a_line_that_breaks_before_the_answer_leaves_it_in_doubt_and_is_not_sent_again(server, tmp_path):
    post, reached = server

    def taken_but_not_said(smtp):
        if post.taken or post.on_data is not taken_but_not_said:
            return None
        post.on_data = lambda _: None
        smtp.transport.abort()
        return "250 nobody hears this"

    post.on_data = taken_but_not_said
    log = Log(tmp_path)
    assert send([message(1), message(2)], reached, log) == [("Client 1", "message-in-doubt"), ("Client 2", None)]
    assert log.state(message(1)) == "in doubt"


def test_without_encryption_nothing_is_sent(tmp_path):
    with mail_server(tls=False) as (post, port):
        with pytest.raises(UnusableInputError, match="offers no encryption"):
            send([message(1)], Server("localhost", port, "starttls"), Log(tmp_path))
        assert post.taken == []
        assert send([message(1)], Server("localhost", port, "none"), Log(tmp_path)) == [("Client 1", None)]
    with pytest.raises(UnusableInputError, match=r"nothing is sent to mail\.example\.org"):
        Server("mail.example.org", 25, "none")


def test_a_certificate_that_nobody_vouches_for_is_refused(server, tmp_path):
    post, reached = server
    with pytest.raises(UnusableInputError, match="cannot be trusted"):
        send([message(1)], replace(reached, context=None), Log(tmp_path))
    assert post.taken == []


def test_a_wrong_password_is_said_without_the_password(server, tmp_path):
    post, reached = server
    with pytest.raises(UnusableInputError, match="does not take this user and password") as found:
        send([message(1)], replace(reached, password="a secret"), Log(tmp_path))  # noqa: S106 - of the test
    assert "a secret" not in str(found.value)
    assert "a secret" not in repr(replace(reached, password="a secret"))  # noqa: S106 - the same
    assert post.taken == []


def test_a_server_that_is_not_there_is_said(tmp_path):
    with pytest.raises(UnusableInputError, match="cannot be reached on port 9"):
        send([message(1)], Server("localhost", 9, "starttls"), Log(tmp_path))


@pytest.mark.parametrize("host", ["mail..example.org", ".example.org", f"{'x' * 70}.example.org"])
def test_what_is_no_name_of_a_server_is_told(tmp_path, host):
    with pytest.raises(UnusableInputError, match="is no name of a mail server"):
        send([message(1)], Server(host, 587, "starttls"), Log(tmp_path))


def test_a_password_with_accents_is_told_and_not_shown(server, tmp_path):
    post, reached = server
    with pytest.raises(UnusableInputError, match="letters that cannot be sent") as raised:
        send([message(1)], replace(reached, password="sécret-pässword"), Log(tmp_path))  # noqa: S106 - of the test
    assert not set("éä") & set(str(raised.value))
    assert raised.value.__cause__ is None
    assert not post.taken


def test_stopped_in_the_middle_of_a_message_it_ends_at_once_and_goes_on_later(server, tmp_path, monkeypatch):
    post, reached = server

    def stopped(*_):
        raise KeyboardInterrupt

    log = Log(tmp_path)
    monkeypatch.setattr(Log, "note", stopped)
    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        send([message(1)], reached, log)
    assert time.monotonic() - begun < 20
    assert (post.taken, log.state(message(1))) == ([], None)
    monkeypatch.undo()
    assert send([message(1)], reached, log) == [("Client 1", None)]
    assert len(post.taken) == 1


def test_what_was_taken_but_cannot_be_noted_is_not_sent_twice(server, tmp_path, monkeypatch):
    post, reached = server
    note = Log.note

    def full(self, of, state, at):
        if state == "sent":
            raise OSError(28, "No space left on device")
        note(self, of, state, at)

    monkeypatch.setattr(Log, "note", full)
    log = Log(tmp_path)
    assert send([message(1), message(2)], reached, log) == [
        ("Client 1", "message-in-doubt"), ("Client 2", "message-in-doubt"),
    ]  # fmt: skip
    assert len(post.taken) == 2
    assert log.state(message(1)) == "in doubt"
