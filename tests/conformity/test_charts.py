"""ledger.conformity.charts: limits, centre lines and signals of both kinds of chart."""

from __future__ import annotations

import math
import statistics
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.chart_constants import c4
from ledger.conformity.charts import NO_SCATTER, PROVISIONAL, WITHIN, individuals_charts, signal_lines, subgroup_charts
from ledger.conformity.moments import Moments, gather
from ledger.errors import MalformedQuantity

SCALE = 10**6

tenths = st.integers(700, 800).map(lambda value: value * SCALE // 10)
series = st.lists(tenths, min_size=2, max_size=40)
groups = st.lists(st.lists(tenths, min_size=1, max_size=8), min_size=2, max_size=12).filter(
    lambda made: any(len(group) > 1 for group in made)
)


def labelled(values: list[int]) -> list[tuple[str, int]]:
    """Readings named by their place."""
    return [(f"ball {at}", value) for at, value in enumerate(values)]


def lots(made: list[list[int]]) -> list[tuple[str, Moments]]:
    """Subgroups named by their place."""
    return [(f"lot {at}", gather(group)) for at, group in enumerate(made)]


@given(series)
def test_limits_stand_at_the_same_distance(values: list[int]) -> None:
    """Centre is the mean; both limits are 3 sigma off, with sigma the mean moving range over 2/sqrt(pi)."""
    chart, moving = individuals_charts(labelled(values))
    ranges = [abs(b - a) / SCALE for a, b in pairwise(values)]
    sigma = statistics.fmean(ranges) * math.sqrt(math.pi) / 2
    assert pytest.approx(statistics.fmean(values) / SCALE) == chart.centre
    assert pytest.approx(chart.centre + 3 * sigma) == chart.points[0].upper
    assert pytest.approx(chart.centre - 3 * sigma) == chart.points[-1].lower
    assert pytest.approx((statistics.fmean(ranges), 0.0)) == (moving.centre, moving.points[0].lower)
    assert pytest.approx(ranges) == [point.value for point in moving.points]
    assert [f"ball {at}" for at in range(1, len(values))] == [point.label for point in moving.points]


@given(series, st.integers(-(10**9), 10**9))
def test_a_shift_moves_the_chart_and_no_signal(values: list[int], shift: int) -> None:
    """Signals depend on differences alone, to the last bit: a reading on the mean breaks a run wherever the scale starts."""
    here = individuals_charts(labelled(values))
    there = individuals_charts(labelled([value + shift for value in values]))
    assert [chart.signals for chart in here] == [chart.signals for chart in there]


def test_a_reading_on_the_mean_breaks_a_run() -> None:
    """The mean of 0.1, ..., no double itself, still counts as the centre line."""
    values = [100_000] * 4 + [300_000] + [100_000] * 7 + [2_500_000]
    assert sum(values) == 300_000 * len(values)
    signals = individuals_charts(labelled(values))[0].signals
    assert [one for one in signals if one.rule == 4] == []
    values[4] = 100_000
    assert [one for one in individuals_charts(labelled(values))[0].signals if one.rule == 4] != []


def test_signals_are_named_by_rule_and_point() -> None:
    """The words number points as the readings and give the label, so both charts name one reading alike."""
    chart, moving = individuals_charts(labelled([75_000_000, 75_100_000] * 10 + [77_000_000]))
    assert "point 21, ball 20: beyond 3 sigma above (rule 1)" in signal_lines(chart)
    assert ("point 21, ball 20: beyond 3 sigma above (rule 1)",) == signal_lines(moving)


def test_equal_readings_signal_nothing_and_say_why() -> None:
    """Without scatter the limits fall on the centre line, and no rule is read."""
    for chart in (*individuals_charts(labelled([5 * SCALE] * 30)), *subgroup_charts(lots([[5 * SCALE] * 3] * 30))):
        assert () == chart.signals
        assert NO_SCATTER in chart.cautions


def test_few_points_are_provisional() -> None:
    """Fewer than 20 points carry the caution, 20 do not."""
    assert (PROVISIONAL,) == individuals_charts(labelled([1, 2] * 9))[0].cautions
    assert () == individuals_charts(labelled([1, 2] * 10))[0].cautions


@given(groups)
def test_every_subgroup_has_the_limits_of_its_size(made: list[list[int]]) -> None:
    """Means stand about the mean of all readings by 3 sigma/sqrt(n); deviations about c4 sigma, not below 0."""
    means, deviations = subgroup_charts(lots(made))
    every = [value for group in made for value in group]
    assert pytest.approx(statistics.fmean(every) / SCALE) == means.centre
    for group, point in zip(made, means.points, strict=True):
        assert pytest.approx(statistics.fmean(group) / SCALE) == point.value
        assert pytest.approx(means.centre + 3 * means.sigma / math.sqrt(len(group))) == point.upper
        assert len(group) == point.count
    several = [group for group in made if len(group) > 1]
    for at, (group, point) in enumerate(zip(several, deviations.points, strict=True)):
        assert pytest.approx(statistics.stdev(group) / SCALE, abs=1e-12) == point.value
        constant = c4(len(group))
        assert pytest.approx(constant * means.sigma) == deviations.centre_at(at)
        spread = 3 * means.sigma * math.sqrt(1 - constant**2)
        assert pytest.approx(max(0, constant * means.sigma - spread), abs=1e-12) == point.lower


@given(st.lists(st.lists(tenths, min_size=4, max_size=4), min_size=2, max_size=12))
def test_equal_sizes_give_the_usual_sigma(made: list[list[int]]) -> None:
    """For one size the weights are equal: sigma is the mean s over c4, and the centre line of s is level."""
    means, deviations = subgroup_charts(lots(made))
    s_bar = statistics.fmean(statistics.stdev(group) for group in made) / SCALE
    assert pytest.approx(s_bar / c4(4), abs=1e-12) == means.sigma
    assert pytest.approx(s_bar, abs=1e-12) == deviations.centre
    assert () == deviations.centres


def test_a_lot_of_one_reading_has_a_mean_alone() -> None:
    """It stands on the chart of means with wide limits, and not on that of deviations."""
    means, deviations = subgroup_charts(lots([[1, 3], [2], [1, 5]]))
    assert (["lot 0", "lot 1", "lot 2"], ["lot 0", "lot 2"]) == tuple(
        [point.label for point in chart.points] for chart in (means, deviations)
    )
    assert means.points[1].upper - means.centre == pytest.approx(3 * means.sigma)
    assert WITHIN in means.cautions


def test_what_cannot_be_charted_is_refused() -> None:
    """One reading, one subgroup, an empty subgroup, and subgroups of one reading each."""
    with pytest.raises(MalformedQuantity):
        individuals_charts(labelled([5]))
    for made in ([[1, 2]], [[1, 2], []], [[1], [2]]):
        with pytest.raises(MalformedQuantity):
            subgroup_charts(lots(made))
