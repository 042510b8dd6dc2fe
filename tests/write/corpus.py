"""Workbooks with one feature each, for the tests of the copy: made by libraries, or by hand where none writes it.

Every one has the sheet `Weights`: a title, headings in row 3, animals in rows 4 to 11 and a column of formulas
with stored results. Invented data.
"""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from io import BytesIO
from typing import Any, TypeAlias

import xlsxwriter
from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.worksheet.table import Table

HEADER_ROW, FIRST, LAST = 3, 4, 11
HEADINGS = ("Tag", "Weight (kg)", "Mob", "Note", "Gain")
SHEET = "Weights"
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MS = "http://schemas.microsoft.com/office"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
SHEET_PART = "xl/worksheets/sheet1.xml"

Feature: TypeAlias = Callable[[], bytes]
FEATURES: dict[str, Feature] = {}
#: Features of workbooks that end in .xlsm.
MACROS = {"macros", "macro with a button", "ribbon"}


def png() -> bytes:
    """A picture of one grey dot."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 8, 8, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress((b"\0" + b"\x80" * 8) * 8))
        + chunk(b"IEND", b"")
    )


def fill(sheet: Any, *, formulas: bool = True) -> None:
    """Title, headings, animals, and gains with stored results."""
    sheet.write(0, 0, "Through the scale")
    for column, heading in enumerate(HEADINGS):
        sheet.write(HEADER_ROW - 1, column, heading)
    for row in range(FIRST - 1, LAST):
        weight = 40 + row / 2
        sheet.write_string(row, 0, f"{400 + row:04d}")
        sheet.write(row, 1, weight)
        sheet.write(row, 2, f"Mob {row % 2}")
        if formulas:
            sheet.write_formula(row, 4, f"=B{row + 1}-30", None, weight - 30)


def feature(name: str, options: Mapping[str, Any] | None = None) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Note a function that adds a feature to a workbook of XlsxWriter, with the weighing sheet filled."""

    def note(change: Callable[..., Any]) -> Callable[..., Any]:
        FEATURES[name] = lambda: written(change, options)
        return change

    return note


def written(change: Callable[..., Any], options: Mapping[str, Any] | None = None) -> bytes:
    """A workbook of XlsxWriter after a change."""
    file = BytesIO()
    book = xlsxwriter.Workbook(file, {"in_memory": True, **(options or {})})
    book.set_properties({"created": datetime(2026, 3, 13)})  # noqa: DTZ001 - a stamp
    sheet = book.add_worksheet(SHEET)
    fill(sheet)
    change(book, sheet)
    book.close()
    return file.getvalue()


def raw(name: str) -> Callable[[Feature], Feature]:
    """Note a function that makes a whole workbook."""

    def note(make: Feature) -> Feature:
        FEATURES[name] = make
        return make

    return note


def edited(
    data: bytes, changes: Mapping[str, Callable[[bytes], bytes]], parts: Mapping[str, bytes] | None = None
) -> bytes:
    """A package after changes to its parts, and with further parts."""
    file = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            content = old.read(info)
            new.writestr(info, changes.get(info.filename, lambda same: same)(content))
        for name, content in (parts or {}).items():
            new.writestr(name, content)
    return file.getvalue()


def plain() -> bytes:
    return written(lambda *_: None)


def with_parts(
    parts: Mapping[str, bytes], types: Mapping[str, str], relations: Mapping[str, Iterable[tuple[str, str]]],
    sheet: Callable[[bytes], bytes] = lambda xml: xml, base: bytes | None = None,
) -> bytes:  # fmt: skip
    """The plain workbook with hand-made parts, their content types, and relations of parts as (kind, target)."""
    data = base or plain()
    with zipfile.ZipFile(BytesIO(data)) as package:
        there = package.namelist()
    added, changes = dict(parts), {SHEET_PART: sheet}
    overrides = [f'<Override PartName="/{part}" ContentType="{kind}"/>' for part, kind in types.items() if "/" in part]
    defaults = [f'<Default Extension="{end}" ContentType="{kind}"/>' for end, kind in types.items() if "/" not in end]
    changes["[Content_Types].xml"] = lambda xml: (
        xml.replace(b"</Types>", ("".join(overrides) + "</Types>").encode())
        .replace(b"<Override", "".join(defaults).encode() + b"<Override", 1)
    )  # fmt: skip
    for source, targets in relations.items():
        folder, _, name = source.rpartition("/")
        place = f"{folder}/_rels/{name}.rels" if name else "_rels/.rels"
        lines = "".join(
            f'<Relationship Id="rIdX{at}" Type="{kind}" Target="{target}"/>'
            for at, (kind, target) in enumerate(targets, 1)
        ).encode()
        if place in there:
            changes[place] = before(b"</Relationships>", lines)
        else:
            space = b"http://schemas.openxmlformats.org/package/2006/relationships"
            added[place] = b'<Relationships xmlns="%b">%b</Relationships>' % (space, lines)
    return edited(data, changes, added)


def on_sheet(change: Callable[[bytes], bytes]) -> bytes:
    """The plain workbook after a change to the weighing sheet's part."""
    return edited(plain(), {SHEET_PART: change})


def before(mark: bytes, markup: bytes) -> Callable[[bytes], bytes]:
    """A change that puts markup before a mark."""

    def change(xml: bytes) -> bytes:
        assert mark in xml
        return xml.replace(mark, markup + mark, 1)

    return change


# Made by XlsxWriter.


@feature("plain")
def _(*_: Any) -> None: ...


@feature("chart on the sheet")
def _(book: Any, sheet: Any) -> None:
    chart = book.add_chart({"type": "column"})
    chart.add_series({"values": f"={SHEET}!$B$4:$B$11", "trendline": {"type": "linear"}})
    chart.set_title({"name": "Weights"})
    sheet.insert_chart("M2", chart)


@feature("chart sheet")
def _(book: Any, _sheet: Any) -> None:
    chart = book.add_chart({"type": "line"})
    chart.add_series({"values": f"={SHEET}!$B$4:$B$11"})
    book.add_chartsheet("Growth").set_chart(chart)


@feature("picture")
def _(_book: Any, sheet: Any) -> None:
    sheet.insert_image("H2", "dot.png", {"image_data": BytesIO(png())})


@feature("picture in a cell")
def _(_book: Any, sheet: Any) -> None:
    sheet.embed_image("D5", "dot.png", {"image_data": BytesIO(png())})


@feature("text box")
def _(_book: Any, sheet: Any) -> None:
    sheet.insert_textbox("K4", "Weighed on a wet day", {"font": {"bold": True}})


@feature("shape with a link to a cell")
def _(_book: Any, sheet: Any) -> None:
    sheet.insert_textbox("K8", "", {"textlink": "=$B$4", "url": "https://example.com"})


@feature("header picture")
def _(_book: Any, sheet: Any) -> None:
    sheet.set_header("&L&G&RFlock book", {"image_left": "dot.png", "image_data_left": BytesIO(png())})


@feature("background picture")
def _(_book: Any, sheet: Any) -> None:
    sheet.set_background(BytesIO(png()))


@feature("form button")
def _(_book: Any, sheet: Any) -> None:
    sheet.insert_button("H2", {"macro": "go", "caption": "Go"})


@feature("checkboxes in cells")
def _(_book: Any, sheet: Any) -> None:
    sheet.insert_checkbox("D6", True)


@feature("macros")
def _(book: Any, _sheet: Any) -> None:
    book.add_vba_project(BytesIO(b"\xd0\xcf\x11\xe0 not really a project"), is_stream=True)


@feature("macro with a button")
def _(book: Any, sheet: Any) -> None:
    book.add_vba_project(BytesIO(b"\xd0\xcf\x11\xe0 not really a project"), is_stream=True)
    sheet.insert_button("H2", {"macro": "Weigh", "caption": "Weigh"})


@feature("sparklines")
def _(_book: Any, sheet: Any) -> None:
    sheet.add_sparkline("D4", {"range": f"{SHEET}!B4:B11", "markers": True})


@feature("data bars of 2010")
def _(_book: Any, sheet: Any) -> None:
    sheet.conditional_format("B4:B11", {"type": "data_bar", "data_bar_2010": True})


@feature("conditional formats")
def _(book: Any, sheet: Any) -> None:
    sheet.conditional_format(
        "B4:Z11", {"type": "cell", "criteria": ">", "value": 44, "format": book.add_format({"bold": 1})}
    )
    sheet.conditional_format("B4:B11", {"type": "icon_set", "icon_style": "3_arrows"})
    sheet.conditional_format("B4:B11", {"type": "3_color_scale"})


@feature("validations")
def _(_book: Any, sheet: Any) -> None:
    sheet.data_validation("C4:C11", {"validate": "list", "source": ["Mob 0", "Mob 1"], "input_message": "Which mob?"})
    sheet.data_validation("B4:B11", {"validate": "decimal", "criteria": "between", "minimum": 1, "maximum": 200})


@feature("comments")
def _(_book: Any, sheet: Any) -> None:
    sheet.write_comment("A4", "Lame", {"author": "Operator 1", "color": "#ddffdd", "bold": True})


@feature("rich text")
def _(book: Any, sheet: Any) -> None:
    bold, red = book.add_format({"bold": 1}), book.add_format({"font_color": "red", "font_size": 14})
    sheet.write_rich_string("D4", "a ", bold, "bold", " and ", red, "red", " word")


@feature("dynamic array")
def _(_book: Any, sheet: Any) -> None:
    sheet.write_dynamic_array_formula("D13:D13", "=SUM(SQRT(B4:B11))", None, 52.5)


@feature("array formula")
def _(_book: Any, sheet: Any) -> None:
    sheet.write_array_formula("D13:D13", "{=SUM(B4:B11*2)}", None, 700)


@feature("totals below")
def _(_book: Any, sheet: Any) -> None:
    sheet.write(12, 0, "Average")
    sheet.write_formula("B13", "=AVERAGE(B4:B11)", None, 43.75)
    sheet.write_formula("C13", '=IF(B13>40,"heavy","light")', None, "heavy")


@feature("a formula that reads whole rows")
def _(book: Any, _sheet: Any) -> None:
    other = book.add_worksheet("Sums")
    other.write_formula("A1", f"=COUNTA({SHEET}!3:3)", None, 5)


def animals_table(sheet: Any) -> None:
    sheet.add_table(f"A3:E{LAST}", {"columns": [{"header": heading} for heading in HEADINGS]})


@feature("table")
def _(_book: Any, sheet: Any) -> None:
    animals_table(sheet)


@feature("table with totals and a calculated column")
def _(_book: Any, sheet: Any) -> None:
    columns = [{"header": heading} for heading in HEADINGS]
    columns[0]["total_string"] = "Total"
    columns[1]["total_function"] = "sum"
    columns[4] |= {"formula": "=Table1[[#This Row],[Weight (kg)]]-30", "total_function": "average"}
    sheet.add_table(f"A3:E{LAST + 1}", {"columns": columns, "total_row": True, "style": "Table Style Light 11"})


@feature("table at the right")
def _(_book: Any, sheet: Any) -> None:
    sheet.add_table("H3:I6", {"columns": [{"header": "Medicine"}, {"header": "Left"}]})


@feature("table below the headings")
def _(_book: Any, sheet: Any) -> None:
    sheet.add_table("H14:L18", {})


@feature("table without headings")
def _(_book: Any, sheet: Any) -> None:
    sheet.add_table(f"A4:E{LAST}", {"header_row": False})


@feature("filter")
def _(_book: Any, sheet: Any) -> None:
    sheet.autofilter(f"A3:E{LAST}")
    sheet.filter_column_list("C", ["Mob 1"])
    sheet.set_row(4, None, None, {"hidden": True})


@feature("filter over some columns")
def _(_book: Any, sheet: Any) -> None:
    sheet.autofilter(f"A3:C{LAST}")


@feature("merged title")
def _(book: Any, sheet: Any) -> None:
    sheet.merge_range("A1:Z1", "Through the scale", book.add_format({"align": "center"}))


@feature("merged cells at the right")
def _(book: Any, sheet: Any) -> None:
    sheet.merge_range("G5:H7", "Note", book.add_format({"align": "center"}))


@feature("outline groups")
def _(_book: Any, sheet: Any) -> None:
    for row in range(5, 9):
        sheet.set_row(row, None, None, {"level": 1})
    sheet.set_column("C:D", 12, None, {"level": 1, "collapsed": False})


@feature("hidden rows and columns")
def _(_book: Any, sheet: Any) -> None:
    sheet.set_row(6, None, None, {"hidden": True})
    sheet.set_column("D:D", None, None, {"hidden": True})


@feature("hidden columns to the last")
def _(_book: Any, sheet: Any) -> None:
    sheet.set_column("F:XFD", None, None, {"hidden": True})


@feature("formatted columns")
def _(book: Any, sheet: Any) -> None:
    sheet.set_column("A:B", 14, book.add_format({"num_format": "0.0"}))
    sheet.set_column("F:M", 20, book.add_format({"bg_color": "#eeeeee"}))


@feature("formatted blank cells")
def _(book: Any, sheet: Any) -> None:
    border = book.add_format({"border": 1})
    for row in range(2, 14):
        for column in range(5, 9):
            sheet.write_blank(row, column, None, border)


@feature("high heading row")
def _(book: Any, sheet: Any) -> None:
    sheet.set_row(2, 45, book.add_format({"text_wrap": True}))


@feature("print settings")
def _(_book: Any, sheet: Any) -> None:
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.repeat_rows(2)
    sheet.print_area("A1:E11")
    sheet.set_footer("&CPage &P of &N")
    sheet.set_h_pagebreaks([6])
    sheet.fit_to_pages(1, 0)


@feature("names for all and for one sheet")
def _(book: Any, _sheet: Any) -> None:
    book.add_worksheet("Other")
    book.define_name("Heaviest", f"=MAX({SHEET}!$B$4:$B$11)")
    book.define_name("Other!Local", "=Other!$A$1")
    book.define_name(f"{SHEET}!Local", f"={SHEET}!$A$4")


@feature("properties of the document")
def _(book: Any, _sheet: Any) -> None:
    book.set_properties({"title": "Weights", "author": "Operator 1", "created": datetime(2026, 3, 13)})  # noqa: DTZ001
    book.set_custom_property("Flock", "Hill")


@feature("days from 1904", {"date_1904": True})
def _(book: Any, sheet: Any) -> None:
    sheet.write_datetime("D4", datetime(2026, 3, 13), book.add_format({"num_format": "d mmm yyyy"}))  # noqa: DTZ001


@feature("dates")
def _(book: Any, sheet: Any) -> None:
    day = book.add_format({"num_format": "ddd d mmm yyyy"})
    sheet.write_datetime("D4", date(2026, 3, 13), day)
    sheet.write_datetime("D5", datetime(2026, 3, 13, 9, 30), book.add_format({"num_format": "d/m/yy h:mm"}))  # noqa: DTZ001


@feature("protected sheet")
def _(_book: Any, sheet: Any) -> None:
    sheet.protect("secret", {"sort": True})
    sheet.unprotect_range("B4:B11", "Weights")


@feature("errors, truths and odd texts")
def _(_book: Any, sheet: Any) -> None:
    sheet.write_formula("D4", "=1/0", None, "#DIV/0!")
    sheet.write_boolean("D5", True)
    sheet.write_string("D6", '  two  spaces, <b> & "quotes" \n and a line')
    sheet.write_string("D7", "_x0041_ and \x07")
    sheet.write_string("D8", "=not a formula")
    sheet.write_number("D9", 1e-300)


@feature("very hidden sheet")
def _(book: Any, _sheet: Any) -> None:
    book.add_worksheet("Lists").very_hidden()
    book.add_worksheet("More").hide()


@feature("sheets with our names")
def _(book: Any, _sheet: Any) -> None:
    for name in ("JOB SETTINGS", "Job findings", "job findings (2)"):
        book.add_worksheet(name).write(0, 0, "mine")


@feature("odd names of sheets")
def _(book: Any, _sheet: Any) -> None:
    book.add_worksheet("Ewes & lambs' <list>").write_formula("A1", f"={SHEET}!B4", None, 41.5)


@feature("panes, zoom and colours")
def _(_book: Any, sheet: Any) -> None:
    sheet.freeze_panes(3, 1)
    sheet.set_zoom(80)
    sheet.set_tab_color("green")
    sheet.set_selection("B5")
    sheet.ignore_errors({"number_stored_as_text": "A4:A11"})


@feature("links")
def _(_book: Any, sheet: Any) -> None:
    sheet.write_url("D4", "https://example.com/a?b=1&c=2", string="page")
    sheet.write_url("D5", f"internal:{SHEET}!A1")


@feature("second sheet selected")
def _(book: Any, _sheet: Any) -> None:
    book.add_worksheet("First seen").activate()


@feature("strings in their cells", {"in_memory": True})
def _(_book: Any, sheet: Any) -> None:
    sheet.write("D4", "common")


# Made by openpyxl.


@raw("openpyxl")
def _() -> bytes:
    book = Workbook()
    sheet = book.active
    sheet.title = SHEET
    sheet["A1"] = "Through the scale"
    sheet["A1"].font = Font(bold=True, size=14)
    for column, heading in enumerate(HEADINGS, 1):
        sheet.cell(HEADER_ROW, column, heading)
    for row in range(FIRST, LAST + 1):
        sheet.cell(row, 1, f"{row:04d}")
        sheet.cell(row, 2, 40 + row)
        sheet.cell(row, 5, f"=B{row}-30")
    sheet["A4"].comment = Comment("Lame", "Operator 1")
    book.security.lockStructure = True
    file = BytesIO()
    book.save(file)
    return file.getvalue()


@raw("openpyxl table")
def _() -> bytes:
    book = Workbook()
    sheet = book.active
    sheet.title = SHEET
    for column, heading in enumerate(HEADINGS, 1):
        sheet.cell(HEADER_ROW, column, heading)
    for row in range(FIRST, LAST + 1):
        sheet.cell(row, 1, f"{row:04d}")
        sheet.cell(row, 2, 40 + row)
    sheet.add_table(Table(displayName="Animals", ref=f"A3:E{LAST}"))
    file = BytesIO()
    book.save(file)
    return file.getvalue()
