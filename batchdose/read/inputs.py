"""Both workbooks to everything that the later steps need, and all findings of the reading."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import pandas as pd

from batchdose.findings import CellRef, Finding, Hold, Level, UnusableInputError
from batchdose.model import Band, Medicine, Moment, Pack, SessionFacts, Settings, TreatmentLine, WeighingSession
from batchdose.read import label_problems
from batchdose.read.animals import find_weighing_table, read_animals
from batchdose.read.book import Book, open_book
from batchdose.read.guns import with_guns
from batchdose.read.medicines import find_medicines_table, read_medicines
from batchdose.read.mobs import read_mobs
from batchdose.read.session import planned_moment, read_session_sheet
from batchdose.read.sheets import sheets_not_read
from batchdose.read.supply import read_bands, read_lines, read_stock, words_kept
from batchdose.texts import LANGUAGES, language_named, say
from batchdose.words import first_of_each, same_name, species_of_animals


@dataclass(frozen=True)
class Inputs:
    """What was read from the workbooks, in order, with every finding of the reading."""

    books: tuple[Book, ...]
    session: WeighingSession
    medicines: tuple[Medicine, ...]
    stock: tuple[Pack, ...]
    planned: Moment
    findings: tuple[Finding, ...]


def read_inputs(weighing: Path, medicines: Path | None, settings: Settings) -> Inputs:
    """Read the weighing workbook and the medicines workbook (or the one that holds both).

    Raises UnusableInputError with one clear sentence where the job cannot be done at all.
    """
    # realpath also gives an answer for a link that leads to itself.
    two = medicines is not None and os.path.realpath(medicines) != os.path.realpath(weighing)
    paths = [weighing, medicines] if medicines is not None and two else [weighing]
    books = tuple(open_book(path) for path in paths)
    facts, findings = read_session_sheet(books)
    facts = _in_language(facts, settings.language)
    findings = [_placed(finding, books[0]) for finding in findings]
    findings += sheets_not_read(books, given=bool(settings.give))
    table = find_weighing_table(books[0], facts)
    animals, beside, found = read_animals(table, facts)
    findings += found
    animals = _add_mobs(animals, books, facts, findings)
    if animals.empty:
        raise UnusableInputError(table.header, "There is no animal below the headings.", "Enter the animals.")
    bands, band_findings = read_bands(books)
    drugs, found = read_medicines(find_medicines_table(books[-1]), bands, facts.date_order)
    findings += _unused_bands(bands, drugs)
    findings += found + [_holding(finding, name, drugs) for name, finding in band_findings]
    if not drugs:
        raise UnusableInputError(books[-1].source.name, "The list of medicines is empty.", "Enter the medicines.")
    stock, stock_findings = read_stock(books, drugs, facts.date_order)
    lines = _treatment_lines(books, animals, drugs, settings, facts, findings)
    used = {same_name(line.medicine) for line in lines}
    drugs, found = with_guns(drugs, facts.guns, used)
    findings += found
    findings += [f if name in used or not name else replace(f, level=Level.WARNING) for name, f in stock_findings]
    animals = animals.assign(species=_species(animals, facts, settings, drugs, lines, findings, books[0].source.name))
    session = WeighingSession(
        books[0].source, table.sheet.name, table.header_row, table.columns, animals, facts, tuple(lines),
        table.sheet.rows, books[0].data, beside,
    )  # fmt: skip
    planned = planned_moment(facts, settings.on)
    return Inputs(books, session, tuple(drugs), tuple(stock), planned, tuple(findings))


def _in_language(facts: SessionFacts, asked: str) -> SessionFacts:
    """Facts with the language that the run asks for. Raises UnusableInputError where it is none of ours."""
    language = language_named(asked)
    if asked and not language:
        raise UnusableInputError(
            "--lang", f'"{asked}" is no language of the job sheet.', f"Use {', '.join(LANGUAGES)}."
        )
    return replace(facts, language=language) if language else facts


def _unused_bands(bands: dict[str, tuple[Band, ...]], medicines: list[Medicine]) -> Iterator[Finding]:
    """Findings for dose bands whose medicine is on no row; one that is nearly named so is held."""
    known = {same_name(medicine.name) for medicine in medicines}
    for name, of_name in bands.items():
        where = of_name[0].where
        if name not in known and where is not None:
            near = get_close_matches(name, known, n=1, cutoff=0.8)
            finding = label_problems.name_on_no_row(where, where.sheet, name, near[0] if near else "")
            which = tuple(i for i, m in enumerate(medicines) if near and same_name(m.name) == near[0])
            hold = Hold(say("its dose bands are named otherwise"), medicines=which) if which else None
            yield replace(finding, level=Level.ERROR, hold=hold) if hold else finding


def _placed(finding: Finding, book: Book) -> Finding:
    if finding.where.workbook:
        return finding
    return replace(finding, where=CellRef(book.source.name, finding.where.sheet, finding.where.cell))


def _holding(finding: Finding, name: str, medicines: list[Medicine]) -> Finding:
    """A finding of a dose band, holding the medicines of that name."""
    which = tuple(i for i, medicine in enumerate(medicines) if same_name(medicine.name) == name)
    return replace(finding, hold=Hold(say("a dose band cannot be read"), medicines=which)) if which else finding


def _add_mobs(
    animals: pd.DataFrame, books: Iterable[Book], facts: SessionFacts, findings: list[Finding]
) -> pd.DataFrame:
    """Animals with the mobs given as a whole, and with what the `Mobs` sheet says of their own mob."""
    for book in books:
        counts = _counted(animals) if book.sheet_named("Mobs") else {}
        mobs, found, facts_of = read_mobs(book, facts, counts)
        findings += found
        if not facts_of:
            continue
        for name in ("species", "kind", "status"):
            of_mob = {mob: known[name] for mob, known in facts_of.items()}
            blank = animals[name] == ""
            animals.loc[blank, name] = animals.loc[blank, "mob"].map(same_name).map(of_mob).fillna("")
        return pd.concat([animals, mobs]) if len(mobs) else animals
    return animals


def _counted(animals: pd.DataFrame) -> dict[str, int]:
    """Animals of each mob on the weighing sheet; a row that repeats another of its mob is no further head."""
    found: dict[str, int] = {}
    for mob, group in animals.groupby("mob", sort=False):
        name = same_name(str(mob))
        found[name] = found.get(name, 0) + sum(first_of_each(group["tag"], group["eid"]))
    return found


def _treatment_lines(
    books: Iterable[Book], animals: pd.DataFrame, medicines: list[Medicine], settings: Settings,
    facts: SessionFacts, findings: list[Finding],
) -> list[TreatmentLine]:  # fmt: skip
    """What is to be given to whom: `--give`, else `Treatments`, else the medicine column, else the one medicine."""
    names = list(dict.fromkeys(medicine.name for medicine in medicines))
    known = {same_name(name): name for name in names}
    if settings.give:
        return [TreatmentLine(_known_name(name, known, names)) for name in settings.give]
    read = read_lines(books, facts)
    if read is not None:
        lines, found = read
        findings += found
        kept = [line for line in lines if _is_known(line, known, names, findings)]
        if not kept:
            raise UnusableInputError(
                CellRef(next(iter(books)).source.name, "Treatments"), "No treatment on this sheet can be planned.",
                " ".join(f'{f.where}: "{f.seen}": {f.message} {f.fix}' for f in findings[-3:])
                or "Write medicines under its headings.",
            )  # fmt: skip
        findings += _said_twice(animals, kept, books)
        return kept
    if (animals["medicine"] != "").any():
        return _column_lines(animals, known, names, findings)
    if len(names) == 1:
        return [TreatmentLine(names[0])]
    raise UnusableInputError(
        medicines[0].where.workbook, f"There are {len(names)} medicines and nothing says which to give: "
        f"{'; '.join(names)}.", 'Name it with --give "MEDICINE", or add a sheet Treatments.',
    )  # fmt: skip


def _said_twice(animals: pd.DataFrame, lines: list[TreatmentLine], books: Iterable[Book]) -> Iterator[Finding]:
    """A finding for animals whose column Medicine names what the sheet Treatments does not give."""
    given = {same_name(line.medicine) for line in lines}
    said = animals["medicine"].unique()
    strange = [text for text in said if text and {same_name(name) for name in words_kept(text)} - given]
    if strange:
        rows = animals[animals["medicine"].isin(strange)]
        where = CellRef(next(iter(books)).source.name, *str(rows["cell"].iloc[0]).rsplit("!", 1))
        yield label_problems.medicine_said_twice(where, map(int, rows.index), str(strange[0]))


def _known_name(name: str, known: dict[str, str], names: list[str]) -> str:
    if same_name(name) not in known:
        raise UnusableInputError(
            "--give",
            f'"{name}" is not on the medicines sheet, which has: {"; ".join(names)}.',
            "Write it so.",
        )
    return known[same_name(name)]


def _is_known(line: TreatmentLine, known: dict[str, str], names: list[str], findings: list[Finding]) -> bool:
    if same_name(line.medicine) in known:
        return True
    findings.append(label_problems.medicine_unknown(line.where or CellRef(""), line.medicine, names))
    return False


def _column_lines(
    animals: pd.DataFrame, known: dict[str, str], names: list[str], findings: list[Finding]
) -> list[TreatmentLine]:
    """Lines from the column Medicine of the weighing sheet: one for each animal and medicine named there."""
    lines: list[TreatmentLine] = []
    for text, group in animals[animals["medicine"] != ""].groupby("medicine", sort=False):
        for name in words_kept(str(text)) if same_name(str(text)) not in known else [str(text)]:
            where = CellRef("", *str(group["cell"].iloc[0]).rsplit("!", 1))
            if _is_known(TreatmentLine(name, where=where), known, names, findings):
                lines.extend(TreatmentLine(known[same_name(name)], row=int(row)) for row in group.index)
    return lines


def _species(
    animals: pd.DataFrame, facts: SessionFacts, settings: Settings, medicines: list[Medicine],
    lines: list[TreatmentLine], findings: list[Finding], workbook: str,
) -> pd.Series[Any]:  # fmt: skip
    """Species of each animal: its own, its mob's, the session's, `--species`, else that of the medicines."""
    species = animals["species"].astype(object)
    stated = "; ".join(sorted(species_of_animals(facts.species or settings.species)))
    if stated or not (species == "").any():
        return species.where(species != "", stated)
    used = {same_name(line.medicine) for line in lines}
    of_rows = [medicine.species for medicine in medicines if same_name(medicine.name) in used]
    shared = frozenset.union(*of_rows) if of_rows else frozenset()
    if len(shared) != 1:
        raise UnusableInputError(
            workbook, "Nothing says of which species the animals are.",
            'Add "Species" to the sheet Session, or use --species.',
        )  # fmt: skip
    name = next(iter(shared))
    findings.append(label_problems.species_from_medicines(CellRef("", animals["cell"].iloc[0].split("!")[0]), name))
    return species.where(species != "", name)
