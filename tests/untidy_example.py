"""The untidy weighing sheet of `example_sheets/untidy_lambs`: typed at night, joined from two scales, never tidied.

Each line of LAMBS is a row of the sheet from row 5 on; `None` is a blank cell. The mistakes are meant: what the
program says of each stands in `tests/test_untidy_example.py`.
"""

from __future__ import annotations

from datetime import datetime

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font

TITLE = "Lambs before turnout: north and creek pens, typed from the race book"
GROUPS = {"A3:C3": "Animal", "D3:F3": "Weighing"}
HEADINGS = ("Tag", "E.I.D.", "Pen", "Date", "Weight, lb", "Last weight", "Sex", "Remarks", "Give anyway")
HEADINGS_AGAIN = ("Tag", "E.I.D.", "Pen", "Date", "Weight (kg)", "Last weight (lb)", "Sex", "Remarks", "Give anyway")
DAY = datetime(2026, 3, 12)  # noqa: DTZ001 - a date as a sheet holds it

NORTH, CREEK = "North pen", "Creek pen"
LAMBS: tuple[tuple[object, ...] | None, ...] = (
    (301, 840003000000301, NORTH, "3/12/2026", 98.5, 91, "ewe"),
    (302, 840003000000302, None, "3/12/2026", "101,5", 94, "wether"),
    (303, 840003000000303, None, "3/12/2026", "97 lb 8 oz", 90, "wether"),
    (304, 840003000000304, None, "12 March 2026", "92 1/2", 88, "ewe"),
    (305, "8.40003E+14", None, DAY, 104, 96, "ewe", "EID lost its digits"),
    (306, "8.40003E+14", None, DAY, 95, 89, "ewe", "EID lost its digits"),
    (307, 840003000000307, None, DAY, "\uff14\uff16 kg", 94, "wether", "second scale"),
    (308, None, None, DAY, None, 92, "ewe", "jumped out"),
    (309, 840003000000309, "Nort pen", DAY, "9O", 90, "ewe", "letter for a nought"),
    (310, 840003000000310, NORTH, DAY, "1,015", 95, "wether", "no telling"),
    (311, 840003000000311, NORTH, DAY, "=E5+2", 93, "ewe", "formula that was never calculated"),
    None,
    (312, 840003000000312, NORTH, DAY, 99, 93, "ewe"),
    (313, 840003000000313, NORTH, DAY, 47.5, 95, "ewe", "kg typed into the lb column"),
    (314, 840003000000314, NORTH, DAY, 102, 97, "wether"),
    (312, None, NORTH, DAY, 99, None, "ewe", "went through twice"),
    (315, 840003000000315, NORTH, DAY, 106, 99, "wether", "to the sale on Monday"),
    ("0 314", None, NORTH, DAY, 88, None, "ewe", "tag read wrongly?"),
    (316, 840003000000316, NORTH, DAY, 93.5, 90, "ewe"),
    ("Total", None, None, None, "=SUM(E5:E23)"),
    None,
    HEADINGS_AGAIN,
    (401, 840003000000401, CREEK, DAY, 45.5, 95, "ewe"),
    (402, 840003000000402, CREEK, DAY, "43,5", 91, "wether"),
    (403, 840003000000403, CREEK, DAY, 41, 88, "ewe"),
    (404, 840003000000404, CREEK, DAY, "47.0", 97, "ewe"),
    (405, 840003000000405, CREEK, DAY, 448, 94, "wether", "point slipped"),
    (406, 840003000000406, CREEK, DAY, 44, 93, "ewe"),
    (407, 840003000000407, CREEK, DAY, "96 lb", 92, "ewe", "first scale"),
    (408, 840003000000408, CREEK, DAY, 19.5, 97, "wether", "poor doer, weighed twice", "weighed twice, is right"),
    (409, 84000300000409, CREEK, DAY, 46, 95, "ewe", "a digit short"),
    (410, 840003000000410, CREEK, "3/11/2026", 42.5, 90, "wether"),
    None,
    ("Average", None, None, None, 43.9),
    None,
    ("Pen", "Remarks"),
    (NORTH, "water trough leaks"),
)

SESSION = (
    ("Client", "Example Farm Three"), ("Holding number", "00/000/0003"), ("Date", "3/14/2026"),
    ("Date order", "month first"), ("Time zone", "America/Denver"), ("Operator", "Operator 3"), ("Species", "sheep"),
    ("Scale step", "0.5 lb"), ("Rules", "US"), ("Spare", "5 %"), ("Largest number of drafts", 2),
)  # fmt: skip
TREATMENTS = (("Medicine", "Pen", "Reason"), ("levamisole 49.6 mg/mL drench", None, "roundworms, faecal egg count"))
HIDDEN_ROWS = (9, 10)


def untidy_book() -> Workbook:
    """The workbook with its titles, merged cells, hidden rows and number formats."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "race book"
    sheet.append([TITLE])
    sheet["A1"].font = Font(bold=True, size=14)
    sheet.append([])
    sheet.append([])
    sheet.append(HEADINGS)
    for row in LAMBS:
        sheet.append(row or ())
    for area, text in GROUPS.items():
        sheet[area.split(":", maxsplit=1)[0]] = text
        sheet.merge_cells(area)
    sheet.merge_cells("A1:I1")
    sheet.merge_cells("C5:C12")
    for cell in (*sheet[3], *sheet[4]):
        cell.font = Font(bold=True)
        cell.alignment = Alignment(horizontal="center")
    for tag, eid, *_ in sheet.iter_rows(min_row=5, max_row=sheet.max_row):
        tag.number_format, eid.number_format = "0000", "0"
    for cell in sheet["D"]:
        cell.number_format = "yyyy-mm-dd"
    for number in HIDDEN_ROWS:
        sheet.row_dimensions[number].hidden = True
    for column, width in zip("ABCDEFGHI", (9, 19, 12, 15, 13, 12, 9, 32, 26), strict=True):
        sheet.column_dimensions[column].width = width
    for name, rows in (("Session", SESSION), ("Treatments", TREATMENTS)):
        other = book.create_sheet(name)
        for row in rows:
            other.append(row)
        other.column_dimensions["A"].width = other.column_dimensions["B"].width = 30
    return book
