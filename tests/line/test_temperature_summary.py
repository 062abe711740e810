"""What a log says: ends, gaps, the mean over time, and how long it was beyond a limit."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.errors import MalformedInput
from ledger.line.temperature_log import NINTHS, Logged
from ledger.line.temperature_summary import GAPS_LISTED, Gap, Stretch, cut, summarize

MINUTE = 60_000


def readings(*pairs: tuple[int, float]) -> list[Logged]:
    """Readings at minutes after the epoch, in whole tenths of a degree."""
    return [Logged(minute * MINUTE, round(degrees * 10) * NINTHS // 10) for minute, degrees in pairs]


def clock(minute: int) -> str:
    """Minutes after the epoch, within its first day."""
    return f"1970-01-01T{minute // 60:02d}:{minute % 60:02d}:00.000+00:00"


RACK = readings((0, 20), (10, 24), (20, 24), (80, 21), (90, 23))


def test_a_summary_by_hand() -> None:
    """Trapezoids of 10 min: 22, 24 and 22 on average; the hour between is a gap and counts nowhere."""
    said = summarize(RACK, 600, low_c="21", high_c="23.5")
    assert (5, 0, clock(0), clock(90)) == (said.readings, said.left_out, said.first_at, said.last_at)
    assert ("20", "24", "22.666667") == (said.coldest_c, said.warmest_c, said.mean_c)
    assert (30 * MINUTE, 60 * MINUTE, 1) == (said.covered_ms, said.longest_ms, said.gap_count)
    assert (Gap(from_at=clock(20), to_at=clock(80)),) == said.gaps
    # Below 21: a quarter of the rise from 20 to 24.  Above 23.5: an eighth of it, and the ten minutes at 24.
    assert (150_000, 675_000) == (said.below_ms, said.above_ms)


def test_a_gap_is_longer_than_its_limit() -> None:
    """An hour is no gap where an hour is allowed; the mean is then over all of it."""
    said = summarize(RACK, 3_600)
    assert (0, (), 90 * MINUTE, UNSET, UNSET) == (
        said.gap_count, said.gaps, said.covered_ms, said.below_ms, said.above_ms,
    )  # fmt: skip
    # (22 x 10 + 24 x 10 + 22.5 x 60 + 22 x 10) / 90
    assert "22.555556" == said.mean_c


def test_nothing_but_gaps_has_no_mean() -> None:
    """Two readings a day apart say how cold and warm it was at them, and nothing between."""
    said = summarize(readings((0, 20), (1_400, 30)), 600, low_c="25")
    assert (UNSET, 0, 1, 0) == (said.mean_c, said.covered_ms, said.gap_count, said.below_ms)


def test_at_most_a_hundred_gaps_are_listed_and_all_are_counted() -> None:
    """A logger that reads every half hour, where ten minutes are asked for."""
    said = summarize(readings(*((30 * place, 22) for place in range(250))), 600)
    assert (249, GAPS_LISTED) == (said.gap_count, len(said.gaps))


def test_what_lies_outside_the_stage_is_left_out_and_counted() -> None:
    """A logger is switched on early and read out late; both ends of the stretch are in it."""
    said = summarize(RACK, 600, stretch=Stretch(10 * MINUTE, 80 * MINUTE))
    assert (3, 2, "21", "24") == (said.readings, said.left_out, said.coldest_c, said.warmest_c)
    assert RACK[1:4] == list(cut(RACK, Stretch(10 * MINUTE, 80 * MINUTE)))


@pytest.mark.parametrize("stretch", [Stretch(from_ms=81 * MINUTE), Stretch(to_ms=9 * MINUTE), Stretch(1, 2)])
def test_a_log_of_another_time_is_refused(stretch: Stretch) -> None:
    """Fewer than two readings of the stage are none."""
    with pytest.raises(MalformedInput) as refused:
        summarize(RACK, 600, stretch=stretch)
    assert "too few readings of the stage" in str(refused.value)


logs = st.lists(
    st.tuples(st.integers(1, 3_000_000), st.integers(-540_000_000, 2_700_000_000)), min_size=2, max_size=40
).map(lambda steps: [Logged(sum(step for step, _ in steps[: place + 1]), one[1]) for place, one in enumerate(steps)])


@given(logs, st.integers(1, 3_000), st.integers(-60, 300))
def test_laws_of_a_summary(log: list[Logged], gap_s: int, limit: int) -> None:
    """Time is either covered or in gaps; the mean lies between the extremes; below and above share the covered time."""
    said = summarize(log, gap_s, low_c=str(limit), high_c=str(limit))
    gaps = [late.at_ms - early.at_ms for early, late in pairwise(log)]
    assert log[-1].at_ms - log[0].at_ms == said.covered_ms + sum(one for one in gaps if one > gap_s * 1000)
    assert (max(gaps), len([one for one in gaps if one > gap_s * 1000])) == (said.longest_ms, said.gap_count)
    if said.mean_c is not UNSET:
        assert Fraction(said.coldest_c) <= Fraction(said.mean_c) <= Fraction(said.warmest_c)
    assert said.below_ms is not UNSET
    assert said.above_ms is not UNSET
    crossings = len(log)
    level = sum(1 for one in log if one.ninths == limit * NINTHS)
    assert 0 <= said.below_ms + said.above_ms <= said.covered_ms + crossings
    if not level:
        assert abs(said.below_ms + said.above_ms - said.covered_ms) <= crossings


@given(logs, st.integers(0, 40))
def test_a_reading_on_the_straight_line_changes_nothing(log: list[Logged], place: int) -> None:
    """One more reading half-way, at the mean of its neighbours, leaves extremes, mean and time below as they were."""
    at = min(place, len(log) - 2)
    even = [Logged(2 * one.at_ms, 2 * one.ninths) for one in log]
    between = Logged(log[at].at_ms + log[at + 1].at_ms, log[at].ninths + log[at + 1].ninths)
    before, after = (
        summarize(some, 10_000_000, low_c="20") for some in (even, [*even[: at + 1], between, *even[at + 1 :]])
    )
    assert (before.coldest_c, before.warmest_c, before.mean_c) == (after.coldest_c, after.warmest_c, after.mean_c)
    assert abs(int(before.below_ms or 0) - int(after.below_ms or 0)) <= 1
