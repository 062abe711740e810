"""What the desk owes next, and by when."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.warranty.deadlines import STEP_WORDS, due_of
from ledger.warranty.terms import DEFAULT_DEADLINES, Deadlines

SINCE = dt.date(2026, 3, 1)


@pytest.mark.parametrize(
    ("state", "step", "days"),
    [
        ("open", "first_answer", 14),
        ("sent-back", "examination", 30),
        ("examined", "decision", 30),
        ("waiting", "request", 21),
    ],
)
def test_each_state_owes_its_step(state: str, step: str, days: int) -> None:
    """The default days run from the day since which the claim is in that state."""
    due = due_of(state, SINCE, None, DEFAULT_DEADLINES, SINCE)
    assert due is not None
    assert (step, SINCE + dt.timedelta(days=days), False, 0) == (due.step, due.on, due.stated, due.days_over)
    assert STEP_WORDS[due.step]


@pytest.mark.parametrize("state", ["accept", "reject", "goodwill"])
def test_a_decided_claim_owes_nothing(state: str) -> None:
    """After the decision no step is due."""
    assert due_of(state, SINCE, SINCE, DEFAULT_DEADLINES, SINCE + dt.timedelta(days=999)) is None


def test_a_stated_day_goes_first() -> None:
    """The day that a record names counts, and not the plant's number of days."""
    due = due_of("open", SINCE, dt.date(2026, 3, 5), Deadlines(first_answer=40), dt.date(2026, 3, 6))
    assert due is not None
    assert (dt.date(2026, 3, 5), True, 1) == (due.on, due.stated, due.days_over)


@given(st.integers(0, 100))
def test_days_over_count_from_the_day_after(passed: int) -> None:
    """The due day itself is not over."""
    due = due_of("open", SINCE, None, DEFAULT_DEADLINES, SINCE + dt.timedelta(days=passed))
    assert due is not None
    assert max(0, passed - 14) == due.days_over
