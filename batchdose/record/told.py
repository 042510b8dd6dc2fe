"""What the commands of the record do and say: each in one call, with finished lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from batchdose.findings import Finding, Level, UnusableInputError
from batchdose.memory import no_collecting
from batchdose.read.cells import CellError, read_moment
from batchdose.read.given import read_given
from batchdose.read.own_sheet import UnusualSheetError
from batchdose.read.package import names_sheet
from batchdose.record.append import Recorded, new_rows
from batchdose.record.book import Record, bytes_of_record, open_record, record_from
from batchdose.record.chain import chain_findings
from batchdose.record.clear import Clearing
from batchdose.record.consignment import A, Answers, Listed, Says, answers, lines, listed_animals
from batchdose.record.index import index_findings, index_in
from batchdose.record.known import RowsNeededError
from batchdose.record.opened import part_of
from batchdose.record.take import rows_of
from batchdose.write.record_book import FACTS_SHEET

clear_lines = lines
READ_IN_FULL = (
    "{} was changed or saved by another program since rows were last added, or is of another version: all its rows "
    "were read. The next recording makes it quick again."
)


def moment_on(on: str | None, zone: ZoneInfo | None = None) -> datetime:
    """The moment of `--on`, or now. Raises UnusableInputError where it is no date."""
    if on is None:
        return datetime.now(zone or UTC)
    try:
        return read_moment(on, zone or ZoneInfo("UTC")).at
    except CellError:
        raise UnusableInputError(
            "--on", f'"{on}" is not a date or a date and time.', "Write it as 2026-03-14T09:00."
        ) from None


def recorded_lines(done: Recorded, to: Path) -> Iterator[str]:
    """What was recorded, and the hash to keep."""
    corrections = f", {done.corrections} of them corrections" if done.corrections else ""
    yield f"{len(done.rows)} rows added to {to.name}{corrections}; {done.same} there already."
    if done.rows:
        yield f"Hash of the last row, to be kept elsewhere: {done.head_hash}"


def is_recorded(dosed: Path, record: Path) -> bool:
    """Whether every entry of a filled-in workbook stands in a record that is as it was written, and says nothing new.

    An entry of which the record takes nothing, such as a note alone on the line of a mob, is not recorded.
    """
    filled, known = read_given(dosed), open_record(record)
    rows, _, _ = rows_of(filled, None, datetime.now(UTC))
    notes_alone = any(entry.text("note") and not entry.text("all_given") for entry in filled.mobs)
    if not rows or notes_alone or any(finding.level == Level.ERROR for finding in chain_findings(known)):
        return False
    return not new_rows(known.rows, rows)


def is_record_file(path: Path) -> bool:
    """Whether a file is a treatment record, told from its parts without reading the rows."""
    return names_sheet(path, FACTS_SHEET)


def checked_chain(path: Path) -> tuple[Record, list[Finding]]:
    """A record and what was done to it since it was written."""
    data = bytes_of_record(path)
    with no_collecting():
        record = record_from(path, data)
        findings = list(chain_findings(record))
        if not any(finding.level == Level.ERROR for finding in findings) and (index := index_in(data)):
            findings += index_findings(index, record)
    return record, findings


def chain_lines(record: Record, findings: Sequence[Finding]) -> Iterator[str]:
    """Whether the chain holds, in words."""
    if any(finding.level == Level.ERROR for finding in findings):
        yield f"{len(record.rows)} rows; the record is not as it was written."
    else:
        yield f"{len(record.rows)} rows; the chain holds. Hash of the last row: {record.head_hash or 'none'}"


def write_register(
    path: Path, rules: str, out: Path | None, *, pdf: bool, days: int | None = None, animals: Path | None = None
) -> list[Path]:
    """Write the register as HTML and PDF beside the record, or into `out`; gives the paths."""
    from batchdose.record.register import build_register
    from batchdose.write.files import save_all
    from batchdose.write.pdf import PdfPrinter, PdfUnavailableError
    from batchdose.write.render import render_register

    printer = PdfPrinter() if pdf else None
    try:
        clearing = Clearing(open_record(path))
        today, names = datetime.now(clearing.zone).date(), listed_animals(animals) if animals else None
        html = render_register(build_register(clearing, rules.upper(), today, days=days, names=names))
        stem = f"{path.stem}-register-{rules.upper()}"
        contents = {f"{stem}.html": html.encode("utf-8")}
        if printer is not None:
            printer.begin(html)
            contents[f"{stem}.pdf"] = printer.finish()
    except PdfUnavailableError as error:
        raise UnusableInputError(f"{stem}.pdf", str(error), "Or leave the PDF out with --no-pdf.") from None
    finally:
        if printer is not None:
            printer.close()
    return save_all(out or path.parent, contents, [path])


def clear_answers(path: Path, animals: Path | None, products: Sequence[str], on: str | None) -> Answers:
    """Who is clear on a moment, in the zone of the record, where `on` states none."""
    names, data = listed_animals(animals) if animals else None, bytes_of_record(path)
    with no_collecting():
        index = index_in(data)
        if index is not None:
            when = moment_on(on, ZoneInfo(index.known.zone))
            with suppress(RowsNeededError):
                return _answers(index.known, names, products, when)
            with suppress(UnusualSheetError):
                return _answers(part_of(path, data, index, names or ()), names, products, when)
        whole = Clearing(record_from(path, data))
        found = _answers(whole, names, products, moment_on(on, whole.zone))
    return replace(found, remark="" if index else READ_IN_FULL.format(path.name))


def _answers(clearing: Says[A], names: Sequence[Listed] | None, products: Sequence[str], on: datetime) -> Answers:
    known = clearing.products()
    asked = [product.strip().casefold() for product in products] or known
    unknown = [product for product in asked if product not in known]
    if unknown:
        raise UnusableInputError("--for", f"No treatment has a period for {unknown[0]}.", f"Known: {', '.join(known)}.")
    return answers(clearing, names, asked, on)
