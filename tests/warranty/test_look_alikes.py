"""The table of look-alikes."""

from __future__ import annotations

from ledger.warranty.look_alikes import ALTERNATIVES, LOOK_ALIKE_CAUTION, LOOK_ALIKES, OFTEN, SELDOM


def test_the_named_pairs_are_the_likeliest() -> None:
    """3 and 8, 8 and B, 5 and S, 2 and Z are often read for each other."""
    often = {pair.one + pair.other for pair in LOOK_ALIKES if pair.factor == OFTEN}
    assert {"38", "8B", "5S", "2Z"} <= often


def test_the_table_goes_both_ways_and_names_no_pair_twice() -> None:
    """Each character of a pair leads to the other, with one factor, likeliest first."""
    assert len(LOOK_ALIKES) == len({frozenset((pair.one, pair.other)) for pair in LOOK_ALIKES})
    for pair in LOOK_ALIKES:
        assert (pair.other, pair.factor) in ALTERNATIVES[pair.one]
        assert (pair.one, pair.factor) in ALTERNATIVES[pair.other]
    for others in ALTERNATIVES.values():
        assert sorted((factor for _, factor in others), reverse=True) == [factor for _, factor in others]
    assert 0 < SELDOM < OFTEN < 1


def test_the_table_says_that_it_has_no_source() -> None:
    """Whoever is shown a look-alike is told what the order rests on."""
    assert "common practice, no source" in LOOK_ALIKE_CAUTION
