"""Rows of the page of published statements that come from tables inside the tests: theirs, and ours as computed now."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

import test_assurance
import test_withdrawal
from published_lines import MEMORY, Line, remembered, shown
from sheets import write_job
from small_jobs import medicine, ng
from test_needles import PRINTED
from test_withdrawal import FOOD, MINIMUMS, NOT_FOOD, days_of, minimum

from batchdose import Settings, parse_period, plan_job
from batchdose.amounts import amount_text, number_text
from batchdose.calculate.assurance import COVERAGE
from batchdose.calculate.devices import _of_size, scale_tolerance_ng, syringe_dead_space_ml, syringe_tolerance_ml
from batchdose.calculate.drafts import RULE_OF_THUMB
from batchdose.calculate.gun_check import CHECK_AGAIN_AFTER, SHOTS, USUAL_TOLERANCE
from batchdose.calculate.minimums import minimums
from batchdose.calculate.needles import MM_PER_INCH, _inch_text, propose, sizes
from batchdose.model import NG_PER_KG
from batchdose.units import convert

SYRINGES = test_assurance.test_syringe_tolerances_are_those_of_iso_7886_1
DEAD_SPACES = test_assurance.test_dead_space_is_that_of_iso_7886_1
SCALES = test_assurance.test_scale_tolerances_are_those_of_oiml_r_76_in_service
WORKED = test_withdrawal.test_worked_figures_with_legal_minimums


def state_of(article: str) -> str:
    """Whether the figure of an article was read or is from memory, as the program's own table says."""
    states = {row["article"]: row["state"] for row in minimums()}
    return remembered(states[min((of for of in states if of.startswith(article)), key=len)])


def worked_minimums() -> Iterator[Line]:
    """Whole jobs of one animal, worked from sheet to clear-from."""
    with TemporaryDirectory() as folder:
        for number, case in enumerate(cases(WORKED), start=1):
            session, figures, on, product, clear, why = case.values
            animals, facts = "Tag | Weight (kg) | Status\n0401 | 50 | dry", "Species | sheep\nTime zone | UTC\n"
            label = {"Prescriber": "Vet 1"} | figures
            books = write_job(Path(folder), animals, label, Session=facts + session)
            found = plan_job(*books, Settings(on=on)).treatments.iloc[0][f"clear:{product}"]
            source = f"Worked figure, arithmetic ours: {why}"
            states = f"{case.id} (last dose {on.replace('T', ' ')}, {product})"
            yield Line(f"WF-{number:02d}", source, states, clear.replace("T", " "), shown(found), "none", "")


def minimums_by_article() -> Iterator[Line]:
    for number, (rules, product, label, days, article) in enumerate(MINIMUMS, start=1):
        of_food = NOT_FOOD if label is NOT_FOOD else FOOD
        longest = {} if rules == "NZ" or label is NOT_FOOD else {product: parse_period(label)}
        stated = {product: parse_period("0 days")}
        given = medicine(off_label=True, longest_label=longest, withdrawal=stated, **of_food)
        ours = days_of(minimum(given, product, rules, label if rules == "NZ" else "sheep"))
        said = "not for animals kept for food" if label is NOT_FOOD else label
        what = f"{product}: {said}" if rules == "NZ" else f"{product}, longest label period: {said}"
        yield Line(f"LM-{number:02d}", article, what, _days(days), _days(ours), "none", state_of(article))


def _days(number: Fraction | int) -> str:
    return f"{number_text(number)} day{'' if number == 1 else 's'}"


def cases(test: object) -> list[tuple[str, ...]]:
    """The table of a parametrised test."""
    return [case for mark in test.pytestmark for case in mark.args[1]]  # type: ignore[attr-defined]


def devices() -> Iterator[Line]:
    for number, (size, expelled, off) in enumerate(cases(SYRINGES), start=1):
        ours = amount_text(syringe_tolerance_ml(Fraction(size), Fraction(expelled)), "mL")
        row = _of_size(Fraction(size))
        worked = "The source's own example." if (size, expelled) == ("10", "4") else "Arithmetic by its rule."
        source, remark = f"{row['standard']}, by {row['source']}", f"{remembered(row['tolerance_state'])} {worked}"
        states = f"tolerance of {expelled} mL from a syringe of {size} mL"
        yield Line(f"SY-{number:02d}", source, states, f"{off} mL", ours, "none", remark)
    for number, (size, dead) in enumerate(cases(DEAD_SPACES), start=1):
        ours, row = amount_text(syringe_dead_space_ml(Fraction(size)), "mL"), _of_size(Fraction(size))
        states, remark = f"most dead space of a syringe of {size} mL", remembered(row["other_state"])
        yield Line(f"SD-{number:02d}", row["standard"], states, f"{dead} mL", ours, "none", remark)
    for number, (kg, step, of_class, off) in enumerate(cases(SCALES), start=1):
        found = scale_tolerance_ng(ng(kg), ng(step), of_class)
        ours = "no such weight" if found is None else f"{number_text(Fraction(found, NG_PER_KG))} kg"
        states = f"tolerance in service at {kg} kg, steps of {step} kg, class {of_class}"
        theirs, remark = f"{off} kg" if off else "no such weight", f"{MEMORY} Arithmetic by its rule."
        yield Line(f"SC-{number:02d}", "OIML R 76-1", states, theirs, ours, "none", remark)


def needles() -> Iterator[Line]:
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


def single_figures() -> Iterator[Line]:
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
    hcc, ours = "Hybu Cig Cymru, Correct dosage essential when treating sheep", f"{RULE_OF_THUMB} x its dose"
    yield Line("SF-06", hcc, "split where the lightest would get more than", "2 x its dose", ours, "none", "")
    gum = "JCGM 100:2008, 6.3.3"
    yield Line("SF-07", gum, "coverage factor for about 95 %", "2", f"{COVERAGE}", "none", MEMORY)
    wide, colour = sizes()[18]
    hub, ours = "ISO 9626:2016 table 1 and ISO 6009:2016 table 1", f"{number_text(wide)} mm, {colour}"
    yield Line("SF-08", hub, "width and colour of an 18 gauge needle", "1.2 mm, pink", ours, "none", "")
