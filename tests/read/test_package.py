"""Whether a file is one of ours, told without reading its sheets."""

from __future__ import annotations

import zipfile

import pytest
from openpyxl import Workbook

from batchdose.read.package import names_sheet


@pytest.mark.parametrize("damage", [None, "cut", "deflate", "text", "no workbook part"])
def test_a_sheet_is_named_only_by_a_whole_workbook(tmp_path, damage):
    path = tmp_path / "a.xlsx"
    book = Workbook()
    book.active.title = "Record facts"
    book.save(path)
    data = bytearray(path.read_bytes())
    if damage == "cut":
        data = data[: len(data) // 2]
    elif damage == "deflate":
        with zipfile.ZipFile(path) as package:
            at = package.getinfo("xl/workbook.xml").header_offset + 45
        data[at : at + 40] = b"\xff" * 40
    elif damage == "text":
        data = bytearray(b"Tag,Weight\nRecord facts,1\n")
    elif damage == "no workbook part":
        data = bytearray(data.replace(b"xl/workbook.xml", b"xl/workbooq.xml"))
    path.write_bytes(data)
    assert names_sheet(path, "Record facts") is (damage is None)
    assert not names_sheet(path, "Job plan kept")
