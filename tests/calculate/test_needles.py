"""Needles: proposals from the published tables, line by line, and gauges in millimetres."""

from __future__ import annotations

from fractions import Fraction

import pytest

from batchdose.calculate.needles import guidance, needle_text, proposal_text, propose, sizes
from batchdose.texts import speaking

#: What each source prints, copied by hand: species, class, route, gauges, lengths in inches.
PRINTED = [
    ("cattle", (), "IM", (16, 18), ("1/2", "3/2"), "four beef quality assurance sources, 1/2-1 in to 1-1.5 in"),
    ("cattle", (), "SC", (16, 18), ("1/4", "1"), "four beef quality assurance sources, 1/4-3/4 in to 1/2-1 in"),
    ("pig", ("piglet",), "IM", (18, 20), ("1/2", "5/8"), "pig injection chart: baby pigs"),
    ("pig", ("weaner",), "IM", (16, 18), ("5/8", "3/4"), "pig injection chart: nursery pigs"),
    ("pig", ("finisher",), "IM", (16, 16), ("1", "1"), "pig injection chart: finisher pigs"),
    ("pig", ("sow",), "IM", (14, 16), ("1", "3/2"), "pig injection chart: breeding stock"),
    ("pig", ("sow",), "SC", None, ("1", "1"), "pig injection chart: sows"),
    ("goat", (), "SC", (18, 22), ("1/2", "1"), "table 12.1, C275 and goat notes"),
    ("goat", ("kid under 4 weeks",), "IM", (20, 22), ("1/2", "1/2"), "Goat Science and Production, table 12.1"),
    ("sheep", (), "IM", (18, 20), ("1", "3/2"), "Small Ruminant Manual, C275"),
    ("alpaca", (), "SC", (16, 16), ("1/2", "3/4"), "common practice, no source"),
    ("alpaca", (), "IM", (18, 20), ("1", "1"), "common practice, no source"),
]  # fmt: skip


@pytest.mark.parametrize(("species", "kinds", "route", "gauges", "inches", "source"), PRINTED)
def test_a_proposal_is_the_range_of_its_sources(species, kinds, route, gauges, inches, source):
    found = propose(species, kinds, route)
    assert found is not None
    assert (found.gauges, found.inches) == (gauges, tuple(map(Fraction, inches))), source
    assert found.sources


@pytest.mark.parametrize("route", ["oral", "pour-on", "IV", "", "intramammary"])
def test_nothing_is_proposed_where_no_needle_goes_into_skin_or_muscle(route):
    assert propose("sheep", (), route) is None


def test_a_source_is_named_for_every_line():
    for line in guidance():
        assert line.source
        assert line.url or line.source == "common practice, no source"
        assert line.inches[0] <= line.inches[1]


# ISO 9626:2016 table 1 and ISO 6009:2016 table 1 (from memory but for 18 G): a higher gauge is finer.
def test_gauges_grow_finer():
    diameters = [sizes()[gauge][0] for gauge in sorted(sizes())]
    assert diameters == sorted(diameters, reverse=True)
    assert sizes()[18] == (Fraction("1.2"), "pink")


def test_a_table_read_while_another_language_is_spoken_is_still_english():
    sizes.cache_clear()
    with speaking("es"):
        assert needle_text("18 G x 1 in") == "18 G x 1 in (Ø 1,2 mm, cono rosa, 25 mm de largo)"
    assert needle_text("18 G x 1 in") == "18 G x 1 in (1.2 mm wide, pink hub, 25 mm long)"


@pytest.mark.parametrize(
    ("needle", "text"),
    [
        ("17 G x 1/2 in", "17 G x 1/2 in (1.4 mm wide, red violet hub, 13 mm long)"),
        ("20 G x 1 in", "20 G x 1 in (0.9 mm wide, yellow hub, 25 mm long)"),
        ("16-18 G", "16-18 G"), ("16 G or 18 G", "16 G or 18 G"), ("21 gauge, 5/8 inch",
         "21 gauge, 5/8 inch (0.8 mm wide, deep green hub, 16 mm long)"), ("99 G", "99 G"), ("", ""),
    ],
)  # fmt: skip
def test_a_needle_of_the_sheet_is_told_in_millimetres_and_colour(needle, text):
    assert needle_text(needle) == text


def test_thick_and_staining_medicines_lean_to_one_end():
    found = propose("cattle", (), "IM")
    assert found is not None
    assert proposal_text(found, viscous=True, stains=True).endswith(
        "thick: the lower number; stains or leaks: the longer"
    )
    narrow = propose("sheep", (), "SC")
    assert narrow is not None
    assert proposal_text(narrow, viscous=True, stains=True) == "18 to 20 gauge, 1 inch (25 mm); thick: the lower number"
