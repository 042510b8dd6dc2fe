"""results.json keeps to `docs/results.schema.json`, and its figures to each other."""

from __future__ import annotations

import json
from collections import defaultdict
from copy import deepcopy
from datetime import datetime
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from openpyxl import load_workbook
from sheets import ON, VACCINE, write_job

from batchdose import Settings, plan_job
from batchdose.calculate.rates import RatesDisagreeError, limits
from batchdose.write.results import results, results_json

ROOT = Path(__file__).parent.parent.parent
SCHEMA = json.loads((ROOT / "docs" / "results.schema.json").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)
EXAMPLES = sorted(path for path in (ROOT / "example_sheets").iterdir() if path.is_dir())

MOB = """
    Tag  | EID             | Mob   | Weight (kg) | Status  | Sex
    0401 | 999000001000401 | Hill  | 41.5        | in milk | ewe
    0402 |                 | Hill  | 52          | dry     | ewe
    0403 |                 | Hill  |             | dry     | ewe
    0404 |                 | River | 4o.5        | dry     | ewe
    0405 |                 | River | 3           | dry     | ewe
    0406 |                 |       | 60          |         | ram
"""
WHOLE_MOB = "Mob | Head | Heaviest (kg) | Lightest (kg)\nFar | 120 | 50 | 40"
#: Animals, changes to a sound wormer, further sheets and settings.
JOBS = {
    "held and given": (MOB, {}, {}),
    "hour known": (MOB, {"Doses": 3, "Every": "12 h"}, {"on": "2026-06-01T09:00"}),
    "day known": (MOB, {"Doses": 2, "Every": "12 h"}, {}),
    "milk not permitted": (MOB, {"Milk withdrawal": "not permitted"}, {}),
    "nothing stated": (MOB, {"Meat withdrawal": None, "Milk withdrawal": None}, {}),
    "other products": (MOB, {"Wool withdrawal": "60 days", "Eggs withdrawal": None}, {}),
    "drafts": (MOB, {"Dose by": "drafts"}, {}),
    "mob": (MOB, {"Dose by": "mob", "Graduation": "0.5 mL"}, {}),
    "whole mob": (MOB, {}, {"Mobs": WHOLE_MOB}),
    "whole mob by its heaviest": (MOB, {"Dose by": "mob"}, {"Mobs": WHOLE_MOB}),
    "by head": (MOB, {"Dose rate": "2 mL/head", "Strength": None}, {"Mobs": WHOLE_MOB}),
    "by head and mob": (MOB, {"Dose rate": "2 mL/head", "Strength": None, "Dose by": "mob"}, {}),
    "two medicines, one by head": (MOB, {}, {"give": ("wormer A", "vaccine V"), "Mobs": WHOLE_MOB}),
    "a range without a choice": (MOB, {"Dose rate": "0.2-0.4 mg/kg"}, {"give": ("wormer A", "vaccine V")}),
    "boluses": (MOB, {"Dose rate": "1 bolus/50 kg", "Strength": None, "Graduation": None}, {}),
    "grams": (MOB, {"Strength": "10 mg/g", "Graduation": "0.5 g"}, {}),
    "units": (MOB, {"Dose rate": "10 000 IU/kg", "Strength": "300 000 IU/mL"}, {}),
    "several places": (MOB, {"Dose rate": "1 mL/5 kg", "Strength": None, "Max per site": "3 mL"}, {}),
    "bands": (
        MOB, {"Dose rate": None, "Strength": None, "Graduation": "1 mL"},
        {"Dose_bands": "Medicine | From (kg) | To (kg) | Dose\nwormer A | 10 | 50 | 5 mL\nwormer A | 55 | | 8 mL"},
    ),
    "stock": (
        MOB, {},
        {"Stock": "Medicine | Pack size | Packs | Batch number\nwormer A | 1 mL | 1 | B-1\nwormer A | 1 mL | 1 |"},
    ),
}  # fmt: skip


@pytest.fixture(scope="module", params=[*JOBS, *(f"example_sheets/{path.name}" for path in EXAMPLES)])
def result(request, tmp_path_factory):
    """A planned job: a small one, or one of the examples."""
    if request.param in JOBS:
        animals, changes, more = JOBS[request.param]
        sheets = {name: rows for name, rows in more.items() if name[0].isupper()}
        paths = write_job(tmp_path_factory.mktemp("job"), animals, changes, VACCINE, **sheets)
        return plan_job(*paths, Settings(on=more.get("on", ON), give=more.get("give", ("wormer A",))))
    paths = (next((ROOT / request.param).glob(f"{name}.*")) for name in ("weighing", "medicines"))
    return plan_job(*paths, Settings(on="2026-03-14T09:00"))


def test_results_keep_to_the_schema(result):
    text = results_json(result)
    problems = sorted(VALIDATOR.iter_errors(json.loads(text)), key=lambda error: list(map(str, error.path)))
    assert [f"{error.json_path}: {error.message}" for error in problems] == []
    assert json.loads(text) == results(result), "what is written reads back as it was"
    assert text == results_json(result), "the same bytes every time"


def test_every_moment_can_be_read(result):
    data = results(result)
    moments = [data["job"]["planned"]]
    for row in data["treatments"]:
        moments += [*row["planned_for"], *filter(None, row["clear"].values())]
    for text in moments:
        assert "T" not in text or datetime.fromisoformat(text).utcoffset() is not None


def test_a_treatment_agrees_with_itself(result):
    for row in results(result)["treatments"]:
        assert row["held"] == bool(row["why"])
        assert row["held"] == (row["dose"] is None)
        assert row["sites"] == len(row["per_site"])
        assert sum(row["per_site"]) == pytest.approx(row["dose"] or 0, rel=1e-12)
        assert len(row["planned_for"]) == row["doses"]
        assert row["planned_for"] == sorted(row["planned_for"])
        assert row["clear"].keys() == row["clear_state"].keys()
        for product, state in row["clear_state"].items():
            assert (row["clear"][product] is not None) == (state == "from")
            if state == "from" and not row["held"]:
                assert row["clear"][product] >= row["planned_for"][-1]


def test_target_and_rate_are_given_whenever_they_can_be_worked_out(result):
    for row, plain in zip(results(result)["treatments"], result.treatments.to_dict("records"), strict=True):
        medicine = result.medicines[plain["medicine"]]
        try:
            stated = bool(medicine.bands) or limits(medicine, None) is not None
        except RatesDisagreeError:
            continue  # a choice is open, or figures contradict each other
        if medicine.bands and "band" in " ".join(row["why"]):
            continue
        if stated and (row["weight_kg"] is not None or not medicine.needs_weight):
            assert row["target"] is not None
            assert row["rate_given"] is not None
        else:
            assert row["target"] is None


def test_mobs_and_product_add_up_to_the_treatments(result):
    data = results(result)
    total, head, drawn = defaultdict(float), defaultdict(int), defaultdict(float)
    for row, animals in zip(data["treatments"], result.treatments["head"], strict=True):
        if not row["held"]:
            amount = row["dose"] * int(animals) * row["doses"]
            total[row["mob"], row["medicine"]] += amount
            head[row["mob"], row["medicine"]] += int(animals)
            drawn[row["medicine"]] += amount
    assert {(mob["mob"], mob["medicine"]) for mob in data["mobs"]} == total.keys()
    for mob in data["mobs"]:
        key = mob["mob"], mob["medicine"]
        assert mob["total"] == pytest.approx(total[key])
        assert mob["head"] == head[key]
        assert not mob["drafts"] or sum(draft["head"] for draft in mob["drafts"]) == mob["head"]
    spare = 1 + float(result.session.facts.spare)
    for product, plan in zip(data["product"], result.product, strict=True):
        assert product["to_draw"] == pytest.approx(drawn[product["medicine"]] * spare)
        assert (product["short"] is None) == (not plan.stock_known)


def test_a_draft_is_a_setting_of_its_mob(result):
    data = results(result)
    drafts = {(m["mob"], m["medicine"], d["draft"]): d for m in data["mobs"] for d in m["drafts"]}
    for row in data["treatments"]:
        if row["draft"]:
            draft = drafts[row["mob"], row["medicine"], row["draft"]]
            assert row["dose"] == draft["setting"]
            assert row["weight_kg"] is None or draft["from_kg"] <= row["weight_kg"] <= draft["to_kg"]
    for mob in data["mobs"]:
        assert [d["draft"] for d in mob["drafts"]] == sorted(d["draft"] for d in mob["drafts"])
        edges = [edge for d in mob["drafts"] for edge in (d["from_kg"], d["to_kg"])]
        assert edges == sorted(edges), "drafts part the mob by weight"


def test_a_row_names_the_cell_where_the_animal_stands(result):
    book = load_workbook(result.session.source.path, read_only=False)
    for row in results(result)["treatments"]:
        sheet, _, cell = row["row"].rpartition("!")
        named = row["tag"] or row["mob"]
        assert str(book[sheet][cell].value).zfill(len(named)) == named  # a format may show leading zeros


def test_findings_name_a_workbook_that_was_read(result):
    data = results(result)
    names = {source["name"] for source in data["job"]["inputs"]}
    assert {finding["workbook"] for finding in data["findings"]} <= names


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        (["format"], 2),
        (["treatments", 0, "given"], True),  # a key that the schema does not know
        (["treatments", 0, "dose"], "0.9"),
        (["treatments", 0, "dose"], None),  # given, and no dose
        (["treatments", 0, "dose"], 0),
        (["treatments", 0, "held"], True),  # held, and a dose
        (["treatments", 0, "unit"], "ml"),
        (["treatments", 0, "clear_state", "milk"], "unknown"),
        (["treatments", 0, "clear", "meat"], "2026-06-16"),
        (["treatments", 0, "planned_for", 0], "2026-06-01T09:00"),  # no offset
        (["product", 0, "short"], -1),
        (["findings", 0, "level"], "fatal"),
        (["findings", 0, "fix"], ""),
        (["job", "inputs", 0, "sha256"], "abc"),
    ],
)
def test_the_schema_refuses_what_is_wrong(job, path, wrong):
    data = deepcopy(results(job("Tag | Weight (kg)\n0401 | 41.5\n0402 |")))
    assert VALIDATOR.is_valid(data)
    place = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = wrong
    assert not VALIDATOR.is_valid(data)


def test_the_schema_itself_is_sound_and_says_what_everything_means():
    Draft202012Validator.check_schema(SCHEMA)

    def unexplained(schema, path):
        for name, part in schema.get("properties", {}).items():
            if "description" not in part and "unit" not in part.get("$ref", ""):
                yield f"{path}.{name}"
            yield from unexplained(part, f"{path}.{name}")
        if "items" in schema:
            yield from unexplained(schema["items"], f"{path}[]")

    shapes = {"results": SCHEMA} | {name: shape for name, shape in SCHEMA["$defs"].items() if "properties" in shape}
    assert [path for name, shape in shapes.items() for path in unexplained(shape, name)] == []
