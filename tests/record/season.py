"""A year of jobs on a few animals in any order, and beside them what a person with a notebook knows of every dose."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, time, timedelta
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule

from batchdose.kept import Facts, facts_json, facts_key, facts_of
from batchdose.model import InputFile, Medicine, Period, SessionFacts
from batchdose.read.book import Book
from batchdose.record.append import chained, new_rows
from batchdose.record.book import Record
from batchdose.record.rows import DOSE, HEADINGS, PERIOD, RELEASE, Row
from batchdose.words import same_tag

#: Both change their clocks within the year, in opposite directions.
ZONES = {"L": ZoneInfo("Europe/London"), "N": ZoneInfo("Pacific/Auckland")}
START = datetime(2026, 3, 1, 9, tzinfo=UTC)
NOW = datetime(2026, 3, 1, tzinfo=UTC)
NEVER = datetime.max.replace(tzinfo=UTC)
PRODUCTS = ("meat", "milk", "eggs")
#: Periods by medicine and product; B has none stated for eggs. A and B share an active.
PERIODS = {
    "A": {"meat": Period(days=Fraction(14), text="14 days"), "milk": Period(hours=Fraction(72), text="72 h"),
          "eggs": Period(days=Fraction(0), text="0 days")},
    "B": {"meat": Period(days=Fraction(35), text="35 days"), "milk": Period(milkings=Fraction(6), text="6 milkings"),
          "eggs": None},
    "C": {product: Period(days=Fraction(0), text="0 days") for product in PRODUCTS},
    "D": {product: Period(days=Fraction(3), text="3 days") for product in (*PRODUCTS, "wool")},
}  # fmt: skip
ACTIVE = {"A": "activine", "B": "activine; other", "C": "third", "D": "fourth"}
#: What a row may keep of treatments before the record: a day alone, which is midnight in the zone of the record.
EARLIER = json.dumps({"earlier": {"meat": "2026-05-01"}})
E1, E2, E4 = "982000000000001", "982000000000002", "982000000000004"
#: A printed official number of the United Kingdom, and what its reader says (ISO 3166: 826).
T5, E5 = "UK 0123456 00001", "826012345600001"
#: How the rows of each animal name it: the first lost its tag and got another, which the fourth has today; the third
#: has no EID; the fifth is known by its printed number, by what a reader says, or by a tag that the third has as well;
#: two mobs are treated as a whole at times, and once everything there is.
ANIMALS = {
    "1": [("0001", E1), ("", E1), ("0001R", E1), ("0001", "")], "2": [("0002", E2)], "3": [("0003", "")],
    "4": [("0001R", E4)], "5": [(T5, ""), ("", E5), ("0003", E5)], "mob": [("", "")],
}  # fmt: skip


def medicine(name: str, zone: str) -> str:
    """Facts of a medicine, given three times a day apart."""
    texts = dict.fromkeys(("route", "site", "needle", "type", "prescriber", "prescription_no", "supplier",
                           "label_source", "form", "caution"), "")  # fmt: skip
    blank = {field.name: None for field in fields(Medicine)}
    own = {"name": name, "active": ACTIVE[name], "withdrawal": PERIODS[name], "longest_label": {},
           "off_label": False, "every_hours": Fraction(24)}  # fmt: skip
    session = SessionFacts(zone=ZONES[zone], client="Farm", milking_times=(time(6), time(17, 30)))
    return facts_json(Facts(Medicine(**(blank | texts | own)), session, 3, "", {}, tuple(PERIODS[name])))


FACTS = {(name, zone): medicine(name, zone) for name in PERIODS for zone in ZONES}
PARSED = {facts_key(text): facts_of(text) for text in FACTS.values()}


@dataclass(frozen=True)
class Dose:
    """One dose as the notebook has it."""

    tag: str
    eid: str
    mob: str
    name: str
    zone: str
    at: datetime
    timed: bool
    holds: bool
    row: str
    answered: frozenset[str] = frozenset()

    def end(self, product: str) -> datetime:
        """The earliest moment at which the label's period can be over: counted anew, by hand.

        `answered` are products for which a prescriber gave a period since: then the label's is a floor, if it has one.
        """
        period = PERIODS[self.name][product]
        if product not in self.answered and (period is None or self.holds):
            return NEVER
        period = period or Period(days=Fraction(0))
        hours = float((period.days or 0) * 24 + (period.hours or 0) + (period.milkings or 0) * 12)
        if self.timed:
            return self.at.astimezone(UTC) + timedelta(hours=hours)
        day = self.at.astimezone(ZONES[self.zone]).date() + timedelta(days=1 + int(hours // 24))
        return datetime.combine(day, time(), ZONES[self.zone]).astimezone(UTC)


def number_of(eid: str, tag: str) -> str:
    """What a reader says of an animal, as far as its EID or its printed number tells."""
    return eid or (E5 if tag == T5 else "")


names, medicines, numbers = st.sampled_from(sorted(ANIMALS)), st.sampled_from(sorted(PERIODS)), st.integers(1, 3)
mobs, zones = st.sampled_from(["Hill", "Hill", "Low", ""]), st.sampled_from(sorted(ZONES))
hours, jobs, forms = st.integers(0, 24 * 365), st.integers(1, 3), st.integers(0, 3)


class Season(RuleBasedStateMachine):
    """Doses, corrections, doses that were not given after all, releases, and periods of a prescriber."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[Row] = []
        self.given: dict[str, Dose] = {}
        self.needles: dict[str, bool] = {}
        self.last = 0

    def add(self, rows: list[Row], facts: dict[str, str]) -> None:
        """Take rows into the record."""
        del facts
        rows = new_rows(self.rows, rows) if rows[0].kind == DOSE else rows
        self.rows += chained(self.rows, rows, NOW)

    def record(self) -> Record:
        book = Book(InputFile(Path("record.xlsx"), ""), [], b"")
        columns = {name: at for at, name in enumerate(HEADINGS)}
        return Record(book, "Record", tuple(self.rows), tuple(range(2, len(self.rows) + 2)), columns, PARSED)

    def _row(
        self, animal, form, mob, name, zone, job, number, **said
    ) -> Row:  # fmt: skip
        forms = ANIMALS[animal]
        tag, eid = forms[form % len(forms)]
        line = f"job {job}{zone}/{animal}.{form % len(forms)} {mob} {name}/{number}"
        return Row(line=line, tag=tag, eid=eid, mob=mob, medicine=name, facts=facts_key(FACTS[name, zone]), **said)

    @rule(
        animal=names, form=forms, mob=mobs, name=medicines, zone=zones, number=numbers, job=jobs, hour=hours,
        timed=st.booleans(), given=st.sampled_from(["yes", "yes", "part", "unclear"]),
        holds=st.sampled_from(["", "", "more given than planned"]), needle=st.sampled_from(["", "", "", "yes"]),
        about=st.sampled_from(["", "", EARLIER]),
    )  # fmt: skip
    def a_dose(  # noqa: PLR0913, PLR0917 - what one row says
        self, animal, form, mob, name, zone, number, job, hour, timed, given, holds, needle, about
    ):  # fmt: skip
        self.last = hour
        at = (START + timedelta(hours=hour)).astimezone(ZONES[zone])
        text = at.isoformat() if timed else at.date().isoformat()
        holds = "; ".join(filter(None, (holds, "the entry is not clear" if given == "unclear" else "")))
        row = self._row(animal, form, mob, name, zone, job, number, given=given, amount="1", given_at=text, holds=holds,
                        needle=needle, about=about)  # fmt: skip
        before = len(self.rows)
        self.add([row], {row.facts: FACTS[name, zone]})
        if len(self.rows) == before:
            return
        if needle:
            self.needles.setdefault(row.line, True)
        self.given[row.line] = Dose(row.tag, row.eid, row.mob, name, zone, at, timed, bool(holds), row.line)

    @rule(animal=names, form=forms, mob=mobs, name=medicines, zone=zones, job=jobs, days=st.integers(1, 3),
          late=st.integers(0, 9))  # fmt: skip
    def a_course_as_planned_or_cut_short(
        self, animal, form, mob, name, zone, job, days, late
    ):  # fmt: skip
        """One to three doses a day apart, the last a few hours late, soon after the last dose before."""
        for number in range(1, days + 1):
            self.a_dose(animal, form, mob, name, zone, number, job, self.last + 24 + (late if number == days else 0),
                        True, "yes", "", "", "")  # fmt: skip

    @rule(animal=names, form=forms, mob=mobs, name=medicines, zone=zones, number=numbers, job=jobs)
    def a_dose_not_given_after_all(self, animal, form, mob, name, zone, number, job):
        row = self._row(animal, form, mob, name, zone, job, number, given="no")
        self.add([row], {row.facts: FACTS[name, zone]})
        self.given.pop(row.line, None)

    @precondition(lambda self: self.rows)
    @rule(which=st.integers(0, 200), kind=st.sampled_from([PERIOD, RELEASE]), days=st.integers(0, 40),
          product=st.sampled_from(PRODUCTS))  # fmt: skip
    def a_word_of_a_person(self, which, kind, days, product):
        """A prescriber's period, or the release of a needle."""
        row = self.rows[which % len(self.rows)]
        if row.kind != DOSE:
            return
        period = {"days": str(days), "text": f"{days} days", "permitted": True}
        about = json.dumps({"periods": {product: period}}) if kind == PERIOD else ""
        self.add([Row(kind=kind, corrects=row.row, line=f"{kind}/{row.line}", tag=row.tag, eid=row.eid, mob=row.mob,
                      medicine=row.medicine, about=about)], {})  # fmt: skip
        if kind == RELEASE and row.line in self.needles:
            self.needles[row.line] = False
        for line, dose in list(self.given.items()) if kind == PERIOD else ():
            if line.rpartition("/")[0] == row.course:  # a period is given for a course
                self.given[line] = replace(dose, answered=dose.answered | {product})

    def counting(self, eid: str, tag: str) -> list[Dose]:
        """Doses that count for the animal of an EID, or of a tag that no EID has: whatever may be its own."""
        latest = {row.line: row for row in self.rows if row.kind == DOSE}.values()
        eid = number_of(eid, tag)
        tags = {same_tag(row.tag) for row in latest if number_of(row.eid, row.tag) == eid} if eid else {same_tag(tag)}

        def mine(dose: Dose | Row) -> bool:
            number = number_of(dose.eid, dose.tag)
            return (bool(eid) and number == eid) or (not number and bool(dose.tag) and same_tag(dose.tag) in tags)

        my_mobs = {row.mob for row in latest if mine(row)}
        whole = [dose for dose in self.given.values() if not dose.tag and not dose.eid]
        return [*filter(mine, self.given.values()), *(d for d in whole if d.mob in my_mobs or not d.mob)]

    def end(self, eid: str, tag: str, product: str) -> datetime:
        """The earliest moment at which this animal can be clear; long ago where nothing counts."""
        counting = self.counting(eid, tag)
        if any(self.needles.get(dose.row) for dose in counting):
            return NEVER
        return max((dose.end(product) for dose in counting), default=START)
