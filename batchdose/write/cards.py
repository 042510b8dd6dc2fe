"""The card of each medicine on the job sheet: route, place, needle, rate, device, settings, a dose to check by hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

import pandas as pd

from batchdose.amounts import amount_text, date_text, number_text, unit_word
from batchdose.calculate.gun_check import USUAL_TOLERANCE, check_text, gun_check
from batchdose.calculate.gun_use import gun_at
from batchdose.calculate.needle_use import ends_of, single_needle
from batchdose.calculate.needles import needle_text, proposal_text, propose
from batchdose.calculate.working import label_text
from batchdose.model import Draft, Medicine, MobPlan, Result
from batchdose.texts import joined, say, tell
from batchdose.words import words
from batchdose.write.cautions import by_needle
from batchdose.write.sheet import Card
from batchdose.write.sites import place_to_inject
from batchdose.write.tools import needles, syringe
from batchdose.write.weights import span_text
from batchdose.write.words import PLACES_TO_AVOID, all_animals, route_words, routes

#: Amounts pointed at on one syringe; with more than so many, the smallest and the largest.
_MOST_DRAWS = 4


def medicine_card(medicine: Medicine, result: Result) -> Card:
    """The card of one medicine in use."""
    index = result.medicines.index(medicine)
    rows = result.treatments[(result.treatments["medicine"] == index)]
    given = rows[~rows["held"]]
    facts = [
        (say("Give"), route_words(medicine.route)),
        (say("Where"), medicine.site or (_as_label_says() if medicine.route else "")),
        *_needle(medicine, result.session.animals.loc[rows["animal"].unique()]),
        (
            say("At most in one place"),
            amount_text(medicine.max_per_site, medicine.unit) if medicine.max_per_site else "",
        ),
        (say("Rate"), _rate_text(medicine, rows)),
        (say("Strength"), label_text(medicine.strength.text) if medicine.strength else ""),
        (say("Device"), device_text(medicine)),
        (
            say("Dates"),
            joined("; ", dict.fromkeys(date_text(m.at.date()) for row in given["planned_for"] for m in row)),
        ),
        (say("Prescriber"), " ".join(t for t in (medicine.prescriber, medicine.prescription_no) if t)),
        (say("Label"), medicine.label_source),
    ]
    first = tell(given["working"].iloc[0]) if len(given) else ""
    tag = given["tag"].iloc[0] if len(given) else ""
    remarks = _remarks([mob for mob in result.mobs if mob.medicine == index])
    return Card(
        medicine.name, [(name, text) for name, text in facts if text], list(_settings(index, medicine, result)),
        say("{name}: {text}", name=tag, text=first) if first and tag else str(first),
        [*_gun(index, medicine, result), *remarks, *_really_given(index, result)],
        list(_card_cautions(medicine, rows)), _syringe(index, medicine, result, given),
        *_needles_and_place(medicine, result.session.animals.loc[rows["animal"].unique()]),
    )  # fmt: skip


def _remarks(mobs: Sequence[MobPlan]) -> list[str]:
    """What is said of the settings, each once; with the mob's name where several mobs have remarks of their own."""
    several = len({mob.mob for mob in mobs if mob.remarks}) > 1
    told = [(mob.mob or all_animals(), tell(remark)) for mob in mobs for remark in mob.remarks]
    return list(dict.fromkeys(say("{name}: {text}", name=name, text=text) if several else text for name, text in told))


def _syringe(index: int, medicine: Medicine, result: Result, given: pd.DataFrame) -> str:
    """The device with the marks to draw to: the settings of the weight groups, the one dose, or the range of doses."""
    size, parts = medicine.device_size, [part for row in given["per_site"] for part in row]
    if size is None or medicine.unit != "mL" or not parts or max(parts) > size:
        return ""
    mobs = [mob for mob in result.mobs if mob.medicine == index and mob.drafts]
    draws = [
        (f"{mob.mob} {draft.label}" if len(mobs) > 1 else draft.label, draft.setting)
        for mob in mobs for draft in mob.drafts
    ]  # fmt: skip
    if not draws or len(draws) > _MOST_DRAWS or max(amount for _, amount in draws) > size:
        low, high = (Fraction(str(end)) for end in (min(parts), max(parts)))
        draws = [(say("all"), low)] if low == high else [(say("smallest"), low), (say("largest"), high)]
    return syringe(size, medicine.graduation, draws, medicine.unit)


def _needles_and_place(medicine: Medicine, animals: pd.DataFrame) -> tuple[str, str, str]:
    """The needle at true size, and the drawing of the animal with its legend; empty where not known."""
    species = list(animals["species"].value_counts().index)  # the most frequent one is drawn
    place = place_to_inject(species[0], medicine.route, medicine.site)
    drawing = (place.drawing, place.legend) if place else ("", "")
    if not by_needle(medicine):
        return "", *drawing
    if medicine.needle:
        single = single_needle(medicine.needle)
        return (needles([single]) if single else ""), *drawing
    kinds = {word for text in animals["kind"].unique() for word in words(text)}
    found = propose(species[0], kinds, medicine.route) if len(species) == 1 else None
    ends = ends_of(found) if found else []
    return (needles(ends) if ends else ""), *drawing


def _needle(medicine: Medicine, animals: pd.DataFrame) -> Iterator[tuple[str, str]]:
    """The sheet's own needle, else a proposal from the published tables, with its sources."""
    if not by_needle(medicine):
        return
    if medicine.needle:
        yield say("Needle"), needle_text(medicine.needle)
        return
    kinds = {word for text in animals["kind"].unique() for word in words(text)}
    found = [propose(species, kinds, medicine.route) for species in sorted(animals["species"].unique())]
    if len(found) != 1 or found[0] is None:
        yield say("Needle"), _as_label_says()
        return
    yield say("Needle"), _as_label_says()
    text = proposal_text(found[0], viscous=medicine.viscous, stains=medicine.stains)
    sources = joined("; ", [say(source) for source in found[0].sources])
    yield say("Proposal, if it says nothing"), say("{proposal} (from: {sources})", proposal=text, sources=sources)


def _as_label_says() -> str:
    return say("as the label says")


def _rate_text(medicine: Medicine, rows: pd.DataFrame) -> str:
    """The rate used: the prescriber's choice within the label's range, the label's rate, or the bands."""
    label = label_text(medicine.rate.text) if medicine.rate else say("by weight band")
    chosen = [label_text(text) for text in rows["chosen_rate"].unique() if text]
    if not chosen:
        return label
    rates = chosen[0]
    for other in chosen[1:]:
        rates = say("{one} and {other}", one=rates, other=other)
    return say("{rates}, chosen by the prescriber (label: {label})", rates=rates, label=label)


def _card_cautions(medicine: Medicine, rows: pd.DataFrame) -> Iterator[str]:
    """The sheet's own caution first, then what follows from route, device and rounding."""
    if medicine.caution:
        yield medicine.caution
    if medicine.automatic_injector is False:
        yield say("Do not use an automatic injector: the label forbids it.")
    if by_needle(medicine) and not any("into a vein" in said for said in routes(medicine.route) or [medicine.route]):
        yield say(
            "Place: the label and the vet first; else the neck in front of the shoulder, {never}.",
            never=say(PLACES_TO_AVOID),
        )
    if medicine.highest is None and rows["over"].any():
        yield say("Some doses are over the label rate by rounding; the limits (10 %, twice) are ours, not the label's.")


def _gun(index: int, medicine: Medicine, result: Result) -> Iterator[str]:
    """The check of a gun before it is used, at its largest setting."""
    settings = [draft.setting for mob in result.mobs if mob.medicine == index for draft in mob.drafts]
    if settings and medicine.unit == "mL":
        tolerance = medicine.practice.device_tolerance or USUAL_TOLERANCE
        check = check_text(gun_check(max(settings), tolerance=tolerance), medicine.unit)
        yield say("Check the gun first. {check}", check=check)


def _with_gun(setting: Fraction, gun_to: Fraction | None, unit: str) -> str:
    """A setting, with what a gun that was measured must be set to where that is another mark."""
    text = amount_text(setting, unit)
    if gun_to is None:
        return text
    return say("{setting} (set to {amount})", setting=text, amount=amount_text(gun_to, unit))


def _really_given(index: int, result: Result) -> Iterator[str]:
    """What animals may really get, by the errors of scale and device: the widest range of all mobs and drafts."""
    ranges = [found for found in result.assurance if found.medicine == index]
    if ranges:
        low, high = min(r.low for r in ranges), max(r.high for r in ranges)
        likely = min(r.likely_low for r in ranges), max(r.likely_high for r in ranges)
        yield say(
            "With the errors of scale and device an animal may really get {low} to {high} {unit}, "
            "likely {likely_low} to {likely_high} ({counted}).",
            low=number_text(low), high=number_text(high), unit=ranges[0].unit.replace("IU", unit_word("IU")),
            likely_low=number_text(likely[0]), likely_high=number_text(likely[1]), counted=tell(ranges[0].parts),
        )  # fmt: skip


def _settings(index: int, medicine: Medicine, result: Result) -> Iterator[tuple[str, str, str, str, str]]:
    """Settings as mob, weight group, setting, head, and the mob's total on its first line."""
    for mob in (mob for mob in result.mobs if mob.medicine == index):
        name, total = mob.mob or all_animals(), amount_text(mob.total, mob.unit)
        if not mob.drafts:
            how = say("each by its own weight") if medicine.needs_weight else _one_dose(index, result)
            yield name, say("see the list") if medicine.needs_weight else "", how, f"{mob.head}", total
        for number, draft in enumerate(mob.drafts):
            span = say("{name}: {text}", name=draft.label,
                       text=span_text(draft.from_kg, draft.to_kg, result.session.weight_unit))  # fmt: skip
            setting = setting_text(draft, medicine)
            yield ("" if number else name), span, setting, f"{draft.head}", "" if number else total


def setting_text(draft: Draft, medicine: Medicine) -> str:
    """The setting of a weight group, with what a gun that was measured must be set to."""
    return _with_gun(draft.setting, draft.gun_to, medicine.unit)


def _one_dose(index: int, result: Result) -> str:
    """The dose for a head, with what a gun that was measured must be set to."""
    table = result.treatments
    marks = table.loc[(table["medicine"] == index) & ~table["held"], "marks"]
    if marks.empty:
        return ""
    medicine = result.medicines[index]
    dose = int(marks.iloc[0]) * medicine.graduation
    gun = gun_at(dose, medicine)
    return _with_gun(dose, gun.setting if gun else None, medicine.unit)


def device_text(medicine: Medicine) -> str:
    """The device with the step of its marks."""
    step = say("marks of {step}", step=amount_text(medicine.graduation, medicine.unit)) if medicine.unit == "mL" else ""
    return ", ".join(text for text in (label_text(medicine.device), step) if text)
