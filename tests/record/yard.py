"""A job planned, its sheet filled in as staff would, and the commands of the record run on it."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner
from openpyxl import load_workbook
from sheets import WORMER, write_job

from batchdose.cli import cli

ANIMALS = """
Tag  | Weight (kg) | Mob
0412 | 41.5        | Hill
0413 | 38          | Hill
0414 |             | Hill
0415 | 40          | Hill
"""
NOW = "2026-07-01T12:00"
DAY = "2026-06-01"
WHEN = f"{DAY} 09:30"
COLUMNS = {"given": "K", "amount": "L", "when": "M", "batch_no": "N", "by": "O", "why_not": "P", "note": "Q",
           "needle": "R"}  # fmt: skip
MOB_COLUMNS = {"all_given": "F", "except": "G", "when": "H", "batch_no": "I", "by": "J", "note": "K"}


class Yard:
    """A folder with a job in it."""

    def __init__(self, folder: Path, animals=ANIMALS, *medicines, **sheets) -> None:
        self.folder = folder
        self.record_path = folder / "record.xlsx"
        write_job(folder, animals, *(medicines or (WORMER,)), **sheets)
        self.dosed = folder / "job" / "weighing-dosed.xlsx"
        told = self.run("dose", folder / "weighing.xlsx", folder / "medicines.xlsx", "--on", DAY, "--no-pdf",
                        "--out", folder / "job")  # fmt: skip
        assert told.exit_code in (0, 1), told.output
        self.lines = {
            (row[0].value, row[3].value, row[4].value): row[0].row
            for row in load_workbook(self.dosed)["Job given"].iter_rows(min_row=2) if row[3].value
        }  # fmt: skip

    def run(self, *arguments):
        return CliRunner().invoke(cli, [str(argument) for argument in arguments])

    def fill(self, entries, mobs=None):
        """Entries by (tag, medicine, dose of course), each by field; lines of mobs by sheet row."""
        book = load_workbook(self.dosed)
        for key, cells in entries.items():
            tag, medicine, number = (*key, "wormer A", 1)[:3] if isinstance(key, tuple) else (key, "wormer A", 1)
            for name, value in cells.items():
                book["Job given"][f"{COLUMNS[name]}{self.lines[tag, medicine, number]}"] = value
        for row, cells in (mobs or {}).items():
            for name, value in cells.items():
                book["Job given by mob"][f"{MOB_COLUMNS[name]}{row}"] = value
        book.save(self.dosed)

    def add(self, **cells):
        """A line for a treatment that was not planned."""
        book = load_workbook(self.dosed)
        sheet = book["Job given"]
        row = len(self.lines) + 2
        self.lines[cells["tag"], cells["medicine"], 1] = row
        for name, value in cells.items():
            sheet[f"{ {'tag': 'A', 'eid': 'B', 'mob': 'C', 'medicine': 'D', 'unit': 'H', **COLUMNS}[name] }{row}"] = (
                value
            )
        book.save(self.dosed)

    def record(self, *more):
        return self.run("record", self.dosed, "--to", self.record_path, "--on", NOW, *more)

    def rows(self):
        """Rows of the record by heading."""
        head, *rows = load_workbook(self.record_path)["Record"].values
        return [dict(zip(head, row, strict=True)) for row in rows]

    def clear(self, *more):
        return self.run("clear", self.record_path, *more)

    def list_of(self, *names):
        path = self.folder / "list.csv"
        path.write_text("Tag\n" + "\n".join(names) + "\n", encoding="utf-8")
        return path
