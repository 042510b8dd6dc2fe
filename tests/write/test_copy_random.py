"""Random sheets: cells put in and taken out again leave the original, whatever gaps and formats there are."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from copies import columns, decoded, donor, own_columns, parts, sheet_part, without_ours
from corpus import SHEET, SHEET_PART, edited, plain
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.utils import get_column_letter

from batchdose.write.earlier import Animals
from batchdose.write.graft import Column, graft
from batchdose.write.ranges import area
from batchdose.write.xmltext import XmlText

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
WIDE, HEADER_ROW, FIRST = 4, 3, 4

cell_values = st.sampled_from(
    [
        "<v>{n}</v>", "<f>A1*{n}</f><v>{n}</v>", "", '" t="inlineStr"><is><t>a &gt; b</t></is>',
        '" t="str"><f>"x"</f><v>x</v>', '" t="e"><v>#N/A</v>', '" t="b"><v>1</v>',
        '" t="inlineStr"><is><r><rPr><color rgb="FF00FF00"/><family val="2"/></rPr><t>c</t></r></is>',
    ]
)  # fmt: skip


@st.composite
def row_of_cells(draw: st.DrawFn, number: int) -> str:
    """A row: missing, self-closed, without references, or with gaps, formats and cells right of the headings."""
    kind = draw(st.sampled_from(["missing", "closed", "bare", "cells", "cells", "cells"]))
    height = draw(st.sampled_from(["", ' ht="20" customHeight="1"', ' hidden="1"', ' s="1" customFormat="1"']))
    if kind == "missing":
        return ""
    if kind == "closed":
        return f'<row r="{number}"{height}/>'
    if kind == "bare":
        cells = "".join(f"<c><v>{at}</v></c>" for at in range(draw(st.integers(0, WIDE))))
        return f'<row r="{number}">{cells}</row>'
    filled = draw(st.sets(st.integers(1, WIDE)))
    beyond = draw(st.sets(st.integers(WIDE + 1, WIDE + 9), max_size=2))
    text = "".join(
        _cell(get_column_letter(at), number, draw(cell_values), draw(st.integers(0, 3)))
        for at in sorted(filled | beyond)
    )
    return f'<row r="{number}" spans="1:{WIDE}"{height}>{text}</row>'


def _cell(letter: str, number: int, content: str, style: int) -> str:
    start = f'<c r="{letter}{number}" s="{style}'
    if not content:
        return f'{start}"/>'
    content = content.replace("{n}", str(number))
    return f"{start}{content}</c>" if content.startswith('"') else f'{start}">{content}</c>'


@st.composite
def sheets(draw: st.DrawFn) -> bytes:
    """The part of a sheet with headings in row 3 and random rows, widths and merged areas."""
    heads = "".join(
        f'<c r="{get_column_letter(at)}{HEADER_ROW}" t="inlineStr"><is><t>Head {at}</t></is></c>'
        for at in range(1, WIDE + 1)
    )
    rows = "".join(draw(row_of_cells(number)) for number in range(FIRST, FIRST + draw(st.integers(1, 8))))
    cols = draw(
        st.sampled_from(
            ["", '<cols><col min="2" max="3" width="9" style="1"/></cols>',
             '<cols><col min="1" max="1" width="12" customWidth="1"/><col min="5" max="16384" hidden="1"/></cols>',
             '<cols><col min="3" max="7" outlineLevel="1" width="9"/></cols>']
        )
    )  # fmt: skip
    merged = draw(st.sampled_from(["", "A1:Z1", "F5:G5", "A6:A7"]))
    merges = f'<mergeCells count="1"><mergeCell ref="{merged}"/></mergeCells>' if merged else ""
    dimension = draw(st.sampled_from(["", '<dimension ref="A1:D9"/>', '<dimension ref="A1"/>']))
    xml = (
        f'<?xml version="1.0"?>\n<worksheet xmlns="{MAIN[1:-1]}">{dimension}{cols}<sheetData>'
        f'<row r="{HEADER_ROW}">{heads}</row>{rows}</sheetData>{merges}</worksheet>'
    )
    if draw(st.booleans()):
        xml = re.sub(r"<(/?)(?![?!])([A-Za-z]+)(?=[\s/>])", r"<\1x:\2", xml).replace("xmlns=", "xmlns:x=", 1)
    return xml.encode(draw(st.sampled_from(["utf-8", "utf-16"])))


def cells_of(xml: bytes) -> dict[tuple[int, int], str]:
    """Filled cells by row and column, as a parser of XML sees them."""
    found = {}
    number = 0
    for row in ElementTree.fromstring(xml).iter(f"{MAIN}row"):  # noqa: S314 - our own sheet
        number, column = int(row.get("r", number + 1)), 0
        for cell in row:
            column = area(cell.get("r", ""))[1] if cell.get("r") else column + 1
            if len(cell):
                found[number, column] = ElementTree.tostring(cell, encoding="unicode")
    return found


def puts(rows: list[int], given_to: set[int]) -> list[Column]:
    return [Column(column.heading, [row if row in given_to else None for row in rows], 14) for column in columns()]


BASE = plain()
SHEETS = donor()


@given(sheets(), st.sets(st.integers(FIRST, FIRST + 9)), st.sets(st.integers(FIRST, FIRST + 9)))
def test_cells_put_in_and_taken_out_leave_the_original(xml, some, others):
    source = edited(BASE, {SHEET_PART: lambda _: xml})
    rows = list(range(FIRST, FIRST + 10))
    animals = Animals(HEADER_ROW, 1, [f"Head {at}" for at in range(1, WIDE + 1)], rows)
    copy, _ = graft(source, SHEET, animals, puts(rows, some), SHEETS)
    own = own_columns(copy)
    before, after = parts(source)[SHEET_PART], parts(copy)[sheet_part(copy)]
    assert without_ours(decoded(after), decoded(before), own) == without_ours(decoded(before), decoded(before), own)
    theirs, all_now = cells_of(before), cells_of(after)
    assert {at: cell for at, cell in all_now.items() if at[1] not in own} == theirs
    assert {row for row, column in all_now if column in own} == {HEADER_ROW, *some}
    assert graft(copy, SHEET, animals, puts(rows, some), SHEETS)[0] == copy
    again = cells_of(parts(graft(copy, SHEET, animals, puts(rows, others), SHEETS)[0])[SHEET_PART])
    assert {row for row, column in again if column in own} == {HEADER_ROW, *others}
    assert {at: cell for at, cell in again.items() if at[1] not in own} == theirs


@given(sheets())
def test_edits_undone_give_the_bytes_back(xml):
    text = XmlText(SHEET_PART, xml, "worksheet")
    data = text.need("sheetData")
    text.set_attribute(data, "a", "<\"'")
    text.add_inside(data, "sheetData", "<{}row/>")
    changed = text.data()
    assert changed != xml
    text.edits.clear()
    assert text.data() == xml


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_known_by_its_first_bytes(codec):
    xml = f'<?xml version="1.0" encoding="UTF-16"?><worksheet xmlns="{MAIN[1:-1]}"/>'.encode(codec)
    assert XmlText("part", xml, "worksheet").data() == xml
