"""What the value reader cannot say: merged areas, hidden sheets, formats and errors, in .xlsx and .ods."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from openpyxl import Workbook
from sheets import edit_part, write_book

from batchdose.read.book import NoValue, open_book
from batchdose.read.ods import scan_ods
from batchdose.read.worksheet import _numbers_up_to, scan_sheet

ROWS = [["Tag", "Weight", "Mob"], ["0412", 41.5, "Hill"], ["0413", 43, "Hill"]]
_CELL = b'<table:table-cell office:value-type="float" office:value="41.5">'
STYLES = (
    '<office:automatic-styles xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0" '
    'xmlns:number="urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0">{}</office:automatic-styles><office:body>'
)


def facts(path):
    return open_book(path).sheets[0].facts


def ods(tmp_path, styles="", change=lambda xml: xml):
    """A small .ods with these automatic styles, and its table changed."""
    path = write_book(tmp_path / "weighing.ods", {"Weights": ROWS})
    whole = STYLES.format(styles).encode()
    return edit_part(path, lambda xml: change(xml.replace(b"<office:body>", whole)), "content.xml")


def test_merged_areas_of_an_xlsx(tmp_path):
    book = Workbook()
    book.active.append(["Weighing of ewes"])
    book.active.merge_cells("A1:C1")
    book.active.merge_cells("B3:B4")
    book.save(tmp_path / "weighing.xlsx")
    assert facts(tmp_path / "weighing.xlsx").merged == [(0, 0, 0, 2), (2, 1, 3, 1)]


def test_merged_areas_of_an_ods(tmp_path):
    spanned = _CELL.replace(b" office", b' table:number-columns-spanned="2" table:number-rows-spanned="3" office', 1)
    path = ods(tmp_path, change=lambda xml: xml.replace(_CELL, spanned))
    assert facts(path).merged == [(1, 1, 3, 2)]


@pytest.mark.parametrize("state", ["visible", "hidden", "veryHidden"])
def test_a_hidden_sheet_of_an_xlsx(tmp_path, state):
    book = Workbook()
    sheet = book.create_sheet("Old weights")
    sheet.append(["Tag"])
    sheet.sheet_state = state
    book.save(tmp_path / "weighing.xlsx")
    seen = {sheet.name: sheet.facts.concealed for sheet in open_book(tmp_path / "weighing.xlsx").sheets}
    assert seen == {"Sheet": False, "Old weights": state != "visible"}


@pytest.mark.parametrize(("display", "concealed"), [("true", False), ("false", True)])
def test_a_hidden_sheet_of_an_ods(tmp_path, display, concealed):
    style = (
        f'<style:style style:name="ta1" style:family="table"><style:table-properties table:display="{display}"/>'
        "</style:style>"
    )
    named = b'table:name="Weights" table:style-name="ta1"'
    path = ods(tmp_path, style, lambda xml: xml.replace(b'table:name="Weights"', named))
    assert facts(path).concealed is concealed


IN_POUNDS = """<number:number-style style:name="N1"><number:number number:decimal-places="1"/>
<number:text> lb</number:text></number:number-style>"""
ZEROS = '<number:number-style style:name="N1"><number:number number:min-integer-digits="4"/></number:number-style>'
PERCENT = """<number:percentage-style style:name="N1"><number:number/><number:text>%</number:text>
</number:percentage-style>"""
CELL_STYLE = '<style:style style:name="ce1" style:family="table-cell" style:data-style-name="N1"/>'
CHILD = '<style:style style:name="ce2" style:family="table-cell" style:parent-style-name="ce1"/>'


@pytest.mark.parametrize(("style", "code"), [(IN_POUNDS, '0.0" lb"'), (ZEROS, "0000"), (PERCENT, "0%")])
@pytest.mark.parametrize("name", [b"ce1", b"ce2"])
def test_formats_of_an_ods_that_change_what_a_number_means(tmp_path, style, code, name):
    styled = _CELL.replace(b" office", b' table:style-name="' + name + b'" office', 1)
    path = ods(tmp_path, style + CELL_STYLE + CHILD, lambda xml: xml.replace(_CELL, styled))
    assert facts(path).formats == {(1, 1): code}


def test_a_cell_of_an_ods_takes_the_format_of_its_column(tmp_path):
    columns = (
        b'<table:table-column/><table:table-column table:default-cell-style-name="ce1"/>'
        b'<table:table-column table:number-columns-repeated="9"/><table:table-row>'
    )
    path = ods(tmp_path, IN_POUNDS + CELL_STYLE, lambda xml: xml.replace(b"<table:table-row>", columns, 1))
    assert facts(path).formats == {(1, 1): '0.0" lb"', (2, 1): '0.0" lb"'}


def test_leading_zeros_that_only_the_format_of_an_ods_shows_are_kept(tmp_path):
    tagged = b'<table:table-cell table:style-name="ce1" office:value-type="float" office:value="412"><text:p>'
    path = ods(
        tmp_path, ZEROS + CELL_STYLE,
        lambda xml: xml.replace(b'<table:table-cell office:value-type="string"><text:p>0412', tagged + b"0412"),
    )  # fmt: skip
    assert open_book(path).sheets[0].rows[1][0] == "0412"


@pytest.mark.parametrize("shown", ["#DIV/0!", "#N/A", "Err:502", "#VALUE!"])
def test_an_error_of_an_ods_is_known_by_what_it_shows(tmp_path, shown):
    cell = f'<table:table-cell office:value-type="float" office:value="0"><text:p>{shown}</text:p>'.encode()
    path = ods(tmp_path, change=lambda xml: re.sub(_CELL + b"<text:p>41.5</text:p>", cell, xml))
    assert open_book(path).sheets[0].rows[1][1] == NoValue(shown, "shows an error")


def test_a_note_on_a_cell_of_an_ods_is_not_its_value(tmp_path):
    note = _CELL + b"<office:annotation><text:p>#DIV/0!</text:p></office:annotation>"
    path = ods(tmp_path, change=lambda xml: xml.replace(_CELL, note))
    assert open_book(path).sheets[0].rows[1] == ["0412", 41.5, "Hill"]


def test_a_formula_of_an_ods_never_calculated_is_no_blank(tmp_path):
    cell = b'<table:table-cell table:formula="of:=[.B3]"/>'
    path = ods(tmp_path, change=lambda xml: re.sub(_CELL + b".*?</table:table-cell>", cell, xml))
    assert open_book(path).sheets[0].rows[1][1] == NoValue("a formula", "holds a formula that was never calculated")


def test_repeated_errors_stand_in_every_place(tmp_path):
    cell = (
        b'<table:table-cell table:number-columns-repeated="2" calcext:value-type="error" office:value-type="string" '
        b'office:string-value=""><text:p>#N/A</text:p></table:table-cell>'
    )
    path = ods(tmp_path, change=lambda xml: re.sub(_CELL + b".*?</table:table-cell>", cell, xml))
    assert set(facts(path).errors) == {(1, 1), (1, 2)}


@pytest.mark.parametrize("kind", ["nan", "inf", "-inf", "1e400"])
@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_what_is_no_number_is_no_weight(tmp_path, ending, kind):
    path = write_book(tmp_path / f"weighing{ending}", {"Weights": ROWS})
    part, old, new = {
        ".xlsx": ("xl/worksheets/sheet1.xml", b"<v>41.5</v>", f"<v>{kind}</v>"),
        ".ods": ("content.xml", b'office:value="41.5"', f'office:value="{kind}"'),
    }[ending]
    edit_part(path, lambda xml: xml.replace(old, new.encode()), part)
    cell = open_book(path).sheets[0].rows[1][1]
    assert cell is None or isinstance(cell, NoValue)
    assert ending == ".ods" or cell.problem == "is no number"


# The quick search and the walk through every cell see the same.

CELLS = [
    b'<c r="A2" t="s"><v>0</v></c>', b'<c r="B2"><v>41.5</v></c>', b'<c r="C2" s="3"><v>0.5</v></c>',
    b'<c r="D2" t="e"><v>#N/A</v></c>', b'<c r="E2"><f>B2</f></c>', b'<c r="F2" s="3"><f>B2</f><v>3</v></c>',
    b'<c r="G2" s="3"/>', b'<c r="H2" t="str"><f>T(A2)</f><v></v></c>', b'<c r="I2" t="b"><v>1</v></c>',
    b'<c r="J2" s="3" t="str"><f t="shared" si="0"/><v>x</v></c>', b'<c r="K2"><f t="shared" si="0"/></c>',
    b'<c r="L2" t="inlineStr"><is><t>x</t></is></c>',
]  # fmt: skip


def whole_sheet(cells, row=b'<row r="2" hidden="1">'):
    merged = b'</row></sheetData><mergeCells><mergeCell ref="A1:B3"/></mergeCells></worksheet>'
    return b'<worksheet><cols><col min="2" max="3" hidden="1"/></cols><sheetData>' + row + b"".join(cells) + merged


def test_quick_and_thorough_scans_agree():
    sheet = whole_sheet(CELLS)
    quoted = re.sub(rb"<(?:c|row) [^>]*>", lambda tag: tag[0].replace(b'"', b"'"), sheet)
    quick, thorough = (scan_sheet(xml, {b"3": "0%"}, [4]) for xml in (sheet, quoted))
    assert replace(quick, numbers=thorough.numbers, characters=thorough.characters) == thorough
    assert quick.numbers <= thorough.numbers == 3
    assert min(quick.characters, thorough.characters) >= 4
    assert quick.errors == {(1, 3): "#N/A"}
    assert quick.uncalculated == {(1, 4), (1, 10)}
    assert quick.formats == {(1, 2): "0%", (1, 5): "0%"}
    assert (quick.hidden_rows, quick.hidden_columns) == ({1}, {1, 2})
    assert (quick.merged, quick.reach, quick.formulas) == ([(0, 0, 2, 1)], (2, 12), True)


@pytest.mark.parametrize("number", [1, 9, 10, 99, 100, 4321, 100_001, 250_000])
def test_the_pattern_of_row_numbers_is_close(number):
    pattern = _numbers_up_to(number)
    taken = [n for n in range(1, number * 2 + 20) if re.fullmatch(pattern, str(n).encode())]
    assert taken[:number] == list(range(1, number + 1))
    assert len(taken) <= max(9, number * 1.1)


def test_blank_formatted_cells_far_off_do_not_count():
    far = b'<c r="XFD250000" s="1"/>'
    assert scan_sheet(whole_sheet([*CELLS, far]), {}, []).reach == (2, 12)


def _cells_of_an_ods(short):
    """Cells of an .ods from their short form: `<c number="7"/>`."""
    value = r'office:value-type="float" office:value="\1"'
    whole = re.sub(r'number="(\w+)"', value, short).replace("columns-", "table:number-columns-")
    return whole.replace("<c", "<table:table-cell").replace("</c>", "</table:table-cell>").replace("TEXT", TEXT_TYPE)


TEXT_TYPE = 'office:value-type="string"'
SHARE_TYPE = 'office:value-type="percentage" office:value="0.5"'
ODS_ROWS = [
    _cells_of_an_ods(short)
    for short in (
        "", "<c/>", '<c columns-repeated="16384"/>', '<c number="7"/><c columns-repeated="9"/>',
        '<c columns-repeated="3"/><c/><c TEXT><text:p>x &amp; y</text:p></c>', '<c number="7" columns-repeated="4"/>',
        '<c table:style-name="ce1" number="7"/>', f"<c {SHARE_TYPE}><text:p>50%</text:p></c>",
        '<c columns-spanned="2" TEXT><text:p>x</text:p></c>', '<c table:formula="of:=1"/>',
        '<c office:value-type="date" office:date-value="2026-06-01"><text:p>1.6.</text:p></c>',
    )
]  # fmt: skip


@pytest.mark.parametrize("first", [*ODS_ROWS, "".join(ODS_ROWS[3:])])
def test_short_and_whole_rows_of_an_ods_agree(tmp_path, first):
    rows = "".join(f"<table:table-row>{cells}</table:table-row>" for cells in (first, *ODS_ROWS[3:]))
    styled = STYLES.format(IN_POUNDS + CELL_STYLE).encode()
    path = write_book(tmp_path / "weighing.ods", {"Weights": ROWS})
    edit_part(path, lambda xml: xml.replace(b"<office:body>", styled), "content.xml")
    edit_part(path, lambda xml: xml.replace(b"</table:table>", rows.encode() + b"</table:table>"), "content.xml")
    short = scan_ods(path.read_bytes())["Weights"]
    edit_part(path, lambda xml: xml.replace(b"<table:table ", b"<!-- read whole --><table:table "), "content.xml")
    whole = scan_ods(path.read_bytes())["Weights"]
    assert replace(short, numbers=whole.numbers, characters=whole.characters, reach=whole.reach) == whole
    assert 0 < short.numbers <= whole.numbers
    assert short.characters >= whole.characters
    assert all(ours >= theirs for ours, theirs in zip(short.reach, whole.reach, strict=True))
    assert short.formats
