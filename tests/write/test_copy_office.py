"""Every copy of the corpus in LibreOffice: it opens, shows what the original shows, and saves our marks."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
from pathlib import Path

import corpus_parts  # noqa: F401 - adds its features
import pytest
from copies import ROWS, columns, copied, decoded, own_columns, parts, sheet_part, values, without_ours
from corpus import FEATURES, MACROS, SHEET

pytestmark = pytest.mark.office

#: LibreOffice opens no workbook that stands behind other bytes.
NAMES = [name for name in FEATURES if name != "behind other bytes, with a remark"]
CSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,1"


@pytest.fixture(scope="module")
def opened(tmp_path_factory) -> Path:
    """Every original and every copy of the corpus as .csv of its first sheet, every copy as .pdf and saved again."""
    if not shutil.which("soffice"):
        missing = "LibreOffice (soffice) is not installed: apt-get install libreoffice-calc-nogui"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    folder = tmp_path_factory.mktemp("corpus")
    for number, name in enumerate(NAMES):
        original = FEATURES[name]()
        ending = "xlsm" if name in MACROS else "xlsx"
        (folder / f"original{number}.{ending}").write_bytes(original)
        (folder / f"copy{number}.{ending}").write_bytes(copied(original)[0])
    convert(folder, CSV, sorted(folder.glob("*.xls*")))
    convert(folder, "pdf", sorted(folder.glob("copy*.xls*")))
    (folder / "again").mkdir()
    convert(folder / "again", "xlsx:Calc MS Excel 2007 XML", [folder / f"copy{at}.xlsx" for at in AGAIN])
    (folder / "saved").mkdir()
    convert(folder / "saved", "xlsx:Calc MS Excel 2007 XML", sorted(folder.glob("original*.xlsx")))
    return folder


#: Copies that LibreOffice is to save again: the plain one, a table and a filter.
AGAIN = [NAMES.index(name) for name in ("plain", "table", "filter")]


def convert(folder: Path, kind: str, paths: list[Path]) -> None:
    """Convert workbooks in one call, with a profile of their own."""
    profile = (folder / "profile").as_uri()
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--convert-to", kind, "--outdir", folder]
    done = subprocess.run(
        [*command, *paths], env=os.environ | {"LC_ALL": "C.UTF-8"}, capture_output=True, text=True, timeout=600,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def rows_of(folder: Path, stem: str) -> list[list[str]]:
    [path] = [*folder.glob(f"{stem}-*.csv"), *folder.glob(f"{stem}.csv")]
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


@pytest.mark.parametrize("name", NAMES)
def test_it_opens_wherever_the_original_does_and_shows_the_same(opened, name):
    number = NAMES.index(name)
    original, copy = rows_of(opened, f"original{number}"), rows_of(opened, f"copy{number}")
    ending = "xlsm" if name in MACROS else "xlsx"
    own = own_columns((opened / f"copy{number}.{ending}").read_bytes())
    for row, new in zip(original, copy, strict=False):
        wide = row + [""] * len(new)
        assert [cell for at, cell in enumerate(new, 1) if at not in own] == [
            cell for at, cell in enumerate(wide[: len(new)], 1) if at not in own
        ]
    for row in ROWS:
        assert [copy[row - 1][column - 1] for column in own[:2]] == [f"{399 + row:04d}", f"{row / 10:g}"]
    assert (opened / f"copy{number}.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("number", AGAIN, ids=[NAMES[at] for at in AGAIN])
def test_our_columns_and_sheets_are_found_after_it_was_saved_there(opened, number):
    saved = (opened / "again" / f"copy{number}.xlsx").read_bytes()
    own = own_columns((opened / f"copy{number}.xlsx").read_bytes())
    again, _ = copied(saved, columns([4]))
    assert own_columns(again) == own
    cells = values(again)
    assert len(cells) == len(values(saved))
    doses = [at for at in cells[SHEET] if at.startswith(chr(64 + own[1])) and at[1:].isdigit() and int(at[1:]) > 3]
    assert doses == [f"{chr(64 + own[1])}4"]


@pytest.mark.parametrize("name", [name for name in NAMES if name not in MACROS])
def test_what_libreoffice_saved_is_copied_too(opened, name):
    original = (opened / "saved" / f"original{NAMES.index(name)}.xlsx").read_bytes()
    copy, _ = copied(original)
    before, after = parts(original), parts(copy)
    may_change = {sheet_part(original), "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/styles.xml"}
    may_change |= {"[Content_Types].xml", *(part for part in before if part.startswith("xl/tables/"))}
    assert {part: after[part] for part in before.keys() - may_change} == {
        part: before[part] for part in before.keys() - may_change
    }
    own = own_columns(copy)
    xml, new = decoded(before[sheet_part(original)]), decoded(after[sheet_part(copy)])
    assert without_ours(new, xml, own) == without_ours(xml, xml, own)
    assert copied(copy)[0] == copy
