"""Workbooks of every accepted kind to the same cells; what cannot be trusted is refused in one sentence."""

from __future__ import annotations

import random
import re
import shutil
import subprocess
import zipfile
from datetime import date, datetime, time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from sheets import edit_part, put_cell, table, write_book

from batchdose import UnusableInputError
from batchdose.read.book import NoValue, open_book

WEIGHTS = """
Tag  | Weight (kg) | Mob
0412 | 41.5        | Hill
0413 | 43          | Hill
0414 |             | Hill
"""
ROWS = table(WEIGHTS)
DIVIDED = NoValue("#DIV/0!", "shows an error")
UNCALCULATED = NoValue("a formula", "holds a formula that was never calculated")
OLE_FILE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def rows(path):
    return open_book(path).sheets[0].rows


def refusal(path):
    """The sentence with which a workbook is refused."""
    with pytest.raises(UnusableInputError) as refused:
        open_book(path)
    text = str(refused.value)
    assert text.startswith(f"{path.name}: ")
    assert "\n" not in text
    return text


@pytest.fixture
def weighing(tmp_path):
    return write_book(tmp_path / "weighing.xlsx", {"Weights": WEIGHTS})


# Kinds of workbook.


@pytest.mark.parametrize("ending", [".xlsx", ".xlsm", ".XLSX", ".ods"])
def test_every_kind_gives_the_same_cells(tmp_path, ending):
    book = open_book(write_book(tmp_path / f"weighing{ending}", {"Weights": WEIGHTS, "Session": "Species | sheep"}))
    assert [sheet.name for sheet in book.sheets] == ["Weights", "Session"]
    assert book.sheets[0].rows == ROWS
    assert book.kind == ending.lower()


def test_an_ods_of_libreoffice_gives_the_same_cells(tmp_path):
    if not shutil.which("soffice"):
        pytest.skip("LibreOffice (soffice) is not installed, so no .ods of its making can be read")
    written = [["Tag", "Weight (kg)", "Born", "Time"], ["0412", 41.5, date(2026, 3, 1), time(9, 30)], ["0413", "=1/0"]]
    source = write_book(tmp_path / "weighing.xlsx", {"Weights": written})
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    subprocess.run(
        ["soffice", profile, "--headless", "--convert-to", "ods", "--outdir", tmp_path, source],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    heading, first, second = rows(tmp_path / "weighing.ods")
    assert (heading, first) == (written[0], written[1])
    assert second[:2] == ["0413", DIVIDED]


@pytest.mark.parametrize(
    ("delimiter", "weight"), [(",", "41.5"), (";", "41.5"), ("\t", "41.5"), (";", "41,5"), ("\t", "41,5")]
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_csv_delimiter_and_encoding_are_found_out(tmp_path, delimiter, weight, encoding):
    path = tmp_path / "weighing.csv"
    lines = (["Tag", "Weight (kg)", "Mob"], ["0412", weight, "Hügel"])
    path.write_bytes("\n".join(delimiter.join(line) for line in lines).encode(encoding))
    assert open_book(path).sheets[0].name == "weighing"
    assert rows(path) == list(lines)


@pytest.mark.parametrize(
    "text",
    [
        "Tag;Weight (kg)\n0412;62,5\n0413;63,5\n",  # as many commas as semicolons in each line
        "Tag;Weight (kg);Note\n0412;62,5;lame, left, fore\n0413;63;\n",
        "Weighed in the yard, hill, 13 March, dry\n\nTag;Weight (kg)\n0412;62,5\n",
    ],
)
def test_commas_in_weights_and_notes_do_not_hide_the_semicolons(tmp_path, text):
    path = tmp_path / "weighing.csv"
    path.write_text(text, encoding="utf-8")
    assert ["0412", "62,5"] in [row[:2] for row in rows(path)]


def test_semicolons_in_notes_do_not_hide_the_commas(tmp_path):
    path = tmp_path / "weighing.csv"
    path.write_text("Tag,Weight (kg),Note\n0412,62.5,lame; left; fore; hoof\n", encoding="utf-8")
    assert rows(path)[1] == ["0412", "62.5", "lame; left; fore; hoof"]


def test_csv_cells_in_quotes(tmp_path):
    path = tmp_path / "weighing.csv"
    path.write_text('Tag,Weight (kg),Note\n0412,"62,5","lame, ""left"" fore"\n', encoding="utf-8")
    assert rows(path)[1] == ["0412", "62,5", 'lame, "left" fore']


CELLS = st.none() | st.integers(-(10**14), 10**14) | st.text("aé0 ,;'=&<>\u00b5|", max_size=5).filter(str.strip)


@given(st.lists(st.lists(CELLS, min_size=1, max_size=5), min_size=1, max_size=6))
@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_any_cells_come_back_in_their_places(tmp_path_factory, ending, sheet):
    path = write_book(tmp_path_factory.getbasetemp() / f"any{ending}", {"Weights": [["Tag"], *sheet]})
    if ending == ".xlsx":  # a formula typed into a sheet is not a text
        sheet = [
            [UNCALCULATED if isinstance(c, str) and c[0] == "=" and len(c) > 1 else c for c in row] for row in sheet
        ]
    read = rows(path)[1:]
    for row, line in enumerate(sheet):
        for column, cell in enumerate(line):
            got = read[row][column] if row < len(read) and column < len(read[row]) else None
            assert got == cell if not isinstance(cell, str) else got.strip() == cell.strip()


def test_leading_zeros_that_only_the_format_shows_are_kept(tmp_path):
    path = tmp_path / "weighing.xlsx"
    book = Workbook()
    for row in (["Tag", "Weight (kg)"], [412, 41.5], [7, 45]):
        book.active.append(row)
    book.active["A2"].number_format = book.active["A3"].number_format = "0000"
    book.save(path)
    assert [row[0] for row in rows(path)] == ["Tag", "0412", "0007"]


def test_dates_numbers_and_blanks_keep_their_kind_and_place(tmp_path):
    written = [
        [None, None, None],
        [None, "Tag", "EID", "Born"],
        [None, "0412", 982000100000000, datetime(2026, 3, 1)],  # noqa: DTZ001 - as a sheet keeps a date
        [None, " ", 0, True],
    ]
    read = rows(write_book(tmp_path / "weighing.xlsx", {"Weights": written}))
    assert read[1][1:] == ["Tag", "EID", "Born"]
    assert read[2][1:3] == ["0412", 982000100000000]
    assert (read[2][3].year, read[2][3].month, read[2][3].day) == (2026, 3, 1)
    assert read[3] == [None, None, 0, True]


def test_a_sheet_is_found_by_name_whatever_its_case(tmp_path):
    book = open_book(write_book(tmp_path / "weighing.xlsx", {"Weights": WEIGHTS, "SESSION ": "Species | sheep"}))
    assert book.sheet_named("Session").rows == [["Species", "sheep"]]
    assert book.sheet_named("Stock") is None


def test_the_hash_is_that_of_the_bytes(weighing):
    first = open_book(weighing).source
    assert first == open_book(weighing).source
    assert re.fullmatch(r"[0-9a-f]{64}", first.sha256)
    edit_part(weighing, lambda xml: xml.replace(b"41.5", b"41.6"))
    assert open_book(weighing).source.sha256 != first.sha256


# Cells that show no value must never read as "not weighed".


@pytest.mark.parametrize("code", ["#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#NULL!"])
def test_an_error_cell_is_no_blank(weighing, code):
    put_cell(weighing, "B2", f'<c r="B2" t="e"><v>{code}</v></c>')
    assert rows(weighing)[1] == ["0412", NoValue(code, "shows an error"), "Hill"]


@pytest.mark.parametrize(
    "xml",
    [
        '<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v></c>',
        '<c r="B2" s="0" t="e"><v>#DIV/0!</v></c>',
        "<c r='B2' t='e'><v>#DIV/0!</v></c>",
        '<c t="e" r="B2"><v>#DIV/0!</v></c>',
        '<c r="B2" t="e" ><f aca="false">1/0</f><v>#DIV/0!</v></c>',
        '<c\n r="B2"\n t="e"><v>#DIV/0!</v></c>',
    ],
)
def test_an_error_cell_is_seen_however_it_is_written(weighing, xml):
    put_cell(weighing, "B2", xml)
    assert rows(weighing)[1][1] == DIVIDED


def test_an_error_cell_beyond_the_last_value_is_seen(weighing):
    edit_part(
        weighing,
        lambda xml: xml.replace(b"</sheetData>", b'<row r="9"><c r="E9" t="e"><v>#DIV/0!</v></c></row></sheetData>'),
    )
    assert rows(weighing)[8][4] == DIVIDED


@pytest.mark.parametrize("formula", ["=B3+1", "=SUM(B3:B4)", '=IF(A2="","",1)'])
def test_a_formula_never_calculated_is_no_blank(tmp_path, formula):
    path = write_book(tmp_path / "weighing.xlsx", {"Weights": [ROWS[0], ["0412", formula, "Hill"]]})
    assert rows(path)[1] == ["0412", UNCALCULATED, "Hill"]


@pytest.mark.parametrize(
    ("xml", "value"),
    [
        ('<c r="B2"><f>B3</f><v>43</v></c>', 43),
        ('<c r="B2" t="str"><f>TEXT(B3,"0")</f><v>43</v></c>', "43"),
        ('<c r="B2" t="str"><f>IF(A9="","",1)</f><v></v></c>', None),  # calculated, and its result is no text
        ('<c r="B2" t="str"><f>IF(A9="","",1)</f><v/></c>', None),
        ('<c r="B2" t="inlineStr"><is><r><rPr><family val="2"/></rPr><t>43</t></r></is></c>', "43"),
        ('<c r="B2"><v></v></c>', None),
        ('<c r="B2"/>', None),
        ('<c r="B2" s="0"></c>', None),
    ],
)
def test_a_calculated_formula_and_formatted_text_are_their_value(weighing, xml, value):
    put_cell(weighing, "B2", xml)
    assert rows(weighing)[1] == ["0412", value, "Hill"]


def test_marks_find_their_cells_where_cells_carry_no_reference(weighing):
    put_cell(weighing, "B3", '<c r="B3" t="e"><v>#DIV/0!</v></c>')
    edit_part(weighing, lambda xml: re.sub(rb' r="[A-Z]*\d+"', b"", xml))
    assert rows(weighing)[1] == ["0412", 41.5, "Hill"]
    assert rows(weighing)[2] == ["0413", DIVIDED, "Hill"]


def test_a_comment_in_the_sheet_is_no_cell(weighing):
    comment = b'<sheetData><!-- <c r="B2" t="e"><v>#DIV/0!</v></c> -->'
    edit_part(weighing, lambda xml: xml.replace(b"<sheetData>", comment))
    assert rows(weighing) == ROWS


def test_cells_with_a_prefix_are_scanned_too(weighing):
    put_cell(weighing, "B2", '<c r="B2" t="e"><v>#DIV/0!</v></c>')

    def prefixed(xml):
        return re.sub(rb"<(/?)(?![?!])", rb"<\1x:", xml).replace(b"xmlns=", b"xmlns:x=")

    edit_part(weighing, prefixed)
    try:
        assert rows(weighing)[1][1] == DIVIDED
    except UnusableInputError:
        return  # refused is as good: nothing was misread


def test_an_error_in_an_ods_is_no_blank(tmp_path):
    path = write_book(tmp_path / "weighing.ods", {"Weights": WEIGHTS})
    error = (
        b'<table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value="" '
        b'calcext:value-type="error"><text:p>#DIV/0!</text:p></table:table-cell>'
    )
    cell = rb'<table:table-cell office:value-type="float" office:value="41.5">.*?</table:table-cell>'
    edit_part(path, lambda xml: re.sub(cell, error, xml), part="content.xml")
    assert rows(path)[1] == ["0412", DIVIDED, "Hill"]


# What cannot be read whole is refused.


def test_a_sheet_in_utf16_is_refused_since_its_numbers_read_as_blanks(weighing):
    edit_part(weighing, lambda xml: ('<?xml version="1.0" encoding="UTF-16"?>' + xml.decode()).encode("utf-16"))
    assert 'Only 0 of 2 numbers on sheet "Weights" could be read' in refusal(weighing)


@pytest.mark.parametrize("part", ["xl/worksheets/sheet1.xml", "xl/workbook.xml"])
def test_a_document_type_is_refused(weighing, part):
    bomb = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'

    def armed(xml):
        return bomb + re.sub(rb"^<\?xml[^>]*\?>", b"", xml)

    edit_part(weighing, armed, part)
    assert "document type" in refusal(weighing)


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_a_package_that_unpacks_to_too_much_is_refused(tmp_path, ending):
    path = write_book(tmp_path / f"weighing{ending}", {"Weights": WEIGHTS})
    with zipfile.ZipFile(path, "a") as package:
        package.writestr("media/huge.bin", b"")
    data = bytearray(path.read_bytes())
    entry = data.rindex(b"PK\x01\x02")  # the last entry of the directory; its unpacked size stands at byte 24
    data[entry + 24 : entry + 28] = (300 * 1024 * 1024).to_bytes(4, "little")
    path.write_bytes(data)
    assert "200 MB" in refusal(path)


def test_a_password_protected_workbook_is_refused(tmp_path):
    path = tmp_path / "weighing.xlsx"
    path.write_bytes(OLE_FILE + bytes(504) + "EncryptedPackage".encode("utf-16-le") + bytes(500))
    assert "password" in refusal(path)


def test_a_password_protected_ods_is_refused(tmp_path):
    path = write_book(tmp_path / "weighing.ods", {"Weights": WEIGHTS})
    locked = (
        b'<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml" manifest:size="999">'
        b'<manifest:encryption-data manifest:checksum-type="SHA1/1K" manifest:checksum="x"/></manifest:file-entry>'
        b"</manifest:manifest>"
    )
    edit_part(path, lambda xml: xml.replace(b"</manifest:manifest>", locked), "META-INF/manifest.xml")
    assert "password" in refusal(path)


def test_a_package_whose_parts_are_locked_is_refused(weighing):
    data = bytearray(weighing.read_bytes())
    for mark, flags in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        for entry in re.finditer(re.escape(mark), bytes(data)):
            data[entry.start() + flags] |= 1
    weighing.write_bytes(data)
    assert "password" in refusal(weighing)


def test_an_old_workbook_is_refused_whatever_its_ending(tmp_path):
    path = tmp_path / "weighing.xlsx"
    path.write_bytes(OLE_FILE + bytes(1000))
    assert "old .xls" in refusal(path)
    path = path.with_suffix(".xls")
    path.write_bytes(OLE_FILE + bytes(1000))
    assert "Save it as .xlsx" in refusal(path)


@pytest.mark.parametrize("name", ["weighing.doc", "weighing.pdf", "weighing.xlsb", "weighing", "weighing.txt"])
def test_a_file_of_another_kind_is_refused(tmp_path, name):
    (tmp_path / name).write_bytes(b"anything")
    assert "not a workbook that can be read" in refusal(tmp_path / name)


@pytest.mark.parametrize("ending", [".xlsx", ".xlsm", ".ods", ".csv"])
def test_an_empty_file_and_a_missing_one_are_refused(tmp_path, ending):
    path = tmp_path / f"weighing{ending}"
    assert "no such file" in refusal(path)
    path.write_bytes(b" \n")
    assert "empty" in refusal(path)


def test_a_folder_is_refused(tmp_path):
    (tmp_path / "weighing.xlsx").mkdir()
    assert "cannot be opened" in refusal(tmp_path / "weighing.xlsx")


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
@pytest.mark.parametrize("content", [b"Tag,Weight\n0412,41.5\n", b"PK\x03\x04 torn off", b"\x00" * 99], ids=str)
def test_what_is_no_workbook_inside_is_refused(tmp_path, ending, content):
    path = tmp_path / f"weighing{ending}"
    path.write_bytes(content)
    assert "cannot be read" in refusal(path)


def test_a_text_that_is_no_text_is_refused(tmp_path):
    path = tmp_path / "weighing.csv"
    path.write_bytes(bytes(range(256)))
    assert "cannot be read" in refusal(path)


def _cut(data: bytes) -> bytes:
    return data[: len(data) // 2]


def _scratched(data: bytes) -> bytes:
    """Bytes in the middle of the first sheet's packed text overwritten."""
    at = data.index(b"xl/worksheets/sheet1.xml") + 60
    return data[:at] + bytes(byte ^ 0xFF for byte in data[at : at + 40]) + data[at + 40 :]


@pytest.mark.parametrize("damage", [_cut, _scratched])
def test_a_damaged_package_is_refused(weighing, damage):
    weighing.write_bytes(damage(weighing.read_bytes()))
    assert "damaged" in refusal(weighing)


@pytest.mark.parametrize(
    "change",
    [
        lambda xml: xml[: len(xml) // 2],
        lambda xml: xml.replace(b'r="B2"', b'r="B"'),
        lambda xml: xml.replace(b'r="B2"', b'r="2"'),
        lambda xml: xml.replace(b'<c r="B2" t="n"><v>41.5', b'<c r="B2" t="e"><v>\xff\xfe'),
        lambda xml: b'<?xml version="1.0" encoding="none-such"?>' + xml,
        lambda xml: xml.replace(b"</sheetData>", b"</sheetDate>"),
        lambda _: b"",
    ],
    ids=["cut", "no row", "no column", "no text", "unknown encoding", "wrong end", "empty"],
)
def test_a_damaged_sheet_is_refused_or_read_right(weighing, change):
    edit_part(weighing, change)
    try:
        read = rows(weighing)
    except UnusableInputError:
        return
    assert read == ROWS


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """Bytes of a sound workbook, and a place for damaged copies of it."""
    path = write_book(tmp_path_factory.mktemp("damaged") / "weighing.xlsx", {"Weights": WEIGHTS})
    return path.read_bytes(), path


@settings(max_examples=120)
@given(seed=st.integers(0, 10**6))
def test_no_damage_ends_in_anything_but_a_refusal(sound, seed):
    data, path = bytearray(sound[0]), sound[1]
    chance = random.Random(seed)  # noqa: S311 - damage, no secret
    for _ in range(chance.randint(1, 8)):
        data[chance.randrange(len(data))] = chance.randrange(256)
    path.write_bytes(data[: chance.randint(len(data) // 2, len(data))] if chance.random() < 0.2 else data)
    try:
        open_book(path)
    except UnusableInputError as refused:
        assert "\n" not in str(refused)  # noqa: PT017 - a damaged copy may also still be readable
