"""Messages as other programs read them, and that nobody gets the sheet of another client."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.headerregistry import Address
from hashlib import sha256
from pathlib import Path

import pytest
from click.testing import CliRunner
from clients_farm import write_client
from hypothesis import given, settings
from hypothesis import strategies as st
from mail_server import PASSWORD, mail_server, trusting
from sheets import write_book

from batchdose.cli import cli
from batchdose.clients.engines import processes
from batchdose.clients.jobs import ClearFrom, ClientJob, HeldBack, Setting, Written
from batchdose.clients.plan import plan_clients
from batchdose.clients.work import Options
from batchdose.findings import CellRef
from batchdose.mail import password, send
from batchdose.mail.contacts import Contact, Listed, addresses, read_contacts
from batchdose.mail.drafts import write_drafts
from batchdose.mail.message import build_messages
from batchdose.mail.told import prepared
from batchdose.words import same_name

AT = datetime(2026, 3, 14, 8, tzinfo=UTC)
SENDER = Address("An Adviser", "adviser", "example.org")
LONG = "Nordöstliche Schäfereigenossenschaft der Anrainer am Oberen Langen Moor und Umgebung – Außenstelle Süd " * 2


def contact(client: str, to: str = "", language: str = "en") -> Contact:
    who = addresses(to or f"{abs(hash(client))}@example.org")
    return Contact(client, who, (), language, CellRef("list.xlsx", "Contacts", "A2"))


def listed(*contacts: Contact) -> Listed:
    return Listed({same_name(c.client): c for c in contacts}, frozenset(same_name(c.client) for c in contacts))


def job(out: Path, client: str, secret: str, key: str = "") -> ClientJob:
    """A job of a client whose files and texts all hold its secret."""
    key = key or f"{client}/weighing.xlsx"
    place = sha256(key.encode()).hexdigest()[:12]
    (out / place).mkdir(parents=True, exist_ok=True)
    files = []
    for ending in (".pdf", ".html", ".xlsx"):
        content = f"{secret} {ending}".encode()
        (out / place / f"weighing-job-sheet{ending}").write_bytes(content)
        files.append(Written(f"{place}/weighing-job-sheet{ending}", sha256(content).hexdigest()))
    return ClientJob(
        key, client, planned="Saturday 14 March 2026", ready=2, not_ready=1, files=tuple(files),
        settings=(Setting(f"wormer {secret}", "Hill", "A: 30 to 40 kg", "0.9 mL", "2"),),
        held=(HeldBack(f"tag {secret}", "Hill", "wormer", "no weight"),),
        clear=(ClearFrom("Hill", "Meat", "Sunday 15 March 2026", "2026-03-15", ""),),
    )  # fmt: skip


@given(
    st.dictionaries(st.text(min_size=1, max_size=30).filter(str.strip), st.booleans(), min_size=1, max_size=6),
    st.data(),
)
@settings(max_examples=40)
def test_nobody_gets_another_clients_sheet(clients, data):
    """Whatever the names are, and however alike: what a message holds is that client's own and nothing else."""
    with tempfile.TemporaryDirectory() as name:
        out = Path(name)
        secrets = {client: f"S{number}Q" for number, client in enumerate({same_name(c): c for c in clients}.values())}
        jobs = [job(out, client, secret, f"{secret}/{n}.xlsx") for client, secret in secrets.items()
                for n in range(data.draw(st.integers(1, 2)))]  # fmt: skip
        people = listed(
            *(contact(client, f"{secret}@example.org") for client, secret in secrets.items() if clients[client])
        )
        messages, findings = build_messages(out, data.draw(st.permutations(jobs)), people, SENDER)
        assert len(messages) == len(people.contacts)
        assert len(messages) + sum(f.rule == "contact-missing" for f in findings) == len(secrets)
        for message in messages:
            mine = secrets[message.client]
            whole = message.written(AT).as_bytes() + message.text.encode() + b"".join(c for _, c in message.files)
            assert message.receivers == (f"{mine}@example.org",)
            assert all(mine.encode() in content for _, content in message.files)
            assert not [other for other in secrets.values() if other != mine and other.encode() in whole]


def test_a_name_that_is_nearly_the_same_is_not_taken_for_it(tmp_path):
    messages, findings = build_messages(
        tmp_path, [job(tmp_path, "Hill Farm", "s")], listed(contact("Hill Farms")), SENDER
    )
    assert messages == []
    assert [finding.rule for finding in findings] == ["contact-missing"]


@pytest.mark.parametrize("change", [lambda path: path.write_bytes(b"another"), Path.unlink], ids=["changed", "removed"])
def test_a_file_that_is_not_as_it_was_written_is_not_sent(tmp_path, change):
    mine = job(tmp_path, "Hill", "s")
    change(tmp_path / mine.files[0].path)
    messages, findings = build_messages(tmp_path, [mine], listed(contact("Hill")), SENDER)
    assert messages == []
    assert [finding.rule for finding in findings] == ["sheet-changed"]


@pytest.mark.parametrize("client", ["Hill", "Château d'Été", LONG, "農場 一", "a\r\nBcc: all@example.org"])
def test_other_programs_read_every_name_and_every_attachment(tmp_path, client):
    """RFC 5322: lines of at most 998 characters, ended by CR LF; RFC 2045-2047, 2231: all else encoded as ASCII."""
    (message,), _ = build_messages(
        tmp_path, [job(tmp_path, client, "s")], listed(contact(client, "ann@example.org")), SENDER
    )
    raw = message.written(AT, draft=True).as_bytes()
    assert raw.isascii()
    assert all(len(line) <= 998 for line in raw.split(b"\r\n"))
    assert b"\n" not in raw.replace(b"\r\n", b"")
    read = message_from_bytes(raw, policy=policy.default)
    assert not read.defects
    assert read["Subject"] == " ".join(f"Job sheet for {client}, Saturday 14 March 2026".split())
    assert read["Bcc"] is None
    assert [a.addr_spec for a in read["To"].addresses] == ["ann@example.org"]
    assert read["From"].addresses[0] == SENDER
    assert (read["Date"].datetime, read["X-Unsent"]) == (AT, "1")
    attached = {part.get_filename(): part.get_payload(decode=True) for part in read.iter_attachments()}
    assert attached == dict(message.files)
    assert {Path(name).suffix for name in attached} == {".pdf", ".html"}
    text = read.get_body().get_content()
    for essential in ("DO NOT DOSE", "tag s", "0.9 mL", "from Sunday 15 March 2026", "label and the prescribing vet"):
        assert essential in text


def test_the_same_message_has_the_same_mark_and_any_change_another(tmp_path):
    def mark(mine, whom):
        (message,), _ = build_messages(tmp_path, [mine], listed(whom), SENDER)
        return message.mark

    mine, whom = job(tmp_path, "Hill", "s"), contact("Hill", "a@example.org")
    first = mark(mine, whom)
    assert mark(mine, whom) == first
    others = [
        mark(mine, contact("Hill", "b@example.org")), mark(mine, replace(whom, cc=addresses("c@example.org"))),
        mark(replace(mine, not_ready=2), whom), mark(job(tmp_path, "Hill", "t"), whom),
    ]  # fmt: skip
    assert len({first, *others}) == 5


def test_drafts_are_left_as_they_are_until_something_changes(tmp_path):
    people = listed(contact("Hill", "a@example.org"), contact("HILL?", "b@example.org"))
    messages, _ = build_messages(tmp_path, [job(tmp_path, "Hill", "s"), job(tmp_path, "HILL?", "t")], people, SENDER)
    paths = write_drafts(tmp_path, messages, AT)
    content = [path.read_bytes() for path in paths]
    assert write_drafts(tmp_path, messages, AT.replace(year=2027)) == paths
    assert [path.read_bytes() for path in paths] == content
    assert len({path.name.casefold() for path in paths}) == 2


def test_the_address_list_says_what_is_wrong_with_it(tmp_path):
    rows = """
    Client | E-mail                          | Copy to       | Language
    Ash    | Ann <ann@example.org>; b@ex.org | c@example.org | es
    Beech  | ann at example.org              |               |
    Cedar  | d@example.org                   |               | Latin
    Dale   | e@example.org                   |               |
    dale   | f@example.org                   |               |
    Elm    |                                 |               |
    Fir    | g@exämple.org                   |               | français
    """
    found, findings = read_contacts(write_book(tmp_path / "list.xlsx", {"Contacts": rows}))
    assert {name: [a.addr_spec for a in c.to] for name, c in found.contacts.items()} == {
        "ash": ["ann@example.org", "b@ex.org"], "cedar": ["d@example.org"], "fir": ["g@xn--exmple-cua.org"],
    }  # fmt: skip
    assert [(f.rule, f.where.cell) for f in findings] == [
        ("address-unreadable", "B3"), ("contact-language-unknown", "D4"), ("address-unreadable", "B7"),
        ("contact-repeated", "A5"), ("contact-repeated", "A6"),
    ]  # fmt: skip
    assert (found.contacts["ash"].language, found.contacts["fir"].language) == ("es", "fr")


@pytest.mark.parametrize(
    "text",
    ["ann", "ann@", "@example.org", "a b@example.org", "a@b@c.org", "ann@-x.org", "a..b@example.org", "a@exa mple.org",
     "a@example.org, ", "ann@example.org\nBcc: b@example.org"],
)  # fmt: skip
def test_what_is_no_address_is_never_mended(text):
    try:
        found = [address.addr_spec for address in addresses(text)]
    except ValueError:
        return
    assert found == ["a@example.org"]  # a comma too many hides nobody


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """Two clients planned by the program itself, and their address list."""
    base = tmp_path_factory.mktemp("round")
    for n, client in enumerate(("Ash", "Beech"), 1):
        write_client(base / "clients" / client, str(n), client, {})
    with processes(1, pdf=False) as engine:
        plan_clients(base / "clients", base / "out", Options(pdf=False), engine=engine)
    people = write_book(
        base / "list.xlsx", {"Contacts": "Client | To\nAsh | ash@example.org\nBeech | beech@example.org"}
    )
    return base / "out", people


def test_the_command_writes_drafts_and_sends_nothing(planned, monkeypatch):
    out, people = planned
    monkeypatch.setattr(send, "_connect", lambda *_, **__: pytest.fail("the network was touched"))
    done = CliRunner().invoke(cli, ["mail", str(out), "--contacts", str(people), "--from", "me@example.org"])
    assert done.exit_code == 0, done.output
    assert "Ash -> ash@example.org: Ash weighing-job-sheet.html" in done.output
    assert sorted(path.name for path in (out / "mail").iterdir()) == ["Ash.eml", "Beech.eml"]
    read = message_from_bytes((out / "mail" / "Ash.eml").read_bytes(), policy=policy.default)
    html = next(iter(read.iter_attachments())).get_payload(decode=True)
    assert b"1001" in html
    assert b"2001" not in html


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_the_command_asks_sends_once_and_goes_on_after_a_failure(planned, monkeypatch):
    out, people = planned
    monkeypatch.setenv(password.VARIABLE, PASSWORD)
    with mail_server() as (post, port):
        trusted = trusting()
        monkeypatch.setattr(send.ssl, "create_default_context", lambda: trusted)
        monkeypatch.setattr(send, "WAITS", ())
        options = ["mail", str(out), "--contacts", str(people), "--from", "me@example.org", "--send", "--user", "me",
                   "--server", f"localhost:{port}"]  # fmt: skip
        no = CliRunner().invoke(cli, options, input="n\n")
        assert (no.exit_code, post.taken) == (1, [])
        assert "Send 2 messages through localhost?" in no.output
        post.on_rcpt = lambda address: "450 later" if address.startswith("beech") else None
        half = CliRunner().invoke(cli, options, input="y\n")
        assert half.exit_code == 1
        assert [to for to, _ in post.taken] == [["ash@example.org"]]
        post.on_rcpt = lambda _: None
        rest = CliRunner().invoke(cli, [*options, "--yes"])
        assert rest.exit_code == 0, rest.output
        assert "Ash: sent before" in rest.output
        assert [to for to, _ in post.taken] == [["ash@example.org"], ["beech@example.org"]]
        nothing = CliRunner().invoke(cli, [*options, "--yes"])
        assert "Nothing to send." in nothing.output
        assert len(post.taken) == 2
        for said in (no.output, half.output, rest.output, nothing.output):
            assert PASSWORD not in said
    assert PASSWORD.encode() not in b"".join(path.read_bytes() for path in out.rglob("*") if path.is_file())
    assert [m.client for m in prepared(out, people, "me@example.org", again=True).messages] == ["Ash", "Beech"]


def test_the_password_comes_from_the_environment_or_the_keyring_and_else_it_is_said_where_to_put_it(monkeypatch):
    monkeypatch.delenv(password.VARIABLE, raising=False)
    monkeypatch.setattr(password, "_from_keyring", lambda account: "kept" if account == "me@mail.example.org" else "")
    assert password.password_of("me", "mail.example.org") == "kept"
    with pytest.raises(Exception, match=password.VARIABLE):
        password.password_of("you", "mail.example.org")
    monkeypatch.setenv(password.VARIABLE, "from here")
    assert password.password_of("you", "mail.example.org") == "from here"


def test_no_option_takes_a_password():
    done = CliRunner().invoke(cli, ["mail", "--help"])
    assert "--password" not in done.output


def test_a_client_with_two_rows_gets_nothing_even_where_one_of_them_is_unreadable(tmp_path):
    rows = """
    Client | To
    Ash    | old@example.org
    ash    | new at example.org
    Beech  | b@example.org
    """
    found, findings = read_contacts(write_book(tmp_path / "list.xlsx", {"Contacts": rows}))
    assert set(found.contacts) == {same_name("Beech")}
    assert {finding.rule for finding in findings} == {"address-unreadable", "contact-repeated"}


def _round_of_two(tmp_path):
    """Outputs of two clients whose names would be one file, and their address list."""
    write_client(tmp_path / "c" / "a", "1", "Hill/Dale", {})
    write_client(tmp_path / "c" / "b", "2", "Hill-Dale", {})
    with processes(1, pdf=False) as engine:
        plan_clients(tmp_path / "c", tmp_path / "out", Options(pdf=False), engine=engine)
    rows = "Client | To\nHill/Dale | a@example.org\nHill-Dale | b@example.org"
    contacts = write_book(tmp_path / "list.xlsx", {"Contacts": rows})
    return ["mail", str(tmp_path / "out"), "--contacts", str(contacts), "--from", "me@example.org"]


def test_the_draft_of_one_client_alone_never_takes_the_place_of_another(tmp_path):
    command = _round_of_two(tmp_path)
    for name in ("Hill/Dale", "Hill-Dale"):
        assert CliRunner().invoke(cli, [*command, "--client", name]).exit_code == 0
    alone = sorted((tmp_path / "out" / "mail").iterdir())
    assert len(alone) == 2
    assert CliRunner().invoke(cli, command).exit_code == 0
    assert sorted((tmp_path / "out" / "mail").iterdir()) == alone


def test_a_question_that_is_left_is_no_fault_and_what_was_sent_before_a_stop_is_told(tmp_path, monkeypatch):
    command = [*_round_of_two(tmp_path), "--send", "--server", "localhost:1"]
    done = CliRunner().invoke(cli, command, input="")
    assert done.exit_code == 1
    assert "fault of the program" not in done.output

    def stops(messages, *_):
        yield send.Outcome(messages[0])
        raise send.UnusableInputError("localhost", "The server does not take this user.", "Check --user.")

    monkeypatch.setattr("batchdose.mail.told.send_all", stops)
    done = CliRunner().invoke(cli, [*command, "--yes"])
    assert done.exit_code == 1
    assert "Sent to Hill-Dale" in done.output
    assert "Stopped before the rest. localhost: The server does not take this user." in done.output
    assert "Nothing was" not in done.output
