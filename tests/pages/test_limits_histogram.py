"""The picture of a distribution: well formed, in words, escaped, and within its frame whatever is drawn."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.catalogue import catalogue
from api.pages.limits.histogram import HEIGHT, WIDTH, Marks, draw_histogram
from api.pages.limits.population_view import places_of
from ledger.application.limits_answer import Band, Bins

BINS = Bins(start=71.75, width=0.5, counts=(1, 0, 4, 7, 2), outside=(1, 0, 0, 0, 0))
MARKS = Marks(BINS, 73.0, 76.0, 73.5, (72.0, 75.0), (), 1)


def drawn(marks: Marks, unit: str = "Shore D") -> ET.Element:
    """The picture read as XML."""
    return ET.fromstring(str(draw_histogram(marks, unit, catalogue("en"))))  # noqa: S314  # our own text


def texts(root: ET.Element) -> list[str]:
    """What is written in it."""
    return [str(one.text) for one in root.iter("text")]


def test_it_names_limits_and_mean() -> None:
    """Each line is named with its value, and the whole is told in a sentence."""
    root = drawn(MARKS)
    assert {"lower limit 73.0", "upper limit 76.0", "mean 73.50", "tolerance interval"} <= set(texts(root))
    assert "Histogram of 14 readings from 71.75 to 74.25 Shore D; 1 lie outside the limits." == root[0].text


def test_readings_outside_are_hatched() -> None:
    """Not colour alone tells them: they are filled with a pattern."""
    hatched = [one for one in drawn(MARKS).iter("rect") if one.get("class") == "bar outside"]
    assert ["url(#outside-0)"] == [one.get("fill") for one in hatched]


@pytest.mark.parametrize(("decision", "wide"), [("three_way", 2), ("guarded", 1)])
def test_a_band_lies_where_its_rule_has_it(decision: str, wide: int) -> None:
    """Three outcomes are undecided on both sides of the limit, guarded acceptance inside it."""
    guard = Band(side="lower", by="house", decision=decision, rule="", w=0.5)  # type: ignore[arg-type]  # one of two words
    [ground] = [one for one in drawn(MARKS._replace(bands=(guard,))).iter("rect") if one.get("class") == "band"]
    bars = [one for one in drawn(MARKS).iter("rect") if (one.get("class") or "").startswith("bar")]
    bin_wide = float(bars[0].get("width") or 0) + 1
    assert wide * bin_wide == pytest.approx(float(ground.get("width") or 0), abs=0.05)


def test_a_unit_is_escaped() -> None:
    """Nothing that is written becomes markup."""
    assert any("<b>&" in text for text in texts(drawn(MARKS, "<b>&")))


def test_no_style_and_no_script() -> None:
    """The page's policy forbids both."""
    for one in drawn(MARKS).iter():
        assert not {"style", "onload", "onclick"} & set(one.attrib)
        assert one.tag not in {"style", "script", "image"}


@given(
    counts=st.lists(st.integers(0, 10**6), min_size=1, max_size=30).filter(
        lambda counts: bool(counts[0] and counts[-1])
    ),
    start=st.floats(-20, 100),
    low=st.none() | st.floats(-50, 150),
    far=st.none() | st.floats(0.001, 50),
    w=st.floats(0.0001, 5),
)
def test_everything_lies_in_the_frame(
    counts: list[int], start: float, low: float | None, far: float | None, w: float
) -> None:
    """Whatever the readings and limits are, nothing is drawn beyond the picture."""
    bins = Bins(start=start, width=0.25, counts=tuple(counts), outside=(0,) * len(counts))
    high = None if far is None else (start if low is None else low) + far
    bands = tuple(Band(side=side, by="body", decision="three_way", rule="", w=w) for side in ("lower", "upper"))
    root = drawn(Marks(bins, low, high, start, (low, high), bands, 2))
    for one in root.iter("rect"):
        if one.get("x") is not None:
            left, wide = float(one.get("x") or 0), float(one.get("width") or 0)
            top, tall = float(one.get("y") or 0), float(one.get("height") or 0)
            assert 0 <= left <= left + wide <= WIDTH + 1
            assert 0 <= top <= top + tall <= HEIGHT
    assert all(0 <= float(one.get("x") or 0) <= WIDTH for one in root.iter("text"))


@pytest.mark.parametrize(("width", "places"), [(0.5, 1), (1.0, 0), (0.0003, 4), (20.0, 0), (0.000001, 6)])
def test_decimals_are_those_of_a_reading(width: float, places: int) -> None:
    """As many as the width of a bin has."""
    assert places == places_of(Bins(start=0.0, width=width, counts=(1,), outside=(0,)))
