"""How long a name must wait after failed sign-ins."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ledger.access.lockout import FORGOTTEN_MS, LONGEST_WAIT_MS, left_ms, standing_failures, wait_ms


def test_the_waits_are_those_stated() -> None:
    """Nothing for four failures; 30 s for the fifth, doubled by each further one, up to 15 minutes."""
    assert [0, 0, 0, 0, 0, 30, 60, 120, 240, 480, 900, 900] == [wait_ms(failures) // 1000 for failures in range(12)]


@given(st.integers(5, 10**9), st.integers(0, LONGEST_WAIT_MS))
def test_a_wait_never_shrinks_and_ends_when_stated(failures: int, passed: int) -> None:
    """More failures never mean a shorter wait; what is left of it is the wait less the time that passed."""
    assert wait_ms(failures) <= wait_ms(failures + 1) <= LONGEST_WAIT_MS
    assert max(0, wait_ms(failures) - passed) == left_ms(failures, 1_000, 1_000 + passed)


def test_failures_are_forgotten_after_a_day() -> None:
    """A day after the last one they count no more; a millisecond earlier they do."""
    assert (9, 0) == (standing_failures(9, 5, 4 + FORGOTTEN_MS), standing_failures(9, 5, 5 + FORGOTTEN_MS))


def test_a_clock_that_went_back_makes_no_wait_longer() -> None:
    """A last failure in the future is waited for with its own wait, and with none where it has none."""
    assert [0, 30_000, 60_000] == [left_ms(failures, 10**9, 0) for failures in (4, 5, 6)]
