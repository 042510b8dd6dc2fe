"""Small text tables in a test, turned into the workbooks that a user would bring.

A table is text with `|` between the cells and one line a row, or a list of rows. In text a plain number
is a number cell, anything with a leading zero (tag 0412) or in double quotes is a text cell, and nothing
between two strokes is a blank cell.
"""

from __future__ import annotations

import csv
import re
import zipfile
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from batchdose import Result

    Rows = Iterable[Sequence[object]]

#: A day in summer with no clock change near it.
ON = "2026-06-01"

SESSION = """
Species   | sheep
Time zone | UTC
"""

#: A label that nothing is wrong with: 41.5 kg get 0.83 mL, so 0.9 mL; meat is clear after 14 days.
WORMER = {
    "Medicine": "wormer A", "Species": "sheep", "Route": "oral", "Strength": "10 mg/mL",
    "Dose rate": "0.2 mg/kg", "Graduation": "0.1 mL", "Meat withdrawal": "14 days", "Milk withdrawal": "3 days",
}  # fmt: skip

#: Its dose does not follow the weight.
VACCINE = {
    "Medicine": "vaccine V", "Type": "vaccine", "Strength": None, "Dose rate": "2 mL/head", "Graduation": "1 mL",
    "Meat withdrawal": "0 days", "Milk withdrawal": "0 days",
}  # fmt: skip

#: Sheets that stand in the medicines workbook; all others are in the weighing workbook.
OF_MEDICINES = ("Medicines", "Stock", "Dose bands")

#: The least that makes a workbook in the OpenDocument form.
_ODS = {
    "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
    "META-INF/manifest.xml": (
        '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        '<manifest:file-entry manifest:full-path="/" '
        'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>'
    ),
}
_ODS_CONTENT = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">'
    "<office:body><office:spreadsheet>{}</office:spreadsheet></office:body></office:document-content>"
)

_NUMBER = re.compile(r"-?(?:0|[1-9]\d*)(?:\.\d+)?")


def table(text: str) -> list[list[object]]:
    """Rows of a text table.

    >>> table('''
    ... Tag  | Weight (kg)
    ... 0412 | 41.5
    ... 0413 |
    ... 0414 | "41.5"
    ... ''')
    [['Tag', 'Weight (kg)'], ['0412', 41.5], ['0413', None], ['0414', '41.5']]
    """
    return [[_cell(cell.strip()) for cell in line.split("|")] for line in text.strip().splitlines()]


def _cell(text: str) -> object:
    if _NUMBER.fullmatch(text):
        return float(text) if "." in text else int(text)
    return text.strip('"') or None


def write_book(path: Path, sheets: Mapping[str, str | Rows], delimiter: str = ",") -> Path:
    """Write a workbook with these sheets (text tables or lists of rows): .xlsx, .xlsm, .ods or .csv.

    A .csv holds the first sheet only. Text that starts with `=` becomes a formula in .xlsx, as it does when
    typed into a sheet.
    """
    rows_of = {name: table(rows) if isinstance(rows, str) else list(rows) for name, rows in sheets.items()}
    if path.suffix.lower() == ".csv":
        text = StringIO()
        csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(next(iter(rows_of.values())))
        path.write_text(text.getvalue(), encoding="utf-8")
        return path
    if path.suffix.lower() == ".ods":
        with zipfile.ZipFile(path, "w") as package:
            for name, content in (_ODS | {"content.xml": _ods_content(rows_of)}).items():
                package.writestr(name, content)
        return path
    book = Workbook()
    del book["Sheet"]
    for name, rows in rows_of.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    book.save(path)
    return path


def _ods_content(sheets: Mapping[str, Rows]) -> str:
    tables = (
        f'<table:table table:name="{escape(name)}">'
        + "".join(f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" for row in rows)
        + "</table:table>"
        for name, rows in sheets.items()
    )
    return _ODS_CONTENT.format("".join(tables))


def _ods_cell(value: object) -> str:
    if value is None:
        return "<table:table-cell/>"
    kind = f'float" office:value="{value}' if isinstance(value, (int, float)) else "string"
    return f'<table:table-cell office:value-type="{kind}"><text:p>{escape(str(value))}</text:p></table:table-cell>'


def edit_part(path: Path, change: Callable[[bytes], bytes], part: str = "xl/worksheets/sheet1.xml") -> Path:
    """Change one part of a workbook's package in place, the first sheet's if no other is named."""
    with zipfile.ZipFile(path) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    parts[part] = change(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts.items():
            package.writestr(name, content)
    return path


def put_cell(path: Path, cell: str, xml: str) -> Path:
    """Put a cell, written as XML, in place of one on the first sheet: `put_cell(path, "B2", '<c r="B2" t="e">...')`."""
    pattern = rf'<c r="{cell}"[^>]*?(?:/>|>.*?</c>)'.encode()
    return edit_part(path, lambda sheet: re.sub(pattern, lambda _: xml.encode(), sheet, flags=re.DOTALL))


def medicine_rows(*medicines: Mapping[str, object]) -> list[list[object]]:
    """The sheet `Medicines`: each medicine is the sound WORMER with these fields changed or added."""
    whole = [WORMER | dict(changes) for changes in medicines or ({},)]
    headings = list(dict.fromkeys(heading for row in whole for heading in row))
    return [list(headings), *([row.get(heading) for heading in headings] for row in whole)]


def medicine_cell(heading: str, *medicines: Mapping[str, object], row: int = 2) -> str:
    """Place of a field on the sheet that `medicine_rows` makes of the same medicines.

    >>> medicine_cell("Dose rate")
    'Medicines!E2'
    """
    return f"Medicines!{get_column_letter(medicine_rows(*medicines)[0].index(heading) + 1)}{row}"


def write_job(
    folder: Path, animals: str | Rows, *medicines: Mapping[str, object], **sheets: str | Rows
) -> tuple[Path, Path]:
    """Write `weighing.xlsx` and `medicines.xlsx`; `sheets` are further ones, `_` in a name stands for a space.

    Without a sheet `Session` the animals are sheep and times are UTC.
    """
    every = {"Session": SESSION} | {name.replace("_", " "): rows for name, rows in sheets.items()}
    weighing = {"Weights": animals} | {name: rows for name, rows in every.items() if name not in OF_MEDICINES}
    labels = {"Medicines": medicine_rows(*medicines)} | {n: every[n] for n in OF_MEDICINES if n in every}
    return write_book(folder / "weighing.xlsx", weighing), write_book(folder / "medicines.xlsx", labels)


def told(result: Result, *, but: Iterable[str] = ()) -> list[tuple[str, str, str]]:
    """Findings as (rule, level, sheet!cell), without the rules named in `but`."""
    return [(f.rule, f.level.word, f"{f.where.sheet}!{f.where.cell}") for f in result.findings if f.rule not in but]


def held(result: Result) -> list[tuple[str, str]]:
    """Who is held from what: (tag, medicine), in sheet order; a mob given as a whole by its name."""
    rows = result.treatments[result.treatments["held"]]
    return [(row["tag"] or row["mob"], result.medicines[row["medicine"]].name) for row in rows.to_dict("records")]


def given(result: Result) -> dict[tuple[str, str], float]:
    """Doses that are planned, by (tag, medicine)."""
    rows = result.treatments[~result.treatments["held"]]
    return {
        (row["tag"] or row["mob"], result.medicines[row["medicine"]].name): row["dose"]
        for row in rows.to_dict("records")
    }
