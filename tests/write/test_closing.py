"""What `dose` ends with on the terminal."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from sheets import write_job

from batchdose import Settings, plan_job
from batchdose.cli import cli
from batchdose.write.closing import WIDTH, closing_lines

EXAMPLES = Path(__file__).resolve().parents[2] / "example_sheets"
ANIMALS = """
Tag  | Weight (kg) | Mob
0412 | 41.5        | Hill
0413 |             | Hill
"""


def run(tmp_path, *options: str, color: bool = False):
    return CliRunner().invoke(
        cli, ["dose", *map(str, write_job(tmp_path, ANIMALS)), "--on", "2026-06-01", "--no-pdf", *options], color=color
    )


@pytest.mark.parametrize("name", ["hoggets", "dairy_goats", "untidy_lambs"])
def test_it_reads_at_eighty_columns_and_says_what_a_person_wants(name):
    result = plan_job(EXAMPLES / name / "weighing.xlsx", EXAMPLES / name / "medicines.xlsx", Settings())
    lines = [line.text for line in closing_lines(result, [Path("job/a.xlsx")])]
    assert max(map(len, lines)) <= WIDTH
    for heading in ("DO NOT DOSE", "Settings", "To draw", "May be used again, if all is given as planned"):
        assert heading in lines
    text = " ".join(" ".join(lines).split())
    for plan in result.product:
        assert plan.medicine in text
    for tag in result.treatments[result.treatments["held"]]["tag"].unique():
        assert tag in text


def test_it_names_who_is_held_what_is_set_and_where_the_files_are(tmp_path):
    said = run(tmp_path).stderr
    assert "DO NOT DOSE\n  0413 (Hill): wormer A: no weight" in said
    assert "Hill: wormer A: each by its own weight, 1 head" in said
    assert "wormer A: 0.9 mL" in said
    assert "Hill, meat: from Tuesday 16 June 2026" in said
    assert f"Written into {tmp_path / 'weighing-job'}".replace("\n", "") in said.replace("\n", "").replace("    ", "")
    assert said.rstrip().endswith("1 ready, 1 not; 1 error.")


def test_colour_is_for_a_terminal_alone(tmp_path):
    assert "\x1b[" not in run(tmp_path).stderr
    assert "\x1b[" in run(tmp_path / "b" if (tmp_path / "b").mkdir() else tmp_path, color=True).stderr


def test_quiet_says_only_what_is_in_error_and_verbose_also_what_was_read(tmp_path):
    quiet = run(tmp_path, "--quiet").stderr.splitlines()
    assert [line.split(":")[0] for line in quiet] == ["error", "1 ready, 1 not; 1 error."]
    said = run(tmp_path, "--verbose").stderr
    assert "SHA-256" in said
    assert "Read and worked out in" in said
