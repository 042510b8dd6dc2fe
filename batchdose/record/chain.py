"""Whether the record is as it was written: the chain of hashes from row to row.

It shows accidental change. Who makes the whole chain anew, or cuts rows off its end, is shown only by a head hash
that was kept elsewhere.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from batchdose.findings import Finding
from batchdose.record import problems
from batchdose.record.book import Record
from batchdose.record.rows import HEADINGS, NO_ROW_BEFORE, row_hash


def chain_findings(record: Record) -> Iterator[Finding]:
    """What was done to a record since it was written: rows altered, missing, doubled, or moved."""
    pairs = sorted(zip(record.rows, record.places, strict=True), key=lambda pair: pair[0].number)
    before, expected, last_place = NO_ROW_BEFORE, 1, 0
    counts = Counter(row.number for row in record.rows)
    moved = False
    for row, place in pairs:
        if row.number > expected:
            yield problems.record_row_missing(record.where(place, "row"), expected, row.number - 1)
        elif counts[row.number] > 1 and row.number < expected:
            yield problems.record_row_twice(record.where(place, "row"), row.number)
            continue
        elif row.hash != row_hash(row, before):
            yield problems.record_row_altered(record.where(place, "hash"), row.number, HEADINGS["hash"])
        if row.facts in record.spoiled or (row.facts and row.facts not in record.facts):
            yield problems.record_row_altered(record.where(place, "facts"), row.number, HEADINGS["facts"])
        moved, last_place = moved or place < last_place, place
        before, expected = row.hash, row.number + 1
    if moved:
        yield problems.record_rows_moved(record.where(record.places[0], "row"))
