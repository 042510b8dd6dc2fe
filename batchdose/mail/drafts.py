"""Messages as drafts: one .eml file a client, which a mail program opens ready to be sent."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from batchdose.clients.names import safe_names
from batchdose.mail.message import Message
from batchdose.write.files import save_all

DRAFTS = "mail"


def write_drafts(out: Path, messages: Sequence[Message], at: datetime, clients: Sequence[str] = ()) -> list[Path]:
    """Write the drafts into the folder `mail` of the outputs; a draft of the same contents is left as it is.

    `clients` are all clients there, so that one alone has the same file as among the others, and never that of another.
    Gives the paths of all. Raises UnusableInputError where one cannot be written.
    """
    names = safe_names((*clients, *(message.client for message in messages)))
    folder = out / DRAFTS
    paths = {message.mark: folder / f"{names[message.client]}.eml" for message in messages}
    new = {
        paths[m.mark].name: m.written(at, draft=True).as_bytes() for m in messages if not _holds(paths[m.mark], m)
    }  # fmt: skip
    if new:
        save_all(folder, new, ())
    return list(paths.values())


def _holds(path: Path, message: Message) -> bool:
    """Whether a draft of this very message is there."""
    try:
        with path.open("rb") as file:
            return message.message_id.encode() in file.read(4096)
    except OSError:
        return False
