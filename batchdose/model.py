"""The things the program speaks of: animals, medicines, sessions, plans. Types only; no arithmetic.

Units are in the names. Exact amounts are fractions; the many (animals, treatments) are tables.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal
from zoneinfo import ZoneInfo

from batchdose.findings import CellRef, Finding, Level, column_letter

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime, time
    from pathlib import Path

    import pandas as pd

#: Whole nanograms in a kilogram: bodyweights are kept as integers of this size, which hold every
#: reading in kg or lb with four decimals exactly, and up to 9,000 tonnes.
NG_PER_KG = 10**12

#: Columns of the animals table, indexed by sheet row: one row an animal, or a mob given as a whole.
ANIMAL_COLUMNS = (
    "cell", "tag", "eid", "mob", "species", "kind", "sex", "status", "born", "slaughter_on", "sold_on",
    "first_milk_sold", "due", "gave_birth", "weighed_on", "last_weighed_on", "meat_clear_from", "milk_clear_from",
    "give_anyway", "medicine", "weight_text",
    "weight_ng", "lightest_ng", "last_weight_ng", "head", "courses_in_12_months",
)  # fmt: skip

#: Headings of the columns that this program adds; they are never read back as input.
OWN_HEADING = "Job: "

DoseBy = Literal["animal", "mob", "drafts"]


#: Fields of the animals table that come from a column of another name.
_COLUMN_OF = {"weight_text": "weight", "slaughter_on": "leaves_on"}


@dataclass(frozen=True, slots=True)
class Strength:
    """Active per unit of product: `amounts` (one for each active) in `unit`, per `per` (mL, tablet ...)."""

    amounts: tuple[Fraction, ...]
    unit: str
    per: str
    text: str


@dataclass(frozen=True, slots=True)
class DoseRate:
    """Amount per kilogram bodyweight or per head, in `unit` (mg, IU, mL, bolus ...); a range has two ends.

    `also` is the same rate stated a second time (`1 mL/50 kg (0.2 mg/kg)`), which must agree.
    """

    low: tuple[Fraction, ...]
    high: tuple[Fraction, ...]
    unit: str
    per: Literal["kg", "head"]
    text: str
    daily: bool = False
    range_given: bool = False
    also: DoseRate | None = None


@dataclass(frozen=True, slots=True)
class Period:
    """A withdrawal period as stated: days, hours, milkings, or several of them (then the later end)."""

    days: Fraction | None = None
    hours: Fraction | None = None
    milkings: Fraction | None = None
    text: str = ""
    permitted: bool = True


NOT_PERMITTED = Period(text="not permitted", permitted=False)


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment with its zone; `timed` is False where only the day is known."""

    at: datetime
    timed: bool


State = Literal["from", "not_stated", "not_permitted", "not_applicable"]
#: States from the weakest to the strongest: together, the strongest holds.
STATES: tuple[State, ...] = ("not_applicable", "from", "not_stated", "not_permitted")


@dataclass(frozen=True, slots=True)
class Clear:
    """First moment at which a product may be used again, or why there is none; `why` is for people."""

    at: datetime | None
    state: State
    why: str = ""


@dataclass(frozen=True, slots=True)
class Band:
    """A weight band of the label [kg] with its dose in units of product."""

    from_kg: Fraction
    to_kg: Fraction | None
    dose: Fraction
    unit: str
    where: CellRef | None = None


@dataclass(frozen=True, slots=True)
class Pack:
    """One line of stock: packs of one size and batch. `left` is what an opened pack still holds.

    `punctures` counts how often the stopper of the opened pack was entered, as far as the record knows.
    """

    medicine: str
    size: Fraction
    unit: str
    packs: int
    batch_no: str
    expiry: date | None
    opened_on: date | None
    use_within_hours: Fraction | None
    left: Fraction | None
    price: Fraction | None
    where: CellRef
    punctures: int = 0


@dataclass(frozen=True, slots=True)
class GunReading:
    """A gun that was measured: set to `set_to`, it gave `gave` in all of so many shots [units of product]."""

    set_to: Fraction
    gave: Fraction
    shots: int


@dataclass(frozen=True, slots=True)
class GunEntry:
    """One entry on a gun's check as the sheet `Session` has it: its name, what of it is understood, its value."""

    name: str
    field: str
    medicine: str
    unit: str
    cell: Any
    where: CellRef


@dataclass(frozen=True, slots=True)
class Practice:
    """How a medicine is drawn and given here; nothing of it is on a label. Amounts in units of product.

    `priming` is lost at each fill, `dead_space` at each change of needle; `loss` and `device_tolerance` are shares.
    """

    priming: Fraction | None = None
    dead_space: Fraction | None = None
    animals_per_needle: int | None = None
    most_punctures: int | None = None
    loss: Fraction | None = None
    mixing: bool = True
    device_tolerance: Fraction | None = None
    gun: GunReading | None = None


@dataclass(frozen=True, slots=True)
class Medicine:
    """One row of the medicines sheet: one product for one kind of animal by one route."""

    row: int
    name: str
    where: CellRef
    cells: Mapping[str, CellRef]
    strength: Strength | None
    rate: DoseRate | None
    lowest: DoseRate | None
    highest: DoseRate | None
    bands: tuple[Band, ...]
    active: str
    species: frozenset[str]
    kinds: frozenset[str]
    min_weight_kg: Fraction | None
    max_weight_kg: Fraction | None
    min_age_days: Fraction | None
    not_for: frozenset[str]
    route: str
    site: str
    needle: str
    max_per_site: Fraction | None
    graduation: Fraction
    graduation_given: bool
    largest_device: Fraction | None
    device_size: Fraction | None
    device: str
    dose_by: DoseBy
    rounding: Literal["up", "nearest"]
    narrow_margin: bool
    doses: int
    every_hours: Fraction | None
    withdrawal: Mapping[str, Period | None]
    off_label: bool
    longest_label: Mapping[str, Period | None]
    for_food_animals: bool | None
    not_before_birth_days: Fraction | None
    milk_after_birth: Period | None
    shortest_dry_days: Fraction | None
    type: str
    prescriber: str
    prescription_no: str
    supplier: str
    label_source: str
    caution: str
    form: str
    automatic_injector: bool | None
    expiry: date | None
    viscous: bool = False
    stains: bool = False
    least_dose: Fraction | None = None
    largest_dose: Fraction | None = None
    max_age_days: Fraction | None = None
    practice: Practice = Practice()
    repeat_after_hours: Fraction | None = None

    @property
    def unit(self) -> str:
        """Unit of product in which the dose is given: mL, tablet, bolus ..."""
        return product_unit(self.strength, self.rate, self.bands)

    @property
    def needs_weight(self) -> bool:
        """Whether the dose depends on the animal's weight."""
        return bool(self.bands) or self.rate is None or self.rate.per == "kg"


def product_unit(strength: Strength | None, rate: DoseRate | None, bands: tuple[Band, ...]) -> str:
    """Unit of product that label figures are for: that of the bands, of a rate in product, of the strength.

    A rate of active (mg, IU) is never itself an amount of product.
    """
    if bands:
        return bands[0].unit
    if rate is not None and rate.unit not in ("mg", "IU"):
        return rate.unit
    return strength.per if strength else "mL"


@dataclass(frozen=True, slots=True)
class TreatmentLine:
    """What is to be given: one line of `Treatments`, or one that follows from the sheets.

    `row` is the one row of the animals table it is for. A line that could not be read whole carries its
    `problem`: those it is for are held.
    """

    medicine: str
    mob: str = ""
    tag: str = ""
    on: Moment | None = None
    chosen_rate: DoseRate | None = None
    reason: str = ""
    where: CellRef | None = None
    row: int | None = None
    problem: Finding | None = None


@dataclass(frozen=True)
class Course:
    """All doses of one medicine on the same dates for a set of animals (rows of the animals table).

    `number` is its place among the courses of the job.
    """

    medicine: int
    chosen_rate: DoseRate | None
    moments: tuple[Moment, ...]
    animals: tuple[int, ...]
    reason: str = ""
    number: int = 0


@dataclass(frozen=True, slots=True)
class SessionFacts:
    """What the `Session` sheet states; what it leaves out is None or empty, what cannot be read is `unknown`."""

    client: str = ""
    holding: str = ""
    operator: str = ""
    species: str = ""
    weight_unit: str = ""
    weighing_sheet: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    guns: tuple[GunEntry, ...] = ()
    oldest_weight_days: int | None = None
    date_order: str = ""
    date: Moment | None = None
    zone: ZoneInfo | None = None
    milking_times: tuple[time, ...] = ()
    rules: str = ""
    organic: bool = False
    spare: Fraction = Fraction(0)
    max_drafts: int | None = None
    least_head: int = 1
    least_saving: Fraction | None = None
    drafts_for: Literal["product", "overdose"] = "product"
    under_dosed_share: Fraction | None = None
    confidence: Fraction | None = None
    cut_step_kg: Fraction | None = None
    scale_step_kg: Fraction | None = None
    scale_tolerance_kg: Fraction | None = None
    language: str = "en"
    unknown: frozenset[str] = frozenset()

    @property
    def time_zone(self) -> ZoneInfo:
        """The session's zone, UTC where it states none."""
        return self.zone or ZoneInfo("UTC")


@dataclass(frozen=True, slots=True)
class InputFile:
    """One input: its name and the SHA-256 of its bytes."""

    path: Path
    sha256: str

    @property
    def name(self) -> str:
        """File name without folder."""
        return self.path.name


@dataclass(frozen=True)
class WeighingSession:
    """The workbook the user brings. `animals` has the columns of ANIMAL_COLUMNS, indexed by sheet row.

    `rows` are the cells of the weighing sheet and `data` the bytes of the workbook, for the copy. `weights_beside`
    has the column of each row whose weight stands in the second column of weights.
    """

    source: InputFile
    sheet: str
    header_row: int
    columns: Mapping[str, int]
    animals: pd.DataFrame
    facts: SessionFacts
    lines: tuple[TreatmentLine, ...]
    rows: list[list[Any]] = field(repr=False)
    data: bytes = field(repr=False)
    weights_beside: Mapping[int, int] = field(default_factory=dict, repr=False)

    @cached_property
    def weight_unit(self) -> str:
        """The unit that the session states, else the one that most of its weights were read in: kg or lb."""
        if self.facts.weight_unit in ("kg", "lb"):
            return self.facts.weight_unit
        texts = self.animals["weight_text"].astype(str)
        return "lb" if texts.str.endswith("lb").sum() > texts.str.endswith("kg").sum() else "kg"

    def cell(self, row: int, name: str) -> CellRef:
        """Cell of a field in a row of the animals table (the row's first cell where it has no column)."""
        own = self.animals.at[row, "cell"]
        name = _COLUMN_OF.get(name, name) if name not in self.columns else name
        if not str(own).startswith(f"{self.sheet}!") or name not in self.columns:
            sheet, _, cell = str(own).rpartition("!")
            return CellRef(self.source.name, sheet, cell)
        at = self.weights_beside.get(row, self.columns[name]) if name == "weight" else self.columns[name]
        return CellRef(self.source.name, self.sheet, f"{column_letter(at)}{row}")


@dataclass(frozen=True, slots=True)
class Draft:
    """Animals of one mob that share one setting. `gun_to` is where a gun that was measured must be set to give it."""

    label: str
    from_kg: float
    to_kg: float
    setting: Fraction
    head: int
    gun_to: Fraction | None = None


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One point of "drafts against product": with so many drafts, the product of one round, and how many head over."""

    drafts: int
    product: Fraction
    over: int


@dataclass(frozen=True, slots=True)
class Assurance:
    """What animals of one draft may really get per kg: at worst, and likely (about 95 %), in `unit` per kg.

    `draft` is empty where each animal has its own dose; `parts` says what was counted.
    """

    medicine: int
    mob: str
    draft: str
    low: float
    high: float
    likely_low: float
    likely_high: float
    unit: str
    parts: str


@dataclass(frozen=True, slots=True)
class MobPlan:
    """One medicine for one mob: its settings, the total for the course, and what one draft more would save."""

    mob: str
    medicine: int
    head: int
    drafts: tuple[Draft, ...]
    total: Fraction
    unit: str
    remarks: tuple[str, ...] = ()
    curve: tuple[CurvePoint, ...] = ()


@dataclass(frozen=True, slots=True)
class PackUse:
    """Packs of one size and batch to take along, or `to_buy`."""

    size: Fraction
    packs: int
    batch_no: str
    expiry: date | None = None
    to_buy: bool = False


@dataclass(frozen=True, slots=True)
class LeftOver:
    """An opened pack afterwards: what it holds, and its last day; None where its in-use life is not stated."""

    size: Fraction
    batch_no: str
    left: Fraction
    opened_on: date | None
    use_by: date | None
    punctures: int
    bought: bool


@dataclass(frozen=True, slots=True)
class ProductPlan:
    """Product of one name over the whole job: doses, amount to draw, packs, what is missing.

    `short` means nothing where `stock_known` is False: no stock is listed, so nothing is known of it. `rows` are the
    places of its rows in the list of medicines, `left_over` the opened packs after the job.
    """

    medicine: str
    doses: int
    to_draw: Fraction
    unit: str
    packs: tuple[PackUse, ...]
    short: Fraction
    remarks: tuple[str, ...] = ()
    stock_known: bool = True
    cost: Fraction | None = None
    rows: tuple[int, ...] = ()
    animals: int = 0
    kilograms: float = 0.0
    left_over: tuple[LeftOver, ...] = ()

    @property
    def cost_per_animal(self) -> float | None:
        """Cost for each animal over the whole course, None where a price is missing."""
        return float(self.cost / self.animals) if self.cost is not None and self.animals else None

    @property
    def cost_per_kg(self) -> float | None:
        """Cost for each kilogram bodyweight treated, None where a price or a weight is missing."""
        return float(self.cost) / self.kilograms if self.cost is not None and self.kilograms else None


@dataclass(frozen=True, slots=True)
class EarlierCourse:
    """One course of a medicine that an animal (a row of the animals table) was given before, by its treatment record.

    `given` are the moments of its doses that are known, in order; `doses` is how many were planned. `clears` has the
    clear-from of each product after this course alone; `number` is the row of the record with its last dose.
    """

    row: int
    medicine: str
    actives: frozenset[str]
    given: tuple[Moment, ...]
    doses: int
    every_hours: Fraction | None
    clears: Mapping[str, Clear]
    number: int


@dataclass(frozen=True, slots=True)
class EarlierTreatments:
    """What the client's treatment record says of the animals of a session (rows of the animals table).

    `clears` has by product what still runs, `known` are animals with rows there, `needles` those in which a needle
    broke and was not released. `two_animals` are those whose tag stands for two animals of the record, `other_eid`
    those whose tag stands there beside another EID. `altered` says that the record is not as it was written.
    """

    source: InputFile
    clears: Mapping[str, Mapping[int, Clear]] = field(default_factory=dict)
    courses: tuple[EarlierCourse, ...] = ()
    known: frozenset[int] = frozenset()
    needles: frozenset[int] = frozenset()
    two_animals: frozenset[int] = frozenset()
    other_eid: frozenset[int] = frozenset()
    altered: bool = False


@dataclass(frozen=True, slots=True)
class Settings:
    """What the command line adds to the sheets; `language` is that of the job sheet, before that of the session."""

    on: str | None = None
    give: tuple[str, ...] = ()
    species: str = ""
    record: Path | None = None
    language: str = ""


@dataclass(frozen=True)
class Result:
    """One job: what was read, what is planned, what was found. Nothing is written yet.

    `stock` is what there is, also by the treatment record, `stock_listed` the lines of the sheets alone; `before` is
    what the record says, None without one.
    """

    session: WeighingSession
    inputs: tuple[InputFile, ...]
    medicines: tuple[Medicine, ...]
    planned: Moment
    treatments: pd.DataFrame
    mobs: tuple[MobPlan, ...]
    product: tuple[ProductPlan, ...]
    findings: tuple[Finding, ...]
    assurance: tuple[Assurance, ...] = ()
    products_clear: tuple[str, ...] = field(default=("meat", "milk"))
    stock: tuple[Pack, ...] = ()
    before: EarlierTreatments | None = None
    stock_listed: tuple[Pack, ...] = ()

    @property
    def held(self) -> int:
        """Number of planned treatments that are held."""
        return int(self.treatments["held"].sum())

    @property
    def exit_status(self) -> int:
        """0 with at most warnings, 1 with an error or something held."""
        return int(self.held > 0 or any(f.level == Level.ERROR for f in self.findings))
