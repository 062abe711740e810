"""ledger.conformity.chart_picture: a chart is drawn whole, the same each time, and not by colour alone."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.conformity.chart_picture import NEWEST, draw_charts
from ledger.conformity.charts import individuals_charts, subgroup_charts
from ledger.conformity.moments import gather
from ledger.errors import MalformedQuantity
from tests.conformity.pictures import SVG, inside, read_back, words_of

CALM = [75_000_000 + 100_000 * (at % 3) for at in range(24)]


def chart_of(values: list[int]) -> str:
    """The picture of individuals and moving ranges."""
    return draw_charts(
        individuals_charts([(f"B26-{at:05d}", value) for at, value in enumerate(values)]), "Hardness", "Shore D"
    )


@settings(max_examples=40)
@given(st.lists(st.integers(-(10**9), 10**9), min_size=2, max_size=40))
def test_every_point_is_drawn_with_its_label(values: list[int]) -> None:
    """One mark a point, circle or diamond, with a tooltip; the same figures give the same bytes."""
    svg = chart_of(values)
    root = read_back(svg)
    tooltips = [words for words in words_of(root, "title") if words.startswith("B26-")]
    assert 2 * len(values) - 1 == len(tooltips)
    assert svg == chart_of(values)
    assert inside(root)


def test_a_signal_is_told_by_shape_number_and_words() -> None:
    """A diamond in place of a circle, the number of the rule beside it, and a sentence in the description."""
    root = read_back(chart_of([*CALM, 79_000_000]))
    assert "B26-00024: 79.000, signal by rule 1" in words_of(root, "title")
    assert words_of(root, "text").count("1") >= 2
    assert "point 25, B26-00024: beyond 3 sigma above (rule 1)" in words_of(root, "desc")[0]
    quiet = read_back(chart_of(CALM))
    assert "signal by rule" not in " ".join(words_of(quiet, "title"))
    assert words_of(quiet, "desc")[0].count("No signal.") == 2


def test_title_and_description_stand_first_and_are_named() -> None:
    """A reader of a screen gets the title and the words, by ids that no other picture has."""
    root, other = read_back(chart_of(CALM)), read_back(chart_of(CALM[1:]))
    assert [f"{SVG}title", f"{SVG}desc"] == [child.tag for child in root[:2]]
    assert "img" == root.attrib["role"]
    assert f"{root[0].attrib['id']} {root[1].attrib['id']}" == root.attrib["aria-labelledby"]
    assert root[0].attrib["id"] != other[0].attrib["id"]
    assert "individual readings in Shore D: 24 points, centre line 75.100" in (root[1].text or "")


def test_a_long_chart_shows_its_newest_points_and_counts_the_rest() -> None:
    """No more than so many points are drawn; the axis goes on counting from the first."""
    values = [75_000_000 + 100_000 * (at * 7 % 5) for at in range(NEWEST + 150)]
    root = read_back(chart_of(values))
    tooltips = [words for words in words_of(root, "title") if words.startswith("B26-")]
    assert 2 * NEWEST == len(tooltips)
    assert tooltips[0].startswith("B26-00150")
    assert f"the newest {NEWEST} of {NEWEST + 150} points" in words_of(root, "text")
    assert "200" in words_of(root, "text")
    assert "50" not in words_of(root, "text")


def test_limits_that_move_say_where_their_figures_hold() -> None:
    """Unequal subgroups step their limits, and the figures at the side are those of the last point."""
    made = [(f"LOT-{at}", gather([1_000_000 * at % 7, 3_000_000, 5_000_000][: 2 + at % 2])) for at in range(8)]
    root = read_back(draw_charts(subgroup_charts(made), "Spread by lot", "in"))
    assert 2 == words_of(root, "text").count("at the last point")
    assert "limits" in words_of(root, "desc")[0]
    assert any("(3 readings)" in words for words in words_of(root, "title"))


def test_many_signals_are_counted_in_words() -> None:
    """The description names twenty and counts the rest; numbers that would cover each other are left out."""
    root = read_back(chart_of([75_000_000] * 100 + [76_000_000] * 100 + [76_100_000]))
    assert "; and " in words_of(root, "desc")[0]
    diamonds = [words for words in words_of(root, "title") if "signal by rule" in words]
    numbers = [words for words in words_of(root, "text") if words in {"4", "1,2,3,4", "3,4", "2,3,4"}]
    assert 100 < len(diamonds)
    assert 0 < len(numbers) < len(diamonds)


def test_a_picture_needs_points() -> None:
    """Nothing to draw is refused."""
    with pytest.raises(MalformedQuantity):
        draw_charts([], "Hardness", "Shore D")
