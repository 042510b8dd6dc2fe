"""A person's word on what keeps an animal from being clear: a released needle, or a period that a prescriber gave."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from batchdose.findings import CellRef, UnusableInputError
from batchdose.kept import period_kept
from batchdose.model import Period
from batchdose.read.labels import LabelError, parse_period
from batchdose.record.append import append_rows
from batchdose.record.book import Record, open_record
from batchdose.record.entries import plain
from batchdose.record.lock import locked
from batchdose.record.rows import BROKEN, DOSE, PERIOD, RELEASE, Row


def release(to: Path, numbers: Iterable[int], by: str, reason: str, periods: Iterable[str], now: datetime) -> list[Row]:
    """Add a row for each of these rows: with periods (`meat=35 days`) a period, without a release of its needle.

    Raises UnusableInputError where a row is not there, has nothing to release, or a period cannot be read.
    """
    if not by.strip() or not reason.strip():
        raise UnusableInputError("--by, --reason", "A release needs a name and a reason.", "Give both.")
    stated = dict(map(_period, periods))
    with locked(to):
        record = open_record(to)
        rows = [_row(record, number, by, reason, stated) for number in dict.fromkeys(numbers)]
        return append_rows(to, rows, now)


def _row(record: Record, number: int, by: str, reason: str, stated: dict[str, Period]) -> Row:
    found = next((row for row in record.rows if row.number == number and row.kind == DOSE), None)
    where = CellRef(record.book.source.name, record.sheet)
    if found is None:
        raise UnusableInputError(where, f"Row {number} is not the row of a dose.", "Give the number under Row.")
    if not stated and not any(row.needle == BROKEN and row.line == found.line for row in record.rows):
        raise UnusableInputError(
            where, f"No needle broke in row {number}.",
            "For a withdrawal period that the prescriber gave, add --period, such as meat=35 days.",
        )  # fmt: skip
    about = {"periods": {product: period_kept(period) for product, period in stated.items()}} if stated else {}
    kind = PERIOD if stated else RELEASE
    return Row(
        kind=kind, corrects=found.row, line=f"{kind}/{found.line}",
        tag=found.tag, eid=found.eid, mob=found.mob, medicine=found.medicine, by=plain(" ".join(by.split())),
        note=plain(" ".join(reason.split())), about=json.dumps(about, sort_keys=True) if about else "",
    )  # fmt: skip


def _period(text: str) -> tuple[str, Period]:
    product, sign, written = text.partition("=")
    try:
        period = parse_period(written) if sign else None
    except LabelError as error:
        raise UnusableInputError("--period", str(error), "Write it as meat=35 days.") from None
    if period is None or not product.strip():
        raise UnusableInputError("--period", f'"{text}" is not a product and its period.', "Write it as meat=35 days.")
    return product.strip().casefold(), period
