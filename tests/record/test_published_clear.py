"""Published withdrawal periods, given as recorded doses: `clear` says no just before the printed moment, yes from it.

The tables are those of `tests/published/`; each row names its source.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import groupby

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook
from published_sheets import ON, checked, plan, statement
from sheets import VACCINE, write_job
from yard import COLUMNS

from batchdose.cli import cli

LATER = "2031-01-01"
START = datetime.fromisoformat(ON)


def run(*arguments):
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def may_go(folder, tag, product, on):
    """Whether `clear` lets an animal go, and that the words agree with the exit status."""
    names = folder / "list.csv"
    names.write_text(f"Tag\n{tag}\n", encoding="utf-8")
    told = run("clear", folder / "record.xlsx", "--animals", names, "--for", product, "--on", on)
    assert told.exit_code == int(f"May go: 1 ({tag})" not in told.stdout), told.output
    return told.exit_code == 0


def record(folder, dosed, given):
    """Record every dose of the plan at the moment that `given` says for its tag and number."""
    book = load_workbook(dosed)
    sheet = book["Job given"]
    for row in range(2, sheet.max_row + 1):
        if sheet[f"D{row}"].value:
            sheet[f"{COLUMNS['given']}{row}"] = "yes"
            sheet[f"{COLUMNS['when']}{row}"] = given(str(sheet[f"A{row}"].value), int(sheet[f"E{row}"].value))
    book.save(dosed)
    told = run("record", dosed, "--to", folder / "record.xlsx", "--on", LATER)
    assert told.exit_code in (0, 1), told.output


def check_moment(folder, tag, product, printed, source):
    """The printed moment, `not_stated` for none: not clear a minute before, clear from it."""
    if not printed[:1].isdigit():
        assert not may_go(folder, tag, product, LATER), source
        return
    before = (datetime.fromisoformat(printed) - timedelta(minutes=1)).isoformat()
    assert not may_go(folder, tag, product, before), source
    assert may_go(folder, tag, product, printed), source


@pytest.mark.parametrize("row", checked("withdrawal.csv"), ids=statement)
def test_the_period_of_a_label_through_record_and_clear(row, tmp_path):
    plan(row, tmp_path)
    told = run("dose", tmp_path / "weighing.xlsx", tmp_path / "medicines.xlsx", "--on", ON, "--no-pdf", "--out",
               tmp_path / "job")  # fmt: skip
    assert told.exit_code in (0, 1), told.output
    every = timedelta(hours=int(row["Every"].split()[0]) if row["Every"] else 24)
    record(tmp_path, tmp_path / "job" / "weighing-dosed.xlsx",
           lambda _, number: (START + (number - 1) * every).isoformat())  # fmt: skip
    for product in ("meat", "milk"):
        check_moment(tmp_path, "0412", product, row[product], f"{row['source']}: {row['why']}")


def place(row):
    return row["zone"], row["milking times"]


PLACES = [(where, list(cases)) for where, cases in groupby(sorted(checked("clear_from.csv"), key=place), key=place)]


@pytest.mark.parametrize(("where", "cases"), PLACES, ids=lambda value: str(value) if isinstance(value, tuple) else "")
def test_a_period_of_a_source_through_record_and_clear(where, cases, tmp_path):
    """All cases of one zone and milking times are animals of one job, each with a medicine of its own."""
    zone, milkings = where
    tags = {f"{at:04d}": case for at, case in enumerate(cases, 1)}
    blank = {"Meat withdrawal": None, "Milk withdrawal": None}
    medicines = [
        VACCINE | blank | {"Medicine": f"M{tag}", "Active substance": f"active {tag}",
                           f"{case['product'].capitalize()} withdrawal": case["period"]}
        for tag, case in tags.items()
    ]  # fmt: skip
    session = f"Species | sheep\nTime zone | {zone}" + (f'\nMilking times | "{milkings}"' if milkings else "")
    write_job(
        tmp_path, "Tag | Weight (kg)\n" + "\n".join(f"{tag} | 41" for tag in tags), *medicines, Session=session,
        Treatments="Medicine | Tag\n" + "\n".join(f"M{tag} | {tag}" for tag in tags),
    )  # fmt: skip
    told = run("dose", tmp_path / "weighing.xlsx", tmp_path / "medicines.xlsx", "--on", "2026-01-01", "--no-pdf",
               "--out", tmp_path / "job")  # fmt: skip
    assert told.exit_code in (0, 1), told.output
    record(tmp_path, tmp_path / "job" / "weighing-dosed.xlsx", lambda tag, _: tags[tag]["last"].replace("T", " "))
    for tag, case in tags.items():
        printed = case["clear"] if case["state"] == "from" else case["state"]
        check_moment(tmp_path, tag, case["product"], printed, f"{case['id']}, {case['source']}: {case['why']}")
