"""Lots as accounts: what is left, and what may be drawn."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import RuleStands
from ledger.line.lots import clock_error_ms, grams, left_of, refuse_shortage
from ledger.line.rows import Lot
from tests.line.making import at, material, stocked_plant


@given(st.integers(0, 10**9), st.integers(0, 999))
def test_grams_are_exact(kg: int, g: int) -> None:
    """Three decimals of a kilogram are grams, whatever their size."""
    assert kg * 1000 + g == grams(f"{kg}.{g:03d}")


def test_what_is_left_is_made_and_adjusted_less_used_and_lost() -> None:
    """One sum for every stage."""
    lot: Lot = stocked_plant().row(Lot, "SL-1")
    assert 20 == left_of(lot)


def test_a_decision_that_takes_more_than_is_left_is_refused() -> None:
    """Exactly what is left may go."""
    lot: Lot = stocked_plant().row(Lot, "SL-1")
    refuse_shortage(lot, 20, where="count")
    with pytest.raises(RuleStands) as refusal:
        refuse_shortage(lot, 21, where="count")
    assert ("at most 20", "count") == (refusal.value.expected, refusal.value.where)


def test_a_time_ahead_of_the_service_shows_an_error_of_its_own() -> None:
    """What was stated, or how far the time lies ahead, whichever is more."""
    record = material("X", at=at(1, "09:10"), clock_error_s=60)
    taken = 1_767_258_000_000  # 2026-01-01T09:00:00Z
    assert [60_000, 600_000, 60_000] == [clock_error_ms(record, when) for when in (None, taken, taken + 600_000)]
