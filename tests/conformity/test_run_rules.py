"""ledger.conformity.run_rules: the conventions that the module states, one by one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.run_rules import Signal, scan

z_values = st.lists(
    st.floats(-4, 4).map(lambda z: round(z, 1)) | st.sampled_from([-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0]), max_size=40
)


def at(z: list[float], rule: int) -> list[int]:
    """Where a rule signals."""
    return [signal.index for signal in scan(z, (rule,))]


@pytest.mark.parametrize(
    ("rule", "z", "where"),
    [
        (1, [3.0, 3.1, -3.0, -3.1], [1, 3]),
        (2, [2.1, 0.0, 2.1], [2]),
        (2, [2.1, 0.0, 2.0], []),
        (2, [2.1, 0.0, 0.0, 2.1], []),
        (2, [2.1, 2.1, 0.0], [1]),
        (2, [2.1, -2.1, 0.0], []),
        (3, [1.1, 1.1, 0.0, 1.1, 1.1], [4]),
        (3, [1.1, 1.1, 1.1, 1.1, 0.0], [3]),
        (3, [1.1, 1.1, 1.0, 1.0, 1.1], []),
        (4, [0.1] * 9, [7, 8]),
        (4, [0.1] * 4 + [0.0] + [0.1] * 7, []),
        (4, [-0.1] * 7 + [0.1], []),
        (4, [-0.1] * 8, [7]),
    ],
)
def test_each_rule_signals_where_it_says(rule: int, z: list[float], where: list[int]) -> None:
    """Zones are strict, the last point must be in the zone, sides are not mixed, 0 breaks a run, a run goes on."""
    assert where == at(z, rule)


@given(z_values)
def test_mirrored_points_signal_on_the_other_side(z: list[float]) -> None:
    """The rules know no up and down."""
    other = {"above": "below", "below": "above"}
    assert scan([-one for one in z]) == tuple(Signal(one.rule, one.index, other[one.side]) for one in scan(z))


@given(z_values, z_values)
def test_what_comes_after_changes_no_signal(z: list[float], later: list[float]) -> None:
    """A signal stands at the last point of its pattern, so further points only add signals."""
    before = scan(z)
    assert before == tuple(one for one in scan(z + later) if one.index < len(z))


@given(z_values)
def test_a_signal_is_a_pattern_counted_anew(z: list[float]) -> None:
    """Counted the plain way, rule by rule, the same signals come out."""
    expected = set()
    for index, last in enumerate(z):
        for rule, zone, needed, width in ((1, 3, 1, 1), (2, 2, 2, 3), (3, 1, 4, 5), (4, 0, 8, 8)):
            window = z[: index + 1][-width:]
            for side, sign in (("above", 1), ("below", -1)):
                if sign * last > zone and len([one for one in window if sign * one > zone]) >= needed:
                    expected.add((index, rule, side))
    assert sorted(expected) == [(one.index, one.rule, one.side) for one in scan(z)]


def test_words_name_rule_and_side() -> None:
    """Each rule has words, with the side in them."""
    assert "beyond 3 sigma above" == Signal(1, 0, "above").words
    assert "8 in a row below the centre line" == Signal(4, 0, "below").words
    assert all("above" in Signal(rule, 0, "above").words for rule in (1, 2, 3, 4))
