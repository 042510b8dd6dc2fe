"""The page of published statements: what each source states beside what the program computes now.

Made from the tables that the tests use (`tests/published/`, and those inside the modules of `tests/calculate/`), so
that no statement can stand on the page and not in a test. Whether theirs and ours agree is for those tests to say.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple
from zoneinfo import ZoneInfo

from published_sheets import ON, Row, plan, rows

from batchdose import UnusableInputError, clear_from, parse_period
from batchdose.amounts import amount_text, number_text
from batchdose.calculate.assurance import COVERAGE
from batchdose.calculate.courses import course_clear
from batchdose.calculate.devices import _of_size, scale_tolerance_ng, syringe_dead_space_ml, syringe_tolerance_ml
from batchdose.calculate.drafts import RULE_OF_THUMB
from batchdose.calculate.gun_check import CHECK_AGAIN_AFTER, SHOTS, USUAL_TOLERANCE
from batchdose.calculate.minimums import minimums
from batchdose.calculate.needles import MM_PER_INCH, _inch_text, propose
from batchdose.calculate.tolerance import number_to_weigh, tolerance_factor
from batchdose.calculate.withdrawal import Clear
from batchdose.calculate.working import label_text
from batchdose.model import NG_PER_KG, Course, Moment
from batchdose.units import convert

sys.path.append(str(Path(__file__).parent / "calculate"))

import test_assurance
from small_jobs import MORNING, medicine, ng
from test_needles import PRINTED
from test_published_minimums import example
from test_withdrawal import FOOD, MINIMUMS, NOT_FOOD, days_of, minimum

SYRINGES = test_assurance.test_syringe_tolerances_are_those_of_iso_7886_1
DEAD_SPACES = test_assurance.test_dead_space_is_that_of_iso_7886_1
SCALES = test_assurance.test_scale_tolerances_are_those_of_oiml_r_76_in_service
MEMORY = "From memory."
HEADINGS = "| Row | Source | It states | Theirs | Ours | Tolerance | Remark |\n|---|---|---|---|---|---|---|\n"


class Line(NamedTuple):
    """One row of the page, in the order of its headings."""

    row: str
    source: str
    states: str
    theirs: str
    ours: str
    tolerance: str
    remark: str


def published_page() -> str:
    """The whole page; doses and withdrawal periods go through workbooks, as a user's would."""
    tables = [(title, intro, list(lines())) for title, intro, lines in TABLES]
    every = [line for _, _, lines in tables for line in lines]
    untested, remembered = (sum(mark in line.remark for line in every) for mark in ("Not tested:", MEMORY))
    page = f"{INTRO}\n{len(every)} rows: {untested} are not tested and say why, {remembered} are from memory.\n"
    for title, intro, lines in tables:
        page += f"\n## {title}\n\n{intro}\n\n{HEADINGS}" + "".join(map(_markdown, lines))
    return page


def _markdown(line: Line) -> str:
    return "| " + " | ".join(" ".join(cell.replace("|", "/").split()) for cell in line) + " |\n"


def _line(row: Row, theirs: str, ours: str, states: str = "") -> Line:
    """A row of a table in `tests/published/`; one that is not tested has nothing of ours."""
    if row.get("not_tested"):
        ours, tolerance, remarks = "", "", [f"Not tested: {row['not_tested']}"]
    else:
        tolerance = "none" if float(row["tolerance"]) == 0 else row["tolerance"]
        remarks = [_sentence(row["why"]), row.get("note", "")]
    remarks.insert(0, {"from memory": MEMORY, "not verified": "Not verified."}.get(row.get("state", ""), ""))
    source = ", ".join(filter(None, (row["source"], row["clause"])))
    return Line(row["id"], source, states or row["statement"], theirs, ours, tolerance, " ".join(filter(None, remarks)))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "." if text else ""


def _state(state: str) -> str:
    return MEMORY if state == "from memory" else _sentence(state)


def _shown(clear: Clear) -> str:
    return f"{clear.at:%Y-%m-%d %H:%M}" if clear.at else clear.state.replace("_", " ")


def _doses() -> Iterator[Line]:
    with TemporaryDirectory() as folder:
        for row in rows("doses.csv"):
            rate = row["Chosen rate"] or row["Dose rate"] or "the bands"
            strength = f" of {row['Strength']}" if row["Strength"] else ""
            states = f"{row['statement']}: {row['printed']}"
            if row["not_tested"]:
                yield _line(row, row["printed"], "", states)
                continue
            states += f" (here {row['Weight']}, {label_text(rate + strength)})"
            yield _line(row, f"{row['expected']} {row['unit']}".strip(), _dose(row, Path(folder)), states)


def _dose(row: Row, folder: Path) -> str:
    try:
        got = plan(row, folder).treatments.iloc[0]
    except UnusableInputError:
        return "refused: what is printed does not agree with itself"
    found = {"target": got["target"], "dose": got["dose"], "course": got["dose"] * got["doses"]}[row["check"]]
    sites = f", {got['sites']} site{'s' if got['sites'] > 1 else ''}" if row["sites"] else ""
    return f"{number_text(float(found), 6)} {got['unit']}{sites}"


def _withdrawals() -> Iterator[Line]:
    with TemporaryDirectory() as folder:
        for row in rows("withdrawal.csv"):
            got = plan(row, Path(folder)).treatments.iloc[0]
            ours = "; ".join(f"{product} {_shown(got[f'clear:{product}'])}" for product in ("meat", "milk"))
            doses = f" ({row['Doses']} doses, every {row['Every']})" if row["Doses"] else ""
            yield _line(row, row["printed"], ours, row["statement"] + doses)


def _periods() -> Iterator[Line]:
    for row in rows("clear_from.csv"):
        if row["not_tested"]:
            yield _line(row, row["printed"], "")
            continue
        last = Moment(datetime.fromisoformat(row["last"]).replace(tzinfo=ZoneInfo(row["zone"])), "T" in row["last"])
        milkings = [time.fromisoformat(at) for at in row["milking times"].split(", ") if at]
        period, milk = parse_period(row["period"]), row["product"] == "milk"
        ours = _shown(clear_from(last, period, milking_times=milkings, milk=milk))
        states = f"{row['statement']} (last dose {row['last'].replace('T', ' ')}, {row['zone']}, {row['product']})"
        yield _line(row, row["printed"], ours, states)


def _printed_minimums() -> Iterator[Line]:
    for row in rows("minimums.csv"):
        if row["not_tested"]:
            yield _line(row, row["printed"], "")
            continue
        given, facts, species = example(row)
        clear = course_clear(Course(0, None, (MORNING,), ()), given, row["product"], facts, species)
        ours = _shown(clear) if clear.at is None else f"{_hours(clear)} h after the last dose"
        longest = f", longest on a label {row['Longest label']}" if row["Longest label"] else ""
        states = f"{row['statement']} (here {row['product']}, stated {row['stated']}{longest})"
        yield _line(row, row["printed"], ours, states)


def _hours(clear: Clear) -> str:
    return number_text((clear.at.astimezone(UTC) - MORNING.at).total_seconds() / 3600)


def _more_minimums() -> Iterator[Line]:
    states = {row["article"]: _state(row["state"]) for row in minimums()}
    for number, (rules, product, label, days, article) in enumerate(MINIMUMS, start=1):
        of_food = NOT_FOOD if label is NOT_FOOD else FOOD
        longest = {} if rules == "NZ" or label is NOT_FOOD else {product: parse_period(label)}
        stated = {product: parse_period("0 days")}
        given = medicine(off_label=True, longest_label=longest, withdrawal=stated, **of_food)
        ours = days_of(minimum(given, product, rules, label if rules == "NZ" else "sheep"))
        said = "not for animals kept for food" if label is NOT_FOOD else label
        state = states[min((of for of in states if of.startswith(article)), key=len)]
        what = f"{product}: {said}" if rules == "NZ" else f"{product}, longest label period: {said}"
        yield Line(f"LM-{number:02d}", article, what, _days(days), _days(ours), "none", state)


def _days(number: Fraction | int) -> str:
    return f"{number_text(number)} day{'' if number == 1 else 's'}"


def _limits_of_samples() -> Iterator[Line]:
    for row in rows("tolerance.csv"):
        share, confidence = (Fraction(row[name]) / 100 for name in ("share %", "confidence %"))
        if row["kind"] == "to weigh":
            states = f"fewest to weigh, for the {_place(row['rank'])} of them"
            ours = number_text(number_to_weigh(share, confidence, rank=int(row["rank"])))
        else:
            factor, n = tolerance_factor(int(row["n"]), share, confidence), int(row["n"])
            states = f"{'factor k' if row['kind'] == 'factor' else 'k times the root of n'}, n = {n}"
            ours = f"{factor if row['kind'] == 'factor' else factor * math.sqrt(n):.6f}"
        yield _line(
            row, row["printed"], ours, f"{states}: {row['share %']} % above, confidence {row['confidence %']} %"
        )


def _place(rank: str) -> str:
    return {"1": "heaviest", "2": "second heaviest", "3": "third heaviest"}[rank]


def _cases(test: object) -> list[tuple[str, ...]]:
    """The table of a parametrised test."""
    return [case for mark in test.pytestmark for case in mark.args[1]]  # type: ignore[attr-defined]


def _devices() -> Iterator[Line]:
    for number, (size, expelled, off) in enumerate(_cases(SYRINGES), start=1):
        ours = amount_text(syringe_tolerance_ml(Fraction(size), Fraction(expelled)), "mL")
        row = _of_size(Fraction(size))
        worked = "The source's own example." if (size, expelled) == ("10", "4") else "Arithmetic by its rule."
        source, remark = f"{row['standard']}, by {row['source']}", f"{_state(row['tolerance_state'])} {worked}"
        states = f"tolerance of {expelled} mL from a syringe of {size} mL"
        yield Line(f"SY-{number:02d}", source, states, f"{off} mL", ours, "none", remark)
    for number, (size, dead) in enumerate(_cases(DEAD_SPACES), start=1):
        ours, row = amount_text(syringe_dead_space_ml(Fraction(size)), "mL"), _of_size(Fraction(size))
        states, remark = f"most dead space of a syringe of {size} mL", _state(row["other_state"])
        yield Line(f"SD-{number:02d}", row["standard"], states, f"{dead} mL", ours, "none", remark)
    for number, (kg, step, of_class, off) in enumerate(_cases(SCALES), start=1):
        found = scale_tolerance_ng(ng(kg), ng(step), of_class)
        ours = "no such weight" if found is None else f"{number_text(Fraction(found, NG_PER_KG))} kg"
        states = f"tolerance in service at {kg} kg, steps of {step} kg, class {of_class}"
        theirs, remark = f"{off} kg" if off else "no such weight", f"{MEMORY} Arithmetic by its rule."
        yield Line(f"SC-{number:02d}", "OIML R 76-1", states, theirs, ours, "none", remark)


def _needles() -> Iterator[Line]:
    for number, (species, kinds, route, gauges, inches, source) in enumerate(PRINTED, start=1):
        found = propose(species, kinds, route)
        animals = " ".join((species, *kinds))
        theirs, ours = _needle(gauges, tuple(map(Fraction, inches))), _needle(found.gauges, found.inches)
        yield Line(f"ND-{number:02d}", source, f"{animals}, {route}", theirs, ours, "none", "")


def _needle(gauges: tuple[int, int] | None, inches: tuple[Fraction, ...]) -> str:
    wide = f"{_span(map(str, gauges))} gauge, " if gauges else ""
    return f"{wide}{_span(map(_inch_text, inches))} in"


def _span(ends: Iterable[str]) -> str:
    return " to ".join(dict.fromkeys(ends))


def _single_figures() -> Iterator[Line]:
    pound = number_text(convert(Fraction(1), "lb_bw", "kg_bw"), 8)
    nist = "NIST SP 811, appendix B.8"
    yield Line("SF-01", nist, "a pound, exact", "0.45359237 kg", f"{pound} kg", "none", "")
    yield Line("SF-02", nist, "an inch, exact", "25.4 mm", f"{number_text(MM_PER_INCH)} mm", "none", "")
    mla = "Meat and Livestock Australia, sheep husbandry guide, drenching section"
    told = "As reported by Farming Ahead, Best-practice drenching."
    yield Line("SF-03", mla, "doses into a measuring cylinder", "10", f"{SHOTS}", "none", told)
    yield Line("SF-04", mla, "sheep after which to check again", "200", f"{CHECK_AGAIN_AFTER}", "none", told)
    study, quoted = "Kansas State study of weights and doses in cattle", "As quoted by Beef Magazine, Weighted risk."
    ours = f"{number_text(USUAL_TOLERANCE * 100)} %"
    yield Line("SF-05", study, "error of a dose regarded as normal", "5 %", ours, "none", quoted)
    thumb, hcc = (
        "split where the lightest would get more than",
        "Hybu Cig Cymru, Correct dosage essential when treating",
    )
    ours = f"{RULE_OF_THUMB} x its dose"
    yield Line("SF-06", f"{hcc} sheep", thumb, "twice its dose", ours, "none", "")
    gum = "JCGM 100:2008, 6.3.3"
    yield Line("SF-07", gum, "coverage factor for about 95 %", "2", f"{COVERAGE}", "none", MEMORY)


INTRO = """# Published statements and what the program makes of them

Regulations, data sheets and handbooks print doses, withdrawal periods and figures. Here is every such statement that
the tests check: who states it, what it states, their figure, ours, how far ours may be from it, and what is odd about
it. **Ours is computed by the program when this page is made** (`python tests/make_docs.py`), and a test fails when
the page is not what it makes. `docs/calculation.md` explains the formulas.

A statement is no advice: what an animal may be given is on the label in your hand and with the prescribing vet.

"From memory" means that the source was not at hand when its figure was written down: check it before you rely on it.
Where a source rounds, is at odds with itself or with another, its own figure is kept and the remark says why ours
differs. The tolerance is what the printed digits justify.
"""

_LAST_DOSE = (
    f"The first dose is on {ON.replace('T', ' at ')}; milking is at 07:00 and 19:00. Clear-from is as in the workbook."
)
TABLES = (
    ("Doses", "From a weighing sheet and a label of one row each, through the whole program.", _doses),
    ("Withdrawal periods of labels", _LAST_DOSE, _withdrawals),
    ("Counting of periods", "One period after one last dose, by the clock of the zone.", _periods),
    ("Legal minimums and organic rules", "One dose, and the hours until clear.", _printed_minimums),
    (
        "Legal minimums, an example for each article",
        "The prescriber states 0 days, so the legal minimum holds. Half days go up to whole ones.",
        _more_minimums,
    ),
    ("Mobs weighed in part", "Factors and numbers to weigh, for a mob without end.", _limits_of_samples),
    ("Syringes and scales", "Tolerances to either side.", _devices),
    ("Needles", "The whole range where several sources differ. SC is under the skin, IM into muscle.", _needles),
    ("Single figures", "Figures that stand in the program as they are printed.", _single_figures),
)
