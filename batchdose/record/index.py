"""The index of a record: what makes `clear` and `record` quick, kept in the same file and bound to all the rest of it.

It holds answers and places, never rows. It counts only where every other part of the file has the very bytes that it
was made for, and where it was made by the same rules: after any change by hand, a save by another program, or a new
version of this one, the record is read in full, and the next recording makes a new index.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from batchdose.findings import CellRef, Finding
from batchdose.record import problems
from batchdose.record.book import Record
from batchdose.record.clear import Clearing
from batchdose.record.draws import Draws, draws_from, draws_of
from batchdose.record.known import Known, known_from, known_of
from batchdose.record.rows import Row
from batchdose.write.package import Package
from batchdose.write.record_book import INDEX_PART, LARGEST_RECORD, Behind
from batchdose.write.xmltext import CannotCopyError

INDEX_FORMAT = 2
#: Parts of the program that decide who is clear, and what of a row they are told.
RULE_FILES = (
    "record", "calculate", "data", "read", "given.py", "kept.py", "model.py", "words.py", "amounts.py", "texts.py",
    "units.py", "findings.py",
)  # fmt: skip


@dataclass
class Index:
    """What is kept: number and hash of the last row, where the next ones go, whose record it is.

    And what is answered from it: who is clear, and what was drawn from the bottles.
    """

    last: int
    head_hash: str
    behind: Behind
    clients: frozenset[str]
    known: Known
    draws: Draws

    def content(self, bound: str) -> bytes:
        """The index as it is kept, bound to the digest of the other parts."""
        kept = {
            "format": INDEX_FORMAT, "rules": rules_digest(), "bound": bound, "last": self.last,
            "head_hash": self.head_hash, "behind": asdict(self.behind), "clients": sorted(self.clients),
            "known": self.known.to_json(), "draws": self.draws.to_json(),
        }  # fmt: skip
        return json.dumps(kept, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "surrogatepass")


def index_in(data: bytes) -> Index | None:
    """The index of a record, None where it has none or does not fit it."""
    try:
        package = Package(data, LARGEST_RECORD)
        if INDEX_PART not in package:
            return None
        kept = json.loads(package.read(INDEX_PART) or b"{}")
        if kept.get("format") != INDEX_FORMAT or kept["rules"] != rules_digest():
            return None
        if kept["bound"] != package.digest(INDEX_PART):
            return None
        return Index(
            kept["last"], kept["head_hash"], Behind(**kept["behind"]), frozenset(kept["clients"]),
            known_from(kept["known"]), draws_from(kept["draws"]),
        )  # fmt: skip
    except (CannotCopyError, LookupError, TypeError, ValueError, AttributeError, RecursionError, zlib.error):
        return None


def new_index(
    clearing: Clearing, draws: Draws, last: int, head_hash: str, behind: Behind, clients: frozenset[str]
) -> Index:  # fmt: skip
    """An index of a whole record whose chain holds."""
    return Index(last, head_hash, behind, clients, known_of(clearing), draws)


def index_findings(index: Index, record: Record) -> Iterator[Finding]:
    """Whether an index says what the whole record says, whose chain holds."""
    clearing = Clearing(record, sound=True)
    full = known_of(clearing)
    other = index.known.otherwise(full)
    ends = (index.last, index.head_hash) == (max((row.number for row in record.rows), default=0), record.head_hash)
    alike = (index.known.of_products, index.known.zone) == (full.of_products, full.zone)
    if other or not ends or not alike or index.draws != draws_of(record.rows, clearing.zone):
        yield problems.record_index_altered(CellRef(record.book.source.name, record.sheet), other or ["all"])


def is_fit_for_index(rows: Iterable[Row]) -> bool:
    """Whether all rows of a line are of one animal, as those are that this program writes."""
    animals: dict[str, tuple[str, str, str]] = {}
    return all(animals.setdefault(row.line, (row.tag, row.eid, row.mob)) == (row.tag, row.eid, row.mob) for row in rows)


@cache
def rules_digest() -> str:
    """SHA-256 over the parts of the program that decide who is clear: an index made by others does not count."""
    found = hashlib.sha256()
    root = files("batchdose")
    for name in RULE_FILES:
        for path in _files(root / name):
            found.update(path.name.encode())
            found.update(path.read_bytes())
    return found.hexdigest()


def _files(place: Traversable) -> list[Traversable]:
    if place.is_file():
        return [place]
    return sorted((p for p in place.iterdir() if p.name.endswith((".py", ".csv"))), key=lambda path: path.name)
