"""Where the results go in the copy, what grows with them, what a second run does, and what is refused."""

from __future__ import annotations

import re
import zipfile
from dataclasses import replace
from io import BytesIO

import corpus_parts  # noqa: F401 - adds its features
import pytest
from copies import ROWS, columns, copied, donor, own_columns, parts, values
from corpus import FEATURES, HEADER_ROW, HEADINGS, SHEET, SHEET_PART, before, edited, on_sheet, plain, written
from openpyxl import load_workbook
from openpyxl.utils import range_boundaries

from batchdose.write.earlier import Animals
from batchdose.write.graft import graft
from batchdose.write.package import Package
from batchdose.write.styles import Look, Styles
from batchdose.write.xmltext import CannotCopyError

SORT = "Sort whole rows only"


def opened(data):
    return load_workbook(BytesIO(data))


def refused(source, put=None):
    with pytest.raises(CannotCopyError) as error:
        copied(source, put)
    return str(error.value)


def changed(data, change):
    """A workbook after a change by openpyxl."""
    book = opened(data)
    change(book)
    file = BytesIO()
    book.save(file)
    return file.getvalue()


def heads(data):
    """Headings of the sheet by column letter."""
    return {cell.column_letter: cell.value for cell in opened(data)[SHEET][HEADER_ROW] if cell.value}


OURS = [column.heading for column in columns()]


class TestPlace:
    @pytest.mark.parametrize(
        ("name", "first"),
        [
            ("plain", "F"),
            ("merged title", "F"),  # above the headings
            ("merged cells at the right", "I"),
            ("table at the right", "J"),
            ("table below the headings", "M"),
            ("cells far to the right", "I"),
            ("formatted blank cells", "F"),
            ("hidden columns to the last", "F"),
        ],
    )
    def test_the_first_columns_side_by_side_that_nothing_is_in(self, name, first):
        copy, notes = copied(FEATURES[name]())
        found = heads(copy)
        at = list(found).index(first)
        assert list(found.values())[at : at + 4] == OURS
        assert own_columns(copy) == list(range(own_columns(copy)[0], own_columns(copy)[0] + 4))
        assert any(note.startswith(SORT) for note in notes) == (first != "F")

    def test_hidden_columns_do_not_hide_the_results(self):
        copy = copied(FEATURES["hidden columns to the last"]())[0]
        dimensions = opened(copy)[SHEET].column_dimensions
        assert [(d.min, d.max, d.hidden) for d in dimensions.values()] == [
            *((at, at, False) for at in range(6, 10)), (10, 16384, True),
        ]  # fmt: skip

    def test_no_room_is_said(self):
        far = re.compile(rb'(<row r="3".*?)</row>')
        assert "no room" in refused(on_sheet(lambda xml: far.sub(rb'\1<c r="XFB3"><v>1</v></c></row>', xml)))

    def test_a_chart_over_the_results_is_said(self):
        def chart(place):
            def put(book, sheet):
                made = book.add_chart({"type": "line"})
                made.add_series({"values": f"={SHEET}!$B$4:$B$11"})
                sheet.insert_chart(place, made)

            return copied(written(put))[1]

        assert any("lies over" in note for note in chart("F2"))
        assert chart("Z2") == []

    def test_a_protected_sheet_stays_so_and_a_note_says_it(self):
        copy, notes = copied(FEATURES["protected sheet"]())
        assert opened(copy)[SHEET].protection.sheet
        assert any("is protected" in note for note in notes)

    def test_a_streaming_reader_sees_the_results(self):
        sheet = load_workbook(BytesIO(copied(plain())[0]), read_only=True)[SHEET]
        assert [cell.value for cell in list(sheet.iter_rows())[HEADER_ROW - 1]][5:] == OURS


class TestTablesAndFilters:
    @pytest.mark.parametrize("name", ["table", "table with totals and a calculated column", "openpyxl table"])
    def test_a_table_grows_over_the_results(self, name):
        copy, notes = copied(FEATURES[name]())
        sheet = opened(copy)[SHEET]
        [table] = sheet.tables.values()
        last = 12 if "totals" in name else 11
        assert (table.ref, notes) == (f"A3:I{last}", [])
        assert [column.name for column in table.tableColumns] == [cell.value for cell in sheet[HEADER_ROW][:9]]
        assert len({column.id for column in table.tableColumns}) == 9
        assert table.autoFilter is None or table.autoFilter.ref == "A3:I11"

    @pytest.mark.parametrize("name", ["table at the right", "table without headings", "filter over some columns"])
    def test_what_is_not_of_the_animals_or_does_not_touch_stays_and_a_note_says_it(self, name):
        original = FEATURES[name]()
        copy, notes = copied(original)
        for part, content in parts(original).items():
            assert not part.startswith("xl/tables/") or parts(copy)[part] == content
        assert opened(copy)[SHEET].auto_filter.ref == opened(original)[SHEET].auto_filter.ref
        assert any(note.startswith(SORT) for note in notes) == (name != "table without headings")

    def test_a_tables_column_headed_as_a_result_is_one_of_an_earlier_run(self):
        def put(_, sheet):
            names = ("Tag", "Weight (kg)", "Mob", "Job: dose", "Gain")
            sheet.add_table("A3:E11", {"columns": [{"header": name} for name in names]})

        copy, notes = copied(written(put))
        [table] = opened(copy)[SHEET].tables.values()
        assert own_columns(copy) == [4, 6, 7, 8]
        assert (table.ref, [column.name for column in table.tableColumns][3]) == ("A3:H11", "Job: tag")
        assert 'emptied before the new ones were written: D ("Job: dose")' in notes[0]

    def test_odd_letters_in_a_heading_and_in_the_sheets_name(self):
        def put(book, sheet):
            sheet.add_table("A3:E11", {"columns": [{"header": name} for name in HEADINGS]})
            sheet.name = "{} & 'x'"
            book.add_worksheet("More")

        heading = "Job: {} <\"A\" & 'B'>"
        odd = [replace(columns()[0], heading=heading), *columns()[1:]]
        animals = Animals(HEADER_ROW, 1, HEADINGS, ROWS)
        copy = graft(written(put), "{} & 'x'", animals, odd, donor())[0]
        sheet = opened(copy)["{} & 'x'"]
        assert [column.name for column in next(iter(sheet.tables.values())).tableColumns][5] == heading
        assert sheet["F3"].value == heading
        assert graft(copy, "{} & 'x'", animals, odd, donor())[0] == copy

    def test_a_table_fed_by_a_query_stays(self):
        part = "xl/tables/table1.xml"
        original = edited(
            FEATURES["table"](), {part: lambda xml: xml.replace(b"<table ", b'<table tableType="queryTable" ')}
        )
        copy, notes = copied(original)
        assert parts(copy)[part] == parts(original)[part]
        assert notes[0].startswith(SORT)

    def test_the_filter_and_its_hidden_name_grow(self):
        copy, notes = copied(FEATURES["filter"]())
        book = opened(copy)
        assert (book[SHEET].auto_filter.ref, notes) == ("A3:I11", [])
        text = parts(copy)["xl/workbook.xml"].decode()
        assert re.search(r'_xlnm._FilterDatabase"[^>]*>([^<]*)<', text)[1] == f"{SHEET}!$A$3:$I$11"
        assert b'<filterColumn colId="2">' in parts(copy)[SHEET_PART]

    def test_the_last_sort_of_a_filter_goes_along(self):
        def sort(xml):
            state = b'<sortState ref="A4:E11"><sortCondition ref="B4:B11"/></sortState></autoFilter>'
            return xml.replace(b"</autoFilter>", state)

        copy = copied(edited(FEATURES["filter"](), {SHEET_PART: sort}))[0]
        assert b'<sortState ref="A4:I11"><sortCondition ref="B4:B11"/>' in parts(copy)[SHEET_PART]

    @pytest.mark.parametrize("name", ["plain", "table", "filter"])
    def test_sorting_keeps_tag_and_dose_together(self, name):
        """What a program sorts: the table, the filter's range, or all columns up to the first blank one."""
        book = opened(copied(FEATURES[name]())[0])
        sheet = book[SHEET]
        if name == "plain":
            right = next(at for at in range(1, 99) if sheet.cell(HEADER_ROW, at).value is None) - 1
            left, top, bottom = 1, HEADER_ROW, 11
        else:
            ref = sheet.auto_filter.ref if name == "filter" else next(iter(sheet.tables.values())).ref
            left, top, right, bottom = range_boundaries(ref)
        rows = [[sheet.cell(row, at).value for at in range(left, right + 1)] for row in range(top + 1, bottom + 1)]
        for row in sorted(rows, key=lambda row: -row[1]):
            tag, dose = row[5:7]
            assert tag == row[0]
            assert dose == (int(tag) - 399) / 10


class TestSecondRun:
    def test_a_column_that_the_user_put_between_ours_is_not_ours(self):
        first = copied(plain())[0]

        def insert(xml):
            """As a program does it: our second column and those right of it move by one."""
            for old, new in (("I", "J"), ("H", "I"), ("G", "H")):
                xml = re.sub(rf'r="{old}(\d+)"'.encode(), rf'r="{new}\1"'.encode(), xml)
            return xml.replace(b'<c r="H4"', b'<c r="G4"><v>7</v></c><c r="H4"')

        def names(xml):
            for old, new in (("I", "J"), ("H", "I"), ("G", "H")):
                xml = xml.replace(f"${old}:${old}".encode(), f"${new}:${new}".encode())
            return xml

        moved = edited(first, {SHEET_PART: insert, "xl/workbook.xml": names})
        again = copied(moved)[0]
        assert own_columns(again) == [6, 8, 9, 10]
        assert values(again)[SHEET]["G4"] == 7
        assert copied(again)[0] == again

    def test_more_columns_go_behind_and_fewer_are_cleared(self):
        first = copied(plain())[0]
        more = copied(first, columns(more=True))[0]
        assert list(heads(more).values())[5:] == [*OURS, "Job: working"]
        assert copied(more)[0] != more
        fewer = copied(more)[0]
        assert list(heads(fewer).values())[5:] == OURS
        assert not [at for at in values(fewer)[SHEET] if at.startswith("J")]
        assert own_columns(fewer) == [6, 7, 8, 9]

    def test_in_a_table_a_column_not_needed_is_cleared_and_keeps_a_heading(self):
        more = copied(FEATURES["table"](), columns(more=True))[0]
        fewer = copied(more)[0]
        sheet = opened(fewer)[SHEET]
        [table] = sheet.tables.values()
        assert [column.name for column in table.tableColumns] == [cell.value for cell in sheet[HEADER_ROW][:10]]
        assert (table.ref, sheet["J3"].value) == ("A3:J11", "Job: not used")
        assert all(sheet.cell(row, 10).value is None for row in ROWS)
        assert copied(fewer, columns(more=True))[0] == more

    def test_a_table_of_a_first_run_grows_again(self):
        more = copied(copied(FEATURES["table"]())[0], columns(more=True))[0]
        assert next(iter(opened(more)[SHEET].tables.values())).ref == "A3:J11"

    def test_without_our_marks_the_columns_are_known_by_the_repeated_tag(self):
        first = copied(plain())[0]
        names = re.compile(rb"<definedNames>.*</definedNames>", re.DOTALL)
        lost = edited(first, {"xl/workbook.xml": lambda xml: names.sub(b"", xml)})
        again = copied(lost, columns([4]))[0]
        assert list(heads(again).values())[5:] == OURS
        assert [at for at in values(again)[SHEET] if at.startswith("G")] == ["G3", "G4"]

    def test_a_heading_like_ours_is_not_enough_to_clear_a_column(self):
        def put(_, sheet):
            sheet.write("F3", "Job: done by")
            sheet.write("F4", "Operator 1")

        copy = copied(written(put))[0]
        assert values(copy)[SHEET]["F4"] == "Operator 1"
        assert own_columns(copy) == [7, 8, 9, 10]

    def test_merged_cells_across_our_columns_move_the_results(self):
        first = copied(plain())[0]
        merged = changed(first, lambda book: book[SHEET].merge_cells("F6:G7"))
        again = copied(merged)[0]
        assert own_columns(again) == [8, 9, 10, 11]
        assert not [at for at in values(again)[SHEET] if re.match(r"[FG]\d", at)]

    def test_a_formula_of_the_users_in_our_columns_is_not_lost(self):
        def add(book):
            book[SHEET]["G13"] = "=SUM(G4:G11)"

        assert "cell G13" in refused(changed(copied(plain())[0], add))

    def test_a_column_of_ours_that_was_headed_otherwise_is_cleared_and_named(self):
        def rename(book):
            book[SHEET]["G3"] = "Dose (mL)"

        again, notes = copied(changed(copied(plain())[0], rename), columns([4]))
        assert [at for at in values(again)[SHEET] if at.startswith("G")] == ["G3", "G4"]
        assert [note for note in notes if note.startswith('The column G ("Dose (mL)") held')]

    def test_our_sheets_are_replaced_where_they_stand_and_as_they_are_called(self):
        def move(book):
            book["Job settings"].title = "Settings of March"
            book.move_sheet("Job findings", -2)

        moved = changed(copied(plain())[0], move)
        again = copied(moved, sheets=donor("new text"))[0]
        book = opened(again)
        assert book.sheetnames == ["Job findings", SHEET, "Settings of March"]
        assert [book[name]["A2"].value for name in ("Job findings", "Settings of March")] == ["new text"] * 2

    def test_a_sheet_taken_away_comes_back(self):
        again = copied(changed(copied(plain())[0], lambda book: book.remove(book["Job settings"])))[0]
        assert opened(again).sheetnames == [SHEET, "Job findings", "Job settings"]


class TestResultSheets:
    def test_names_never_collide(self):
        book = opened(copied(FEATURES["sheets with our names"]())[0])
        assert book.sheetnames[-2:] == ["Job settings (2)", "Job findings (3)"]
        assert len({name.casefold() for name in book.sheetnames}) == len(book.sheetnames)
        assert book["JOB SETTINGS"]["A1"].value == "mine"

    def test_their_formats_come_along_and_old_numbers_keep_their_meaning(self):
        def formats(book, sheet):
            sheet.write("D4", "red", book.add_format({"font_color": "red", "num_format": "0.0000", "border": 2}))

        original = written(formats)
        copy = copied(original)[0]
        before, after = opened(original), opened(copy)
        for row in before[SHEET].iter_rows():
            for cell in row:
                same = after[SHEET][cell.coordinate]
                for name in ("font", "fill", "border", "number_format", "alignment", "protection"):
                    assert repr(getattr(same, name)) == repr(getattr(cell, name))
        sheet = after["Job settings"]
        assert sheet["A1"].font.bold
        assert sheet["A1"].font.name == before[SHEET]["A1"].font.name, "in the user's own font"
        assert sheet["A1"].fill.fgColor.rgb == "00DDDDDD"
        assert sheet["B2"].number_format == "0.000"

    def test_a_style_that_is_there_is_used_again(self):
        package = Package(copied(plain())[0])
        styles = Styles(package)
        before = package.read("xl/styles.xml")
        assert styles.number(Look()) == 0
        styles.number(Look(number_format="ddd d mmm yyyy hh:mm"))
        styles.store()
        assert package.read("xl/styles.xml") == before

    def test_only_one_sheet_is_selected(self):
        copy = copied(plain())[0]
        assert sum(b'tabSelected="1"' in content for content in parts(copy).values()) == 1


class TestFormulas:
    @pytest.mark.parametrize(
        ("formula", "reads"),
        [
            ("=SUM(F4:F11)", True), ("=SUM(B4:B11)", False), ("=COUNTA(A4:Z4)", True), ("=COUNTA(3:3)", True),
            ("=COUNTA(1:2)", False), ("=$F$5", True), ("=SUM(F:F)", True), ("=SUM(A:E)", False), ("=LOG10(B4)", False),
        ],
    )  # fmt: skip
    def test_one_that_reads_our_columns_is_worked_out_when_it_is_opened(self, formula, reads):
        original = written(lambda _, sheet: sheet.write_formula("B20", formula, None, 1))
        original = edited(original, {"xl/workbook.xml": lambda xml: xml.replace(b' fullCalcOnLoad="1"', b"")})
        copy = copied(original)[0]
        assert (b'fullCalcOnLoad="1"' in parts(copy)["xl/workbook.xml"]) == reads
        assert values(copy)[SHEET]["B20"] == 1

    def test_one_on_another_sheet_counts_too(self):
        def put(book, _):
            book.add_worksheet("A b").write_formula("A1", f"={SHEET}!G4+'A b'!F1", None, 1)

        original = edited(written(put), {"xl/workbook.xml": lambda xml: re.sub(rb"<calcPr[^>]*>", b"", xml)})
        assert b'<calcPr fullCalcOnLoad="1"/>' in parts(copied(original)[0])["xl/workbook.xml"]

    def test_one_that_reads_a_tables_column_by_a_name_that_changes_is_refused(self):
        first = copied(FEATURES["table"]())[0]
        other = edited(first, {SHEET_PART: lambda xml: xml.replace(b"<f>B4-30</f>", b"<f>SUM(Table1[Job: dose])</f>")})
        put = columns()
        put[1] = type(put[1])("Job: wormer A: dose", put[1].values, 14)
        assert "headed otherwise" in refused(other, put)
        assert copied(other)[0]


def _strict(xml):
    return xml.replace(
        b"http://schemas.openxmlformats.org/spreadsheetml/2006/main", b"http://purl.oclc.org/ooxml/spreadsheetml/main"
    )


def _bomb(data):
    file = BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts(data).items():
            package.writestr(name, content)
        package.writestr("xl/media/image1.bin", bytes(201 * 1024 * 1024))
    return file.getvalue()


def _twice(data):
    file = BytesIO()
    with zipfile.ZipFile(file, "w") as package:
        for name, content in parts(data).items():
            package.writestr(name, content)
        package.writestr("XL/Workbook.xml", b"")
    return file.getvalue()


def part_edited(part, pattern, new):
    return edited(plain(), {part: lambda xml: re.sub(pattern, new, xml)})


REFUSED = {
    "damaged": lambda: b"PK\3\4 and no more",
    "signed": lambda: edited(plain(), {}, {"_xmlsignatures/origin.sigs": b""}),
    "tracked changes": lambda: edited(plain(), {}, {"xl/revisions/userNames.xml": b"<users/>"}),
    "Strict": lambda: edited(plain(), {SHEET_PART: _strict}),
    "200 MB": lambda: _bomb(plain()),
    "one name": lambda: _twice(plain()),
    "document type": lambda: on_sheet(before(b"<worksheet", b'<!DOCTYPE a [<!ENTITY b "c">]>')),
    "is damaged: ": lambda: on_sheet(lambda xml: xml[:-20]),
    "order": lambda: on_sheet(lambda xml: xml.replace(b'<row r="4"', b'<row r="44"')),
    "not in order": lambda: on_sheet(lambda xml: xml.replace(b'<c r="D3"', b'<c r="A3"')),
    "styles is incomplete": lambda: part_edited("xl/styles.xml", rb"<fills.*</fills>", b""),
    "not found": lambda: part_edited("xl/workbook.xml", rb'name="Weights"', b'name="Other"'),
}  # fmt: skip


@pytest.mark.parametrize("why", REFUSED)
def test_a_workbook_that_cannot_be_copied_is_refused_with_the_reason(why):
    with pytest.raises(CannotCopyError, match=why):
        graft(REFUSED[why](), SHEET, Animals(HEADER_ROW, 1, [], ROWS), columns(), donor())
