"""Workbooks with one feature each, for the tests of the copy: made by libraries, or by hand where none writes it.

Every one has the sheet `Weights`: a title, headings in row 3, animals in rows 4 to 11 and a column of formulas
with stored results. Invented data.
"""

from __future__ import annotations

import re
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
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_MS = "http://schemas.microsoft.com/office"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
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
        there = {name: package.read(name) for name in package.namelist()}
    added, changes = dict(parts), {SHEET_PART: sheet}
    overrides = "".join(
        f'<Override PartName="/{name}" ContentType="{kind}"/>' for name, kind in types.items() if "/" in name
    )
    defaults = "".join(
        f'<Default Extension="{name}" ContentType="{kind}"/>' for name, kind in types.items() if "/" not in name
    )
    changes["[Content_Types].xml"] = lambda xml: xml.replace(b"</Types>", (overrides + "</Types>").encode()).replace(
        b"<Override", defaults.encode() + b"<Override", 1
    )
    for source, targets in relations.items():
        folder, _, name = source.rpartition("/")
        place = f"{folder}/_rels/{name}.rels" if name else "_rels/.rels"
        lines = "".join(
            f'<Relationship Id="rIdX{at}" Type="{kind}" Target="{target}"/>'
            for at, (kind, target) in enumerate(targets, 1)
        )
        if place in there:
            changes[place] = lambda xml, lines=lines: xml.replace(
                b"</Relationships>", (lines + "</Relationships>").encode()
            )
        else:
            added[place] = (
                f'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{lines}</Relationships>'
            ).encode()
    return edited(data, changes, added)


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
def _(book: Any, sheet: Any) -> None:
    chart = book.add_chart({"type": "line"})
    chart.add_series({"values": f"={SHEET}!$B$4:$B$11"})
    book.add_chartsheet("Growth").set_chart(chart)


@feature("picture")
def _(book: Any, sheet: Any) -> None:
    sheet.insert_image("H2", "dot.png", {"image_data": BytesIO(png())})


@feature("picture in a cell")
def _(book: Any, sheet: Any) -> None:
    sheet.embed_image("D5", "dot.png", {"image_data": BytesIO(png())})


@feature("text box")
def _(book: Any, sheet: Any) -> None:
    sheet.insert_textbox("K4", "Weighed on a wet day", {"font": {"bold": True}})


@feature("shape with a link to a cell")
def _(book: Any, sheet: Any) -> None:
    sheet.insert_textbox("K8", "", {"textlink": "=$B$4", "url": "https://example.com"})


@feature("header picture")
def _(book: Any, sheet: Any) -> None:
    sheet.set_header("&L&G&RFlock book", {"image_left": "dot.png", "image_data_left": BytesIO(png())})


@feature("background picture")
def _(book: Any, sheet: Any) -> None:
    sheet.set_background(BytesIO(png()))


@feature("form button")
def _(book: Any, sheet: Any) -> None:
    sheet.insert_button("H2", {"macro": "go", "caption": "Go"})


@feature("checkboxes in cells")
def _(book: Any, sheet: Any) -> None:
    sheet.insert_checkbox("D6", True)


@feature("macros")
def _(book: Any, sheet: Any) -> None:
    book.add_vba_project(BytesIO(b"\xd0\xcf\x11\xe0 not really a project"), is_stream=True)


@feature("macro with a button")
def _(book: Any, sheet: Any) -> None:
    book.add_vba_project(BytesIO(b"\xd0\xcf\x11\xe0 not really a project"), is_stream=True)
    sheet.insert_button("H2", {"macro": "Weigh", "caption": "Weigh"})


@feature("sparklines")
def _(book: Any, sheet: Any) -> None:
    sheet.add_sparkline("D4", {"range": f"{SHEET}!B4:B11", "markers": True})


@feature("data bars of 2010")
def _(book: Any, sheet: Any) -> None:
    sheet.conditional_format("B4:B11", {"type": "data_bar", "data_bar_2010": True})


@feature("conditional formats")
def _(book: Any, sheet: Any) -> None:
    sheet.conditional_format(
        "B4:Z11", {"type": "cell", "criteria": ">", "value": 44, "format": book.add_format({"bold": 1})}
    )
    sheet.conditional_format("B4:B11", {"type": "icon_set", "icon_style": "3_arrows"})
    sheet.conditional_format("B4:B11", {"type": "3_color_scale"})


@feature("validations")
def _(book: Any, sheet: Any) -> None:
    sheet.data_validation("C4:C11", {"validate": "list", "source": ["Mob 0", "Mob 1"], "input_message": "Which mob?"})
    sheet.data_validation("B4:B11", {"validate": "decimal", "criteria": "between", "minimum": 1, "maximum": 200})


@feature("comments")
def _(book: Any, sheet: Any) -> None:
    sheet.write_comment("A4", "Lame", {"author": "Operator 1", "color": "#ddffdd", "bold": True})


@feature("rich text")
def _(book: Any, sheet: Any) -> None:
    bold, red = book.add_format({"bold": 1}), book.add_format({"font_color": "red", "font_size": 14})
    sheet.write_rich_string("D4", "a ", bold, "bold", " and ", red, "red", " word")


@feature("dynamic array")
def _(book: Any, sheet: Any) -> None:
    sheet.write_dynamic_array_formula("D13:D13", "=SUM(SQRT(B4:B11))", None, 52.5)


@feature("array formula")
def _(book: Any, sheet: Any) -> None:
    sheet.write_array_formula("D13:D13", "{=SUM(B4:B11*2)}", None, 700)


@feature("totals below")
def _(book: Any, sheet: Any) -> None:
    sheet.write(12, 0, "Average")
    sheet.write_formula("B13", "=AVERAGE(B4:B11)", None, 43.75)
    sheet.write_formula("C13", '=IF(B13>40,"heavy","light")', None, "heavy")


@feature("a formula that reads whole rows")
def _(book: Any, sheet: Any) -> None:
    other = book.add_worksheet("Sums")
    other.write_formula("A1", f"=COUNTA({SHEET}!3:3)", None, 5)


def _table(sheet: Any, right: str = "E", options: Mapping[str, Any] | None = None) -> None:
    columns = [{"header": heading} for heading in HEADINGS]
    sheet.add_table(
        f"A3:{right}{LAST + (1 if (options or {}).get('total_row') else 0)}", {"columns": columns, **(options or {})}
    )


@feature("table")
def _(book: Any, sheet: Any) -> None:
    _table(sheet)


@feature("table with totals and a calculated column")
def _(book: Any, sheet: Any) -> None:
    columns = [{"header": heading} for heading in HEADINGS]
    columns[0]["total_string"] = "Total"
    columns[1]["total_function"] = "sum"
    columns[4] |= {"formula": "=Table1[[#This Row],[Weight (kg)]]-30", "total_function": "average"}
    sheet.add_table(f"A3:E{LAST + 1}", {"columns": columns, "total_row": True, "style": "Table Style Light 11"})


@feature("table at the right")
def _(book: Any, sheet: Any) -> None:
    sheet.add_table("H3:I6", {"columns": [{"header": "Medicine"}, {"header": "Left"}]})


@feature("table below the headings")
def _(book: Any, sheet: Any) -> None:
    sheet.add_table("H14:L18", {})


@feature("table without headings")
def _(book: Any, sheet: Any) -> None:
    sheet.add_table(f"A4:E{LAST}", {"header_row": False})


@feature("filter")
def _(book: Any, sheet: Any) -> None:
    sheet.autofilter(f"A3:E{LAST}")
    sheet.filter_column_list("C", ["Mob 1"])
    sheet.set_row(4, None, None, {"hidden": True})


@feature("filter over some columns")
def _(book: Any, sheet: Any) -> None:
    sheet.autofilter(f"A3:C{LAST}")


@feature("merged title")
def _(book: Any, sheet: Any) -> None:
    sheet.merge_range("A1:Z1", "Through the scale", book.add_format({"align": "center"}))


@feature("merged cells at the right")
def _(book: Any, sheet: Any) -> None:
    sheet.merge_range("G5:H7", "Note", book.add_format({"align": "center"}))


@feature("outline groups")
def _(book: Any, sheet: Any) -> None:
    for row in range(5, 9):
        sheet.set_row(row, None, None, {"level": 1})
    sheet.set_column("C:D", 12, None, {"level": 1, "collapsed": False})


@feature("hidden rows and columns")
def _(book: Any, sheet: Any) -> None:
    sheet.set_row(6, None, None, {"hidden": True})
    sheet.set_column("D:D", None, None, {"hidden": True})


@feature("hidden columns to the last")
def _(book: Any, sheet: Any) -> None:
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
def _(book: Any, sheet: Any) -> None:
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.repeat_rows(2)
    sheet.print_area("A1:E11")
    sheet.set_footer("&CPage &P of &N")
    sheet.set_h_pagebreaks([6])
    sheet.fit_to_pages(1, 0)


@feature("names for all and for one sheet")
def _(book: Any, sheet: Any) -> None:
    book.add_worksheet("Other")
    book.define_name("Heaviest", f"=MAX({SHEET}!$B$4:$B$11)")
    book.define_name("Other!Local", "=Other!$A$1")
    book.define_name(f"{SHEET}!Local", f"={SHEET}!$A$4")


@feature("properties of the document")
def _(book: Any, sheet: Any) -> None:
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
def _(book: Any, sheet: Any) -> None:
    sheet.protect("secret", {"sort": True})
    sheet.unprotect_range("B4:B11", "Weights")


@feature("errors, truths and odd texts")
def _(book: Any, sheet: Any) -> None:
    sheet.write_formula("D4", "=1/0", None, "#DIV/0!")
    sheet.write_boolean("D5", True)
    sheet.write_string("D6", '  two  spaces, <b> & "quotes" \n and a line')
    sheet.write_string("D7", "_x0041_ and \x07")
    sheet.write_string("D8", "=not a formula")
    sheet.write_number("D9", 1e-300)


@feature("very hidden sheet")
def _(book: Any, sheet: Any) -> None:
    book.add_worksheet("Lists").very_hidden()
    book.add_worksheet("More").hide()


@feature("sheets with our names")
def _(book: Any, sheet: Any) -> None:
    for name in ("JOB SETTINGS", "Job findings", "job findings (2)"):
        book.add_worksheet(name).write(0, 0, "mine")


@feature("odd names of sheets")
def _(book: Any, sheet: Any) -> None:
    book.add_worksheet("Ewes & lambs' <list>").write_formula("A1", f"={SHEET}!B4", None, 41.5)


@feature("panes, zoom and colours")
def _(book: Any, sheet: Any) -> None:
    sheet.freeze_panes(3, 1)
    sheet.set_zoom(80)
    sheet.set_tab_color("green")
    sheet.set_selection("B5")
    sheet.ignore_errors({"number_stored_as_text": "A4:A11"})


@feature("links")
def _(book: Any, sheet: Any) -> None:
    sheet.write_url("D4", "https://example.com/a?b=1&c=2", string="page")
    sheet.write_url("D5", f"internal:{SHEET}!A1")


@feature("second sheet selected")
def _(book: Any, sheet: Any) -> None:
    book.add_worksheet("First seen").activate()


@feature("strings in their cells", {"in_memory": True})
def _(book: Any, sheet: Any) -> None:
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


# Made by hand.


@raw("printer settings")
def _() -> bytes:
    return with_parts(
        {"xl/printerSettings/printerSettings1.bin": bytes(range(256)) * 4},
        {"bin": "application/vnd.openxmlformats-officedocument.spreadsheetml.printerSettings"},
        {SHEET_PART: [(f"{_REL}/printerSettings", "../printerSettings/printerSettings1.bin")]},
        lambda xml: xml.replace(b"</worksheet>", b'<pageSetup orientation="portrait" r:id="rIdX1"/></worksheet>'),
    )


@raw("threaded comments")
def _() -> bytes:
    base = written(lambda _, sheet: sheet.write_comment("A4", "[Threaded comment] Lame?"))
    space = f"{_MS}/spreadsheetml/2018/threadedcomments"
    who, what = "{00000000-0000-0000-0000-000000000001}", "{00000000-0000-0000-0000-000000000002}"
    return with_parts(
        {
            "xl/threadedComments/threadedComment1.xml": (
                f'<ThreadedComments xmlns="{space}"><threadedComment ref="A4" dT="2026-03-13T09:00:00.00" '
                f'personId="{who}" id="{what}"><text>Lame?</text></threadedComment></ThreadedComments>'
            ).encode(),
            "xl/persons/person.xml": (
                f'<personList xmlns="{space}"><person displayName="Operator 1" id="{who}" userId="o1" providerId="None"/>'
                "</personList>"
            ).encode(),
        },
        {
            "xl/threadedComments/threadedComment1.xml": "application/vnd.ms-excel.threadedcomments+xml",
            "xl/persons/person.xml": "application/vnd.ms-excel.person+xml",
        },
        {
            SHEET_PART: [("http://schemas.microsoft.com/office/2017/10/relationships/threadedComment",
                          "../threadedComments/threadedComment1.xml")],
            "xl/workbook.xml": [("http://schemas.microsoft.com/office/2017/10/relationships/person", "persons/person.xml")],
        },
        base=base,
    )  # fmt: skip


@raw("slicer of a table")
def _() -> bytes:
    base = written(lambda _, sheet: _table(sheet))
    x14 = f"{_MS}/spreadsheetml/2009/9/main"
    return with_parts(
        {
            "xl/slicers/slicer1.xml": (
                f'<slicers xmlns="{x14}"><slicer name="Mob" cache="Slicer_Mob" caption="Mob" rowHeight="241300"/></slicers>'
            ).encode(),
            "xl/slicerCaches/slicerCache1.xml": (
                f'<slicerCacheDefinition xmlns="{x14}" name="Slicer_Mob" sourceName="Mob"><extLst>'
                '<x:ext xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
                'uri="{2F2917AC-EB37-4324-AD4E-5DD8C200BD13}" '
                f'xmlns:x15="{_MS}/spreadsheetml/2010/11/main"><x15:tableSlicerCache tableId="1" column="3"/></x:ext>'
                "</extLst></slicerCacheDefinition>"
            ).encode(),
        },
        {
            "xl/slicers/slicer1.xml": "application/vnd.ms-excel.slicer+xml",
            "xl/slicerCaches/slicerCache1.xml": "application/vnd.ms-excel.slicerCache+xml",
        },
        {
            SHEET_PART: [("http://schemas.microsoft.com/office/2007/relationships/slicer", "../slicers/slicer1.xml")],
            "xl/workbook.xml": [
                ("http://schemas.microsoft.com/office/2007/relationships/slicerCache", "slicerCaches/slicerCache1.xml")
            ],
        },
        before(b"</worksheet>",
            b'<extLst><ext xmlns:x15="http://schemas.microsoft.com/office/spreadsheetml/2010/11/main" '
            b'uri="{3A4CF648-6AED-40f4-86FF-DC5316D8AED3}"><x14:slicerList '
            b'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"><x14:slicer r:id="rIdX1"/>'
            b"</x14:slicerList></ext></extLst>"),
        base=base,
    )  # fmt: skip


@raw("form control")
def _() -> bytes:
    base = written(lambda _, sheet: sheet.insert_button("H2", {"caption": "Go"}))
    return with_parts(
        {"xl/ctrlProps/ctrlProp1.xml": (
            f'<formControlPr xmlns="{_MS}/spreadsheetml/2009/9/main" objectType="CheckBox" fmlaLink="$D$4" lockText="1"/>'
        ).encode()},
        {"xl/ctrlProps/ctrlProp1.xml": "application/vnd.ms-excel.controlproperties+xml"},
        {SHEET_PART: [(f"{_REL}/ctrlProp", "../ctrlProps/ctrlProp1.xml")]},
        before(b"</worksheet>",
            b'<mc:AlternateContent xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006"><mc:Choice '
            b'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main" Requires="x14"><controls>'
            b'<control shapeId="1026" r:id="rIdX1" name="Check"/></controls></mc:Choice></mc:AlternateContent>'),
        base=base,
    )  # fmt: skip


@raw("ActiveX control")
def _() -> bytes:
    ax = f"{_MS}/2006/activeX"
    return with_parts(
        {
            "xl/activeX/activeX1.xml": (
                f'<ax:ocx xmlns:ax="{ax}" xmlns:r="{_REL}" ax:classid="{{00000000-0000-0000-0000-000000000000}}" '
                'ax:persistence="persistStreamInit" r:id="rIdX1"/>'
            ).encode(),
            "xl/activeX/activeX1.bin": b"\0\1\2\3" * 8,
        },
        {"xl/activeX/activeX1.xml": "application/vnd.ms-office.activeX+xml", "bin": "application/vnd.ms-office.activeX"},
        {
            SHEET_PART: [(f"{_REL}/control", "../activeX/activeX1.xml")],
            "xl/activeX/activeX1.xml": [("http://schemas.microsoft.com/office/2006/relationships/activeXControlBinary",
                                         "activeX1.bin")],
        },
    )  # fmt: skip


@raw("ribbon")
def _() -> bytes:
    base = FEATURES["macros"]()
    return with_parts(
        {"customUI/customUI14.xml": (
            f'<customUI xmlns="{_MS}/2009/07/customui"><ribbon><tabs/></ribbon></customUI>'
        ).encode()},
        {"customUI/customUI14.xml": "application/xml"},
        {"": [("http://schemas.microsoft.com/office/2007/relationships/ui/extensibility", "customUI/customUI14.xml")]},
        base=base,
    )  # fmt: skip


@raw("custom XML")
def _() -> bytes:
    return with_parts(
        {
            "customXml/item1.xml": b'<flock xmlns="urn:example:flock"><ewe/></flock>',
            "customXml/itemProps1.xml": (
                b'<ds:datastoreItem ds:itemID="{00000000-0000-0000-0000-000000000003}" '
                b'xmlns:ds="http://schemas.openxmlformats.org/officeDocument/2006/customXml"/>'
            ),
        },
        {"customXml/itemProps1.xml": "application/vnd.openxmlformats-officedocument.customXmlProperties+xml"},
        {
            "xl/workbook.xml": [(f"{_REL}/customXml", "../customXml/item1.xml")],
            "customXml/item1.xml": [(f"{_REL}/customXmlProps", "itemProps1.xml")],
        },
    )


@raw("external link")
def _() -> bytes:
    links = f'<externalLink xmlns="{_MAIN}" xmlns:r="{_REL}"><externalBook r:id="rId1"><sheetNames><sheetName val="A"/>'
    links += "</sheetNames></externalBook></externalLink>"
    rels = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" '
        f'Type="{_REL}/externalLinkPath" Target="other.xlsx" TargetMode="External"/></Relationships>'
    )
    data = with_parts(
        {"xl/externalLinks/externalLink1.xml": links.encode(), "xl/externalLinks/_rels/externalLink1.xml.rels": rels.encode()},
        {"xl/externalLinks/externalLink1.xml":
            "application/vnd.openxmlformats-officedocument.spreadsheetml.externalLink+xml"},
        {"xl/workbook.xml": [(f"{_REL}/externalLink", "externalLinks/externalLink1.xml")]},
        lambda xml: xml.replace(b"<f>B4-30</f>", b"<f>B4-30+[1]A!$A$1*0</f>"),
    )  # fmt: skip
    refs = b'<externalReferences><externalReference r:id="rIdX1"/></externalReferences>'
    return edited(data, {"xl/workbook.xml": before(b"<calcPr", refs)})


@raw("pivot table")
def _() -> bytes:
    fields = "".join(f'<cacheField name="{heading}" numFmtId="0"><sharedItems/></cacheField>' for heading in HEADINGS)
    cache = (
        f'<pivotCacheDefinition xmlns="{_MAIN}" xmlns:r="{_REL}" refreshOnLoad="1" refreshedVersion="4" recordCount="0">'
        f'<cacheSource type="worksheet"><worksheetSource ref="A3:E11" sheet="{SHEET}"/></cacheSource>'
        f'<cacheFields count="5">{fields}</cacheFields></pivotCacheDefinition>'
    )
    pivot = (
        f'<pivotTableDefinition xmlns="{_MAIN}" name="Pivot" cacheId="1" dataCaption="Values">'
        '<location ref="A1:B3" firstHeaderRow="1" firstDataRow="1" firstDataCol="0"/><pivotFields count="5">'
        + '<pivotField showAll="0"/>' * len(HEADINGS)
        + "</pivotFields></pivotTableDefinition>"
    )
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    data = with_parts(
        {"xl/pivotCache/pivotCacheDefinition1.xml": cache.encode(), "xl/pivotTables/pivotTable1.xml": pivot.encode()},
        {
            "xl/pivotCache/pivotCacheDefinition1.xml": f"{kind}.pivotCacheDefinition+xml",
            "xl/pivotTables/pivotTable1.xml": f"{kind}.pivotTable+xml",
        },
        {
            "xl/workbook.xml": [(f"{_REL}/pivotCacheDefinition", "pivotCache/pivotCacheDefinition1.xml")],
            "xl/worksheets/sheet2.xml": [(f"{_REL}/pivotTable", "../pivotTables/pivotTable1.xml")],
            "xl/pivotTables/pivotTable1.xml": [
                (f"{_REL}/pivotCacheDefinition", "../pivotCache/pivotCacheDefinition1.xml")
            ],
        },
        base=written(lambda book, _: book.add_worksheet("Pivot")),
    )
    caches = b'<pivotCaches><pivotCache cacheId="1" r:id="rIdX1"/></pivotCaches></workbook>'
    return edited(data, {"xl/workbook.xml": lambda xml: xml.replace(b"</workbook>", caches)})


@raw("query and connection")
def _() -> bytes:
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    return with_parts(
        {
            "xl/connections.xml": (
                f'<connections xmlns="{_MAIN}"><connection id="1" name="c" type="4" refreshedVersion="4">'
                '<webPr url="https://example.com"/></connection></connections>'
            ).encode(),
            "xl/queryTables/queryTable1.xml": f'<queryTable xmlns="{_MAIN}" name="q" connectionId="1"/>'.encode(),
        },
        {"xl/connections.xml": f"{kind}.connections+xml", "xl/queryTables/queryTable1.xml": f"{kind}.queryTable+xml"},
        {
            "xl/workbook.xml": [(f"{_REL}/connections", "connections.xml")],
            SHEET_PART: [(f"{_REL}/queryTable", "../queryTables/queryTable1.xml")],
        },
    )


@raw("embedded object")
def _() -> bytes:
    return with_parts(
        {"xl/embeddings/oleObject1.bin": b"\xd0\xcf\x11\xe0" + bytes(64)},
        {"bin": "application/vnd.openxmlformats-officedocument.oleObject"},
        {SHEET_PART: [(f"{_REL}/oleObject", "../embeddings/oleObject1.bin")]},
    )


@raw("calculation chain")
def _() -> bytes:
    cells = "".join(f'<c r="E{row}" i="1"/>' for row in range(FIRST, LAST + 1))
    return with_parts(
        {"xl/calcChain.xml": f'<calcChain xmlns="{_MAIN}">{cells}</calcChain>'.encode()},
        {"xl/calcChain.xml": "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"},
        {"xl/workbook.xml": [(f"{_REL}/calcChain", "calcChain.xml")]},
    )


def on_sheet(change: Callable[[bytes], bytes]) -> bytes:
    """The plain workbook after a change to the weighing sheet's part."""
    return edited(plain(), {SHEET_PART: change})


def _prefixed(xml: bytes, declaration: bytes = b"xmlns:x=") -> bytes:
    """The same part with a prefix before all names of the main namespace."""
    xml = re.sub(rb"<(/?)(?![?!])([A-Za-z]+)(?=[\s/>])", rb"<\1x:\2", xml)
    return xml.replace(b"xmlns=", declaration, 1)


@raw("prefixed names")
def _() -> bytes:
    return on_sheet(_prefixed)


@raw("prefixed names everywhere")
def _() -> bytes:
    parts = (SHEET_PART, "xl/workbook.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml")
    return edited(plain(), dict.fromkeys(parts, _prefixed))


@raw("sheet in UTF-16")
def _() -> bytes:
    return on_sheet(lambda xml: xml.decode().replace("UTF-8", "UTF-16").encode("utf-16"))


@raw("sheet in Latin-1")
def _() -> bytes:
    return on_sheet(lambda xml: xml.decode().replace("UTF-8", "ISO-8859-1").encode("latin-1"))


@raw("sheet with a byte order mark")
def _() -> bytes:
    return on_sheet(lambda xml: b"\xef\xbb\xbf" + xml)


@raw("comments and plain sections in the sheet")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = xml.replace(b'<row r="5"', b'<!-- <row r="99"><c r="A99"/></row> --><row r="5"')
        return re.sub(rb"<v>(43)</v>", rb"<v><![CDATA[\1]]></v>", xml)

    return on_sheet(change)


@raw("rows and cells without references")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = xml.replace(b'<row r="3"', b'<row r="2"/><row r="3"')
        return re.sub(rb'<(row|c) r="\w+"', rb"<\1", xml.replace(b'<c r="E', b'<c/><c r="E'))

    return on_sheet(change)


@raw("self-closed and missing rows")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = re.sub(rb'<row r="7".*?</row>', b'<row r="7" ht="20" customHeight="1"/>', xml)
        return re.sub(rb'<row r="9".*?</row>', b"", xml)

    return on_sheet(change)


@raw("shared formulas")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = xml.replace(b"<f>B4-30</f>", b'<f t="shared" ref="E4:E11" si="0">B4-30</f>')
        return re.sub(rb"<f>B\d+-30</f>", b'<f t="shared" si="0"/>', xml)

    return on_sheet(change)


@raw("no used range and no spans")
def _() -> bytes:
    return on_sheet(lambda xml: re.sub(rb'<dimension[^>]*>| spans="[^"]*"', b"", xml))


@raw("spaces between all elements")
def _() -> bytes:
    return on_sheet(lambda xml: re.sub(rb">\s*<(?!/[tvf]>)", b">\r\n  <", xml))


@raw("single quotes")
def _() -> bytes:
    return on_sheet(lambda xml: xml.replace(b'"', b"'"))


@raw("cells far to the right")
def _() -> bytes:
    return on_sheet(lambda xml: xml.replace(b"</row>", b"</row>", 1).replace(
        b"</sheetData>", b'<row r="40"><c r="H40"><v>7</v></c></row></sheetData>'))  # fmt: skip


@raw("views of other people")
def _() -> bytes:
    views = (
        b'<customSheetViews><customSheetView guid="{00000000-0000-0000-0000-000000000004}" filter="1">'
        b'<autoFilter ref="A3:E11"/></customSheetView></customSheetViews>'
    )
    return on_sheet(before(b"<pageMargins", views))


@raw("scenarios")
def _() -> bytes:
    scenarios = b'<scenarios><scenario name="wet" count="1"><inputCells r="B4" val="40"/></scenario></scenarios>'
    return on_sheet(before(b"<pageMargins", scenarios))


@raw("no styles part")
def _() -> bytes:
    data = plain()
    file = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as old, zipfile.ZipFile(file, "w") as new:
        for info in old.infolist():
            content = old.read(info)
            content = re.sub(
                rb'<Override PartName="/xl/styles.xml"[^>]*>|<Relationship [^>]*styles.xml"/>', b"", content
            )
            if info.filename != "xl/styles.xml":
                new.writestr(info, content)
    return file.getvalue()


@raw("validations and formats of 2010")
def _() -> bytes:
    lists = (
        b'<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}" '
        b'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"><x14:dataValidations count="1" '
        b'xmlns:xm="http://schemas.microsoft.com/office/excel/2006/main"><x14:dataValidation type="list" allowBlank="1">'
        b"<x14:formula1><xm:f>Lists!$A$1:$A$3</xm:f></x14:formula1><xm:sqref>C4:C11</xm:sqref></x14:dataValidation>"
        b"</x14:dataValidations></ext></extLst>"
    )
    base = written(lambda book, _: book.add_worksheet("Lists"))
    return edited(base, {SHEET_PART: before(b"</worksheet>", lists)})


@raw("stored, not compressed")
def _() -> bytes:
    file = BytesIO()
    with zipfile.ZipFile(BytesIO(plain())) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as new:
        for info in old.infolist():
            new.writestr(info.filename, old.read(info))
    return file.getvalue()
