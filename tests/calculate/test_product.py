"""Rule 9: what is drawn, from which bottle, what is missing and what to buy.

`by_hand` goes through the doses one by one, bottle by bottle, as a person in the yard would; the plan must
come to the same.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from sheets import write_job

from batchdose import Settings, plan_job

START = date(2026, 6, 1)


def after(days: int) -> str:
    return (START + timedelta(days=days)).isoformat()


@st.composite
def packs(draw, batch: str):
    """A line of stock: size and amount left in tenths of a mL, days counted from the first dose."""
    opened = draw(st.one_of(st.none(), st.integers(-20, 0)))
    size = draw(st.integers(5, 200))
    return {
        "batch": batch, "size": size, "packs": draw(st.integers(1, 3)), "opened": opened,
        "left": draw(st.integers(1, size)) if opened is not None else None,
        "expiry": draw(st.one_of(st.none(), st.integers(-1, 9))),
        "within": draw(st.one_of(st.none(), st.sampled_from([1, 2, 5, 28]))),
    }  # fmt: skip


stocks = st.integers(1, 4).flatmap(lambda size: st.tuples(*(packs(f"B-{n}") for n in range(size))))


def stock_rows(stock):
    """The sheet `Stock`."""
    yield ["Medicine", "Pack size", "Packs", "Batch number", "Expiry", "Opened on", "Use within", "Left"]
    for pack in stock:
        tenths = [None if pack[name] is None else f"{pack[name] / 10} mL" for name in ("size", "left")]
        days = [None if pack[name] is None else after(pack[name]) for name in ("expiry", "opened")]
        within = pack["within"] and f"{pack['within']} days"
        yield ["wormer A", tenths[0], pack["packs"], pack["batch"], *days, within, tenths[1]]


def by_hand(rows, stock, spare):
    """Batches of each animal, packs used by batch, and what is missing [tenths of a mL]."""
    bottles = [
        {"left": pack["left"] if number == 0 and pack["opened"] is not None else pack["size"],
         "opened": pack["opened"] if number == 0 else None, "used": False, "pack": pack}
        for pack in sorted(stock, key=lambda p: (99 if p["expiry"] is None else p["expiry"], p["opened"] is None))
        for number in range(pack["packs"])
    ]  # fmt: skip

    def draw(amount, day):
        for bottle in bottles:
            expiry, within = bottle["pack"]["expiry"], bottle["pack"]["within"]
            in_use = bottle["opened"] is None or within is None or day < bottle["opened"] + within
            if bottle["left"] and amount and in_use and (expiry is None or day <= expiry):
                taken = min(amount, bottle["left"])
                bottle["left"] -= taken
                bottle["used"] = True
                bottle["opened"] = day if bottle["opened"] is None else bottle["opened"]
                amount -= taken
                yield bottle["pack"]["batch"]
        missing.append(amount)

    batches, missing = defaultdict(list), []
    days = sorted({(moment.at.date() - START).days for row in rows for moment in row["planned_for"]})
    for day in days:
        for row in rows:
            drawn_from = draw(round(row["dose"] * 10), day)
            batches[row["tag"]] = list(dict.fromkeys([*batches[row["tag"]], *drawn_from]))
    total = sum(round(row["dose"] * 10) for row in rows) * len(days)
    list(draw(total * spare, days[-1]))
    return batches, Counter(b["pack"]["batch"] for b in bottles if b["used"]), sum(missing)


@settings(max_examples=40)
@given(
    stocks, st.lists(st.integers(5, 90), min_size=1, max_size=5), st.integers(1, 3), st.integers(1, 5),
    st.sampled_from([0, 5, 10]),
)  # fmt: skip
def test_every_dose_comes_from_the_bottles_a_person_would_take(tmp_path_factory, stock, weights, doses, every, spare):
    last = (doses - 1) * every
    assume(any(pack["expiry"] is None or pack["expiry"] >= last for pack in stock))  # else the medicine is held
    animals = "Tag | Weight (kg)\n" + "\n".join(f"{401 + at:04d} | {kg}" for at, kg in enumerate(weights))
    paths = write_job(
        tmp_path_factory.mktemp("job"), animals,
        {"Dose rate": "1 mL/10 kg", "Strength": None, "Doses": doses, "Every": f"{every} days"},
        Stock=list(stock_rows(stock)),
        Session=f"Species | sheep\nTime zone | UTC\nSpare | {spare} %",
    )  # fmt: skip
    result = plan_job(*paths, Settings(on=f"{START}T09:00"))
    rows = result.treatments[~result.treatments["held"]].to_dict("records")
    batches, used, missing = by_hand(rows, stock, Fraction(spare, 100))
    (plan,) = result.product
    assert {row["tag"]: row["batch_no"] for row in rows} == batches
    assert Counter({pack.batch_no: pack.packs for pack in plan.packs if not pack.to_buy}) == used
    assert plan.short * 10 == missing

    drawn = sum(Fraction(round(row["dose"] * 10), 10) * row["doses"] for row in rows)
    assert plan.to_draw == drawn * (1 + Fraction(spare, 100))
    assert plan.doses == doses * len(rows)
    assert sum(pack.size * pack.packs for pack in plan.packs) >= plan.to_draw, "with what is bought there is enough"
    assert set(used) <= {pack["batch"] for pack in stock if pack["expiry"] is None or pack["expiry"] >= 0}
    assert any(finding.rule == "stock-short" for finding in result.findings) == (plan.short > 0)


JOB = ("Tag | Weight (kg)\n0401 | 50\n0402 | 50\n0403 | 50", {"Dose rate": "1 mL/10 kg", "Strength": None})


def taken(result):
    """Packs to take along: packs, size, batch."""
    return [(pack.packs, float(pack.size), pack.batch_no or "to buy") for pack in result.product[0].packs]


def test_the_earliest_expiry_goes_first_and_an_opened_bottle_before_a_full_one(job):
    result = job(*JOB, Stock="""
        Medicine | Pack size | Packs | Batch number | Expiry     | Opened on  | Left
        wormer A | 10 mL     | 1     | B-1          | 2027-06    |            |
        wormer A | 10 mL     | 1     | B-2          | 2026-09    |            |
        wormer A | 10 mL     | 1     | B-3          | 2026-09    | 2026-05-01 | 4 mL
    """)  # fmt: skip
    assert result.treatments["batch_no"].tolist() == [["B-3", "B-2"], ["B-2"], ["B-2", "B-1"]]
    assert taken(result) == [(1, 10.0, "B-3"), (1, 10.0, "B-2"), (1, 10.0, "B-1")]
    assert result.product[0].short == 0


@pytest.mark.parametrize(
    ("expiry", "opened", "within", "batches"),
    [
        ("2026-06-03", "", "", [["B-1"]]),  # good on its last day
        ("2026-06-02", "", "", [["B-1", "B-2"]]),  # not on the third day of the course
        ("2027-06", "", "48 h", [["B-1", "B-2"]]),  # opened on the first day, two days good
        ("2027-06", "", "3 days", [["B-1"]]),
        ("2027-06", "2026-05-05", "28 days", [["B-1", "B-2"]]),  # opened 28 days before the second day
        ("2027-06", "2026-05-01", "28 days", [["B-2"]]),
    ],
)
def test_expiry_and_in_use_life_count_on_every_date_of_a_course(job, expiry, opened, within, batches):
    result = job(
        "Tag | Weight (kg)\n0401 | 50",
        {"Dose rate": "1 mL/10 kg", "Strength": None, "Doses": 3, "Every": "24 h"},
        Stock=f"""
            Medicine | Pack size | Packs | Batch number | Expiry   | Opened on | Use within | Left
            wormer A | 100 mL    | 1     | B-1          | {expiry} | {opened}  | {within}   | 90 mL
            wormer A | 100 mL    | 1     | B-2          | 2028-06  |           |            |
        """,
    )
    assert result.treatments["batch_no"].tolist() == batches


def test_spare_is_drawn_and_what_is_short_is_bought_in_the_size_that_leaves_the_least(job):
    result = job(
        *JOB, Session="Species | sheep\nTime zone | UTC\nSpare | 10 %",
        Stock="""
            Medicine | Pack size | Packs | Batch number | Expiry
            wormer A | 5 mL      | 1     | B-1          | 2027-06
            wormer A | 7 mL      | 1     | B-2          | 2025-06
        """,
    )  # fmt: skip
    (plan,) = result.product
    assert (plan.to_draw, plan.short) == (Fraction("16.5"), Fraction("11.5"))
    # 12 mL, not 2 x 7 mL or 3 x 5 mL
    assert taken(result) == [(1, 5.0, "B-1"), (1, 7.0, "to buy"), (1, 5.0, "to buy")]
    assert "stock-short" in {finding.rule for finding in result.findings}


def test_what_is_short_is_bought_as_the_cheapest_packs_and_told_with_its_cost(job):
    stock = """
        Medicine | Pack size | Packs | Price | Batch number
        wormer A | 5 mL      | 1     | 4     | B-1
        wormer A | 100 mL    | 0     | 9     |
    """
    result = job(*JOB, Stock=stock)  # 15 mL: 10 mL are short; two of 5 mL cost 8, one of 100 mL costs 9
    (plan,) = result.product
    assert taken(result) == [(1, 5.0, "B-1"), (2, 5.0, "to buy")]
    assert (plan.short, plan.cost) == (10, 12)
    dear = job(*JOB, Stock=stock.replace("| 4 ", "| 5 "))
    assert taken(dear) == [(1, 5.0, "B-1"), (1, 100.0, "to buy")]


def test_without_a_stock_sheet_nothing_is_known_to_be_short(job):
    (plan,) = job(*JOB).product
    assert (plan.stock_known, plan.packs) == (False, ())
    assert plan.to_draw == 15


def test_an_amount_left_counts_even_where_the_day_of_opening_is_not_written(job):
    result = job(*JOB, Stock="Medicine | Pack size | Packs | Left\nwormer A | 100 mL | 1 | 4 mL")
    assert result.product[0].short == 11


@pytest.mark.parametrize("on", ["2026-06-01", "2026-06-01T09:00"])
@pytest.mark.parametrize("every", ["12 h", "24 h"])
def test_product_for_every_dose_of_a_course_is_drawn(job, on, every):
    result = job(JOB[0], JOB[1] | {"Doses": 3, "Every": every}, on=on)
    assert result.product[0].to_draw == result.mobs[0].total == 45
    assert result.product[0].doses == 9


def test_a_whole_mob_needs_product_for_all_its_head(job):
    result = job(
        "Tag | Weight (kg) | Mob\n0401 | 50 | Hill", JOB[1],
        Mobs="Mob | Head | Heaviest (kg)\nRiver | 120 | 40",
    )  # fmt: skip
    assert (result.product[0].to_draw, result.product[0].doses) == (5 + 480, 121)


def test_two_rows_of_one_medicine_share_one_stock(job):
    # The name is one name whatever its case, as it is everywhere else on the sheets.
    result = job(
        "Tag | Weight (kg) | Species\n0401 | 50 | sheep\n0501 | 50 | goat",
        JOB[1], JOB[1] | {"Medicine": "Wormer A", "Species": "goats"},
        Stock="Medicine | Pack size | Packs | Batch number\nwormer A | 6 mL | 1 | B-1", give=["wormer A"],
    )  # fmt: skip
    assert sum(plan.to_draw for plan in result.product) == 10
    assert sum(plan.short for plan in result.product) == 4


def test_a_held_animal_needs_no_product(job):
    result = job("Tag | Weight (kg)\n0401 | 50\n0402 |", JOB[1])
    assert (result.product[0].to_draw, result.product[0].doses) == (5, 1)
    assert result.treatments["batch_no"].tolist() == [[], []]


def test_a_bought_bottle_is_not_kept_past_its_in_use_life_either(job):
    # 10 mL are short on 1 June and 15 mL three weeks later; once opened it is good for two days.
    result = job(
        JOB[0], JOB[1] | {"Doses": 2, "Every": "21 days"},
        Stock="""
            Medicine | Pack size | Packs | Batch number | Expiry  | Use within | Opened on  | Left
            wormer A | 50 mL     | 1     | B-1          | 2027-06 | 48 h       | 2026-05-31 | 5 mL
        """,
    )  # fmt: skip
    assert result.product[0].short == 25
    assert taken(result) == [(1, 50.0, "B-1"), (2, 50.0, "to buy")]


def test_bottles_serve_the_animals_in_the_order_of_the_lists(job):
    rows = "Tag | Weight (kg) | Mob\n2 | 50 | River\n1 | 50 | River\n4 | 50 | Hill\n3 | 50 | Hill"
    stock = "Medicine | Pack size | Packs | Batch number | Expiry\n"
    stock += "wormer A | 2 mL | 1 | B-1 | 2027-01-31\nwormer A | 2 mL | 1 | B-2 | 2027-06-30"
    result = job(rows, Stock=stock)
    served = dict(zip(result.treatments["tag"], result.treatments["batch_no"], strict=True))
    assert served == {"1": ["B-1"], "2": ["B-1"], "3": ["B-2"], "4": ["B-2"]}
