"""What was given before this job: the client's treatment record joined to what was read from the sheets."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from batchdose.findings import Finding
from batchdose.given import RECORD_FACTS
from batchdose.model import EarlierTreatments, Pack
from batchdose.read.beside import workbooks_beside
from batchdose.read.book import Book
from batchdose.read.inputs import Inputs


@dataclass(frozen=True)
class Before:
    """What the record says of the animals (None without one), the record's workbook, and what is found in it.

    `stock` is that of the sheets with what the record leaves over, None where the sheets' own holds.
    """

    treatments: EarlierTreatments | None = None
    books: tuple[Book, ...] = ()
    stock: tuple[Pack, ...] | None = None
    findings: tuple[Finding, ...] = ()


def read_before(inputs: Inputs, given: Path | None) -> Before:
    """Read the record that is given, or the client's own beside the weighing workbook.

    Raises UnusableInputError where the given one cannot be read or is of another client.
    """
    session = inputs.session
    beside = [] if given else workbooks_beside(
        session.source.path, RECORD_FACTS, [book.source.path for book in inputs.books]
    )  # fmt: skip
    if not given and not beside:
        return Before()
    # Loaded only here: most jobs have no record yet.
    from batchdose.record import problems
    from batchdose.record.beside import record_of_client
    from batchdose.record.clear import Clearing
    from batchdose.record.earlier import earlier_treatments
    from batchdose.record.leftovers import with_leftovers
    from batchdose.record.stock import stock_after

    record, findings = record_of_client(given, beside, session.facts.client)
    if record is None:
        return Before(findings=tuple(findings))
    clearing = Clearing(record)
    found = earlier_treatments(clearing, session, inputs.medicines, inputs.planned)
    note = problems.record_read(record.book.source.name, len(record.rows), len(found.known))
    # Amounts of a record that was altered are not to be counted on.
    left = stock_after(record, clearing.zone) if clearing.sound else {}
    stock, of_stock = with_leftovers(inputs.stock, left, inputs.medicines)
    return Before(found, (record.book,), tuple(stock), (*findings, note, *clearing.chain, *of_stock))


def all_recorded(dosed: Path, record: Path | None) -> bool:
    """Whether everything that staff entered in a workbook stands in the record as it is."""
    if record is None:
        return False
    from batchdose.record.told import is_recorded

    return is_recorded(dosed, record)
