"""The address list: the sheet `Contacts` of a workbook, a client a row."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from email.errors import MessageError
from email.headerregistry import Address
from email.policy import SMTP
from pathlib import Path

from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.mail import problems
from batchdose.read.book import open_book
from batchdose.read.columns import named_table
from batchdose.read.fields import CONTACTS
from batchdose.read.table import cell_text
from batchdose.texts import ENGLISH, LANGUAGES
from batchdose.words import same_name

CONTACTS_SHEET = "Contacts"
_LOCAL = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}")
_DOMAIN = re.compile(
    r"(?=.{1,253}$)(?:[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)*[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
)


@dataclass(frozen=True)
class Contact:
    """Who gets the message of a client; `language` is a code of `LANGUAGES`."""

    client: str
    to: tuple[Address, ...]
    cc: tuple[Address, ...]
    language: str
    where: CellRef


@dataclass(frozen=True)
class Listed:
    """The address list by the clients' names for comparing; `names` has also those whose row is in doubt."""

    contacts: dict[str, Contact]
    names: frozenset[str]


def read_contacts(path: Path) -> tuple[Listed, list[Finding]]:
    """The address list, and what is wrong with it.

    Raises UnusableInputError where the workbook cannot be read, or has no sheet Contacts with Client and To.
    """
    book = open_book(path)
    table = named_table(book, CONTACTS_SHEET, CONTACTS)
    if table is None:
        raise UnusableInputError(
            path.name, f"There is no sheet {CONTACTS_SHEET}, or it is empty.",
            f"Put the headings Client and To on a sheet named {CONTACTS_SHEET}, and a client on each row.",
        )  # fmt: skip
    findings = list(table.findings)
    rows: list[Contact] = []
    counts: Counter[str] = Counter()
    for number, cells in table.rows():
        client = cell_text(cells["client"])
        counts[same_name(client)] += 1
        found = {name: tuple(_addresses(cell_text(cells.get(name)), table.where(number, name), findings))
                 for name in ("to", "cc")}  # fmt: skip
        language = _language(cell_text(cells.get("language")), table.where(number, "language"), findings)
        unreadable = any(f.rule == "address-unreadable" and f.where.cell.endswith(str(number)) for f in findings)
        if client and found["to"] and not unreadable:
            rows.append(Contact(client, found["to"], found["cc"], language, table.where(number, "client")))
        elif client and not unreadable:
            findings.append(problems.address_unreadable(table.where(number, "to"), "", "the cell is empty"))
    findings += [problems.contact_repeated(c.where, c.client) for c in rows if counts[same_name(c.client)] > 1]
    contacts = {same_name(c.client): c for c in rows if counts[same_name(c.client)] == 1}
    return Listed(contacts, frozenset(counts)), findings


def _addresses(text: str, where: CellRef, findings: list[Finding]) -> Iterator[Address]:
    try:
        yield from addresses(text)
    except ValueError as error:
        findings.append(problems.address_unreadable(where, text, str(error)))


def addresses(text: str) -> tuple[Address, ...]:
    """Addresses of a text, with semicolons or commas between. Raises ValueError with what is wrong.

    >>> [a.addr_spec for a in addresses("Ann Example <ann@example.org>; office@example.org")]
    ['ann@example.org', 'office@example.org']
    """
    if not text.strip():
        return ()
    try:
        header = SMTP.header_factory("to", text.replace(";", ","))
        found = tuple(header.addresses)
    except (MessageError, ValueError, IndexError, AttributeError, TypeError):
        raise ValueError("it cannot be read") from None
    if header.defects or not found:
        raise ValueError("it cannot be read")
    return tuple(_usable(address) for address in found)


def _usable(address: Address) -> Address:
    """The address, a domain with other letters in the form that mail servers know."""
    try:
        domain = address.domain.encode("idna").decode()
    except UnicodeError:
        raise ValueError(f'"{address.domain}" is no domain') from None
    if not _LOCAL.fullmatch(address.username) or address.username.startswith(".") or ".." in address.username:
        raise ValueError(f'"{address.username}" before the @ is no name that every server takes')
    if not _DOMAIN.fullmatch(domain):
        raise ValueError(f'there is no domain in "{address}"' if not domain else f'"{domain}" is no domain')
    return Address(address.display_name, address.username, domain)


def _language(text: str, where: CellRef, findings: list[Finding]) -> str:
    known = {same_name(name): code for code, name in LANGUAGES.items()} | {code: code for code in LANGUAGES}
    if text and same_name(text) not in known:
        findings.append(problems.contact_language_unknown(where, text, ", ".join(LANGUAGES)))
    return known.get(same_name(text), ENGLISH)
