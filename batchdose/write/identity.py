"""The name of a job, by what it plans, and the facts of each of its courses."""

from __future__ import annotations

import hashlib

from batchdose.kept import Facts, facts_json
from batchdose.model import Result
from batchdose.words import same_name

#: What is planned for each animal.
_PLANNED = ("animal", "course", "tag", "eid", "mob", "head", "dose", "unit", "doses", "held")
#: What the record keeps of an animal.
_OF_ANIMAL = ("species", "sex", "status", "gave_birth", "meat_clear_from", "milk_clear_from", "weight_ng")


def job_identity(result: Result) -> str:
    """Eight letters and digits that name this job, from all that the record keeps of it.

    The same plan at the same moment has the same name, also where it is made again from the copy of an earlier run,
    so that recording it twice changes nothing; another dose, fact of the label or of an animal gives another name.
    """
    table, animals = result.treatments, result.session.animals
    digest = hashlib.sha256(repr((result.session.facts.client, result.planned.at.isoformat())).encode())
    for name in _PLANNED:
        digest.update(repr(table[name].tolist()).encode())
    digest.update(repr([tuple(numbers) for numbers in table["batch_no"]]).encode())
    for product in result.products_clear:
        digest.update(repr([(str(clear.at), clear.state) for clear in table[f"clear:{product}"]]).encode())
    for name in _OF_ANIMAL:
        digest.update(repr(list(map(str, animals.get(name, ())))).encode())
    courses = table.drop_duplicates("course")
    for course, moments in zip(courses["course"].tolist(), courses["planned_for"], strict=True):
        digest.update(repr([moment.at.isoformat() for moment in moments]).encode())
        digest.update(facts_json(course_facts(result, course)).encode())
    found = digest.hexdigest()
    return f"{found[:4]}-{found[4:8]}"


def course_facts(result: Result, course: int) -> Facts:
    """What the record keeps of one course."""
    mine = result.treatments[result.treatments["course"] == course]
    medicine = result.medicines[int(mine["medicine"].iloc[0])]
    reasons = [line.reason for line in result.session.lines
               if line.reason and same_name(line.medicine) == same_name(medicine.name)]  # fmt: skip
    packs = {
        pack.batch_no: pack.expiry
        for plan in result.product if same_name(plan.medicine) == same_name(medicine.name)
        for pack in plan.packs if pack.batch_no
    }  # fmt: skip
    species = frozenset(result.session.animals.loc[mine["animal"].to_list(), "species"])
    reason = "; ".join(dict.fromkeys(reasons))
    return Facts(
        medicine, result.session.facts, int(mine["doses"].iloc[0]), reason, packs, result.products_clear, species
    )
