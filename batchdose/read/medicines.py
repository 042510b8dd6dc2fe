"""The medicines sheet: each row to a Medicine, each figure that is not understood to a finding that holds it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Literal

from batchdose.amounts import number_text, written_number
from batchdose.findings import CellRef, Finding, UnusableInputError
from batchdose.model import Band, DoseBy, DoseRate, GunReading, Medicine, Period, Practice, Strength, product_unit
from batchdose.read import label_problems
from batchdose.read.book import Book, Cell, NoValue
from batchdose.read.cells import CellError, read_count, read_expiry, read_share, read_yes_no, weight_ng
from batchdose.read.columns import find_table, offers_of, single
from batchdose.read.fields import MEDICINES
from batchdose.read.guns import USUAL_SHOTS
from batchdose.read.labels import (
    LabelError,
    amount_in,
    parse_dose_rate,
    parse_hours,
    parse_period,
    parse_strength,
)
from batchdose.read.table import Table, cell_text
from batchdose.texts import of_error, say, unended
from batchdose.words import NEAREST_TYPES, same_name, species_of, status_of, type_of, words

#: A course of more doses than this is a slip of typing.
MOST_DOSES = 1_000
#: A bare strength below this under a heading in % is asked about [%]; the limit is the program's.
SMALLEST_PERCENT = 0.1
#: Step between marks where the sheet states none, by unit of product; a warning says so.
USUAL_GRADUATION = {"mL": Fraction(1, 10), "g_product": Fraction(1)}


def find_medicines_table(book: Book) -> Table:
    """The sheet `Medicines`, else the first sheet with a column Medicine and one for rate or strength.

    Raises UnusableInputError where there is none, or no column of dose rates and no dose bands.
    """
    named = book.sheet_named("Medicines")
    sheets = [named] if named else [s for s in book.sheets if s.name.casefold() not in ("stock", "treatments")]
    tables = [table for s in sheets if (table := find_table(book, s, MEDICINES, withdrawals=True))]
    tables = [t for t in tables if "medicine" in t.columns and (named or len(t.columns) > 2)]
    if not tables:
        raise UnusableInputError(
            CellRef(book.source.name, named.name if named else ""), "No list of medicines was found.",
            'Put the headings Medicine, Strength and Dose rate on a sheet named "Medicines".',
        )  # fmt: skip
    table = single(tables[0])
    if "dose_rate" not in table.columns and book.sheet_named("Dose bands") is None:
        raise UnusableInputError(
            table.header,
            "There is no column Dose rate.",
            offers_of(table) or "Add the heading Dose rate and the label's rate.",
        )
    return table


def read_medicines(
    table: Table, bands: dict[str, tuple[Band, ...]], order: str = ""
) -> tuple[list[Medicine], list[Finding]]:
    """Medicines in sheet order, and findings; a row whose figures are not understood is held."""
    medicines: list[Medicine] = []
    findings = list(table.findings)
    for number, cells in table.rows():
        name = "" if isinstance(cells["medicine"], NoValue) else cell_text(cells["medicine"])
        if name and sum(cell is not None for cell in cells.values()) == 1 and not bands.get(same_name(name)):
            findings.append(label_problems.medicine_without_figures(table.where(number, "medicine"), name))
        elif name:
            reader = _Row(table, number, cells, len(medicines), findings)
            reader.order = order
            medicines.append(reader.medicine(name, bands.get(same_name(name), ())))
        else:
            findings.append(label_problems.name_missing(table.where(number, "medicine"), "medicine"))
    return medicines, findings


class _Row:
    """Reads the fields of one row; what cannot be read becomes a finding that holds the medicine."""

    def __init__(self, table: Table, number: int, cells: dict[str, Cell], index: int, findings: list[Finding]) -> None:
        self.table, self.number, self.cells, self.index = table, number, cells, index
        self.findings, self.order = findings, ""
        for name, cell in cells.items():
            if isinstance(cell, NoValue):
                problem = say("the cell {problem}", problem=cell.problem)
                self.refuse(name, problem, say("Mend the formula, or type the value."))

    def text(self, name: str) -> str:
        """A cell as text; a bare number gets the unit of its heading (`Strength (mg/mL)`)."""
        cell = self.cells.get(name)
        text = "" if isinstance(cell, NoValue) else cell_text(cell)
        unit = self.table.units.get(name, "")
        return f"{text} {unit}" if unit and text[:1].isdigit() and text[-1:].isdigit() else text

    def read(self, name: str, parse: Callable[[Any], Any], *, raw: bool = False) -> Any:
        """Value of a field, None where it is blank or not understood (then with a finding)."""
        cell = self.cells.get(name)
        if cell is None or isinstance(cell, NoValue):
            return None
        try:
            return parse(cell if raw else self.text(name))
        except (LabelError, CellError) as error:
            self.refuse(name, unended(of_error(error)), say("Copy it again from the label."))
            return None

    def refuse(self, name: str, problem: str, fix: str) -> None:
        """Hold the medicine for a figure that is not understood."""
        where, seen = self.table.where(self.number, name), cell_text(self.cells.get(name))
        self.findings.append(label_problems.label_figure_unreadable(where, self.index, name, seen, problem, fix))

    def medicine(self, name: str, bands: tuple[Band, ...]) -> Medicine:
        """The whole row."""
        strength: Strength | None = self.read("strength", self._strength)
        rate: DoseRate | None = self.read("dose_rate", parse_dose_rate)
        if rate is None and not bands and self.cells.get("dose_rate") is None:
            self.findings.append(
                label_problems.dose_rate_missing(self.table.where(self.number, "dose_rate"), self.index)
            )
        unit = product_unit(strength, rate, bands)
        graduation = self._amount("graduation", unit)
        kind = type_of(self.text("type"))
        return Medicine(
            row=self.number, name=name, where=self.table.where(self.number, "medicine"),
            cells=MappingProxyType({f: self.table.where(self.number, f) for f in self.table.columns}),
            strength=strength, rate=rate, bands=bands,
            lowest=self.read("lowest_rate", parse_dose_rate), highest=self.read("highest_rate", parse_dose_rate),
            active=self.text("active_substance"), species=species_of(self.text("species")),
            kinds=frozenset(words(self.text("kind"))),
            min_weight_kg=self._kilograms("minimum_weight"), max_weight_kg=self._kilograms("maximum_weight"),
            min_age_days=self._days("minimum_age"), not_for=status_of(self.text("not_for")),
            route=self.text("route"), site=self.text("site"), needle=self.text("needle"),
            max_per_site=self._amount("max_per_site", unit),
            graduation=graduation or USUAL_GRADUATION.get(unit, Fraction(1)), graduation_given=graduation is not None,
            largest_device=self._amount("largest_device", unit), device_size=self._device_size(unit),
            device=self.text("device_size"),
            dose_by=self._dose_by(), rounding=self._rounding(kind),
            narrow_margin=bool(self.read("narrow_margin", read_yes_no)),
            doses=self.read("doses", _doses, raw=True) or 1, every_hours=self.read("every", _interval),
            withdrawal=MappingProxyType(self._withdrawals()),
            off_label=bool(self.read("off_label", read_yes_no)),
            longest_label=MappingProxyType({p: self._period(f"longest_label_{p}") for p in ("meat", "milk", "eggs")}),
            for_food_animals=self.read("for_food_animals", read_yes_no),
            not_before_birth_days=self._days("not_within_days_before_birth"),
            milk_after_birth=self._period("milk_after_birth"), shortest_dry_days=self._days("shortest_dry_period"),
            type=kind, prescriber=self.text("prescriber"), prescription_no=self.text("prescription_number"),
            supplier=self.text("supplier"), label_source=self.text("label_source"), caution=self.text("caution"),
            form=self.text("form"), automatic_injector=self.read("automatic_injector", read_yes_no),
            expiry=self._expiry(), viscous=bool(self.read("viscous", read_yes_no)),
            stains=bool(self.read("stains", read_yes_no)), max_age_days=self._days("maximum_age"),
            practice=self._practice(unit),
            repeat_after_hours=self.read("repeat_after", parse_hours),
            least_dose=self._amount("minimum_dose", unit), largest_dose=self._amount("maximum_dose", unit),
        )  # fmt: skip

    def _amount(self, name: str, unit: str) -> Fraction | None:
        """An amount in the product's own unit; another unit holds the medicine."""
        found: tuple[Fraction, str] | None = self.read(name, lambda text: amount_in(text, unit))
        if found is None:
            return None
        if found[1] != unit or found[0] <= 0:
            self.refuse(name, say("{typed} does not go with a dose in {unit}", typed=self.text(name), unit=unit),
                        say("Write it in {unit}, more than zero.", unit=unit))  # fmt: skip
            return None
        return found[0]

    def _strength(self, text: str) -> Strength:
        """Strength of the row. A bare 0.01 under a heading in % may be 1 % as a share, so it is asked about."""
        cell = self.cells.get("strength")
        if self.table.units.get("strength") == "%" and isinstance(cell, (int, float)) and 0 < cell < SMALLEST_PERCENT:
            share = written_number(f"{cell * 100:g}")
            raise LabelError(
                say("{typed} could be {share} %. Write it with its unit, as on the label.", typed=text, share=share)
            )
        return parse_strength(text)

    def _practice(self, unit: str) -> Practice:
        """How it is drawn and given, and what a gun gave when it was measured."""
        size, priming = self._device_size(unit), self._amount("priming", unit)
        if priming is not None and size is not None and priming >= size:
            self.refuse("priming", say("the device holds no more than its priming"), say("Correct one of them."))
        return Practice(
            priming=priming, dead_space=self._amount("dead_space", unit),
            animals_per_needle=self.read("animals_per_needle", read_count, raw=True),
            most_punctures=self.read("most_punctures", read_count, raw=True),
            loss=self.read("loss", read_share, raw=True), mixing=self.read("mix_batches", read_yes_no) is not False,
            device_tolerance=self.read("device_tolerance", read_share, raw=True), gun=self._gun(unit),
        )  # fmt: skip

    def _gun(self, unit: str) -> GunReading | None:
        """What a gun gave; half of a reading is none, and is refused."""
        set_to, gave = self._amount("gun_set_to", unit), self._amount("gun_gave", unit)
        shots = self.read("gun_shots", read_count, raw=True) or USUAL_SHOTS
        if (set_to is None) != (gave is None):
            which = "gun_gave" if gave is None else "gun_set_to"
            problem = say("a gun's reading needs what it was set to and what it gave")
            self.refuse(which, problem, say("Write both, or neither."))
        return GunReading(set_to, gave, shots) if set_to and gave else None

    def _device_size(self, unit: str) -> Fraction | None:
        """Size of the device where it is written as an amount of the product; other words are only printed."""
        try:
            size, found = amount_in(self.text("device_size"), unit)
        except LabelError:
            return None
        return size if found == unit else None

    def _kilograms(self, name: str) -> Fraction | None:
        unit = self.table.units.get(name, "")
        return self.read(name, lambda cell: Fraction(weight_ng(cell, unit), 10**12), raw=True)  # type: ignore[no-any-return]

    def _days(self, name: str) -> Fraction | None:
        """A length in days; a bare number is days only where the heading says so or ends in "days before birth"."""
        text, unit = self.text(name), self.table.units.get(name, "")
        if text.replace(".", "").isdecimal() and (unit.startswith("day") or "days" in name):
            return self.read(name, lambda cell: parse_hours(f"{cell_text(cell)} days") / 24, raw=True)  # type: ignore[no-any-return]
        hours = self.read(name, parse_hours)
        return None if hours is None else hours / 24

    def _period(self, name: str) -> Period | None:
        return self.read(name, lambda text: parse_period(text, self.table.units.get(name)))  # type: ignore[no-any-return]

    def _withdrawals(self) -> dict[str, Period | None]:
        named = [f for f in self.table.columns if f.startswith("withdrawal:")]
        periods = {f.removeprefix("withdrawal:"): self._period(f) for f in named}
        return {"meat": periods.pop("meat", None), "milk": periods.pop("milk", None), **periods}

    def _dose_by(self) -> DoseBy:
        word = self.text("dose_by").casefold() or "animal"
        if word in ("animal", "mob", "drafts"):
            return word  # type: ignore[return-value]
        problem = say('"{typed}" is none of animal, mob and drafts', typed=word)
        self.refuse("dose_by", problem, say("Write animal, mob or drafts."))
        return "animal"

    def _rounding(self, kind: str) -> Literal["up", "nearest"]:
        word = self.text("rounding").casefold()
        if word not in ("", "up", "nearest"):
            problem = say('"{typed}" is neither up nor nearest', typed=word)
            self.refuse("rounding", problem, say("Write up or nearest."))
        return "nearest" if word == "nearest" or (not word and kind in NEAREST_TYPES) else "up"

    def _expiry(self) -> date | None:
        shown = self.table.format(self.number, "expiry")
        return self.read("expiry", lambda cell: read_expiry(cell, self.order, shown), raw=True)  # type: ignore[no-any-return]


def _interval(text: str) -> Fraction:
    """Time between two doses, which is more than nothing."""
    hours = parse_hours(text)
    if not hours:
        raise LabelError(say("the time between two doses is more than nothing"))
    return hours


def _doses(cell: Cell) -> int:
    """Doses of a course; `3 doses` is understood, more than a thousand is a slip."""
    number = read_count(cell_text(cell).removesuffix("s").removesuffix("dose").strip())
    if number > MOST_DOSES:
        raise CellError(say("{n} are more than {most} doses", n=number_text(number), most=number_text(MOST_DOSES)))
    return number
