"""What guns gave when they were measured, as the sheet `Session` may say it: each reading to its one medicine."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from difflib import get_close_matches
from fractions import Fraction
from types import MappingProxyType

from batchdose.amounts import clean
from batchdose.findings import Finding
from batchdose.model import GunEntry, GunReading, Medicine
from batchdose.read import problems
from batchdose.read.book import NoValue
from batchdose.read.cells import CellError, read_count
from batchdose.read.fields import is_unit
from batchdose.read.labels import LabelError, amount_in
from batchdose.read.table import cell_text
from batchdose.texts import of_error, say, unended
from batchdose.words import same_name

#: Shots into the measuring cylinder where nothing says how many (see calculate/gun_check.py).
USUAL_SHOTS = 10

_NAME = re.compile(r"gun[\s_-]+(set[\s_-]+to|gave|shots)(?:\s+in\s+all)?\s*(.*)", re.IGNORECASE)
_UNIT = re.compile(r"\s*[(\[]([^()\[\]]+)[)\]]\s*$")


def gun_entry_name(name: str) -> tuple[str, str, str] | None:
    """Field, medicine and unit of an entry on a gun's check; None for any other name.

    >>> gun_entry_name("Gun gave: wormer A"), gun_entry_name("Gun set to (mL)"), gun_entry_name("Gun")
    (('gun_gave', 'wormer A', ''), ('gun_set_to', '', 'mL'), None)
    """
    match = _NAME.fullmatch(clean(name).rstrip(": "))
    if match is None:
        return None
    rest, unit = match[2], ""
    if (bracket := _UNIT.search(rest)) and is_unit(bracket[1]):
        rest, unit = rest[: bracket.start()], bracket[1]
    medicine = re.sub(r"^(?:[:,-]|for\b|of\b)\s*", "", rest.strip())
    if whole := re.fullmatch(r"[(\[]\s*(.+?)\s*[)\]]", medicine):
        medicine = whole[1]
    return f"gun_{re.sub(r'[^a-z]+', '_', match[1].casefold())}", medicine.strip(), unit


def with_guns(
    medicines: Sequence[Medicine], entries: Iterable[GunEntry], used: Iterable[str]
) -> tuple[list[Medicine], list[Finding]]:
    """Medicines with the readings of the sheet `Session`, and what is wrong with those.

    An entry that names no medicine is that of the one medicine of the job; `used` are the names given in it.
    """
    found, findings = list(medicines), list[Finding]()
    rows: dict[str, list[int]] = {}
    for at, medicine in enumerate(medicines):
        rows.setdefault(same_name(medicine.name), []).append(at)
    readings: dict[str, list[GunEntry]] = {}
    for entry in entries:
        name = _whose(entry, rows, {same_name(name) for name in used})
        if name is None:
            findings.append(_unclear(entry, medicines, rows))
        else:
            readings.setdefault(name, []).append(entry)
    for name, of_one in readings.items():
        try:
            for at in rows[name]:
                found[at] = _with_gun(medicines[at], of_one)
            _one_device([medicines[at] for at in rows[name]], of_one[0])
        except _RefusedError as refused:
            entry, problem = refused.entry, of_error(refused)
            for at in rows[name]:
                found[at] = medicines[at]
            findings.append(problems.gun_reading_refused(
                entry.where, rows[name], medicines[rows[name][0]].name, cell_text(entry.cell), problem
            ))  # fmt: skip
    return found, findings


class _RefusedError(Exception):
    """A reading that cannot be used, with the entry that is to blame."""

    def __init__(self, entry: GunEntry, problem: str) -> None:
        self.entry = entry
        super().__init__(problem)


def _whose(entry: GunEntry, rows: Iterable[str], used: set[str]) -> str | None:
    """The medicine of an entry, as names are compared; None where it could be several, or is none."""
    if entry.medicine:
        return same_name(entry.medicine) if same_name(entry.medicine) in rows else None
    return next(iter(used)) if len(used) == 1 else None


def _unclear(entry: GunEntry, medicines: Iterable[Medicine], rows: Iterable[str]) -> Finding:
    names = list(dict.fromkeys(medicine.name for medicine in medicines))
    near = get_close_matches(same_name(entry.medicine), rows, n=1, cutoff=0.8) if entry.medicine else []
    offer = next((name for name in names if near and same_name(name) == near[0]), "")
    return problems.gun_reading_of_which(entry.where, entry.name, entry.medicine, cell_text(entry.cell), names, offer)


def _one_device(rows: Sequence[Medicine], entry: GunEntry) -> None:
    """One gun was measured, so all rows of the medicine are given with it."""
    if len({(row.unit, row.graduation, row.device_size) for row in rows}) > 1:
        raise _RefusedError(
            entry, say("its rows on the medicines sheet are given with several devices, so write it there")
        )


def _with_gun(medicine: Medicine, entries: Sequence[GunEntry]) -> Medicine:
    """A medicine with what its gun gave. Raises _RefusedError for half of a reading, or one that is said otherwise."""
    of_field: dict[str, tuple[GunEntry, Fraction]] = {}
    for entry in entries:
        value = _value(entry, medicine.unit)
        if of_field.setdefault(entry.field, (entry, value))[1] != value:
            raise _RefusedError(entry, say("it stands twice, with two values"))
    if not of_field.keys() >= {"gun_set_to", "gun_gave"}:
        raise _RefusedError(entries[0], say("a gun's reading needs what it was set to and what it gave"))
    entry, gave = of_field["gun_gave"]
    shots = int(of_field["gun_shots"][1]) if "gun_shots" in of_field else USUAL_SHOTS
    gun, written = GunReading(of_field["gun_set_to"][1], gave, shots), medicine.practice.gun
    if written is not None and written != gun:
        place = medicine.cells["gun_gave"].place
        raise _RefusedError(entry, say("the medicines sheet says otherwise in {place}", place=place))
    cells = MappingProxyType({**medicine.cells, "gun_gave": entry.where})
    return replace(medicine, practice=replace(medicine.practice, gun=gun), cells=cells)


def _value(entry: GunEntry, unit: str) -> Fraction:
    """What an entry says, in the medicine's own unit. Raises _RefusedError where it is no such amount."""
    if isinstance(entry.cell, NoValue):
        raise _RefusedError(entry, say("the cell {problem}", problem=entry.cell.problem))
    text = cell_text(entry.cell)
    if entry.unit and text[-1:].isdigit():
        text = f"{text} {entry.unit}"
    try:
        if entry.field == "gun_shots":
            return Fraction(read_count(entry.cell))
        amount, found = amount_in(text, unit)
    except (LabelError, CellError) as error:
        raise _RefusedError(entry, unended(of_error(error))) from None
    if found != unit or amount <= 0:
        raise _RefusedError(entry, say("{text} does not go with a dose in {unit}", text=text, unit=unit))
    return amount
