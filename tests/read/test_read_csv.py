"""Text files: encoding and delimiter found out, line numbers kept, quotation marks that are never closed."""

from __future__ import annotations

import pytest

from batchdose import UnusableInputError
from batchdose.read.book import open_book

HEADING = ["Tag", "Weight (kg)", "Mob"]


def rows(path, data, encoding="utf-8"):
    path = path / "weighing.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode(encoding))
    return open_book(path).sheets[0].rows


def refusal(path, data):
    with pytest.raises(UnusableInputError) as refused:
        rows(path, data)
    return str(refused.value)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be", "utf-32"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_delimiters_and_line_ends(tmp_path, encoding, delimiter, end):
    lines = [HEADING, ["0412", "41.5", "Hügel"], ["0413", "43", "Hügel"]]
    text = end.join(delimiter.join(line) for line in lines) + end
    assert rows(tmp_path, text, encoding) == lines


@pytest.mark.parametrize("mark", [";", ",", "|", "\t"])
@pytest.mark.parametrize("line", ["sep={}", "SEP={}", '"sep={}"'])
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_a_first_line_may_name_the_delimiter_and_keeps_its_number(tmp_path, mark, line, encoding):
    lines = [line.format(mark), mark.join(HEADING), mark.join(["0412", "41.5", "Hill"])]
    read = rows(tmp_path, "\r\n".join(lines), encoding)
    assert read == [[], HEADING, ["0412", "41.5", "Hill"]]


def test_the_named_delimiter_counts_whatever_fits_better(tmp_path):
    text = "sep=;\nTag;Weight (kg);Mob\n0412;62,5;Hill, north, dry, far\n"
    assert rows(tmp_path, text)[2] == ["0412", "62,5", "Hill, north, dry, far"]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_row_numbers_are_line_numbers(tmp_path, end):
    lines = ["", "Weighed at dusk", "Tag,Weight (kg),Note", '0412,41.5,"lame', "left", '', 'fore"', "0413,43,", "",
             "0414,44,x"]  # fmt: skip
    read = rows(tmp_path, end.join(lines) + end)
    assert [number for number, row in enumerate(read, 1) if row and row[0] in ("0412", "0413", "0414")] == [4, 8, 10]
    assert read[3][2].split() == ["lame", "left", "fore"]
    assert read[4:7] == [[], [], []]


def test_a_quotation_mark_left_open_is_no_reason_to_lose_the_rest(tmp_path):
    text = 'Tag,Weight (kg),Note\n0412,41.5,"lame\n0413,43,\n0414,44,\n'
    assert "left open in line 2" in refusal(tmp_path, text)


def test_a_quotation_mark_closed_rows_later_is_no_reason_to_lose_those_between(tmp_path):
    text = 'Tag,Weight (kg),Note\n0412,41.5,"lame\n0413,43,\n0414,44,"old"\n0415,44,\n'
    assert "from line 2 on holds whole rows" in refusal(tmp_path, text)


@pytest.mark.parametrize("text", ['0412,41.5,"said ""hold"" twice"\n', '0412,41.5,5" wound\n', '0412,41.5,a"b"c\n'])
def test_quotation_marks_within_a_text_are_text(tmp_path, text):
    assert '"' in rows(tmp_path, "Tag,Weight (kg),Note\n" + text)[1][2]


def test_decimal_commas_between_semicolons(tmp_path):
    assert rows(tmp_path, "Tag;Weight (kg)\n0412;41,5\n0413;1.041,5\n")[1:] == [["0412", "41,5"], ["0413", "1.041,5"]]


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"Tag,Weight\n0412,41\x00.5\n", "no text"),
        (b"Tag,Weight\n0412,\x81\n", "characters cannot be read"),
        (b"\xff\xfeT\x00a", "characters cannot be read"),
        (b"PK\x03\x04\x14\x00", "it is a workbook"),
        (b"Tag,Weight\n" + b"9" * 40_000 + b",41\n", "longer than 32,767"),
        (b"Tag,Weight,Note\n0412,41," + b"9" * 140_000, "line 2 is damaged"),
        (b"Tag,Weight\n" + b"\n" * 260_000 + b"0412,41\n", "as far as row 250,001"),
        (b"Tag,Weight\n" + b"," * 20_000 + b"x\n", "column number 20,001"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_sentence(tmp_path, data, why):
    text = refusal(tmp_path, data)
    assert why in text
    assert "\n" not in text


def test_blank_lines_at_the_end_are_nothing(tmp_path):
    lines = [["Tag", "Weight"], ["0412", "41"]]
    assert rows(tmp_path, "Tag,Weight\n0412,41\n" + ",\n\n" * 300_000) == lines
