"""A record opened to add rows: whole, or only the rows of the animals in question where its index fits it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from batchdose.findings import Finding, Level
from batchdose.given import PlanKept, PlannedDose
from batchdose.kept import Facts, facts_of, of_stock, of_stock_in
from batchdose.read.own_sheet import UnusualSheetError
from batchdose.record.animals import names_of
from batchdose.record.book import OwnRecord, Record, bytes_of_record, record_from
from batchdose.record.chain import chain_findings
from batchdose.record.clear import Clearing, zone_of
from batchdose.record.consignment import Listed
from batchdose.record.draws import draws_of
from batchdose.record.index import Index, index_in, is_fit_for_index, new_index
from batchdose.record.rows import DOSE, NO_ROW_BEFORE, Row
from batchdose.record.stock import LeftInStock, Product, left_of
from batchdose.words import same_name
from batchdose.write.record_book import Behind


@dataclass(frozen=True)
class Grown:
    """A record with the rows that were added: who is clear by it, what is left in stock, and the index to keep.

    It has all rows of the animals in question and of their job, not always those of others. `index` is None where none
    is to be kept.
    """

    clearing: Clearing
    left: Mapping[Product, LeftInStock]
    index: Index | None


@dataclass(frozen=True)
class Opened:
    """A record as far as a recording needs it: with all rows of the animals in question, and of whole mobs.

    `last` and `head_hash` are those of the last row of the whole record, `clients` whose it is, `fact_keys` the keys of
    all facts that it keeps, `fact_texts` these facts as JSON by key where `index` is there: it is None where the record
    was read in full.
    """

    record: Record
    last: int
    head_hash: str
    clients: frozenset[str]
    fact_keys: frozenset[str]
    findings: tuple[Finding, ...]
    index: Index | None = None
    fact_texts: Mapping[str, str] | None = None

    @property
    def behind(self) -> Behind | None:
        """Where the next rows go, where that is known."""
        return self.index.behind if self.index else None

    def grown(self, rows: Sequence[Row], facts: Mapping[str, str], behind: Behind | None) -> Grown:
        """The record with these rows and facts behind it; `behind` is where the next would go, if that is known."""
        known = {**self.record.facts, **{key: facts_of(text) for key, text in facts.items()}}
        clients = self.clients | {facts.session.client for facts in known.values()} - {""}
        places = range(behind.place - len(rows) + 1, behind.place + 1) if behind and rows else ()
        record = self.record.with_more(rows, places, known)
        last, head_hash = (int(rows[-1].row), rows[-1].hash) if rows else (self.last, self.head_hash)
        if self.index is not None:
            return self._of_part(record, rows, facts, Index(
                last, head_hash, behind or self.index.behind, clients, self.index.known, self.index.draws
            ))  # fmt: skip
        sound = not any(finding.level == Level.ERROR for finding in self.findings)
        clearing = Clearing(record, sound=sound)
        draws = draws_of(record.rows, clearing.zone)
        left = left_of(draws, {key: of_stock(facts) for key, facts in known.items()})
        fit = sound and behind is not None and rows and is_fit_for_index(record.rows)
        index = new_index(clearing, draws, last, head_hash, behind, clients) if fit and behind else None
        return Grown(clearing, left, index)

    def _of_part(self, record: Record, rows: Sequence[Row], facts: Mapping[str, str], index: Index) -> Grown:
        """The same for a part of a record, whose index takes over what that says."""
        known, draws = index.known, index.draws
        clearing = Clearing(record, sound=True, zone=ZoneInfo(known.zone), products=known.products())
        if rows:
            known.updated(clearing, *_names(row for row in record.rows if row.kind == DOSE))
            draws.updated(self.record.rows, rows, clearing.zone)
        kept = index if is_fit_for_index(record.rows) else None
        texts = {**(self.fact_texts or {}), **facts}
        wanted = {draw.facts for draw in draws.of} & texts.keys()
        return Grown(clearing, left_of(draws, {key: of_stock_in(texts[key]) for key in wanted}), kept)


def opened(to: Path, rows: Iterable[Row], facts: Mapping[str, str], plan: PlanKept | None = None) -> Opened:
    """Open a record for these rows, not numbered yet, with the facts of their courses as JSON by key.

    With a plan all animals of its job are among those in question. Raises UnusableInputError where the file is no
    record or cannot be read.
    """
    data = bytes_of_record(to)
    index = index_in(data)
    if index is not None:
        try:
            found = _part(to, data, index, list(rows), facts, plan)
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


def _part(
    to: Path, data: bytes, index: Index, rows: Sequence[Row], facts: Mapping[str, str], plan: PlanKept | None
) -> Opened | None:  # fmt: skip
    """The part of a record that these rows may change something about; None where that is all of it."""
    own = OwnRecord(to, data)
    new = [facts_of(text) for key, text in facts.items() if key not in own.facts]
    asked: list[Row | PlannedDose] = [*rows, *(plan.doses.values() if plan else ())]
    job = f"{plan.identity}/" if plan else ""
    if _changes_all(index, new):
        return None
    while "" not in (mobs := _whole_mobs(asked)):
        tags, eids = index.known.related(*_names(asked), mobs)
        record = own.part(tags, eids, job)
        # What was recorded for the job before may be of others: a treatment that was not on its plan.
        of_job = [row for row in record.rows if job and row.line.startswith(job)]
        more_tags, more_eids = _names(of_job)
        if more_tags <= tags and more_eids <= eids and _whole_mobs(of_job) <= mobs:
            keys = frozenset(own.facts)
            return Opened(record, index.last, index.head_hash, index.clients, keys, (), index, own.facts)
        asked += of_job
    return None


def part_of(path: Path, data: bytes, index: Index, names: Iterable[Listed]) -> Clearing:
    """What the rows of these animals say, in a record that its index fits. Raises UnusualSheetError."""
    known = index.known
    texts = {text for one in names for text in (one.eid, one.tag)}
    pairs = [names_of(text, "") for text in texts]
    either = {tag for tag, _ in pairs} | {eid for _, eid in pairs}
    tags, eids = known.related(either, either, ())
    record = OwnRecord(path, data).part(tags, eids)
    return Clearing(record, sound=True, zone=ZoneInfo(known.zone), products=known.products())


def _whole_mobs(asked: Iterable[Row | PlannedDose]) -> set[str]:
    """Mobs, for comparing, that are treated as a whole; an empty one stands for everything there is."""
    return {same_name(one.mob) for one in asked if not any(names_of(one.tag, one.eid))}


def _changes_all(index: Index, new: Sequence[Facts]) -> bool:
    """Whether new facts change what the record says of every animal: another zone, or a product not known before."""
    products = {product for known in new for product in known.products}
    return bool(new) and (str(zone_of(new)) != index.known.zone or not products <= set(index.known.products()))


def _names(asked: Iterable[Row | PlannedDose]) -> tuple[set[str], set[str]]:
    """Tags and EIDs, for comparing."""
    pairs = [names_of(*pair) for pair in {(one.tag, one.eid) for one in asked}]
    return {tag for tag, _ in pairs} - {""}, {eid for _, eid in pairs} - {""}
