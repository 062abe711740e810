"""ledger.conformity.histogram_picture: bars, limits and mean, and what lies outside told by hatching."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.conformity.bins import bin_readings
from ledger.conformity.histogram_picture import draw_histogram
from ledger.errors import MalformedQuantity
from tests.conformity.pictures import SVG, inside, read_back, words_of

LOW, HIGH = Fraction(73), Fraction(78)


def drawn(values: list[int], *, low: Fraction | None = LOW, high: Fraction | None = HIGH) -> str:
    """The picture of tenths of a point."""
    made = bin_readings(Counter(value * 100_000 for value in values), low=low, high=high)
    ends = (None if low is None else float(low), None if high is None else float(high))
    return draw_histogram(made, "Hardness", "Shore D", low=ends[0], high=ends[1], mean=sum(values) / len(values) / 10)


@settings(max_examples=40)
@given(st.lists(st.integers(600, 900), min_size=1, max_size=60), st.booleans(), st.booleans())
def test_bars_add_up_to_the_readings(values: list[int], low: bool, high: bool) -> None:  # noqa: FBT001  # drawn
    """Every reading is in one bar's tooltip, hatched ones beside solid ones of the same bin; nothing leaves the page."""
    ends = (LOW if low else None, HIGH if high else None)
    svg = drawn(values, low=ends[0], high=ends[1])
    root = read_back(svg)
    said = {words for words in words_of(root, "title") if " to " in words}
    assert len(values) == sum(int(words.split(": ")[1].split(",")[0]) for words in said)
    assert svg == drawn(values, low=ends[0], high=ends[1])
    assert inside(root)


def test_outside_is_hatched_and_said() -> None:
    """Readings beyond a limit have a pattern, not only a colour, and the words count them."""
    root = read_back(drawn([725, 726, 740, 741, 742, 790]))
    hatched = [mark for mark in root.iter(f"{SVG}rect") if mark.attrib.get("fill", "").startswith("url(#")]
    # 72.5 and 72.6 share a bin of three steps.
    assert 2 == len(hatched)
    assert "3 lie outside the limits" in words_of(root, "desc")[0]


def test_readings_on_a_limit_are_not_hatched() -> None:
    """A bar that the limit's line cuts is whole when its readings are inside."""
    root = read_back(drawn([730, 730, 731]))
    assert [] == [mark for mark in root.iter(f"{SVG}rect") if mark.attrib.get("fill", "").startswith("url(#")]


def test_limits_and_mean_are_named_with_their_figures() -> None:
    """Limits as they are stated, without zeros that say nothing."""
    said = words_of(read_back(drawn([740, 750, 760])), "text")
    assert {"lower limit 73", "upper limit 78", "mean 75"} <= set(said)
    one = words_of(read_back(drawn([740, 750, 760], high=None)), "text")
    assert "lower limit 73" in one
    assert [] == [words for words in one if words.startswith("upper")]


def test_limits_out_of_order_are_refused() -> None:
    """A picture of them would say nothing."""
    with pytest.raises(MalformedQuantity):
        draw_histogram(bin_readings({5: 1}), "Hardness", "Shore D", low=2.0, high=1.0)
