"""Weighing workbooks as no spreadsheet program writes them: damaged, runaway or hostile, one maker each.

A maker takes a sound weighing workbook (.xlsx) and returns the path of the bad one beside it.
"""

from __future__ import annotations

import os
import re
import zipfile
from io import BytesIO
from typing import TYPE_CHECKING

from sheets import edit_part, write_book

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

SHEET = "xl/worksheets/sheet1.xml"
_MAIN = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
ANIMALS = [["Tag", "Weight (kg)"], ["0412", 41.5], ["0413", 43]]


def parts_of(path: Path) -> dict[str, bytes]:
    """Names and contents of a package's parts."""
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


def write_parts(path: Path, parts: dict[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> Path:
    """Write a package of these parts."""
    with zipfile.ZipFile(path, "w", how, compresslevel=1) as package:
        for name, content in parts.items():
            package.writestr(name, content)
    return path


def _in_rows(path: Path, rows: bytes) -> Path:
    """Further rows at the end of the first sheet."""
    return edit_part(path, lambda xml: xml.replace(b"</sheetData>", rows + b"</sheetData>"))


def _instead(path: Path, rows: bytes) -> Path:
    """These rows in place of those of the first sheet."""
    return edit_part(
        path, lambda xml: re.sub(rb"<sheetData>.*</sheetData>", b"<sheetData>" + rows + b"</sheetData>", xml)
    )


# Damaged packages.


def cut_off(path: Path) -> Path:
    path.write_bytes(path.read_bytes()[:-200])
    return path


def cut_in_half(path: Path) -> Path:
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    return path


def no_zip(path: Path) -> Path:
    path.write_bytes(b"PK\x03\x04" + bytes(5000))
    return path


def parts_swapped(path: Path) -> Path:
    parts = parts_of(path)
    parts[SHEET], parts["xl/workbook.xml"] = parts["xl/workbook.xml"], parts[SHEET]
    return write_parts(path, parts)


def styles_for_the_sheet(path: Path) -> Path:
    parts = parts_of(path)
    return write_parts(path, parts | {SHEET: parts["xl/styles.xml"]})


def sheet_missing(path: Path) -> Path:
    parts = parts_of(path)
    del parts[SHEET]
    return write_parts(path, parts)


def styles_missing(path: Path) -> Path:
    parts = parts_of(path)
    del parts["xl/styles.xml"]
    return write_parts(path, parts)


def no_relations(path: Path) -> Path:
    parts = parts_of(path)
    del parts["xl/_rels/workbook.xml.rels"]
    return write_parts(path, parts)


def two_parts_of_one_name(path: Path) -> Path:
    sheet = parts_of(path)[SHEET].replace(b"41.5", b"14.5")
    with zipfile.ZipFile(path, "a") as package:
        package.writestr(SHEET.replace("sheet1", "Sheet1"), sheet)
    return path


def wrong_content_types(path: Path) -> Path:
    wrong = b"application/vnd.openxmlformats-officedocument.wordprocessingml.document.main+xml"
    return edit_part(path, lambda xml: re.sub(rb"application/vnd[^\"]*", wrong, xml), "[Content_Types].xml")


def no_content_types(path: Path) -> Path:
    parts = parts_of(path)
    del parts["[Content_Types].xml"]
    return write_parts(path, parts)


def packed_another_way(path: Path) -> Path:
    return write_parts(path, parts_of(path), zipfile.ZIP_LZMA)


def an_ods_by_contents(path: Path) -> Path:
    ods = write_book(path.with_suffix(".ods"), {"Weights": ANIMALS})
    return ods.replace(path)


# Bombs.


def zip_bomb(path: Path) -> Path:
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED, compresslevel=9) as package:
        package.writestr("xl/media/image1.bin", bytes(300 * 1024 * 1024))
    return path


def zip_bomb_that_lies(path: Path) -> Path:
    """A sheet of 400 MB that says it has 1 kB."""
    rows = b'<row><c t="inlineStr"><is><t>' + b"x" * 400_000_000 + b"</t></is></c></row>"
    _in_rows(path, rows)
    data = bytearray(path.read_bytes())
    for mark, name_at, size_at in ((b"PK\x01\x02", 46, 24), (b"PK\x03\x04", 30, 22)):
        for entry in re.finditer(re.escape(mark), bytes(data)):
            at = entry.start()
            if data[at + name_at : at + name_at + len(SHEET)] == SHEET.encode():
                data[at + size_at : at + size_at + 4] = (1000).to_bytes(4, "little")
    path.write_bytes(data)
    return path


def entities_without_end(path: Path) -> Path:
    levels = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    kind = f'<!DOCTYPE worksheet [<!ENTITY l0 "ha">{levels}]>'.encode()
    edit_part(path, lambda xml: kind + re.sub(rb"^<\?xml[^>]*\?>", b"", xml).replace(b"41.5", b"&l9;"))
    return path


def entities_in_the_texts(path: Path) -> Path:
    kind = b'<!DOCTYPE sst [<!ENTITY a "ha">]><sst ' + _MAIN + b"><si><t>&a;</t></si></sst>"
    return write_parts(path, parts_of(path) | {"xl/sharedStrings.xml": kind})


def an_outside_entity(path: Path) -> Path:
    kind = b'<!DOCTYPE worksheet [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    edit_part(path, lambda xml: kind + re.sub(rb"^<\?xml[^>]*\?>", b"", xml).replace(b"41.5", b"&a;"))
    return path


def deep_xml(path: Path) -> Path:
    return edit_part(
        path, lambda xml: xml.replace(b"<sheetData>", b"<a>" * 500_000 + b"</a>" * 500_000 + b"<sheetData>")
    )


def deep_workbook(path: Path) -> Path:
    deep = b"<a>" * 300_000 + b"</a>" * 300_000
    return edit_part(path, lambda xml: xml.replace(b"</workbook>", deep + b"</workbook>"), "xl/workbook.xml")


def many_texts(path: Path) -> Path:
    texts = b"<sst " + _MAIN + b">" + b"<si/>" * 30_000_000 + b"</sst>"
    return write_parts(path, parts_of(path) | {"xl/sharedStrings.xml": texts})


def one_long_text_in_many_cells(path: Path) -> Path:
    texts = b"<sst " + _MAIN + b"><si><t>" + b"x" * 32_000 + b"</t></si></sst>"
    _instead(path, b"".join(b'<row r="%d"><c r="A%d" t="s"><v>0</v></c></row>' % (n, n) for n in range(1, 200_001)))
    return write_parts(path, parts_of(path) | {"xl/sharedStrings.xml": texts})


def a_very_long_text(path: Path) -> Path:
    return _in_rows(path, b'<row><c t="inlineStr"><is><t>' + b"x" * 5_000_000 + b"</t></is></c></row>")


# Huge sheets.


def a_value_far_off(path: Path) -> Path:
    return _in_rows(path, b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')


def a_value_far_below(path: Path) -> Path:
    return _in_rows(path, b'<row r="1048576"><c r="A1048576"><v>1</v></c></row>')


def a_row_beyond_all(path: Path) -> Path:
    return _in_rows(path, b'<row r="4294967295"><c r="AAAAAA4294967295"><v>1</v></c></row>')


def a_value_far_off_in_single_quotes(path: Path) -> Path:
    return _in_rows(path, b"<row r='1000000'><c r='XFD1000000'><v>1</v></c></row>")


def a_million_blank_styled_rows(path: Path) -> Path:
    return _in_rows(path, b"".join(b'<row r="%d" s="0" customFormat="1"/>' % n for n in range(5, 1_000_005)))


def a_million_blank_styled_cells(path: Path) -> Path:
    rows = (b'<row r="%d" s="0"><c r="A%d" s="0"/></row>' % (n, n) for n in range(5, 1_000_005))
    return _in_rows(path, b"".join(rows))


def all_columns_styled(path: Path) -> Path:
    letters = [a + b + c for a in ("", *map(chr, range(65, 91))) for b in ("", *map(chr, range(65, 91)))
               for c in map(chr, range(65, 91))]  # fmt: skip
    names = sorted({name for name in letters if len(name) < 3 or name <= "XFD"}, key=lambda name: (len(name), name))
    cells = "".join(f'<c r="{name}9" s="0"/>' for name in names[:16_384])
    return _in_rows(path, f'<row r="9">{cells}</row>'.encode())


def all_columns_filled(path: Path) -> Path:
    return _in_rows(path, b"".join(b"<row>" + b"<c><v>1</v></c>" * 16_384 + b"</row>" for _ in range(20)))


def a_million_rows_of_one_value(path: Path) -> Path:
    return _in_rows(path, b"".join(b'<row r="%d"><c r="B%d"><v>41</v></c></row>' % (n, n) for n in range(5, 1_000_005)))


def more_rows_than_there_are(path: Path) -> Path:
    return _in_rows(path, b"<row/>" * 2_000_000)


def many_sheets(path: Path) -> Path:
    return write_book(path, {"Weights": ANIMALS} | {f"Sheet {n}": [["x"]] for n in range(300)})


def many_parts(path: Path) -> Path:
    with zipfile.ZipFile(path, "a") as package:
        for number in range(6_000):
            package.writestr(f"xl/media/{number}.png", b"")
    return path


def many_styles(path: Path) -> Path:
    more = b'<xf numFmtId="0"/>' * 600_000
    return edit_part(path, lambda xml: xml.replace(b"</cellXfs>", more + b"</cellXfs>"), "xl/styles.xml")


def many_merged_areas(path: Path) -> Path:
    areas = b"".join(b'<mergeCell ref="D%d:E%d"/>' % (n, n) for n in range(10, 100_010))
    merged = b"<mergeCells>" + areas + b"</mergeCells>"
    return edit_part(path, lambda xml: xml.replace(b"</sheetData>", b"</sheetData>" + merged))


def a_wrong_dimension(path: Path) -> Path:
    return edit_part(path, lambda xml: re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:XFD1048576"', xml))


# Odd cells.


def _odd(cell: bytes) -> Callable[[Path], Path]:
    def make(path: Path) -> Path:
        return edit_part(path, lambda xml: re.sub(rb'<c r="B2"[^>]*>.*?</c>', lambda _: cell, xml, flags=re.DOTALL))

    return make


ODD_CELLS = {
    f"cell {number}": _odd(cell)
    for number, cell in enumerate([
        b'<c r="B0"><v>1</v></c>', b'<c r="B-2"><v>1</v></c>', b'<c r="2"><v>1</v></c>', b'<c r="B"><v>1</v></c>',
        b'<c r=""><v>1</v></c>', b'<c r="$B$2"><v>1</v></c>', b'<c r="B2:C9"><v>1</v></c>', b'<c r="A1"><v>1</v></c>',
        b'<c r="B99999999999999999999"><v>1</v></c>', b'<c r="ZZZZZZZZZZZZZZZ2"><v>1</v></c>',
        b'<c r="B2" t="s"><v>99999</v></c>', b'<c r="B2" t="s"><v>-1</v></c>', b'<c r="B2" t="s"><v>x</v></c>',
        b'<c r="B2" t="what"><v>41</v></c>', b'<c r="B2" s="99999"><v>41</v></c>', b'<c r="B2" s="-1"><v>41</v></c>',
        b'<c r="B2"><v>NaN</v></c>', b'<c r="B2"><v>inf</v></c>', b'<c r="B2"><v>-inf</v></c>',
        b'<c r="B2"><v>1e400</v></c>', b'<c r="B2"><v>1e300</v></c>', b'<c r="B2"><v>1e-300</v></c>',
        b'<c r="B2"><v>123456789012345678901234567890</v></c>', b'<c r="B2"><v>-41.5</v></c>',
        b'<c r="B2"><v>41.5.5</v></c>', b'<c r="B2"><v>0x29</v></c>', b'<c r="B2"><v>4_1</v></c>',
        b'<c r="B2" t="d"><v>2026-13-45</v></c>', b'<c r="B2" t="d"><v>9999-12-31</v></c>',
        b'<c r="B2" t="b"><v>7</v></c>', b'<c r="B2" t="e"><v></v></c>', b'<c r="B2" t="e"/>',
        b'<c r="B2"><f>WEBSERVICE("http://localhost/")</f></c>',
        b'<c r="B2"><f>HYPERLINK("file:///etc/passwd")</f><v>41</v></c>',
        b"<c r=\"B2\"><f>[1]Sheet1!$A$1</f><v>41</v></c>", b'<c r="B2"><f>cmd|\' /C calc\'!A0</f><v>41</v></c>',
        b'<c r="B2" t="inlineStr"><is><t>=cmd|\' /C calc\'!A0</t></is></c>',
        b'<c r="B2" t="inlineStr"><is><t>_x0000__x0008_41</t></is></c>',
        b'<c r="B2" t="inlineStr"><is><t>41&#x202E;5</t></is></c>',
        b'<c r="B2" t="inlineStr"><is><t>4\x001</t></is></c>',
        b'<c r="B2" t="inlineStr"><is><t>\xff\xfe</t></is></c>', b'<c r="B2"><v>41</v></c><c r="B2"><v>14</v></c>',
        b'<c r="B2"><v>41</v><v>14</v></c>', b"<c",
        b'<c r="B2"', b"</c>", b"<row><c><v>1</v></c></row>", b"]]>", b"&bad;",
    ], 1)
}  # fmt: skip


def an_outside_link(path: Path) -> Path:
    relation = (
        b'<Relationship Id="rIdX" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" '
        b'Target="file:///etc/passwd" TargetMode="External"/></Relationships>'
    )
    edit_part(path, lambda xml: xml.replace(b"</Relationships>", relation), "xl/_rels/workbook.xml.rels")
    sheet = (
        b'<sheet name="Far" sheetId="99" r:id="rIdX" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/'
    )
    sheet += b'relationships"/></sheets>'
    return edit_part(path, lambda xml: xml.replace(b"</sheets>", sheet), "xl/workbook.xml")


def a_sheet_outside_the_package(path: Path) -> Path:
    return edit_part(
        path, lambda xml: re.sub(rb'Target="[^"]*sheet1.xml"', b'Target="../../../../etc/passwd"', xml),
        "xl/_rels/workbook.xml.rels",
    )  # fmt: skip


# OpenDocument and text.


def _ods(old: bytes, new: bytes, part: str = "content.xml") -> Callable[[Path], Path]:
    def make(path: Path) -> Path:
        ods = write_book(path.with_suffix(".ods"), {"Weights": ANIMALS, "Session": [["Species", "sheep"]]})
        return edit_part(ods, lambda xml: xml.replace(old, new, 1), part)

    return make


_START, _ROW, _END = b"<office:document-content", b"<table:table-row>", b"</table:table>"
_NUMBER = b'<table:table-cell office:value-type="float" office:value="41.5">'
_FAR = _NUMBER.replace(b" office:value-type", b' table:number-columns-repeated="1000000000" office:value-type')
_MIME = b"application/vnd.oasis.opendocument.spreadsheet"
_ONE_CELL = b'<table:table-cell office:value-type="float" office:value="7"/>'


def _row(times: int, cell: bytes) -> bytes:
    return b'<table:table-row table:number-rows-repeated="%d">%b</table:table-row>' % (times, cell)


def _cells(times: int) -> bytes:
    return b'<table:table-cell table:number-columns-repeated="%d"/>' % times


ODS = {
    "ods rows without end": _ods(_ROW, b'<table:table-row table:number-rows-repeated="1000000000">'),
    "ods columns without end": _ods(_NUMBER, _FAR),
    "ods blank rows without end": _ods(_END, _row(2_000_000_000, _cells(2_000_000_000)) + _END),
    "ods blank rows, then a value": _ods(_END, _row(1_000_000_000, _cells(1)) + _row(1, _ONE_CELL) + _END),
    "ods repeated less than once": _ods(_ROW, b'<table:table-row table:number-rows-repeated="-5">'),
    "ods repeated by a word": _ods(_ROW, b'<table:table-row table:number-rows-repeated="many">'),
    "ods repeated texts": _ods(_END, _row(200_000, _ONE_CELL.replace(b"/>", b"><text:p>%b</text:p></table:table-cell>"
                                                                    % (b"x" * 5_000))) + _END),
    "ods of another kind": _ods(_MIME, b"application/vnd.oasis.opendocument.text", "mimetype"),
    "ods mimetype of noise": _ods(_MIME, bytes(range(256)), "mimetype"),
    "ods cut": _ods(_END, b""),
    "ods deep": _ods(_NUMBER, _NUMBER + b"<text:p>" * 100_000 + b"</text:p>" * 100_000),
    "ods entities": _ods(_START, b'<!DOCTYPE a [<!ENTITY b "c">]>' + _START),
    "ods nan": _ods(b'office:value="41.5"', b'office:value="NaN"'),
    "ods huge": _ods(b'office:value="41.5"', b'office:value="1e308"'),
    "ods bad date": _ods(b'float" office:value="41.5"', b'date" office:date-value="2026-99-99"'),
    "ods bad kind": _ods(b'"float" office:value="41.5"', b'"what" office:value="41.5"'),
    "ods table in a cell": _ods(_NUMBER, _NUMBER + b'<table:table table:name="Inner">' + _row(1, _ONE_CELL) + _END),
    "ods two sheets of one name": _ods(b'table:name="Session"', b'table:name="Weights"'),
}  # fmt: skip


def an_xlsx_by_contents(path: Path) -> Path:
    return path.rename(path.with_suffix(".ods"))


def _text(data: bytes) -> Callable[[Path], Path]:
    def make(path: Path) -> Path:
        path.with_suffix(".csv").write_bytes(data)
        return path.with_suffix(".csv")

    return make


CSV = {
    "csv of commas": _text(b"Tag,Weight (kg)\n" + b"," * 30_000_000 + b"\n1,2\n"),
    "csv of lines": _text(b"Tag,Weight (kg)\n" + b"\n" * 40_000_000 + b"1,2\n"),
    "csv of quotes": _text(b'Tag,Weight (kg)\n"' + b'""' * 10_000_000),
    "csv too large": _text(b"Tag,Weight (kg)\n" + b"0412,41.5\n" * 6_000_000),
    "csv of control characters": _text(b"Tag,Weight (kg)\n0412,41.5\x07\x1b[31m\n04\x0b13,43\n\x7f,40\n"),
    "csv with noughts": _text(b"Tag,Weight (kg)\n0412,41\x00.5\n"),
    "csv of noise": _text(bytes(range(256)) * 200),
    "csv of one line": _text(b"Tag;Weight (kg)"),
    "csv of formulas": _text(b"Tag,Weight (kg)\n=1+1,41.5\n@SUM(1),43\n-2+3,40\n\"=HYPERLINK(\"\"http://x\"\")\",44\n"),
}  # fmt: skip


# Odd files.


def a_folder(path: Path) -> Path:
    path.unlink()
    path.mkdir()
    return path


def a_pipe(path: Path) -> Path:
    path.unlink()
    os.mkfifo(path)
    return path


def a_link_to_itself(path: Path) -> Path:
    path.unlink()
    path.symlink_to(path.name)
    return path


def a_link_to_a_device(path: Path) -> Path:
    path.unlink()
    path.symlink_to("/dev/zero")
    return path


def a_huge_file(path: Path) -> Path:
    with path.open("r+b") as file:
        file.truncate(3 * 1024**3)
    return path


def only_the_end_of_a_zip(path: Path) -> Path:
    stream = BytesIO()
    zipfile.ZipFile(stream, "w").close()
    path.write_bytes(stream.getvalue())
    return path


MAKERS = {
    name.replace("_", " "): maker
    for name, maker in list(globals().items())
    if callable(maker) and getattr(maker, "__module__", "") == __name__ and not name.startswith("_")
    and name not in ("parts_of", "write_parts")
} | ODD_CELLS | ODS | CSV  # fmt: skip
