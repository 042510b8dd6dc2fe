"""The password of the mail server: from the environment, or from the keyring of the system; never from the command."""

from __future__ import annotations

import os

from batchdose.findings import UnusableInputError

VARIABLE = "BATCHDOSE_MAIL_PASSWORD"
SERVICE = "batchdose-mail"


def password_of(user: str, host: str) -> str:
    """The password of a user of a mail server. Raises UnusableInputError, saying where to put it, if there is none."""
    if found := os.environ.get(VARIABLE):
        return found
    account = f"{user}@{host}"
    if found := _from_keyring(account):
        return found
    raise UnusableInputError(
        "--user", f"There is no password for {user} at {host}.",
        f"Put it into the environment as {VARIABLE}, or into the keyring: keyring set {SERVICE} {account}.",
    )  # fmt: skip


def _from_keyring(account: str) -> str:
    try:
        import keyring
        from keyring.errors import KeyringError
    except ImportError:
        return ""
    try:
        return str(keyring.get_password(SERVICE, account) or "")
    except KeyringError:
        return ""
