"""Bottles left over from earlier jobs as the stock of the next, counted once; and what is left, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from batchdose.amounts import amount_text, date_text, unit_word
from batchdose.findings import Finding
from batchdose.model import Medicine, Pack
from batchdose.record import problems
from batchdose.record.stock import LeftInStock, Product, by_batch, last_day, same_lines
from batchdose.texts import both, joined, say, say_many
from batchdose.words import same_name


def with_leftovers(
    stock: Sequence[Pack], left: Mapping[Product, LeftInStock], medicines: Sequence[Medicine]
) -> tuple[list[Pack], list[Finding]]:
    """The stock of the sheets with what the record leaves, and notes on which of the two was counted."""
    packs = list(stock)
    findings: list[Finding] = []
    for name, unit in dict.fromkeys((same_name(medicine.name), medicine.unit) for medicine in medicines):
        of_product = left.get((name, unit_word(unit)))
        if of_product is None:
            continue
        mine = [pack for pack in packs if pack.medicine == name and pack.unit == unit]
        packs = [pack for pack in packs if pack not in mine]
        counted, found = _joined(by_batch(mine), of_product)
        packs, findings = packs + counted, findings + found
    return packs, findings


def _joined(sheet: Mapping[str, tuple[Pack, ...]], left: LeftInStock) -> tuple[list[Pack], list[Finding]]:
    """Stock of one product: batch by batch the record's, or the sheet's where its lines were changed since."""
    packs: list[Pack] = []
    findings: list[Finding] = []
    for batch in dict.fromkeys((*sheet, *left.packs)):
        lines, kept = sheet.get(batch, ()), left.packs.get(batch, ())
        if batch not in left.where:
            packs += lines
        elif lines and not same_lines(lines, left.lines[batch]):
            packs += lines
            findings.append(problems.stock_sheet_holds(lines[0].where, left.name, packs_text(batch, kept, left.unit)))
        elif lines or kept:
            where = lines[0].where if lines else left.where[batch]
            # A line without packs keeps the size in mind, for what is to be bought.
            packs += [replace(pack, where=where) for pack in kept or (replace(lines[0], packs=0, left=None),)]
            findings.append(problems.left_from_record(where, left.name, packs_text(batch, kept, left.unit)))
    return packs, findings


def packs_text(batch: str, packs: Sequence[Pack], unit: str) -> str:
    """What is left of one batch, in words."""
    name = packs[0].batch_no if packs else batch
    of = say("batch {number}", number=name) if name else say("without batch number")
    nothing = say("nothing ({unit})", unit=unit) if unit else say("nothing")
    return say("{name}: {text}", name=of, text=both(map(_pack_text, packs)) if packs else nothing)


def _pack_text(pack: Pack) -> str:
    size = amount_text(pack.size, pack.unit)
    if pack.opened_on is None:
        return say("{n} full of {size}", n=pack.packs, size=size)
    until = last_day(pack)
    parts = [
        say("opened {day}", day=date_text(pack.opened_on)),
        say("use by {day}", day=date_text(until)) if until else say("in-use life not stated"),
    ]
    if pack.punctures:
        parts.append(say_many("stopper entered once", "stopper entered about {n} times", pack.punctures,
                              n=pack.punctures))  # fmt: skip
    left = amount_text(pack.left or pack.size, pack.unit)
    return say("about {left} in one of {size} ({parts})", left=left, size=size, parts=joined(", ", parts))


def left_lines(left: Mapping[Product, LeftInStock]) -> Iterator[str]:
    """What is left of each product, in words, with what is only estimated."""
    for product in left.values():
        if not product.lines:
            yield f"Left of {product.name}: not known, since no sheet Stock lists it."
            continue
        texts = [packs_text(batch, packs, "") for batch, packs in product.packs.items()]
        yield " ".join((f"Left of {product.name}, estimated: {'; '.join(texts)}.", *_doubts(product)))


def left_rows(left: Mapping[Product, LeftInStock]) -> Iterator[list[object]]:
    """What is left of each product, a row for each kind of pack, for the sheet in the record."""
    for product in left.values():
        doubts = " ".join(_doubts(product)) if product.lines else "Not known: no sheet Stock lists it."
        packs = [pack for of_batch in product.packs.values() for pack in of_batch]
        for pack in packs:
            until = last_day(pack) if pack.opened_on else None
            yield [
                product.name, pack.batch_no, float(pack.size), pack.packs,
                None if pack.left is None else float(pack.left), product.unit,
                pack.opened_on.isoformat() if pack.opened_on else "", until.isoformat() if until else "",
                pack.punctures or None, doubts,
            ]  # fmt: skip
        if not packs:
            yield [product.name, "", None, 0 if product.lines else None, None, product.unit, "", "", None, doubts]


def _doubts(left: LeftInStock) -> Iterator[str]:
    """What the estimate rests on."""
    if left.lost:
        yield f"Counted as lost in drawing, as planned: {amount_text(left.lost, left.unit)}."
    else:
        yield "What was lost in drawing is not counted: the sheets do not state it."
    if left.unnamed:
        yield f"{amount_text(left.unnamed, left.unit)} name no bottle; taken from those of the earliest expiry."
    if left.not_in_stock:
        yield f"{amount_text(left.not_in_stock, left.unit)} more were given than the stock held."
    if left.strange:
        yield f"Not on any sheet Stock: {', '.join(left.strange)}."
