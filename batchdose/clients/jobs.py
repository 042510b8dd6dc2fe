"""What is known of one client's job after it was planned: finished texts for the adviser and for the message."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from typing import Any


@dataclass(frozen=True)
class Setting:
    """One setting: mob, weight group, what to set, head, of which medicine."""

    medicine: str
    mob: str
    group: str
    setting: str
    head: str


@dataclass(frozen=True)
class HeldBack:
    """Animals not to dose: their tags, mob, what they do not get, and why."""

    tags: str
    mob: str
    medicines: str
    why: str


@dataclass(frozen=True)
class ClearFrom:
    """When a product of a mob may be used again, as printed; `day` is an ISO date, empty where there is none."""

    mob: str
    product: str
    text: str
    day: str
    who: str


@dataclass(frozen=True)
class Need:
    """Product of one medicine for one client: to draw, and missing from the client's stock, as exact fractions.

    `short` is empty where no stock is listed, and so is `listed`, what of it is in date. `sizes` are the pack sizes of
    the sheet, with their prices (empty where there is none); `shared`: they stand on the sheet shared by all.
    """

    medicine: str
    unit: str
    to_draw: str
    short: str
    packs: str
    listed: str = ""
    sizes: tuple[tuple[str, str], ...] = ()
    shared: bool = False


@dataclass(frozen=True)
class Written:
    """A file that was written: its place below the folder of the outputs, and its SHA-256."""

    path: str
    sha256: str


@dataclass(frozen=True)
class ClientJob:
    """One weighing workbook of a client, planned and written, or why it was not (`failed`).

    `key` is the place of the workbook below the folder of the clients; `medicines` and `whose` say which medicines
    sheet was used. `today` is set where the plan is for the day of the run, since neither sheet nor option
    names one: the day and its time zone.
    """

    key: str
    client: str
    medicines: str = ""
    whose: str = ""
    planned: str = ""
    today: str = ""
    ready: int = 0
    not_ready: int = 0
    errors: int = 0
    warnings: int = 0
    language: str = "en"
    settings: tuple[Setting, ...] = ()
    held: tuple[HeldBack, ...] = ()
    clear: tuple[ClearFrom, ...] = ()
    needs: tuple[Need, ...] = ()
    files: tuple[Written, ...] = ()
    remarks: tuple[str, ...] = ()
    failed: str = ""

    @property
    def status(self) -> str:
        """In two words: `ready`, `some held`, or `not planned`."""
        return "not planned" if self.failed else "some held" if self.not_ready or self.errors else "ready"

    def file(self, ending: str) -> str:
        """Place of the output with this ending, or nothing."""
        return next((written.path for written in self.files if written.path.endswith(ending)), "")


_PARTS: dict[str, Any] = {
    "settings": Setting, "held": HeldBack, "clear": ClearFrom, "needs": Need, "files": Written,
}  # fmt: skip


def job_json(job: ClientJob, **more: object) -> bytes:
    """A job as JSON, with further facts beside it."""
    return json.dumps({"job": asdict(job), **more}, ensure_ascii=False, indent=1, sort_keys=True).encode()


def job_of(kept: dict[str, Any]) -> ClientJob:
    """The job of what `job_json` wrote. Raises KeyError or TypeError where it is not that."""
    facts = {name.name: kept[name.name] for name in fields(ClientJob)}
    for name, kind in _PARTS.items():
        facts[name] = tuple(_part(kind, part) for part in facts[name])
    facts["remarks"] = tuple(facts["remarks"])
    return ClientJob(**facts)


def _part(kind: Any, part: dict[str, Any]) -> Any:
    if kind is Need:
        part = {**part, "sizes": tuple((size, price) for size, price in part["sizes"])}
    return kind(**part)
