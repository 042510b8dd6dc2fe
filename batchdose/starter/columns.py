"""What the starter workbooks offer: each column with its example, its note, its choices and its width.

Headings are those that the program reads, in every language; notes and prompts are told in the language asked for. An
example says that it is one ("e.g. 41.5"), so that a row left standing is never taken for an animal or a label.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from batchdose.texts import mark

#: Lists of choices for the drop-downs, by name. Words that the program knows, in one spelling each.
LISTS: dict[str, tuple[str, ...]] = {
    "species": ("sheep", "goat", "cattle", "pig", "horse", "donkey", "deer", "alpaca", "llama"),
    "sex": ("female", "male"),
    "status": ("in milk", "dry", "pregnant", "in milk; pregnant", "dry; pregnant", "not pregnant"),
    "route": ("SC", "IM", "IV", "oral", "pour-on", "intramammary", "intranasal"),
    "type": ("wormer", "antibiotic", "anti-inflammatory", "vaccine", "hormone", "trace element", "sedative"),
    "dose_by": ("animal", "mob", "drafts"),
    "rounding": ("up", "nearest"),
    "yes_no": ("yes", "no"),
    "rules": ("EU", "GB", "US", "AU", "NZ", "none"),
    "weight_unit": ("kg", "lb"),
    "language": ("en", "es", "fr"),
}

#: How a cell is written: text (a tag keeps its zeros), a date, or as it comes.
Kind = Literal["text", "date", "any"]


@dataclass(frozen=True)
class Column:
    """One column: heading, an example (empty where none helps), the note, a list of `LISTS`, width in characters."""

    heading: str
    example: str
    note: str
    choices: str = ""
    width: int = 14
    needed: bool = False
    kind: Kind = "any"


WEIGHTS = (
    Column(
        "Tag", "0412", mark("The number on the ear tag, as it is printed there."), width=14, needed=True, kind="text"
    ),
    Column(
        "EID", "372000000000412", mark("The electronic number, 15 digits, where it was read."), width=19, kind="text"
    ),
    Column(
        "Weight (kg)", "41.5", mark("The weight of this animal. Put (lb) into the heading for pounds."), needed=True
    ),
    Column("Mob", "Hill", mark("Animals that are handled together: a group, pen or herd."), width=16),
    Column("Species", "sheep", mark("Leave it empty where the sheet Session says it for all."), "species"),
    Column("Class", "hogget", mark("As the label names them: lamb, ewe, heifer, calf ..."), width=12),
    Column("Sex", "female", mark("Matters where a label excludes males or females."), "sex", 10),
    Column("Status", "dry", mark("In milk, dry, pregnant: an empty cell is not taken for no."), "status", 18),
    Column("Born", "2025-04-01", mark("Where the label has a lowest age."), width=13, kind="date"),
    Column("Slaughter on", "2026-09-01", mark("The day of slaughter, where it is known."), width=14, kind="date"),
    Column("Sold on", "2026-07-01", mark("The day it is sold alive, where it is known."), width=13, kind="date"),
    Column("First milk sold", "2026-06-20", mark("The day of the first milk for sale."), width=15, kind="date"),
    Column("Weighed on", "2026-06-01", mark("An old weight is told as such."), width=13, kind="date"),
    Column("Last weight", "38.5", mark("The weight before: a slip of the pen shows beside it."), width=12),
    Column(
        "Give anyway", "seen by the vet", mark("A reason, where a hold that asks for one is to be lifted."), width=20
    ),
    Column("Note", "", mark("For people only; it is carried along."), width=24, kind="text"),
)

TREATMENTS = (
    Column("Medicine", "wormer A", mark("As it is named on the sheet Medicines."), width=36, needed=True),
    Column("Mob", "Hill", mark("Leave mob and tag empty where all get it."), width=16),
    Column("Tag", "0412", mark("For one animal, or several with a semicolon between."), width=16, kind="text"),
    Column("On", "2026-06-01", mark("Another day than that of the session."), width=13, kind="date"),
    Column("Reason", "worms, by count", mark("What it is given for: records ask for it."), width=28),
    Column(
        "Chosen rate", "12 mg/kg", mark("Where the label gives a range: the rate that the prescriber chose."), width=14
    ),
)

MOBS = (
    Column("Mob", "Far field", mark("A mob that is not weighed one by one."), width=16, needed=True),
    Column("Head", "60", mark("How many animals it has."), width=8, needed=True),
    Column("Heaviest", "52", mark("The weight of its heaviest animal; the whole mob is dosed by it."), width=12),
    Column("Species", "sheep", mark("Leave it empty where the sheet Session says it for all."), "species"),
    Column("Class", "ewe", mark("As the label names them: lamb, ewe, heifer, calf ..."), width=12),
    Column("Status", "dry", mark("In milk, dry, pregnant: an empty cell is not taken for no."), "status", 18),
)

MEDICINES = (
    Column(
        "Medicine",
        "wormer A",
        mark("Active substance, strength and form, so that no two are mixed up."),
        width=40,
        needed=True,
        kind="text",
    ),
    Column("Active substance", "ivermectin", mark("As on the label; the same one twice is found by it."), width=22),
    Column("Type", "wormer", mark("Sets how a dose is rounded, and the cautions."), "type", 16),
    Column(
        "Species",
        "sheep; goats",
        mark("Label, target species. Another species at another rate is another row."),
        width=16,
        needed=True,
    ),
    Column("Not for", "milk, pregnant", mark("Whom the label excludes."), width=16),
    Column("Route", "SC", mark("Label, how it is given."), "route", needed=True),
    Column("Site", "neck", mark("Label, where it is injected."), width=18),
    Column("Max per site", "10 mL", mark("Label, the most in one place."), width=12),
    Column("Needle", "18 G x 1 in", mark("What the label or the vet says; else one is proposed."), width=14),
    Column(
        "Strength",
        "10 mg/mL",
        mark("Label, amount in each mL, tablet or gram: 10 mg/mL, 1 %, 600 mg/tablet."),
        width=16,
    ),
    Column(
        "Dose rate",
        "0.2 mg/kg",
        mark("Label: 0.2 mg/kg, 1 mL/50 kg, 2 mL/head, or a range 10-20 mg/kg."),
        width=16,
        needed=True,
    ),
    Column("Lowest rate", "0.18 mg/kg", mark("Label or vet, where it is stated."), width=13),
    Column("Highest rate", "0.24 mg/kg", mark("Label or vet, where it is stated; it is never passed."), width=13),
    Column(
        "Dose by",
        "animal",
        mark("Each by its own weight, a whole mob by its heaviest, or in weight groups."),
        "dose_by",
    ),
    Column("Graduation", "0.1 mL", mark("The step between two marks of your syringe or gun."), width=12, needed=True),
    Column("Device size", "20 mL", mark("What the syringe or gun holds."), width=12),
    Column("Rounding", "up", mark("Up to the next mark, or to the nearest one."), "rounding", 11),
    Column("Doses", "1", mark("How many doses make the course."), width=8),
    Column("Every", "24 h", mark("The time between two doses."), width=9),
    Column(
        "Meat withdrawal",
        "28 days",
        mark("Label or vet: 28 days, 0 days, not permitted. Empty means not stated, and nothing is ever called clear."),
        width=17,
        needed=True,
    ),
    Column(
        "Milk withdrawal",
        "72 h",
        mark("Label or vet: 72 h, 6 milkings, not permitted. Empty means not stated."),
        width=17,
    ),
    Column("Off label", "", mark("Yes, where the vet's prescription differs from the label."), "yes_no", 10),
    Column("Prescriber", "", mark("Who prescribed it."), width=20),
    Column("Prescription number", "", mark("Its number, where there is one."), width=20, kind="text"),
    Column("Label source", "data sheet of March 2026", mark("Where you copied this row from, and when."), width=26),
    Column("Narrow margin", "", mark("Yes, where a little too much does harm."), "yes_no", 14),
    Column("Viscous", "", mark("Thick to draw."), "yes_no", 9),
    Column("Stains", "", mark("Leaves marks in meat or wool."), "yes_no", 9),
    Column("Caution", "", mark("What staff must know; it is printed."), width=36),
)

STOCK = (
    Column("Medicine", "wormer A", mark("As it is named on the sheet Medicines."), width=40, needed=True),
    Column("Pack size", "500 mL", mark("What one pack holds."), width=12, needed=True),
    Column("Packs", "2", mark("How many there are."), width=8),
    Column("Batch number", "AB1234", mark("As printed on the bottle."), width=16, kind="text"),
    Column("Expiry", "2027-03-31", mark("A pack is never planned past it."), width=13, kind="date"),
    Column("Opened on", "", mark("For an opened pack; then also what is left."), width=13, kind="date"),
    Column("Use within", "28 days", mark("How long it may be used once opened."), width=12),
    Column("Left", "", mark("What an opened pack still holds."), width=10),
    Column("Price", "", mark("Of one pack, for the cost of the job."), width=10),
)

#: The sheet Session: name, example, note, list. A value is a cell of its own, to be filled in.
SESSION = (
    Column("Client", "", mark("Whose animals they are; printed on the job sheet.")),
    Column("Holding number", "", mark("The number of the holding, for the record."), kind="text"),
    Column("Date", "", mark("The day of treatment."), kind="date"),
    Column("Time zone", "", mark("Your own, for example Europe/Dublin."), needed=True),
    Column("Operator", "", mark("Who gives the medicines.")),
    Column("Species", "", mark("Of all animals whose row does not say it."), "species"),
    Column("Rules", "", mark("Whose rules are in force: they set the legal minimum off label."), "rules"),
    Column("Organic", "", mark("Yes or no: longer periods may hold."), "yes_no"),
    Column("Scale step", "", mark("The step of your scale, for example 0.5 kg.")),
    Column("Milking times", "", mark("For example 06:00, 17:30.")),
    Column("Spare", "", mark("Product to take along on top, for example 5 %.")),
    Column("Largest number of drafts", "", mark("Into how many weight groups a mob may be split.")),
    Column("Language", "", mark("Of the job sheet: en, es or fr."), "language"),
)

#: The sheet `Read me first`, line by line.
FIRST = (
    mark("Read me first"),
    mark(
        "1. Copy each label into a row of the sheet Medicines of medicines.xlsx, word for word. The note on each "
        "heading says what goes there."
    ),
    mark("2. Put the animals and their weights on the sheet Weights of weighing.xlsx; day and place go on Session."),
    mark("3. Replace the example row, or clear it. A cell with a thick frame is still missing."),
    mark("4. Check both: batchdose check weighing.xlsx medicines.xlsx"),
    mark("5. Make the job sheet: batchdose dose weighing.xlsx medicines.xlsx"),
    mark(
        "The label and the prescribing vet come first. Nothing here is a dose to be used: the examples only show how "
        "one is written."
    ),
    mark("An empty withdrawal period is not zero. Nothing is called clear until the label or the vet gives a period."),
    mark("You may add columns of your own, move columns, and delete those that you do not need."),
)
#: How an example is begun.
EXAMPLE = mark("e.g. {value}")
