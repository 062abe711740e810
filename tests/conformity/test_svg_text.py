"""ledger.conformity.svg_text: marks are well-formed whatever their text, and ticks are round numbers."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.svg_text import at, bar, diamond, dot, escape, label, picture, shorten, show, spaced, text, ticks


@given(st.text(), st.text())
def test_any_text_makes_a_well_formed_picture(title: str, words: str) -> None:
    """Signs of XML are escaped and characters outside it replaced; what is left is read back."""
    marks = [text(1, 2, title), label(1, 2, words), dot(1, 2, 3, title), diamond(1, 2, 3, words)]
    marks.append(bar(1, 2, width=3, height=4, fill="#fff", said=title))
    root = ElementTree.fromstring(picture(marks, 10, 20, title, words))  # noqa: S314  # our own text
    assert (root[0].text or "") == "".join(sign if _in_xml(sign) else "?" for sign in title).replace("\r", "\n")


def _in_xml(sign: str) -> bool:
    # XML 1.0, 2.2
    return sign in "\t\n\r" or "\x20" <= sign <= "\ud7ff" or "\ue000" <= sign <= "\ufffd" or sign >= "\U00010000"


@given(
    st.floats(-1e6, 1e6).map(lambda low: round(low, 3)),
    st.floats(0.001, 1e6).map(lambda wide: round(wide, 3)),
    st.integers(3, 8),
)
def test_ticks_are_round_numbers_within_the_ends(low: float, wide: float, about: int) -> None:
    """Steps are equal, 1, 2 or 5 times a power of ten, as many as asked for or a few less, and print as they are."""
    marks, places = ticks(low, low + wide, about)
    assert 1 <= len(marks) <= about + 1
    assert low - 1e-9 * wide <= marks[0] <= marks[-1] <= low + wide * (1 + 1e-9) + 1e-9
    printed = [Decimal(show(mark, places)) for mark in marks]
    steps = {late - early for early, late in pairwise(printed)}
    assert len(steps) <= 1
    for step in steps:
        assert step.normalize().as_tuple().digits in {(1,), (2,), (5,)}
    assert all(abs(float(text) - mark) <= 1e-9 * max(1, abs(mark)) for text, mark in zip(printed, marks, strict=True))


def test_ticks_of_nothing_are_one() -> None:
    """Ends that are equal, or no numbers, give one tick rather than none or endless ones."""
    assert ((5.0,), 3) == ticks(5.0, 5.0, 4)
    assert 1 == len(ticks(0.0, float("nan"), 4)[0])


@given(st.lists(st.floats(-500, 500), min_size=1, max_size=6))
def test_names_are_moved_apart_and_keep_their_order(wanted: list[float]) -> None:
    """Neighbours end at least so far apart, to a hundredth, and who was above stays above."""
    placed = spaced(wanted, 15)
    order = sorted(range(len(wanted)), key=lambda one: wanted[one])
    gaps = [placed[b] - placed[a] for a, b in pairwise(order)]
    assert all(gap >= 14.99 for gap in gaps)


@pytest.mark.parametrize(
    ("value", "expected"), [(-0.001, "0"), (1.5, "1.5"), (2.0, "2"), (-3.456, "-3.46"), (100.0, "100")]
)
def test_coordinates_are_short_and_never_minus_nothing(value: float, expected: str) -> None:
    """Two decimals at most."""
    assert expected == at(value)


def test_figures_keep_their_decimals() -> None:
    """A figure has the decimals asked for, and no negative zero."""
    assert ("0.00", "1.50", "-3") == (show(-0.001, 2), show(1.5, 2), show(-3.2, 0))


def test_long_text_is_cut_with_a_mark() -> None:
    """What fits stays whole."""
    assert ("abc", "ab…") == (shorten("abc", 3), shorten("abcd", 3))


def test_signs_are_escaped() -> None:
    """Quotes too, since text stands in attributes."""
    assert "&lt;&amp;&quot;&#x27;?" == escape("<&\"'\x00")
