"""The job that is recorded: its plan, the facts of its courses, and what is found on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from batchdose.findings import CellRef, Finding
from batchdose.given import PlanKept
from batchdose.kept import Facts, facts_key, facts_of
from batchdose.record.rows import Row


@dataclass
class Findings:
    """Findings gathered so that one cause is told once for a mob and medicine, with its first cell."""

    found: dict[tuple[Any, ...], tuple[CellRef, list[str]]] = field(default_factory=dict)

    def add(self, rule: Callable[..., Finding], where: CellRef | None, row: Row, *more: str) -> None:
        """Note one animal for a rule; `more` are further words of the finding, which are told apart."""
        key = (rule, row.mob, row.medicine, *more)
        self.found.setdefault(key, (where or CellRef(""), []))[1].append(row.tag or row.eid)

    def listed(self) -> Iterator[Finding]:
        """The findings."""
        for (rule, _, medicine, *more), (where, tags) in self.found.items():
            yield rule(where, medicine, tags, *more)


@dataclass
class Job:
    """The plan of a job (None where a treatment has none), with the facts of its courses, and the time of recording."""

    plan: PlanKept | None
    now: datetime
    findings: Findings = field(default_factory=Findings)

    @cached_property
    def zone(self) -> ZoneInfo:
        """Zone of the session."""
        return ZoneInfo(self.plan.zone) if self.plan else ZoneInfo("UTC")

    @cached_property
    def facts(self) -> Mapping[str, str]:
        """Facts of every course as JSON, by key."""
        return {facts_key(text): text for text in self.plan.courses} if self.plan else {}

    @cached_property
    def keys(self) -> list[str]:
        """Key of the facts of each course."""
        return list(map(facts_key, self.plan.courses)) if self.plan else []

    @cached_property
    def known(self) -> list[Facts]:
        """Facts of each course."""
        return list(map(facts_of, self.plan.courses)) if self.plan else []
