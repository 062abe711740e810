"""ledger.conformity.sampling: the table keeps its own laws, and curves fall."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.sampling import (
    LETTERS,
    MASTER,
    SAMPLE_SIZES,
    accept_chance,
    accept_chance_of_lot,
    failing_at,
    find_letter,
    find_plan,
    operating_curve,
    plan_line,
)
from ledger.errors import MalformedQuantity

NUMBERS = [0, 1, 2, 3, 5, 7, 10, 14, 21]

plans = st.integers(1, 300).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, min(n - 1, 21))))


def test_letters_cover_every_lot_once() -> None:
    """Table I has no gap and no overlap, and each of its letters has a sample size."""
    ends = [(least, largest) for _, least, largest in LETTERS]
    assert [largest + 1 for _, largest in ends[:-1]] == [least for least, _ in ends[1:]]
    assert [letter for letter, _, _ in LETTERS] == list(SAMPLE_SIZES)[:-1]
    assert "R" == list(SAMPLE_SIZES)[-1]


def test_columns_of_the_master_table_run_along_its_diagonal() -> None:
    """Down arrows, 0, an up and a down arrow, then 1, 2, 3, 5, 7, 10, 14, 21, then up arrows; one letter less an AQL."""
    starts = []
    for column in MASTER.values():
        cells = column.split()
        first = cells.index("0")
        starts.append(first)
        run = [0, "^", "v", *NUMBERS[1:]]
        expected = ["v"] * first + [str(cell) for cell in run] + ["^"] * 16
        assert len(SAMPLE_SIZES) == len(cells)
        assert expected[: len(cells)] == cells
    assert [6, 5, 4, 3, 2, 1] == starts


@given(st.integers(2, 10**6), st.sampled_from(sorted(MASTER)))
def test_a_plan_is_a_row_of_the_table(lot: int, aql: str) -> None:
    """Sample and acceptance number come from one row, rejection is one more, and the lot bounds the sample."""
    plan = find_plan(lot, aql)
    assert find_letter(lot) == plan.lot_letter
    assert str(plan.accept) == MASTER[aql].split()[list(SAMPLE_SIZES).index(plan.letter)]
    assert (min(SAMPLE_SIZES[plan.letter], lot), plan.accept + 1) == (plan.sample, plan.reject)
    assert (plan.sample == lot) == plan.whole
    assert plan.letter in plan_line(plan)


def test_an_arrow_is_said_in_words() -> None:
    """The line names the letter of the lot and the one it leads to, and where the table was read."""
    assert (
        "inspect 80 of 400: accept with at most 1 failing, reject with 2 "
        "(AQL 0.65, level II, letter J, letter H leads to J; table quoted in a public text)"
    ) == plan_line(find_plan(400, "0.65"))
    assert plan_line(find_plan(10, "1.0")).startswith("inspect all 10: accept with at most 0 failing")
    assert "from memory" in plan_line(find_plan(10, "1.0"))


@given(plans, st.floats(0, 1), st.floats(0, 1))
def test_a_worse_lot_is_accepted_less(plan: tuple[int, int], first: float, second: float) -> None:
    """The curve falls from 1 to 0."""
    better, worse = sorted((first, second))
    assert accept_chance(*plan, better) >= accept_chance(*plan, worse) - 1e-12
    assert ((0.0, 1.0), (1.0, 0.0)) == operating_curve(*plan, (0.0, 1.0))


@given(plans, st.floats(0.01, 0.99))
def test_the_curve_is_read_both_ways(plan: tuple[int, int], chance: float) -> None:
    """The share failing at a chance is accepted with that chance."""
    assert pytest.approx(chance, abs=1e-9) == accept_chance(*plan, failing_at(*plan, chance))


@given(st.integers(1, 60), st.data())
def test_a_small_lot_counts_its_samples(lot: int, drawn: st.DataObject) -> None:
    """Exact chances add up over what may be found, and inspecting everything decides for sure."""
    failing = drawn.draw(st.integers(0, lot))
    sample = drawn.draw(st.integers(1, lot))
    chances = [accept_chance_of_lot(lot, failing, sample, accept) for accept in range(sample + 1)]
    assert sorted(chances) == chances
    assert 1 == chances[-1]
    assert [Fraction(failing <= accept) for accept in range(lot + 1)] == [
        accept_chance_of_lot(lot, failing, lot, accept) for accept in range(lot + 1)
    ]


def test_what_the_tables_do_not_have_is_refused() -> None:
    """A lot of one, an AQL without a column, a plan or share that is none."""
    for refused in (
        lambda: find_letter(1),
        lambda: find_plan(0, "1.0"),
        lambda: find_plan(500, "1"),
        lambda: accept_chance(10, 11, 0.1),
        lambda: accept_chance(0, 0, 0.1),
        lambda: accept_chance(10, 1, 1.5),
        lambda: accept_chance_of_lot(5, 6, 2, 0),
        lambda: accept_chance_of_lot(5, 1, 6, 0),
        lambda: failing_at(10, 1, 1.0),
        lambda: failing_at(10, 10, 0.5),
    ):
        with pytest.raises(MalformedQuantity):
            refused()
