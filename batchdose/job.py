"""The whole job: read, check, calculate, check again. `plan_job` writes nothing; `write_outputs` does."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from batchdose.before import Before, all_recorded, read_before
from batchdose.calculate.assured import assured
from batchdose.calculate.clearing import clear_animals
from batchdose.calculate.courses import plan_courses
from batchdose.calculate.fills import NO_HANDLING
from batchdose.calculate.part_weighed import with_unweighed
from batchdose.calculate.product import events_of, handling_of, plan_product, working_order
from batchdose.calculate.treatments import PlannedCourse, plan_course
from batchdose.check.context import Context
from batchdose.check.doses import (
    dose_may_be_under,
    dose_over_device,
    dose_over_label,
    mob_spread_wide,
    no_mark_allowed,
    site_limit_not_stated,
    stock_short,
)
from batchdose.check.rules import decided, run_rules
from batchdose.findings import CellRef, Finding, UnusableInputError, cell_position
from batchdose.memory import no_collecting
from batchdose.model import Medicine, MobPlan, Pack, ProductPlan, Result, SessionFacts, Settings
from batchdose.read.book import Book
from batchdose.read.given import filled_cells
from batchdose.read.inputs import Inputs, read_inputs
from batchdose.words import same_name

if TYPE_CHECKING:
    from batchdose.write.pdf import PdfPrinter, Progress
    from batchdose.write.sheet import Order, PaperName


def plan_job(weighing: Path | str, medicines: Path | str | None = None, settings: Settings | None = None) -> Result:
    """Plan a job from a weighing workbook and a medicines workbook (or one that holds both).

    Raises UnusableInputError where a workbook cannot be read, a needed column is missing, or no animal
    or no usable medicine is left; the message names workbook, sheet and cell and says what to do.
    """
    with no_collecting():
        settings = settings or Settings()
        inputs = read_inputs(Path(weighing), Path(medicines) if medicines else None, settings)
        return _planned(inputs, read_before(inputs, settings.record))


def _planned(inputs: Inputs, before: Before) -> Result:
    """The plan of what was read, and of what was given before."""
    stock = inputs.stock if before.stock is None else before.stock
    courses, found = plan_courses(inputs.session, inputs.medicines, inputs.planned)
    context = Context(inputs.session, inputs.medicines, stock, inputs.planned, tuple(courses), before=before.treatments)
    findings = run_rules(context, [*inputs.findings, *before.findings, *found])
    session, of_mobs = with_unweighed(inputs.session, [f.hold for f in findings if f.hold is not None])
    inputs, context = replace(inputs, session=session), replace(context, session=session)
    findings += decided(of_mobs, context)
    holds = [finding.hold for finding in findings if finding.hold is not None]
    _refuse_if_nothing_is_left(context, findings)
    planned = [plan_course(course, inputs.session, inputs.medicines[course.medicine], holds) for course in courses]
    mobs, unit = _merged_mobs(planned), session.weight_unit
    ranges = [a for plan in planned for a in assured(plan, inputs.medicines[plan.course.medicine], session.facts, unit)]
    tables = [plan.table for plan in planned]
    del planned
    treatments = _joined(tables, inputs)
    product, batches = _product(treatments, inputs.medicines, stock, inputs.session.facts)
    none: list[str] = []
    treatments["batch_no"] = [batches.get(row, none) for row in treatments.index]
    context = replace(context, no_clear=tuple(f.no_clear for f in findings if f.no_clear is not None))
    products = clear_animals(treatments, courses, context)
    findings += dose_over_label(context, treatments)
    findings += dose_over_device(context, treatments)
    findings += site_limit_not_stated(context, treatments)
    findings += no_mark_allowed(context, treatments, {hold.why for hold in holds})
    findings += stock_short(inputs.medicines, product, stock)
    findings += dose_may_be_under(context, ranges)
    findings += mob_spread_wide(context, mobs)
    books = (*inputs.books, *before.books)
    return Result(
        inputs.session, tuple(book.source for book in books), inputs.medicines, inputs.planned, treatments,
        mobs, tuple(product), _in_sheet_order(findings, books), tuple(ranges), products,
        stock, before.treatments, inputs.stock,
    )  # fmt: skip


def _refuse_if_nothing_is_left(context: Context, findings: Sequence[Finding]) -> None:
    """Stop where every course is held as a whole because of its medicine, naming the first cause."""
    if not context.courses:
        first = next((f for f in findings if f.rule in ("animal-not-weighed", "mob-unknown")), None)
        raise UnusableInputError(
            first.where if first else context.session.source.name,
            f"No animal gets a medicine. {first.message if first else ''}".strip(),
            first.fix if first else "Check the treatments.",
        )
    whole = [f for f in findings if f.hold and f.hold.animals is None and not f.hold.needs_weight]
    held = {
        course.number
        for course in context.courses
        for hold in (finding.hold for finding in whole)
        if hold is not None
        and (hold.medicines is None or course.medicine in hold.medicines)
        and (hold.courses is None or course.number in hold.courses)
    }
    if len(held) == len(context.courses):
        raise UnusableInputError(whole[0].where, f"No usable medicine is left. {whole[0].message}", whole[0].fix)


def _joined(tables: list[pd.DataFrame], inputs: Inputs) -> pd.DataFrame:
    """Rows of all courses in sheet order, an animal's medicines together in the order of their sheet.

    The tables are emptied column by column on the way: together they are as large as the joined one.
    """
    course = np.repeat(np.arange(len(tables)), [len(table) for table in tables])
    order = inputs.session.animals.index.get_indexer(pd.Index(np.concatenate([table["animal"] for table in tables])))
    # Course after course already, so that a stable sort by animal keeps the courses in order.
    sorted_rows = np.argsort(order, kind="stable")
    names = list(tables[0].columns)
    joined = {
        name: pd.concat([table.pop(name) for table in tables], ignore_index=True).take(sorted_rows) for name in names
    }
    joined["course"] = pd.Series(course).take(sorted_rows)
    every = pd.RangeIndex(len(course))
    return pd.DataFrame({name: column.set_axis(every) for name, column in joined.items()}, copy=False)


def _product(
    treatments: pd.DataFrame, medicines: Sequence[Medicine], stock: Sequence[Pack], facts: SessionFacts
) -> tuple[list[ProductPlan], dict[int, list[str]]]:
    """Product of each medicine in use, and the batches for each row of the treatments table.

    Rows of one name go together, each unit (mL, tablet) for itself; what is drawn and lost is by the first row in use
    that says how.
    """
    plans: list[ProductPlan] = []
    batches: dict[int, list[str]] = {}
    order = working_order(treatments)
    groups: dict[tuple[str, str], list[int]] = {}
    for index in sorted(treatments["medicine"].unique()):
        groups.setdefault((same_name(medicines[index].name), medicines[index].unit), []).append(int(index))
    for (name, unit), rows in groups.items():
        packs = [pack for pack in stock if pack.medicine == name and pack.unit == unit]
        handling = next((h for h in (handling_of(medicines[i]) for i in rows) if h != NO_HANDLING), NO_HANDLING)
        events = events_of(treatments, medicines, rows, order)
        plan, of_rows = plan_product(medicines[rows[0]].name, unit, events, packs, facts, handling)
        plans.append(replace(plan, rows=tuple(rows), **_animals_and_weight(treatments, rows)))
        batches |= of_rows
    return plans, batches


def _animals_and_weight(treatments: pd.DataFrame, rows: Sequence[int]) -> dict[str, Any]:
    """Heads that are given a product, and their weight in all [kg]; no weight where one is not known."""
    mine = treatments["medicine"].isin(rows) & ~treatments["held"]
    given = treatments.loc[mine, ["animal", "weight_kg", "head"]].drop_duplicates("animal")
    kilograms = float((given["weight_kg"] * given["head"]).sum(skipna=False)) if len(given) else 0.0
    return {"animals": int(given["head"].sum()), "kilograms": 0.0 if math.isnan(kilograms) else kilograms}


def _merged_mobs(planned: Sequence[PlannedCourse]) -> tuple[MobPlan, ...]:
    return tuple(mob for p in planned for mob in p.mobs if mob.head)


def _in_sheet_order(findings: Iterable[Finding], read: Sequence[Book]) -> tuple[Finding, ...]:
    """Findings by workbook and sheet as they come, then by row and column; places completed with the workbook."""
    books = {book.source.name: i for i, book in enumerate(read)}
    sheets = {(b.source.name, s.name): i for b in read for i, s in enumerate(b.sheets)}
    first = read[0].source.name
    placed = [f if f.where.workbook else replace(f, where=CellRef(first, f.where.sheet, f.where.cell))
              for f in findings]  # fmt: skip

    def place(finding: Finding) -> tuple[Any, ...]:
        where = finding.where
        cell = cell_position(where.cell) if where.cell else (-1, -1)
        return (
            books.get(where.workbook, len(books)),
            sheets.get((where.workbook, where.sheet), -1),
            cell,
            -finding.level,
        )

    return tuple(sorted(placed, key=place))


def write_outputs(
    result: Result, out: Path | None, printer: PdfPrinter | None = None, order: Order = "tag", *,
    paper: PaperName = "a4", lists_only: bool = False, progress: Progress | None = None,
) -> tuple[list[Path], list[str]]:  # fmt: skip
    """Write workbook, job sheet and results into `out`: all of them, or none.

    Without `out`, into a new folder `<stem>-job` beside the weighing workbook. With a `printer`, the PDF is
    printed while the workbook is made, and `progress` is called with the parts that are printed, and of how many.
    `order` is that of the animals in the lists of the job sheet; with `lists_only` it holds little else. Returns the
    paths, and remarks for the user where the copy or the PDF could not be made. Raises UnusableInputError if the files
    cannot be put in place.
    """
    from batchdose.write.files import output_stem, save_all

    source = result.session.source.path
    stem = output_stem(source)
    folder = out or source.parent / f"{stem}-job"
    filled = (source, *(folder / f"{stem}{end}" for end in ("-dosed.xlsx", "-dosed.xlsm", "-results.xlsx")))
    _refuse_filled_in(filled, None if result.before is None else result.before.source.path)
    from batchdose.write.job_sheet import build_job_sheet
    from batchdose.write.pdf import PdfUnavailableError
    from batchdose.write.render import render_html, render_print

    sheet = build_job_sheet(result, order, paper, lists_only=lists_only)
    html = render_html(sheet)
    if printer is not None:
        printer.begin(render_print(sheet), for_browser=html)
    # Loaded only now, so that openpyxl loads while the PDF is printed.
    from batchdose.write.results import results_json
    from batchdose.write.workbook import updated_workbook

    ending, workbook, remarks = updated_workbook(result)
    from batchdose.write.job_calendar import plan_calendar

    contents = {
        f"{stem}{ending}": workbook,
        f"{stem}-job-sheet.html": html.encode("utf-8"),
        f"{stem}-results.json": results_json(result).encode("utf-8"),
    }
    calendar = folder / f"{stem}-clear.ics"
    if (dates := plan_calendar(result, calendar.read_bytes() if calendar.is_file() else None)) is not None:
        contents[calendar.name] = dates
    if printer is not None:
        try:
            contents[f"{stem}-job-sheet.pdf"] = printer.finish(progress)
        except PdfUnavailableError as error:
            remarks.append(str(error))
    return save_all(folder, contents, (file.path for file in result.inputs)), remarks


def _refuse_filled_in(paths: Iterable[Path], record: Path | None) -> None:
    """Stop before a sheet on which staff entered what was given is replaced, or stripped in a copy.

    One whose entries all stand in the client's record already may go.
    """
    for path in paths:
        if path.is_file() and (where := filled_cells(path)) and not all_recorded(path, record):
            raise UnusableInputError(
                where, f"The sheet {where.sheet} of {path.name} holds entries; a filled-in sheet is never replaced.",
                f"Record it first: batchdose record {path.name} --to RECORD.xlsx. Then move it away, or use --out.",
            )  # fmt: skip
