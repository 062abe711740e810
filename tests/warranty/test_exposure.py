"""Time at risk by cohort and band of age."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ledger.warranty.exposure import BAND_ENDS, Spell, by_band, spell_columns

SPELLS = st.lists(
    st.builds(
        Spell,
        cohort=st.integers(0, 3),
        days=st.integers(0, 5_000),
        balls=st.integers(1, 9),
        claimed=st.booleans(),
        out=st.booleans(),
    ),
    max_size=30,
)


@given(SPELLS)
def test_no_day_is_lost_or_counted_twice(spells: list[Spell]) -> None:
    """The bands of a cohort hold its ball-days, a day of sale half a day; and each claim is in the band of its age."""
    banded = by_band(spell_columns(spells), 4)
    for cohort in range(4):
        own = [one for one in spells if one.cohort == cohort]
        assert banded.ball_days[cohort].sum() == sum(max(one.days, 0.5) * one.balls for one in own)
        assert banded.claims[cohort].sum() == sum(one.balls for one in own if one.claimed)
        for one in own:
            band = next(place for place, end in enumerate(BAND_ENDS) if max(one.days, 0.5) <= end)
            assert not one.claimed or banded.claims[cohort, band] >= one.balls


def test_a_spell_is_split_at_the_ends_of_bands() -> None:
    """Thirty days of two balls: 56 in the first band, 4 in the second, where the claim is."""
    banded = by_band(spell_columns([Spell(0, 30, 2, claimed=True)]), 1)
    assert ([56.0, 4.0, 0.0], [0.0, 2.0, 0.0]) == (banded.ball_days[0, :3].tolist(), banded.claims[0, :3].tolist())


def test_a_claim_on_the_last_day_of_a_band_is_in_it() -> None:
    """Its time at risk ends there and does not reach the next band."""
    banded = by_band(spell_columns([Spell(0, 28, 1, claimed=True)]), 1)
    assert (28.0, 0.0, 1.0) == (banded.ball_days[0, 0], banded.ball_days[0, 1], banded.claims[0, 0])


def test_spells_of_some_cohorts() -> None:
    """By a flag for each."""
    columns = spell_columns([Spell(0, 5, 1), Spell(1, 6, 2), Spell(0, 7, 3, out=True)])
    kept = columns.of(np.array([True, False]))
    assert ([5.0, 7.0], [1, 3], [False, True]) == (kept.days.tolist(), kept.balls.tolist(), kept.out.tolist())


def test_no_spell_at_all() -> None:
    """Columns of no length."""
    assert 0 == len(spell_columns([]).days)
