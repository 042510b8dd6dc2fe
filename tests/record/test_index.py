"""The index of a record: it says what the full reading says, and counts for nothing once anything has changed."""

from __future__ import annotations

import ast
import tempfile
import zipfile
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import ClassVar

import pytest
import vobject
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import initialize, invariant, precondition, rule
from openpyxl import load_workbook
from season import ANIMALS, FACTS, START, Season
from sheets import WORMER
from yard import WHEN, Yard

import batchdose
from batchdose.kept import facts_key
from batchdose.read.book import open_book
from batchdose.read.own_sheet import UnusualSheetError
from batchdose.record.append import _write, new_rows, record_of_new, store
from batchdose.record.book import OwnRecord, open_record, record_from, record_of
from batchdose.record.chain import chain_findings
from batchdose.record.clear import Clearing
from batchdose.record.consignment import Listed, answers
from batchdose.record.index import RULE_FILES, index_findings, index_in
from batchdose.record.known import RowsNeededError
from batchdose.record.opened import Opened, opened, part_of
from batchdose.record.rows import DOSE, NO_ROW_BEFORE, PERIOD, RELEASE, Row
from batchdose.write.record_book import INDEX_PART, RECORD_SHEET, with_index

GOOD = {"given": "yes", "when": WHEN}
NOW = datetime(2026, 3, 1, tzinfo=UTC)
#: Every EID and tag alone, and each with every other, as they may stand together on a list.
NAMED = [list(dict.fromkeys(form[at] for forms in ANIMALS.values() for form in forms)) for at in (0, 1)]
ASKED = [Listed(eid, tag) for eid in (*NAMED[1], "982000000000009") for tag in (*NAMED[0], "0009") if eid or tag]


def said(clearing, names, on, asked=None):
    """All that can be printed of everyone, and of these names."""
    products = clearing.products()
    by = asked or (lambda _: clearing)
    lists = [
        answers(clearing, None, products, on),
        *(answers(by(one), [one], products, on) for one in names),
    ]
    return [(found.of_list, found.sound, sorted(map(printed, found.verdicts))) for found in lists]


def printed(verdict):
    clear, row = verdict.held.clear, verdict.held.row
    at = clear.at.timestamp() if clear.at else 0
    holding = (row.row, row.medicine, row.given_at) if row else ()
    return verdict.name, verdict.tag, verdict.product, verdict.answer, clear.state, clear.why, at, holding


class TestItCountsOnlyForItsOwnBytes:
    @pytest.fixture
    def yard(self, tmp_path):
        yard = Yard(tmp_path)
        yard.fill({"0412": GOOD, "0413": GOOD | {"amount": 1.2}})
        yard.record()
        return yard

    def test_it_is_there_and_used(self, yard):
        assert index_in(yard.record_path.read_bytes()) is not None
        assert "all its rows were read" not in yard.clear().stderr

    def test_a_changed_cell_is_not_hidden_by_it(self, yard):
        """The sheet changed inside the package, everything else left as it was."""
        with zipfile.ZipFile(yard.record_path) as package:
            parts = {name: package.read(name) for name in package.namelist()}
        sheet = next(name for name, content in parts.items() if b"2026-06-01T09:30" in content and name != INDEX_PART)
        parts[sheet] = parts[sheet].replace(b"2026-06-01T09:30", b"2026-05-01T09:30", 1)
        with zipfile.ZipFile(yard.record_path, "w", zipfile.ZIP_DEFLATED) as package:
            for name, content in parts.items():
                package.writestr(name, content)
        assert index_in(yard.record_path.read_bytes()) is None
        told = yard.clear("--animals", yard.list_of("0412"), "--on", "2026-06-14", "--for", "meat")
        assert told.exit_code == 1
        assert "nobody can be called clear" in told.stdout
        assert "Row 1 was altered" in yard.run("check", yard.record_path).stderr

    def test_any_byte_of_any_other_part_counts(self, yard):
        data = yard.record_path.read_bytes()
        with zipfile.ZipFile(BytesIO(data)) as package:
            parts = {name: package.read(name) for name in package.namelist()}
        for changed in parts:
            buffer = BytesIO()
            with zipfile.ZipFile(buffer, "w") as package:
                for name, content in parts.items():
                    package.writestr(name, content + (b" " if name == changed else b""), zipfile.ZIP_DEFLATED, 1)
            assert index_in(buffer.getvalue()) is None, changed

    def test_it_is_not_taken_from_another_version(self, yard, monkeypatch):
        from batchdose.record import index

        monkeypatch.setattr(index, "rules_digest", lambda: "other rules")
        told = yard.clear("--on", "2026-06-02")
        assert "all its rows were read" in told.stderr
        assert told.stdout.count("not clear") == 4

    @pytest.mark.parametrize("content", [b"", b"{", b"[]", b"{}", b"null", b"\xff\xfe", b'{"format": 1}'])
    def test_nonsense_in_its_place_is_no_fault(self, yard, content):
        with zipfile.ZipFile(yard.record_path) as package:
            parts = {name: package.read(name) for name in package.namelist()}
        with zipfile.ZipFile(yard.record_path, "w") as package:
            for name, part in (parts | {INDEX_PART: content}).items():
                package.writestr(name, part)
        assert yard.clear("--on", "2026-06-02").stdout.count("not clear") == 4
        yard.fill({"0415": GOOD})
        assert yard.record().exit_code == 0
        assert index_in(yard.record_path.read_bytes()) is not None

    def test_other_answers_in_it_are_found_by_check(self, yard):
        """Who changes the answers themselves knows the program; `check` reads every row and compares."""
        index = index_in(yard.record_path.read_bytes())
        index.known.outcomes[0] = ("not_applicable", "", "nothing was given", "", "")
        data = with_index(yard.record_path.read_bytes(), index.content)
        yard.record_path.write_bytes(data)
        told = yard.run("check", yard.record_path)
        assert told.exit_code == 1
        assert "[record-index-altered]" in told.stderr
        assert "0412" in told.stderr

    def test_after_another_program_has_saved_it_everything_is_read_and_the_next_recording_makes_it_anew(self, yard):
        load_workbook(yard.record_path).save(yard.record_path)
        before = yard.clear("--on", "2026-06-02")
        assert "all its rows were read" in before.stderr
        yard.fill({"0415": GOOD})
        yard.record()
        after = yard.clear("--on", "2026-06-02")
        assert after.stderr == ""
        assert set(before.stdout.splitlines()) < set(after.stdout.splitlines())
        assert yard.run("check", yard.record_path).exit_code == 0

    def test_an_altered_record_gets_none(self, yard):
        book = load_workbook(yard.record_path)
        book[RECORD_SHEET]["P2"] = "other bottle"
        book.save(yard.record_path)
        yard.fill({"0415": GOOD})
        assert yard.record().exit_code == 1
        assert index_in(yard.record_path.read_bytes()) is None
        assert "nobody can be called clear" in yard.clear().stdout

    def test_rows_that_are_there_keep_their_compressed_bytes(self, yard):
        before = yard.record_path.read_bytes()
        with zipfile.ZipFile(yard.record_path) as package:
            info = max(package.infolist(), key=lambda info: info.file_size)
        kept = index_in(before).behind
        start = info.header_offset + 30 + len(info.filename)
        stream = before[start : start + kept.stream]
        yard.fill({"0415": GOOD})
        yard.record()
        assert stream in yard.record_path.read_bytes()
        assert [row["Row"] for row in yard.rows()] == [1, 2, 3]


@pytest.mark.parametrize(
    "text", ["", "a & b < c > d", "é ß 羊", " spaced ", "line\nbreak", "_x0041_", "tab\tin", "&amp;", "0412", "1e5"]
)  # fmt: skip
def test_both_readers_read_the_same(tmp_path, text):
    """What is written is read the same by the quick reader and by the general one, which opens what others saved."""
    path = tmp_path / "record.xlsx"
    rows = [Row(line="a/1/1", tag=text, note=text, amount="0.35", head="12", given="yes"), Row(line="b/1/1", mob=text)]
    store(new_record_at(path), rows, {facts_key(t): t for t in FACTS.values()}, path, NOW)
    quick, general = record_from(path, path.read_bytes()), record_of(open_book(path))
    assert quick.rows == general.rows
    assert quick.places == general.places
    assert quick.facts == general.facts
    assert not list(chain_findings(quick)) or text in (" spaced ",), "a text that reads back otherwise"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"<v>1</v>", b"<f>1</f><v>1</v>"), (b'r="A3"', b'r="A4"'), (b'<row r="3">', b'<row r="5">'),
        (b"<t>0002</t>", b"<t>0002</t><t>x</t>"), (b"<t>0002</t>", b"<t>&#48;002</t>"),
        (b"<t>0002</t>", b"<t>\r</t>"), (b"<t>Row</t>", b"<t>Number</t>"), (b"<t>0002</t>", b"<t>\xff</t>"),
        (b'<row r="3">', b'<!-- --><row r="3">'), (b'<row r="3">', b'<row r="3" hidden="1">'),
        (b"<v>1</v>", b"<v>01.0.0</v>"), (b"</worksheet>", b"<x></worksheet>"),
    ],
)  # fmt: skip
def test_another_form_is_left_to_the_general_reader(tmp_path, old, new):
    path = tmp_path / "record.xlsx"
    store(new_record_at(path), [Row(line=f"{tag}/1/1", tag=tag, amount="1") for tag in ("0001", "0002")], {}, path, NOW)
    with zipfile.ZipFile(path) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    assert old in parts["xl/worksheets/sheet1.xml"]
    parts["xl/worksheets/sheet1.xml"] = parts["xl/worksheets/sheet1.xml"].replace(old, new, 1)
    buffer = BytesIO()
    with zipfile.ZipFile(buffer, "w") as package:
        for name, content in parts.items():
            package.writestr(name, content)
    with pytest.raises(UnusualSheetError):
        OwnRecord(path, buffer.getvalue()).whole()


class Kept(Season):
    """The season in a real file, recorded by what the commands call."""

    @initialize()
    def an_empty_folder(self):
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "record.xlsx"

    def teardown(self):
        self.folder.cleanup()

    def add(self, rows, facts):
        there = opened(self.path, rows, facts) if self.path.exists() else new_record_at(self.path)
        if rows[0].kind == DOSE:
            rows = new_rows(there.record.rows, rows)
        stands = _write(there, rows, facts, self.path, NOW, with_stock=len(self.rows) % 2 == 0)
        added = list(stands.rows)
        self.rows += added
        assert not added or index_in(self.path.read_bytes()) is not None

    @precondition(lambda self: self.rows)
    @rule()
    def saved_by_another_program(self):
        load_workbook(self.path).save(self.path)

    @precondition(lambda self: self.rows)
    @rule(kind=st.sampled_from([PERIOD, RELEASE]))
    def for_a_whole_mob(self, kind):
        """A word about a mob, where one was treated as a whole."""
        whole = next((at for at, row in enumerate(self.rows) if not row.tag and not row.eid and row.kind == DOSE), None)
        if whole is not None:
            self.a_word_of_a_person(whole, kind, 3, "meat")

    @invariant()
    def all_rows_are_there_and_the_chain_holds(self):
        if self.rows:
            record = open_record(self.path)
            assert list(record.rows) == self.rows
            assert list(chain_findings(record)) == []

    @invariant()
    def it_says_what_the_full_reading_says(self):
        if not self.rows:
            return
        index = index_in(self.path.read_bytes())
        full = Clearing(record_of(open_book(self.path)))
        for hour in (self.last, self.last + 15 * 24, self.last + 36 * 24) if index else ():
            on = START + timedelta(hours=hour)
            assert said(index.known, ASKED, on, lambda one: self.by_rows(index, one)) == said(full, ASKED, on)
            assert index.head_hash == self.rows[-1].hash
        assert not index or not list(index_findings(index, full.record))

    def by_rows(self, index, one):
        """What says it of an animal on a list, as `clear` asks: the index, or the rows that it leads to."""
        try:
            index.known.of_both(one.eid, one.tag)
        except RowsNeededError:
            with suppress(UnusualSheetError):  # as another program saved it: then all rows are read
                return part_of(self.path, self.path.read_bytes(), index, [one])
            return Clearing(open_record(self.path))
        return index.known


Kept.TestCase.settings = settings(max_examples=20, stateful_step_count=12, deadline=None)
test_the_index_says_what_the_full_reading_says = Kept.TestCase


def new_record_at(path):
    """A record not written yet."""
    return Opened(record_of_new(path), 0, NO_ROW_BEFORE, frozenset(), frozenset(), ())


class TestWhatFollowsIsTheSameFromAPart:
    """Repeats, stock and calendar after a recording, from the rows that the index leads to and from all rows."""

    MEDICINE: ClassVar = WORMER | {"Strength": "10 mg/mL", "Dose rate": "2 mg/kg", "Graduation": "1 mL"}
    STOCK = (
        "Medicine | Pack size | Packs | Batch | Expiry | Use within\nwormer A | 25 mL | 3 | B1 | 2027-01 | 28 days\n"
    )
    ANIMALS = """
Tag  | EID             | Weight (kg) | Mob
0412 | 982000000000412 | 50          | Hill
0413 | 982000000000413 | 50          | Hill
0414 | 982000000000414 | 50          | Low
0415 |                 | 50          | Low
"""

    @pytest.fixture(params=["part", "all"])
    def yard(self, tmp_path, request, monkeypatch):
        yard = Yard(tmp_path, self.ANIMALS, self.MEDICINE, Stock=self.STOCK)
        if request.param == "all":
            monkeypatch.setattr("batchdose.record.opened.index_in", lambda _: None)
        else:
            monkeypatch.setattr("batchdose.record.opened.record_from", _not_in_full)
        return yard

    def left(self, yard):
        return list(load_workbook(yard.record_path)["Stock left"].values)[1:]

    def calendar(self, yard):
        text = (yard.folder / "job/weighing-clear.ics").read_text(encoding="utf-8")
        return {e.summary.value: e.dtstart.value for e in vobject.readOne(text).vevent_list
                if "status" not in e.contents or e.status.value != "CANCELLED"}  # fmt: skip

    def test_stock_of_others_a_correction_and_a_job_recorded_in_pieces(self, yard):
        yard.fill({"0412": GOOD | {"batch_no": "B1"}, "0414": GOOD | {"batch_no": "B1"}})
        yard.record()
        assert [row[3:5] for row in self.left(yard)] == [(1, 5), (2, None)]
        # Only another animal, and one row of those before corrected.
        yard.fill({
            "0412": {"given": "no", "when": None, "batch_no": None, "why_not": "broke away"},
            "0413": {"given": "yes", "when": "2026-06-03 10:00", "batch_no": "B1"},
        })  # fmt: skip
        assert "1 of them corrections" in yard.record().output
        assert [row[3:5] for row in self.left(yard)] == [(1, 5), (2, None)]
        assert {name: at for name, at in self.calendar(yard).items() if "Hill" in name or "B1" in name}
        assert yard.run("check", yard.record_path).exit_code == 0
        assert index_in(yard.record_path.read_bytes()) is not None

    def test_given_twice_is_told_and_never_clear(self, yard):
        yard.fill({"0413": GOOD})
        yard.record()
        first = (yard.folder / "job/weighing-clear.ics").read_bytes()
        yard.add(tag="0413", eid="", mob="Hill", medicine="wormer A", unit="mL", given="yes", when="2026-06-01 16:00")
        told = yard.record()
        assert "[repeated-too-soon]" in told.stderr
        assert "Record!O3" in told.stderr, "the cell of the new row, wherever its part of the record was read from"
        assert (yard.folder / "job/weighing-clear.ics").read_bytes() != first
        listed = yard.folder / "both.csv"
        listed.write_text("EID,Tag\n982000000000413,0413\n", encoding="utf-8")
        said = yard.clear("--animals", listed, "--on", "2027-06-01", "--for", "meat")
        assert said.stderr == ""
        assert "meat: 982000000000413: not clear: not on the plan" in said.stdout
        assert yard.run("check", yard.record_path).exit_code == 0

    def test_an_animal_that_was_not_on_the_plan_holds_its_mob_in_the_calendar(self, yard):
        """It is no longer on the filled-in sheet, so only its row in the record tells of it."""
        yard.fill({"0414": GOOD})
        yard.add(tag="0999", eid="", mob="Low", medicine="wormer A", unit="mL", given="yes", when="2026-06-01 16:00")
        yard.record()
        assert not [name for name in self.calendar(yard) if "Low" in name and "meat" in name]
        book = load_workbook(yard.dosed)
        book["Job given"].delete_rows(yard.lines["0999", "wormer A", 1])
        book.save(yard.dosed)
        yard.fill({"0415": GOOD})
        yard.record()
        assert not [name for name in self.calendar(yard) if "Low" in name and "meat" in name]

    def test_the_sheet_of_the_stock_comes_back(self, yard):
        yard.fill({"0414": GOOD | {"batch_no": "B1"}})
        yard.record()
        before = yard.record_path.read_bytes()
        yard.record()
        assert yard.record_path.read_bytes() == before
        yard.run("release", yard.record_path, "--row", 1, "--by", "V", "--reason", "R", "--period", "meat=9 days")
        assert index_in(yard.record_path.read_bytes()) is not None
        assert len(self.left(yard)) == 2


def _not_in_full(*_):
    raise AssertionError("the record is read in full")


def test_everything_that_decides_who_is_clear_is_in_the_digest():
    """What the answers are made with, module by module, is among the files that bind an index to its version."""
    package = Path(batchdose.__file__).parent
    todo, seen = [package / "record" / f"{name}.py" for name in ("known", "clear", "draws", "opened")], set()
    while todo:
        path = todo.pop()
        if path in seen or not path.is_file():
            continue
        seen.add(path)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("batchdose"):
                place = package.joinpath(*node.module.split(".")[1:])
                todo += [place.with_suffix(".py"), *(place / f"{alias.name}.py" for alias in node.names)]
    parts = {path.relative_to(package).parts[0] for path in seen}
    # How it is written, and how memory is tidied, decide nothing.
    assert parts - {"write", "memory.py"} <= set(RULE_FILES)
