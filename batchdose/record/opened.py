"""A record opened to add rows: whole, or only the rows of the animals in question where its index fits it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from batchdose.findings import Finding, Level
from batchdose.kept import Facts, facts_of
from batchdose.read.own_sheet import UnusualSheetError
from batchdose.record.book import OwnRecord, Record, bytes_of_record, record_from
from batchdose.record.chain import chain_findings
from batchdose.record.clear import Clearing, zone_of
from batchdose.record.index import Index, index_for, index_in
from batchdose.record.rows import DOSE, NO_ROW_BEFORE, Row
from batchdose.words import same_name, same_tag
from batchdose.write.record_book import Behind


@dataclass(frozen=True)
class Opened:
    """A record as far as a recording needs it: with all rows of the animals in question, and of whole mobs.

    `last` and `head_hash` are those of the last row of the whole record, `clients` whose it is, `fact_keys` the keys of
    all facts that it keeps. `index` is None where
    the record was read in full.
    """

    record: Record
    last: int
    head_hash: str
    clients: frozenset[str]
    fact_keys: frozenset[str]
    findings: tuple[Finding, ...]
    index: Index | None = None

    @property
    def behind(self) -> Behind | None:
        """Where the next rows go, where that is known."""
        return self.index.behind if self.index else None

    def index_with(self, rows: Sequence[Row], facts: Mapping[str, str], behind: Behind) -> Index | None:
        """The index of the record with these rows and facts, None where the record is not sound."""
        known = {**self.record.facts, **{key: facts_of(text) for key, text in facts.items()}}
        clients = self.clients | {facts.session.client for facts in known.values()} - {""}
        if self.index is None:
            if any(finding.level == Level.ERROR for finding in self.findings):
                return None
            return index_for(self.record.with_rows([*self.record.rows, *rows], known), behind, clients)
        part = self.record.with_rows([*self.record.rows, *rows], known)
        clearing = Clearing(part, sound=True, zone=ZoneInfo(self.index.known.zone))
        tags, eids = _names(row for row in part.rows if row.kind == DOSE)
        self.index.known.updated(clearing, tags, eids)
        return Index(int(rows[-1].row), rows[-1].hash, behind, clients, self.index.known)


def opened(to: Path, rows: Iterable[Row], facts: Mapping[str, str]) -> Opened:
    """Open a record for these rows, not numbered yet, with the facts of their courses as JSON by key.

    Raises UnusableInputError where it is no record or cannot be read.
    """
    data = bytes_of_record(to)
    index = index_in(data)
    if index is not None:
        try:
            found = _part(to, data, index, list(rows), facts)
        except UnusualSheetError:
            found = None
        if found is not None:
            return found
    record = record_from(to, data)
    findings = tuple(chain_findings(record))
    clients = frozenset(known.session.client for known in record.facts.values()) - {""}
    last = max(record.rows, key=lambda row: row.number, default=None)
    number, head_hash = (last.number, last.hash) if last else (0, NO_ROW_BEFORE)
    return Opened(record, number, head_hash, clients, frozenset(record.facts), findings)


def _part(to: Path, data: bytes, index: Index, rows: Sequence[Row], facts: Mapping[str, str]) -> Opened | None:
    """The part of a record that these rows may change something about; None where that is all of it."""
    own = OwnRecord(to, data)
    new = [facts_of(text) for key, text in facts.items() if key not in own.facts]
    mobs = {same_name(row.mob) for row in rows if not same_tag(row.tag) and not same_tag(row.eid)}
    if "" in mobs or _changes_all(index, new):
        return None
    tags, eids = index.known.related(*_names(rows), mobs)
    record = own.part(tags, eids)
    return Opened(record, index.last, index.head_hash, index.clients, frozenset(own.facts), (), index)


def _changes_all(index: Index, new: Sequence[Facts]) -> bool:
    """Whether new facts change what the record says of every animal: another zone, or a product not known before."""
    products = {product for known in new for product in known.products}
    return bool(new) and (str(zone_of(new)) != index.known.zone or not products <= set(index.known.products()))


def _names(rows: Iterable[Row]) -> tuple[set[str], set[str]]:
    """Tags and EIDs of rows, for comparing."""
    pairs = {(row.tag, row.eid) for row in rows}
    return {same_tag(tag) for tag, _ in pairs} - {""}, {same_tag(eid) for _, eid in pairs} - {""}
