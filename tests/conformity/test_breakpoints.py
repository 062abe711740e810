"""Pieces between breakpoints: every whole number lies on one, or strictly between two."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from ledger.conformity.breakpoints import Pieces

points = st.lists(st.fractions(min_value=-20, max_value=20, max_denominator=4), max_size=40)


@given(points)
@example([])
@example([Fraction(5), Fraction(11, 2), Fraction(23, 4), Fraction(6)])
@example([Fraction(number, 41) for number in range(82)])
def test_a_piece_is_numbered_by_the_breakpoints_below_and_at_a_number(found: list[Fraction]) -> None:
    """Twice as many as lie below it, and one more on one of them; however many there are between two numbers."""
    values = [-(2**62), *range(-22, 23), 2**62]
    pieces, distinct = Pieces(found), set(found)
    expected = [2 * sum(point < value for point in distinct) + (Fraction(value) in distinct) for value in values]
    assert expected == pieces.of(np.array(values, dtype=np.int64)).tolist()
    assert 2 * len(distinct) + 1 == pieces.count
