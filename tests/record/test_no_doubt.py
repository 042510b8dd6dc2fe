"""A season of jobs in any order: no animal is called clear while the period of a dose that was given still runs."""

from __future__ import annotations

import json
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import cast
from zoneinfo import ZoneInfo

import pandas as pd
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from batchdose.kept import Facts, facts_json, facts_key, facts_of
from batchdose.model import InputFile, Medicine, Moment, Period, SessionFacts, WeighingSession
from batchdose.read.book import Book
from batchdose.record.append import chained, new_rows
from batchdose.record.book import Record
from batchdose.record.chain import chain_findings
from batchdose.record.clear import Clearing
from batchdose.record.earlier import earlier_treatments
from batchdose.record.rows import HEADINGS, PERIOD, RELEASE, Row

ZONE = ZoneInfo("Europe/London")
START = datetime(2026, 3, 1, 9, tzinfo=ZONE)
NOW = datetime(2026, 3, 1, tzinfo=UTC)
DAYS = {"A": 14, "B": 35, "C": 0}
#: Two animals known by EID, one by its tag alone, and a mob that is treated as a whole.
ANIMALS = {"1": ("0001", "982000000000001"), "2": ("0002", "982000000000002"), "3": ("0003", ""), "mob": ("", "")}


def medicine(name: str) -> str:
    """Facts of a medicine with its days for meat, given three times a day apart."""
    texts = dict.fromkeys(("route", "site", "needle", "type", "prescriber", "prescription_no", "supplier",
                           "label_source", "form", "caution"), "")  # fmt: skip
    blank = {field.name: None for field in fields(Medicine)}
    period = Period(days=Fraction(DAYS[name]), text=f"{DAYS[name]} days")
    own = {"name": name, "active": f"active {name}", "withdrawal": {"meat": period}, "longest_label": {},
           "off_label": False, "every_hours": Fraction(24)}  # fmt: skip
    kept = Facts(Medicine(**(blank | texts | own)), SessionFacts(zone=ZONE), 3, "", {}, ("meat",))
    return facts_json(kept)


FACTS = {name: medicine(name) for name in DAYS}
names, medicines, numbers = st.sampled_from(sorted(ANIMALS)), st.sampled_from(sorted(DAYS)), st.integers(1, 3)
hours, jobs = st.integers(0, 24 * 60), st.integers(1, 3)


class Season(RuleBasedStateMachine):
    """Doses, corrections, releases and periods, and beside them what a person with a notebook knows."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[Row] = []
        self.given: dict[str, tuple[str, str, datetime]] = {}
        self.stated: set[int] = set()

    def record(self) -> Record:
        book = Book(InputFile(Path("record.xlsx"), ""), [], b"")
        facts = {facts_key(text): facts_of(text) for text in FACTS.values()}
        columns = {name: at for at, name in enumerate(HEADINGS)}
        return Record(book, "Record", tuple(self.rows), tuple(range(2, len(self.rows) + 2)), columns, facts)

    def add(self, row: Row) -> None:
        self.rows += chained(self.rows, new_rows(self.rows, [row]), NOW)

    @rule(
        animal=names, name=medicines, number=numbers, job=jobs, hour=hours, timed=st.booleans(),
        given=st.sampled_from(["yes", "part", "unclear"]), holds=st.sampled_from(["", "", "more given than planned"]),
    )  # fmt: skip
    def a_dose(self, animal, name, number, job, hour, timed, given, holds):
        tag, eid = ANIMALS[animal]
        at = START + timedelta(hours=hour)
        line = f"job {job}/{animal} {name}/{number}"
        text = at.isoformat() if timed else at.date().isoformat()
        self.add(Row(line=line, tag=tag, eid=eid, mob="Hill", medicine=name, given=given, amount="1", given_at=text,
                     holds=holds, facts=facts_key(FACTS[name])))  # fmt: skip
        self.given[line] = (animal, name, at if timed else at.replace(hour=0))

    @rule(animal=names, name=medicines, number=numbers, job=jobs)
    def a_dose_not_given_after_all(self, animal, name, number, job):
        tag, eid = ANIMALS[animal]
        line = f"job {job}/{animal} {name}/{number}"
        self.add(Row(line=line, tag=tag, eid=eid, mob="Hill", medicine=name, given="no", facts=facts_key(FACTS[name])))
        self.given.pop(line, None)

    @precondition(lambda self: self.rows)
    @rule(which=st.integers(0, 200), kind=st.sampled_from([PERIOD, RELEASE]), days=st.integers(0, 40))
    def a_word_of_a_person(self, which, kind, days):
        row = self.rows[which % len(self.rows)]
        period = {"days": str(days), "text": f"{days} days", "permitted": True}
        about = json.dumps({"periods": {"meat": period}}) if kind == PERIOD else ""
        self.rows += chained(self.rows, [Row(kind=kind, corrects=row.row, line=f"{kind}/{row.line}", about=about)], NOW)

    @invariant()
    def nobody_is_clear_too_early(self):
        clearing = Clearing(self.record())
        for name, (tag, eid) in ANIMALS.items():
            ends = [at.astimezone(UTC) + timedelta(days=DAYS[drug]) for animal, drug, at in self.given.values()
                    if animal in (name, "mob")]  # fmt: skip
            known, _ = clearing.animals.named(eid or tag) if tag else (None, "")
            if known is None or not ends:
                continue
            before = max(ends) - timedelta(seconds=1)
            assert clearing.verdict(known, "meat", before).answer != "clear", (name, max(ends))

    @invariant()
    def no_plan_calls_one_clear_too_early(self):
        clearing = Clearing(self.record())
        animals = pd.DataFrame(
            [(tag, eid, "Hill") for tag, eid in ANIMALS.values()], columns=["tag", "eid", "mob"], index=list(ANIMALS)
        )  # fmt: skip
        session = cast(WeighingSession, SimpleNamespace(animals=animals))
        for name in ANIMALS:
            ends = [at.astimezone(UTC) + timedelta(days=DAYS[drug]) for animal, drug, at in self.given.values()
                    if animal in (name, "mob") or name == "mob"]  # fmt: skip
            if ends:
                planned = Moment(max(ends) - timedelta(seconds=1), timed=True)
                clear = earlier_treatments(clearing, session, (), planned).clears.get("meat", {}).get(name)
                assert clear is not None, (name, max(ends))
                assert clear.at is None or clear.at.astimezone(UTC) >= max(ends), (name, max(ends))

    @invariant()
    def the_chain_holds(self):
        assert list(chain_findings(self.record())) == []

    @invariant()
    def recording_the_last_again_adds_nothing(self):
        latest = list({row.line: row for row in self.rows if row.kind == "dose"}.values())
        assert new_rows(self.rows, latest) == []


Season.TestCase.settings = settings(max_examples=60, stateful_step_count=25, deadline=None)
test_a_season = Season.TestCase
