"""The dosed workbook in LibreOffice: it opens, and shows what the results say and what the user had."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from written import EXAMPLES, HELD, NAMES

pytestmark = pytest.mark.office

#: Every sheet to a file of its own: comma, double quotes, UTF-8, from the first line, values as shown.
EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
OWN_SHEETS = ("Job settings", "Job product", "Job findings", "Job given", "Job given by mob", "Job plan kept")

#: Columns of costs, by their names in the results; the example has a price for every pack.
COSTS = {"Cost": "cost", "Cost per animal": "cost_per_animal", "Cost per kg": "cost_per_kg"}

Row = dict[str, str]


@dataclass(frozen=True)
class Opened:
    """One example dosed and opened: rows of each sheet of the copy and of the user's own workbook, and the results."""

    dosed: dict[str, list[list[str]]]
    own: dict[str, list[list[str]]]
    results: dict[str, Any]
    pdf: bytes

    def table(self, sheet: str) -> list[Row]:
        """The rows of one of our sheets, by heading."""
        head, *rows = self.dosed[sheet]
        return [dict(zip(head, row, strict=True)) for row in rows]


@pytest.fixture(scope="module", params=NAMES)
def opened(request, tmp_path_factory) -> Opened:
    """An example, dosed by the command and opened in LibreOffice."""
    if not shutil.which("soffice"):
        missing = "LibreOffice (soffice) is not installed: apt-get install libreoffice-calc-nogui"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    folder = tmp_path_factory.mktemp(request.param)
    inputs = [EXAMPLES / request.param / name for name in ("weighing.xlsx", "medicines.xlsx")]
    done = subprocess.run(
        [sys.executable, "-m", "batchdose", "dose", *inputs, "--out", folder / "out", "--no-pdf"],
        capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    dosed = folder / "out" / "weighing-dosed.xlsx"
    convert(dosed, "pdf", folder)
    return Opened(
        sheets(dosed, folder / "dosed"), sheets(inputs[0], folder / "own"),
        json.loads((folder / "out" / "weighing-results.json").read_text(encoding="utf-8")),
        (folder / "weighing-dosed.pdf").read_bytes(),
    )  # fmt: skip


def convert(workbook: Path, kind: str, folder: Path) -> None:
    """Open a workbook in LibreOffice, with a profile of its own, and save it as another kind."""
    profile = (folder.parent / "profile").as_uri()
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--convert-to", kind, "--outdir", folder]
    done = subprocess.run(
        [*command, workbook], env=os.environ | {"LC_ALL": "C.UTF-8"}, capture_output=True, text=True, timeout=180,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def sheets(workbook: Path, folder: Path) -> dict[str, list[list[str]]]:
    """Every sheet of a workbook as LibreOffice shows it: rows by name of sheet, in order."""
    convert(workbook, EVERY_SHEET, folder)
    read = {}
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as sheet:
            read[path.stem.removeprefix(f"{workbook.stem}-")] = list(csv.reader(sheet))
    assert read
    return read


class TestResultColumns:
    def test_each_medicine_has_its_result_beside_each_animal_and_nothing_else(self, opened):
        names = list(dict.fromkeys(row["medicine"] for row in opened.results["treatments"]))
        assert len(names) > 1
        shown = shown_by_medicine(opened, names)
        expected = {}
        for row in opened.results["treatments"]:
            held = row["held"]
            expected[int(row["row"].partition("!A")[2]), row["medicine"]] = {
                "dose": None if held else row["dose"],
                "unit": row["unit"],
                "draft": row["draft"] or "",
                "sites": None if held else row["sites"],
                "held and why": f"{HELD}: {'; '.join(row['why'])}" if held else "",
                "working": row["working"],
            }
        assert shown == expected

    def test_the_tag_is_repeated_beside_the_results(self, opened):
        head, rows = weighing_rows(opened)
        tags = [(row[head.index("Tag")], row[head.index("Job: tag")]) for row in rows.values()]
        assert len(tags) >= 24
        assert all(own == repeated and own for own, repeated in tags)

    def test_clear_from_is_the_date_and_time_or_why_there_is_none(self, opened):
        head, rows = weighing_rows(opened)
        shown, expected = {}, {}
        for product in ("meat", "milk"):
            column = head.index(f"Job: {product} clear from (expected)")
            shown |= {(number, product): row[column] for number, row in rows.items()}
        for row in opened.results["treatments"]:
            for product, state in row["clear_state"].items():
                clear = row["clear"][product]
                text = f"{datetime.fromisoformat(clear):%m/%d/%Y %H:%M:%S}" if clear else state.replace("_", " ")
                of_row = expected.setdefault((int(row["row"].partition("!A")[2]), product), text)
                assert of_row == text, "an animal has one clear-from, whatever it gets"
        assert shown == expected

    def test_no_cell_shows_an_error(self, opened):
        cells = [cell for rows in opened.dosed.values() for row in rows for cell in row]
        assert not [cell for cell in cells if re.match(r"#|Err:\d", cell)]


def weighing_rows(opened: Opened) -> tuple[list[str], dict[int, list[str]]]:
    """Headings of the weighing sheet, and its animals by sheet row."""
    rows = opened.dosed["Weights"]
    header = next(at for at, row in enumerate(rows) if "Tag" in row)
    return rows[header], dict(enumerate(rows[header + 1 :], header + 2))


def shown_by_medicine(opened: Opened, names: list[str]) -> dict[tuple[int, str], dict[str, Any]]:
    """Results beside the animals by sheet row and medicine, where any cell of the medicine holds something."""
    head, rows = weighing_rows(opened)
    shown = {}
    for number, row in rows.items():
        for name in names:
            prefix = f"Job: {name}: "
            cells = {
                heading.removeprefix(prefix): row[at] for at, heading in enumerate(head) if heading.startswith(prefix)
            }
            if any(cells.values()):
                numbers = {key: number_of(cells[key]) for key in ("dose", "sites")}
                shown[number, name] = cells | numbers
    return shown


def number_of(cell: str) -> float | None:
    return float(cell) if cell else None


class TestOwnSheets:
    def test_settings_are_those_of_the_mobs(self, opened):
        expected = []
        for mob in opened.results["mobs"]:
            same = {"Mob": mob["mob"], "Medicine": mob["medicine"], "Unit": mob["unit"], "Total": mob["total"]}
            expected += [
                same | {"Draft": d["draft"], "From kg": d["from_kg"], "To kg": d["to_kg"], "Setting": d["setting"],
                        "Head": d["head"]}
                for d in mob["drafts"]
            ] or [
                same | {"Draft": "", "From kg": None, "To kg": None, "Setting": setting(mob, opened.results),
                        "Head": mob["head"]}
            ]  # fmt: skip
        shown = []
        for row in opened.table("Job settings"):
            row.pop("Remarks")
            numbers = {key: number_of(row[key]) for key in ("From kg", "To kg", "Head", "Total")}
            of_all = row["Setting"] if row["Setting"][0].isalpha() else float(row["Setting"])
            shown.append(row | numbers | {"Setting": of_all})
        assert shown == expected

    def test_product_is_that_of_the_results(self, opened):
        expected = [
            {
                "Medicine": plan["medicine"], "Doses": plan["doses"], "To draw": plan["to_draw"], "Unit": plan["unit"],
                "Packs": "; ".join(f"{p['packs']} x {p['size']:g} {plan['unit']}" for p in plan["packs"]),
                "Batch": "; ".join(p["batch_no"] for p in plan["packs"]), "Short": plan["short"],
                **{heading: pytest.approx(plan[name], abs=1e-3) for heading, name in COSTS.items()},
            }
            for plan in opened.results["product"]
        ]  # fmt: skip
        shown = []
        for row in opened.table("Job product"):
            row.pop("Remarks")
            shown.append(row | {key: number_of(row[key]) for key in ("Doses", "To draw", "Short", *COSTS)})
        assert shown == expected

    def test_findings_are_those_of_the_results_in_their_order(self, opened):
        expected = [
            {
                "Level": f["level"], "Workbook": f["workbook"], "Seen": f["seen"], "What is wrong": f["message"],
                "What to do": f["fix"], "Rule": f["rule"],
                "Place": f"{f['sheet']}!{f['cell']}" if f["cell"] else f["sheet"],
            }
            for f in opened.results["findings"]
        ]  # fmt: skip
        assert expected
        assert opened.table("Job findings") == expected


def setting(mob: dict[str, Any], results: dict[str, Any]) -> float | str:
    """What is set for a mob without drafts: the one dose per head, or each animal's own."""
    mine = [
        row for row in results["treatments"]
        if (row["mob"], row["medicine"]) == (mob["mob"], mob["medicine"]) and not row["held"]
    ]  # fmt: skip
    return mine[0]["dose"] if mine[0]["rate_unit"].endswith("/head") else "each by weight"


class TestTheUsersOwn:
    def test_sheets_and_cells_are_unchanged(self, opened):
        assert set(opened.dosed) == {*opened.own, *OWN_SHEETS}
        for name, rows in opened.own.items():
            wide = max(map(len, rows))
            kept = [row[:wide] for row in opened.dosed[name]]
            assert kept == rows
            others = [cell for row in opened.dosed[name] for cell in row[wide:]]
            assert name == "Weights" or not any(others)

    def test_it_prints_with_no_heading_cut_off(self, opened):
        """A cell that is too small for its text is printed without the lines that do not fit."""
        words = "".join(page.extract_text() for page in PdfReader(BytesIO(opened.pdf)).pages)
        words = "".join(words.split())
        held = [row for row in opened.results["treatments"] if row["held"]]
        # Once beside the animal, and once for each dose on the sheet to fill in.
        assert words.count(HELD.replace(" ", "")) == len(held) + sum(row["doses"] for row in held)
        for finding in opened.results["findings"]:
            assert finding["rule"] in words
        for heading in weighing_rows(opened)[0]:
            assert "".join(heading.split()) in words
