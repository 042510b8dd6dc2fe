"""The rule copy-may-lose: what loading and saving the workbook again may lose is said beforehand."""

from __future__ import annotations

from openpyxl import load_workbook
from openpyxl.chart import BarChart, Reference
from sheets import ON, told, write_job

from batchdose import Settings, plan_job

TWO = "Tag | Weight (kg)\n0412 | 41.5\n0413 | 45"


def planned(tmp_path, change):
    weighing, labels = write_job(tmp_path, TWO)
    book = load_workbook(weighing)
    change(book["Weights"])
    book.save(weighing)
    return plan_job(weighing, labels, Settings(on=ON))


def test_plain_cells_give_no_warning(tmp_path):
    assert told(planned(tmp_path, lambda _: None)) == []


def test_a_formula_anywhere_on_a_sheet_loses_its_stored_result(tmp_path):
    def add(sheet):
        sheet["F9"] = "=SUM(B2:B3)"

    [finding] = planned(tmp_path, add).findings
    assert (finding.rule, finding.level.word, finding.seen) == (
        "copy-may-lose",
        "warning",
        "stored results of formulas",
    )


def test_a_chart_is_named(tmp_path):
    def add(sheet):
        chart = BarChart()
        chart.add_data(Reference(sheet, min_col=2, min_row=2, max_row=3))
        sheet.add_chart(chart, "H2")

    [finding] = planned(tmp_path, add).findings
    assert finding.rule == "copy-may-lose"
    assert "charts" in finding.seen
