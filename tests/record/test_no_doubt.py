"""A year of jobs in any order: no animal is called clear while the period of a dose that was given still runs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import cast

import pandas as pd
from hypothesis import settings
from hypothesis.stateful import invariant
from season import ANIMALS, E1, E2, E4, E5, NEVER, PRODUCTS, START, T5, Season

from batchdose.model import Moment, WeighingSession
from batchdose.record.append import new_rows
from batchdose.record.chain import chain_findings
from batchdose.record.clear import Clearing
from batchdose.record.earlier import earlier_treatments
from batchdose.record.known import known_from, known_of
from batchdose.record.register import build_register

#: Every name that may stand on a buyer's list.
NAMES = (E1, E2, E4, E5, T5, "0001", "0002", "0003", "0001R")


class Year(Season):
    """Everything that can be asked after every step."""

    @invariant()
    def nobody_is_clear_too_early(self):
        clearing = Clearing(self.record())
        known = known_from(known_of(clearing).to_json())
        for name in NAMES:
            for product in PRODUCTS:
                end = max(self.end(eid, tag, product) for eid, tag in self.bearers(name))
                for path in (clearing, known):
                    animal, _ = path.of_both(*((name, "") if len(name) > 5 else ("", name)))
                    if animal is not None and end > START:
                        before = end - timedelta(seconds=1)
                        assert path.verdict(animal, product, before).answer != "clear", (name, product, end)

    def bearers(self, name):
        """EID and tag of every animal that the record calls by this name."""
        if len(name) > 5:
            return [(name, "")]
        eids = {row.eid for row in self.rows if row.kind == "dose" and row.tag == name and row.eid}
        return [(eid, name) for eid in sorted(eids)] or [("", name)]

    @invariant()
    def the_register_states_no_earlier_end(self):
        if not self.given:
            return
        register = build_register(Clearing(self.record()), "AU", START.date())
        ends = register.headings.index("Withholding end date")
        lines = {row[0].split(",")[0]: row[ends] for row in register.lines}
        for dose in self.given.values():
            number = max(int(row.row) for row in self.rows if row.line == dose.row and row.kind == "dose")
            stated = dict(part.split(" ", 1) for part in filter(None, lines[str(number)].split("; ")))
            for product in PRODUCTS:
                if product in stated and stated[product] != "never":
                    end = dose.end(product)
                    assert end != NEVER, (dose, stated)
                    # The register prints the hour on the clock of the place, which is at most 14 h ahead (UTC+14).
                    shown = datetime.strptime(stated[product], "%d %b %Y %H:%M").replace(tzinfo=UTC)
                    assert shown >= end.replace(second=0, microsecond=0) - timedelta(hours=14), (dose, stated)

    @invariant()
    def no_plan_calls_one_clear_too_early(self):
        clearing = Clearing(self.record())
        names = list(dict.fromkeys(form for forms in ANIMALS.values() for form in forms))
        animals = pd.DataFrame([(*form, "Hill") for form in names], columns=["tag", "eid", "mob"])
        session = cast(WeighingSession, SimpleNamespace(animals=animals))
        for row, (tag, eid) in enumerate(names):
            for product in PRODUCTS:
                end = self.end_in_a_plan(tag, eid, product)
                if end == START:
                    continue
                planned = Moment(START if end == NEVER else end - timedelta(seconds=1), timed=True)
                clear = earlier_treatments(clearing, session, (), planned).clears.get(product, {}).get(row)
                assert clear is not None, (tag, eid, product, end)
                assert clear.at is None or (end != NEVER and clear.at.astimezone(UTC) >= end), (tag, eid, product, end)

    def end_in_a_plan(self, tag, eid, product):
        """The earliest moment at which an animal that is weighed in the mob Hill can be clear."""
        of_mob = [dose for dose in self.given.values() if not dose.tag and not dose.eid and dose.mob in ("Hill", "")]
        if not tag and not eid:
            of_mob += [dose for dose in self.given.values() if dose.mob == "Hill"]
        whole = [NEVER if self.needles.get(dose.row) else dose.end(product) for dose in of_mob]
        own = self.end(eid, tag, product) if tag or eid else START
        return max([own, *whole])

    @invariant()
    def the_chain_holds(self):
        assert list(chain_findings(self.record())) == []

    @invariant()
    def recording_the_last_again_adds_nothing(self):
        latest = list({row.line: row for row in self.rows if row.kind == "dose"}.values())
        assert new_rows(self.rows, latest) == []


Year.TestCase.settings = settings(max_examples=40, stateful_step_count=15, deadline=None)
test_a_year = Year.TestCase
