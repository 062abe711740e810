"""Weeks of ISO 8601: the week of an instant, and the instants of a week."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.line.weeks import week_ends, week_of


def test_the_first_week_has_the_years_first_thursday() -> None:
    """2026 has 53 weeks; 2027 begins on a Friday, so its first week on Monday the 4th."""
    assert ("2026-W53", "2027-W01") == (week_of(1_799_020_799_999), week_of(1_799_020_800_000))
    assert (1_799_020_800_000, 1_799_625_599_999) == week_ends("2027-W01")


EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


@given(st.integers(0, 7_258_118_400_000))
def test_an_instant_lies_in_its_week_alone(ms: int) -> None:
    """Both ends of a week are of it, the milliseconds beside them of others; as the C library counts."""
    week = week_of(ms)
    ends = week_ends(week)
    assert ends is not None
    first, last = ends
    assert first <= ms <= last
    assert (week, week) == (week_of(first), week_of(last))
    assert week not in {week_of(first - 1), week_of(last + 1)}
    assert (EPOCH + dt.timedelta(milliseconds=ms)).strftime("%G-W%V") == week


@pytest.mark.parametrize("name", ["2027-W53", "2026-W00", "2026-W5", "2026W05", "0000-W01", "2026-W05 ", "SL-1", ""])
def test_what_is_no_week_has_no_ends(name: str) -> None:
    """A week that its year does not have, and any other form."""
    assert week_ends(name) is None
