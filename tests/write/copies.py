"""What the tests of the copy share: columns and sheets to put in, and what a copy is compared by."""

from __future__ import annotations

import re
import struct
import warnings
import zipfile
from collections.abc import Iterable
from datetime import datetime
from io import BytesIO
from typing import Any

from corpus import FIRST, HEADER_ROW, LAST, SHEET
from openpyxl import Workbook, load_workbook
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter

from batchdose.write.book_part import BookPart
from batchdose.write.earlier import Animals
from batchdose.write.graft import Column, graft
from batchdose.write.package import Package

CLEAR = datetime(2026, 4, 11, 9, 30)  # noqa: DTZ001 - a cell holds no zone
HELD = "DO NOT DOSE: <b> & \x07"
ROWS = range(FIRST, LAST + 1)


def columns(rows: Iterable[int] = ROWS, *, more: bool = False) -> list[Column]:
    """Result columns with values in some of the rows, and None in the others; texts that XML must not take amiss."""
    given = set(rows)

    def values(of_row: Any) -> list[Any]:
        return [of_row(row) if row in given else None for row in ROWS]

    every = [
        Column("Job: tag", values(lambda row: f"{400 + row - 1:04d}"), 14),
        Column("Job: dose", values(lambda row: row / 10), 14),
        Column(
            "Job: held and why", values(lambda row: "DO NOT DOSE: <b> & \x07" if row % 2 else None), 40, marked=True
        ),
        Column("Job: meat clear from (expected)", values(lambda _: CLEAR), 22),
    ]
    return every + [Column("Job: working", values(lambda row: f"= {row}"), 20)] * more


def donor(text: str = "each by weight") -> bytes:
    """Two result sheets."""
    book = Workbook()
    for name in ("Job settings", "Job findings"):
        sheet = book.create_sheet(name)
        sheet["A1"] = "Mob"
        sheet["A1"].font, sheet["A1"].fill = Font(bold=True), PatternFill("solid", fgColor="DDDDDD")
        sheet["A2"], sheet["B2"] = text, 0.5
        sheet["B2"].number_format = "0.000"
    del book["Sheet"]
    file = BytesIO()
    book.save(file)
    return file.getvalue()


def copied(source: bytes, put: list[Column] | None = None, sheets: bytes = donor()) -> tuple[bytes, list[str]]:
    """The copy and its notes; the headings are read by openpyxl."""
    return graft(source, SHEET, Animals(HEADER_ROW, 1, headings(source), ROWS), put or columns(), sheets)


def headings(source: bytes) -> list[Any]:
    """Cells of the heading row."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl says what it would lose
        sheet = load_workbook(BytesIO(source))[SHEET]
    return [cell.value for cell in sheet[HEADER_ROW]]


def own_columns(copy: bytes) -> list[int]:
    """Columns that the copy marks as ours, from 1."""
    book = BookPart(Package(copy))
    return book.own_columns(next(sheet.index for sheet in book.sheets if sheet.name == SHEET))


def sheet_part(data: bytes) -> str:
    """Name of the weighing sheet's part."""
    book = BookPart(Package(data))
    return next(sheet.part or "" for sheet in book.sheets if sheet.name == SHEET)


def parts(data: bytes) -> dict[str, bytes]:
    """Every part, unpacked; zipfile compares each with its checksum."""
    with zipfile.ZipFile(BytesIO(data)) as package:
        return {info.filename: package.read(info) for info in package.infolist()}


def streams(data: bytes) -> dict[str, bytes]:
    """Every part as it is stored."""
    found = {}
    with zipfile.ZipFile(BytesIO(data)) as package:
        for info in package.infolist():
            name, extra = struct.unpack_from("<2H", data, info.header_offset + 26)
            start = info.header_offset + 30 + name + extra
            found[info.filename] = data[start : start + info.compress_size]
    return found


def decoded(xml: bytes) -> str:
    """A part as text, in whatever it is encoded."""
    if xml[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return xml.decode("utf-16")
    return xml.decode("latin-1" if b"ISO-8859-1" in xml[:100] else "utf-8")


def without_ours(copy: str, original: str, ours: Iterable[int]) -> str:
    """The sheet's part of a copy with our cells taken out, found by their references alone.

    The used range, widths, the height of the heading row and the range of the filter are put back as they were;
    what they say is looked at by other tests.
    """
    letters = "|".join(get_column_letter(column) for column in ours)
    q = "[\"']"
    prefix = "x:" if "<x:worksheet" in copy else ""
    text = re.sub(rf"<{prefix}c r={q}(?:{letters})\d+{q}[^>]*?(?:/>|>.*?</{prefix}c>)", "", copy, flags=re.DOTALL)
    for name in ("dimension", "autoFilter"):
        tag = re.search(rf"<{prefix}{name}\b[^>]*>", original)
        if tag:
            text = re.sub(rf"<{prefix}{name}\b[^>]*>", lambda _, tag=tag: tag[0], text, count=1)
    cols = re.search(rf"<{prefix}cols>.*?</{prefix}cols>", original, re.DOTALL)
    text = re.sub(rf"<{prefix}cols>.*?</{prefix}cols>", lambda _: cols[0] if cols else "", text, flags=re.DOTALL)
    if ' ht="15" customHeight="1"' not in original:
        text = re.sub(r' ht="(?:15|30|45|60)" customHeight="1">', ">", text, count=1)
    there = set(re.findall(rf"<{prefix}row\b[^>]*?\sr={q}(\d+)", original))
    empty = rf"<{prefix}row r=\"(\d+)\"></{prefix}row>"
    text = re.sub(empty, lambda found: found[0] if found[1] in there else "", text)
    # A row that held nothing of the user's is self-closed in the original.
    for tag in re.findall(rf"<{prefix}row\b[^>]*/>", original):
        text = text.replace(f"{tag[:-2]}></{prefix}row>", tag)
    return text


def values(data: bytes, *, stored: bool = True, macros: bool = False) -> dict[str, dict[str, Any]]:
    """Filled cells of every worksheet by their references: values as stored, or formulas."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl says what it would lose
        book = load_workbook(BytesIO(data), data_only=stored, keep_vba=macros, rich_text=True)
    return {
        sheet.title: {
            cell.coordinate: getattr(cell.value, "text", cell.value)
            for row in sheet.iter_rows() for cell in row if cell.value is not None
        }
        for sheet in book.worksheets
    }  # fmt: skip
