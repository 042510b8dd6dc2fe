"""Pictures: marks and needles to scale, every head in the histogram, dates in their place, places by route."""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction
from xml.etree import ElementTree

import pytest

from batchdose.write.charts import Group, Span, histogram, time_line
from batchdose.write.sites import DRAWN, place_to_inject
from batchdose.write.svg import picture, words
from batchdose.write.tools import needles, syringe


def tree(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - of our own making


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in tree(svg).iter("text")]


def marks(svg: str) -> int:
    """Marks of a device: those of the first path of marks, on which the longer ones stand."""
    return next(e.get("d").count("V") for e in tree(svg).iter("path") if e.get("class") == "ticks")


def rects(svg: str) -> list[dict[str, str]]:
    return [dict(element.attrib) for element in tree(svg).iter("rect")]


def test_words_and_what_a_picture_says_never_become_markup():
    svg = picture(10, 5, 'a "b" <c> & d', [words(1, 2, "<script>x</script> & y")])
    assert tree(svg).get("aria-label") == 'a "b" <c> & d'
    assert texts(svg) == ["<script>x</script> & y"]


@pytest.mark.parametrize(("amount", "share"), [("1", 0.2), ("2.5", 0.5), ("5", 1)])
def test_the_pointer_stands_at_its_share_of_the_barrel(amount, share):
    svg = syringe(Fraction(5), Fraction(1, 10), [("", Fraction(amount))], "mL")
    barrel = next(r for r in rects(svg) if r["stroke-width"] == "0.5")
    pointer = re.search(r'<path d="M([\d.]+) [^"]* Z"', svg)
    assert pointer
    assert float(pointer[1]) == pytest.approx(float(barrel["x"]) + share * float(barrel["width"]), abs=0.01)
    assert f"{Fraction(amount).numerator / Fraction(amount).denominator:g} mL" in texts(svg)


def test_marks_are_those_of_the_device_and_never_too_many():
    fine = syringe(Fraction(2), Fraction(1, 10), [("", Fraction(1))], "mL")
    assert marks(fine) == 21  # 20 marks, and nought
    assert [text for text in texts(fine) if text != "1 mL"] == [
        "0", "0.2", "0.4", "0.6", "0.8", "1", "1.2", "1.4", "1.6", "1.8", "2",
    ]  # fmt: skip
    many = syringe(Fraction(50), Fraction(1, 10), [("", Fraction(2))], "mL")
    assert marks(many) == 51


def test_weight_groups_have_a_pointer_each_and_their_letters():
    svg = syringe(Fraction(20), Fraction(1, 2), [("A", Fraction(15, 2)), ("B", Fraction(18))], "mL")
    assert svg.count(' Z"') == 2
    assert {"A 7.5 mL", "B 18 mL"} <= set(texts(svg))


@pytest.mark.parametrize(
    ("gauge", "inches", "long_mm", "wide_mm", "said"),
    [
        (18, Fraction(1), 25.4, 1.2, ["18 G x 25 mm (1 inch)", "1.2 mm wide, pink hub"]),
        (20, Fraction(5, 8), 15.875, 0.9, ["20 G x 16 mm (5/8 inch)", "0.9 mm wide, yellow hub"]),
        (16, Fraction(3, 2), 38.1, 1.6, ["16 G x 38 mm (1 1/2 inch)", "1.6 mm wide, white hub"]),
    ],
)
def test_a_needle_is_drawn_at_its_true_size(gauge, inches, long_mm, wide_mm, said):
    """An inch is 25.4 mm (NIST SP 811); widths of ISO 9626 and colours of ISO 6009 as in `needle_sizes.csv`."""
    svg = needles([(gauge, inches)])
    root = tree(svg)
    width, height = (float(root.get(name).removesuffix("mm")) for name in ("width", "height"))
    assert root.get("viewBox") == f"0 0 {width:g} {height:g}", "a unit of the drawing is a millimetre"
    start, top, tip, foot = map(float, re.search(r"M(9) ([\d.]+) H[\d.]+ L([\d.]+) ([\d.]+)", svg).groups())
    assert tip - start == pytest.approx(long_mm, abs=0.01)
    assert foot - top == pytest.approx(wide_mm, abs=0.011)
    assert texts(svg) == said


def test_a_histogram_counts_every_head_and_names_every_group():
    weights = [(40.0, 1), (40.5, 2), (44.0, 1), (51.0, 1), (52.5, 3)]
    groups = [Group("A", 40.0, 44.0, "40 to 44 kg: 4.5 mL, 4 head"), Group("B", 51.0, 52.5, "51 to 52.5 kg: 5.5 mL")]
    svg = histogram(weights, groups, "kg")
    root = tree(svg)
    above = [int(t.text) for t in root.iter("text") if t.get("font-size") == "2.8"]
    assert sum(above) == 8
    assert {"A: 40 to 44 kg: 4.5 mL, 4 head", "B: 51 to 52.5 kg: 5.5 mL"} <= set(texts(svg))
    assert any(text.endswith(" kg") for text in texts(svg))
    cut = [line for line in root.iter("line") if line.get("stroke-dasharray")]
    assert len(cut) == 1
    bars = [r for r in rects(svg) if float(r["y"]) < 21 and r["fill"] == "#fff"]
    later = [r for r in rects(svg) if float(r["y"]) < 20 and r["fill"] == "#bbb"]
    assert all(float(bar["x"]) < float(cut[0].get("x1")) for bar in bars)
    assert all(float(bar["x"]) > float(cut[0].get("x1")) for bar in later)


def test_bars_are_as_tall_as_their_head():
    svg = histogram([(10.0, 1), (20.0, 4)], [], "kg")
    bars = sorted((float(r["x"]), float(r["height"])) for r in rects(svg))
    assert bars[1][1] == pytest.approx(4 * bars[0][1], abs=0.02)


def test_a_slipped_weight_is_named_and_not_drawn():
    svg = histogram([(40.0 + n / 2, 1) for n in range(20)] + [(415.0, 1)], [], "kg")
    assert "not drawn, check: 415 kg" in texts(svg)
    assert not any(text.startswith("4") and len(text) == 3 for text in texts(svg))


def test_a_held_weight_far_off_does_not_squeeze_the_weight_groups():
    weights = [(40.0 + n / 2, 1) for n in range(20)] + [(415.0, 1)]
    groups = [Group("A", 40, 44.5, "1 mL"), Group("B", 45, 49.5, "2 mL")]
    assert "not drawn, check: 415 kg" in texts(histogram(weights, groups, "kg"))
    assert not any("not drawn" in text for text in texts(histogram(weights, [Group("A", 40, 415, "1 mL")], "kg")))


@pytest.mark.parametrize("weights", [[(45.0, 3)], [(0.5, 1), (0.6, 1)], [(20.0, 1), (900.0, 1)]])
def test_any_weights_make_a_picture_within_its_width(weights):
    svg = histogram(weights, [Group("A", weights[0][0], weights[-1][0], "x" * 60)], "lb")
    assert all(float(r["x"]) >= 0 and float(r["x"]) + float(r["width"]) <= 184.01 for r in rects(svg))


def test_a_time_line_ends_at_its_day_and_stays_open_without_one():
    start = date(2026, 3, 14)
    spans = [Span("Meat", date(2026, 4, 13), "from Mon 13 Apr 2026"), Span("Milk", date(2026, 3, 29), "from Sun")]
    svg = time_line(start, [*spans, Span("Wool", None, "not known: do not use")], "all")
    meat, milk = (float(r["width"]) for r in rects(svg))
    assert milk == pytest.approx(meat / 2, abs=0.02)
    assert "stroke-dasharray" in svg
    assert {"?", "not known: do not use", "14 Mar", "Meat", "Milk", "Wool"} <= set(texts(svg))


@pytest.mark.parametrize("species", DRAWN)
@pytest.mark.parametrize(
    ("route", "site", "marks"),
    [
        ("SC", "", {"neck", "avoid"}), ("IM", "heavy muscle of the neck", {"neck", "avoid"}),
        ("SC", "behind the elbow", {"elbow", "avoid"}), ("pour-on", "along the back", {"back"}),
    ],
)  # fmt: skip
def test_the_place_is_marked_and_places_to_avoid_are_crossed(species, route, site, marks):
    place = place_to_inject(species, route, site)
    assert set(re.findall(r'class="place (\w+)"', place.drawing)) == marks
    root = tree(place.drawing)
    assert species in root.get("aria-label")
    assert ("never" in place.legend) == ("avoid" in marks)


@pytest.mark.parametrize(
    ("species", "route", "site"),
    [
        ("horse", "IM", ""),
        ("sheep", "oral", ""),
        ("cattle", "SC", "base of the ear"),
        ("sheep", "ear implant", ""),
        ("sheep", "IM", "behind the elbow"),
    ],
)
def test_no_place_is_drawn_that_is_not_known(species, route, site):
    assert place_to_inject(species, route, site) is None


def test_skin_is_lifted_under_the_skin_and_the_leg_stands_behind_the_elbow():
    assert "tent of skin" in place_to_inject("sheep", "SC", "neck").legend
    assert "leg pulled forward" in place_to_inject("sheep", "SC", "behind the elbow").legend
    assert "tent" not in place_to_inject("sheep", "IM", "neck").legend
    assert "below the ear" in place_to_inject("pig", "IM", "").legend
