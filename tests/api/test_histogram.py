"""The histogram of registration times."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from api.histogram import BOUNDS_S, NAME, Histogram

DURATIONS = st.lists(st.floats(min_value=0, max_value=20), min_size=1)


@given(DURATIONS)
def test_buckets_count_what_is_at_most_their_bound(durations: list[float]) -> None:
    """Each bucket counts the durations up to its bound, the last one all of them."""
    histogram = Histogram()
    for one in durations:
        histogram.observe(one)
    lines = histogram.exposition().splitlines()
    counts = [int(line.rsplit(" ", 1)[1]) for line in lines if line.startswith(f"{NAME}_bucket")]

    assert [sum(one <= bound for one in durations) for bound in BOUNDS_S] + [len(durations)] == counts
    assert f"{NAME}_count {len(durations)}" == lines[-1]


@given(DURATIONS, st.sampled_from([0.0, 0.5, 0.99, 1.0]))
def test_a_quantile_is_a_bound_that_holds(durations: list[float], share: float) -> None:
    """At least that share of the durations is at most the quantile."""
    histogram = Histogram()
    for one in durations:
        histogram.observe(one)

    assert sum(one <= histogram.quantile(share) for one in durations) >= share * len(durations)


def test_nothing_measured_is_nothing() -> None:
    """An empty histogram has quantile 0."""
    assert 0.0 == Histogram().quantile(0.99)
