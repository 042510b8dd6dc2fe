"""The name of a job, by what it plans, and the facts of each of its courses."""

from __future__ import annotations

import hashlib
from fractions import Fraction

from batchdose.calculate.product import handling_of
from batchdose.kept import Facts, facts_json
from batchdose.model import Medicine, Result
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
    stock = tuple(p for p in result.stock_listed if p.medicine == same_name(medicine.name) and p.unit == medicine.unit)
    return Facts(
        medicine, result.session.facts, int(mine["doses"].iloc[0]), reason, packs, result.products_clear, species,
        stock, _draw_share(result, medicine), _fill(medicine),
    )  # fmt: skip


def _draw_share(result: Result, medicine: Medicine) -> Fraction:
    """What is drawn for each unit given, with priming, needles and loss as planned and without the spare."""
    for plan in result.product:
        if same_name(plan.medicine) == same_name(medicine.name) and plan.unit == medicine.unit and plan.rows:
            mine = result.treatments[result.treatments["medicine"].isin(plan.rows)]
            given = sum(
                (marks * head * doses * result.medicines[index].graduation for marks, head, doses, index
                 in mine[["marks", "head", "doses", "medicine"]].itertuples(index=False, name=None)), Fraction(0),
            )  # fmt: skip
            return plan.to_draw / (1 + result.session.facts.spare) / given if given else Fraction(1)
    return Fraction(1)


def _fill(medicine: Medicine) -> Fraction | None:
    """What one fill of the device gives, where it is filled and not fed from the bottle."""
    handling = handling_of(medicine)
    return None if handling.fill is None else handling.fill - handling.priming
