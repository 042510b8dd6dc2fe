"""The copy of the user's workbook, for every feature of the corpus: what is not ours is as it was."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from io import BytesIO
from xml.parsers import expat

import corpus_parts  # noqa: F401 - adds its features
import pytest
from copies import (
    CLEAR,
    ROWS,
    columns,
    copied,
    decoded,
    donor,
    own_columns,
    parts,
    sheet_part,
    streams,
    values,
    without_ours,
)
from corpus import FEATURES, HEADER_ROW, MACROS, SHEET
from openpyxl.utils import get_column_letter
from python_calamine import load_workbook as calamine

#: openpyxl cannot tell a prefixed package; calamine shows no values of a sheet in UTF-16.
NOT_FOR_CALAMINE = {"sheet in UTF-16", "sheet in Latin-1"}
GROWS = {"table", "table with totals and a calculated column", "openpyxl table", "slicer of a table"}


@cache
def pair(name: str) -> tuple[bytes, bytes]:
    """A workbook of the corpus and its copy."""
    original = FEATURES[name]()
    return original, copied(original)[0]


every = pytest.mark.parametrize("name", FEATURES)


@every
def test_parts_that_are_not_ours_are_the_same(name):
    original, copy = pair(name)
    before, after = parts(original), parts(copy)
    may_change = {
        sheet_part(original),
        "xl/workbook.xml",
        "xl/_rels/workbook.xml.rels",
        "xl/styles.xml",
        "[Content_Types].xml",
    }
    may_change |= {part for part in before if name in GROWS and part.startswith("xl/tables/")}
    kept = before.keys() - may_change
    assert {part: sha256(after[part]).hexdigest() for part in kept} == {
        part: sha256(before[part]).hexdigest() for part in kept
    }
    assert {part: streams(copy)[part] for part in kept} == {part: streams(original)[part] for part in kept}
    assert list(after)[: len(before)] == list(before), "parts keep their order"
    new = after.keys() - before.keys()
    assert len(new) == 2 + (name == "no styles part")
    assert all(part.startswith("xl/worksheets/sheet") or part == "xl/styles.xml" for part in new)


@every
def test_the_sheet_without_our_cells_is_the_original(name):
    original, copy = pair(name)
    before, after = decoded(parts(original)[sheet_part(original)]), decoded(parts(copy)[sheet_part(copy)])
    assert after != before
    ours = own_columns(copy)
    assert without_ours(after, before, ours) == without_ours(before, before, ours)


@every
def test_every_part_of_markup_is_well_formed(name):
    for part, content in parts(pair(name)[1]).items():
        if part.endswith((".xml", ".rels", ".vml")):
            expat.ParserCreate(namespace_separator=" ").Parse(content, True)


@every
def test_formulas_and_stored_results_read_back_the_same(name):
    original, copy = pair(name)
    ours = {get_column_letter(column) for column in own_columns(copy)}
    for stored in (True, False):
        before, after = (values(data, stored=stored, macros=name in MACROS) for data in (original, copy))
        for sheet, cells in before.items():
            kept = {
                at: value for at, value in after[sheet].items() if sheet != SHEET or at.rstrip("0123456789") not in ours
            }
            assert kept == cells
        assert len(after) == len(before) + 2


@every
def test_the_results_read_back(name):
    copy = pair(name)[1]
    first, *_ = own = own_columns(copy)
    assert own == list(range(first, first + 4))
    cells = values(copy, macros=name in MACROS)[SHEET]
    for row in ROWS:
        tag, dose, held, clear = (cells.get(f"{get_column_letter(column)}{row}") for column in own)
        assert (tag, dose, clear) == (f"{399 + row:04d}", row / 10, CLEAR)
        assert held == ("DO NOT DOSE: <b> & _x0007_" if row % 2 else None)


@every
def test_the_other_reader_sees_the_same(name):
    if name in NOT_FOR_CALAMINE:
        pytest.skip("it reads no such sheet")
    original, copy = pair(name)
    before, after = (calamine(BytesIO(data)) for data in (original, copy))
    own = own_columns(copy)
    for sheet in before.sheet_names:
        try:
            rows = before.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
        except Exception:  # noqa: BLE001, S112 - what it cannot open in the original, it need not open in the copy
            continue
        for row, new in zip(rows, after.get_sheet_by_name(sheet).to_python(skip_empty_area=False), strict=False):
            wide = row + [""] * len(new)
            assert [cell for at, cell in enumerate(new, 1) if sheet != SHEET or at not in own] == [
                cell for at, cell in enumerate(wide[: len(new)], 1) if sheet != SHEET or at not in own
            ]
    shown = after.get_sheet_by_name(SHEET).to_python(skip_empty_area=False)
    assert [shown[row - 1][own[1] - 1] for row in ROWS] == [row / 10 for row in ROWS]


@every
def test_a_second_run_gives_the_same_bytes(name):
    copy = pair(name)[1]
    assert copied(copy)[0] == copy


@every
def test_a_second_run_with_fewer_animals_leaves_no_old_dose(name):
    copy = pair(name)[1]
    left = [row for row in ROWS if row % 3 == 0]
    again, _ = copied(copy, columns(left), donor("new"))
    own = own_columns(again)
    assert own == own_columns(copy)
    cells = values(again, macros=name in MACROS)[SHEET]
    ours = {get_column_letter(column) for column in own}
    filled = {int(at.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")) for at in cells if at.rstrip("0123456789") in ours}
    assert filled == {HEADER_ROW, *left}
    assert copied(again)[0] == copy, "and back again it is what it was"
