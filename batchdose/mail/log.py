"""Which messages were sent, kept beside the outputs: a small file for each, put in place whole."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Literal

from batchdose.clients.find import KEPT
from batchdose.mail.message import Message

State = Literal["sent", "in doubt"]


class Log:
    """What is known of the messages of a folder of outputs, by their marks."""

    def __init__(self, out: Path) -> None:
        self._folder = out / KEPT

    def state(self, message: Message) -> State | None:
        """What became of a message, None where it was not sent."""
        try:
            state = json.loads(self._path(message).read_bytes())["state"]
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError):
            return "in doubt"  # there is a note of it that cannot be read: better asked about than sent twice
        return "sent" if state == "sent" else "in doubt"

    def note(self, message: Message, state: State, at: datetime) -> None:
        """Keep what became of a message. Nothing of its text is kept."""
        path = self._path(message)
        path.parent.mkdir(parents=True, exist_ok=True)
        passing = path.with_suffix(".new")
        kept = {"client": message.client, "to": message.receivers, "state": state, "at": at.isoformat()}
        passing.write_text(json.dumps(kept, ensure_ascii=False, indent=1), encoding="utf-8")
        passing.replace(path)

    def forget(self, message: Message) -> None:
        """Drop the note of a message that was surely not taken."""
        self._path(message).unlink(missing_ok=True)

    def _path(self, message: Message) -> Path:
        return self._folder / f"mail-{message.mark[:40]}.json"
