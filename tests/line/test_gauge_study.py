"""ledger.line.gauge_study: the analysis of variance is exact, and its figures are whole millionths."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedRecord
from ledger.line.gauge_study import (
    Components,
    analyse,
    check_layout,
    estimate,
    parse_layout,
    root_millionths,
    spread,
)

Readings = tuple[tuple[tuple[Fraction, ...], ...], ...]

values = st.integers(-500, 500).map(lambda number: Fraction(number, 100))


@st.composite
def layouts(draw: st.DrawFn) -> Readings:
    """A balanced study of 2 to 4 operators, trials and parts."""
    o, t, p = (draw(st.integers(2, 4)) for _ in range(3))
    return tuple(tuple(tuple(draw(values) for _ in range(p)) for _ in range(t)) for _ in range(o))


def small() -> Readings:
    """2 operators, 2 trials, 2 parts, worked by hand below."""
    return parse_layout([[["1.0", "3.0"], ["1.2", "3.2"]], [["1.4", "3.4"], ["1.6", "3.6"]]])


def test_a_small_study_gives_what_the_hand_gives() -> None:
    """Operators differ by 0.4, parts by 2, trials by 0.2, and nothing interacts."""
    anova = analyse(small())
    # 8 readings: parts +-1, operators +-0.2, trials +-0.1 about their mean.
    assert (Fraction(8), 1) == (anova.part.ss, anova.part.df)
    assert (Fraction("0.32"), 1) == (anova.operator.ss, anova.operator.df)
    assert (Fraction(0), 1) == (anova.interaction.ss, anova.interaction.df)
    assert (Fraction("0.08"), 4) == (anova.equipment.ss, anova.equipment.df)
    assert Fraction("2.3") == anova.mean


def test_pooling_moves_the_interaction_into_the_equipment() -> None:
    """The pooled mean square has both sums over both degrees of freedom, and the others are held against it."""
    found = estimate(analyse(small()), pool=True)
    assert (Fraction("0.08") / 5, 5, Fraction(0)) == (found.equipment, found.repeat_df, found.interaction)
    assert (Fraction("0.32") - Fraction("0.016")) / 4 == found.operator
    assert (8 - Fraction("0.016")) / 4 == found.part
    assert () == found.clamped


def test_unpooled_components_are_held_against_the_interaction() -> None:
    """Without pooling a negative interaction is set to 0 and named, and operators are tested against it."""
    found = estimate(analyse(small()), pool=False)
    assert (Fraction("0.02"), 4) == (found.equipment, found.repeat_df)
    assert (Fraction("0.32") / 4, Fraction(2)) == (found.operator, found.part)
    assert (Fraction(0), ("interaction",)) == (found.interaction, found.clamped)


def test_the_spread_is_in_whole_millionths() -> None:
    """Roots of the components, each to the nearest millionth; 1.41 PV/GRR is cut off."""
    found = spread(estimate(analyse(small()), pool=True))
    assert (126491, 275681, 0, 275681) == (
        found.repeatability,
        found.operator,
        found.interaction,
        found.reproducibility,
    )
    assert (303315, 1412799, 1444991) == (found.grr, found.part, found.total)
    assert (6, 5, True) == (found.ndc, found.repeat_df, found.pooled)


def test_without_scatter_there_is_no_f_and_no_number_of_categories() -> None:
    """A gauge that reads the same each time has components of 0, and no ratio is invented."""
    anova = analyse(parse_layout([[["1", "2"], ["1", "2"]], [["1", "2"], ["1", "2"]]]))
    found = spread(estimate(anova, pool=False))
    assert anova.f_interaction is None
    assert (0, None, 707107) == (found.grr, found.ndc, found.part)


@given(layouts())
def test_the_sums_of_squares_add_up_to_the_total(layout: Readings) -> None:
    """The four effects make up the scatter about the mean exactly, in squares and in degrees of freedom."""
    anova = analyse(layout)
    readings = [value for operator in layout for trial in operator for value in trial]
    assert sum((value - anova.mean) ** 2 for value in readings) == anova.total.ss
    assert len(readings) - 1 == anova.total.df
    assert all(row.ss >= 0 for row in (anova.operator, anova.part, anova.interaction, anova.equipment))


@given(layouts(), values, st.integers(2, 9), st.randoms(use_true_random=False))
def test_the_study_knows_no_origin_and_no_order(layout: Readings, shift: Fraction, factor: int, random: Random) -> None:
    """A shift changes nothing, a factor multiplies squares by its own, and the order of operators and trials is free."""
    mixed = [list(operator) for operator in layout]
    random.shuffle(mixed)
    for operator in mixed:
        random.shuffle(operator)
    changed = analyse([[[factor * value + shift for value in trial] for trial in operator] for operator in mixed])
    first = analyse(layout)
    for name in ("operator", "part", "interaction", "equipment"):
        assert factor**2 * getattr(first, name).ss == getattr(changed, name).ss


@given(layouts(), st.booleans())
def test_components_are_not_negative_and_add_up(layout: Readings, pool: bool) -> None:  # noqa: FBT001  # drawn
    """Every component is at least 0, and GRR and total are their sums."""
    found = estimate(analyse(layout), pool=pool)
    assert min(found.equipment, found.operator, found.interaction, found.part) >= 0
    assert found.equipment + found.operator + found.interaction + found.part == found.total == found.grr + found.part


@given(st.fractions(min_value=0, max_value=10**6, max_denominator=10**9))
def test_the_root_is_the_nearest_millionth(variance: Fraction) -> None:
    """The true root lies within half a millionth, ends decided by whole numbers."""
    root = root_millionths(variance)
    assert max(0, 2 * root - 1) ** 2 <= 4 * variance * 10**12 < (2 * root + 1) ** 2


@given(st.fractions(min_value=0, max_value=100), st.fractions(min_value="0.01", max_value=100))
def test_the_number_of_categories_is_cut_off(part: Fraction, grr: Fraction) -> None:
    """Ndc is the largest whole number not above 1.41 PV/GRR."""
    none = Fraction(0)
    found = Components(
        equipment=grr, operator=none, interaction=none, part=part, pooled=True, repeat_df=1, clamped=()
    ).ndc
    assert found is not None
    assert found**2 * grr <= Fraction("1.41") ** 2 * part < (found + 1) ** 2 * grr


@pytest.mark.parametrize(
    ("layout", "where"),
    [
        ([], "readings"),
        ([[["1", "2"], ["1", "2"]]], "readings"),
        ([[["1", "2"]], [["1", "2"]]], "readings[0]"),
        ([[["1"], ["1"]], [["1"], ["1"]]], "readings[0][0]"),
        ([[["1", "2"], ["1", "2"]], [["1", "2"]]], "readings[1]"),
        ([[["1", "2"], ["1", "2"]], [["1", "2"], ["1", "2", "3"]]], "readings[1][1]"),
    ],
)
def test_a_study_that_is_small_or_unbalanced_is_refused_with_its_place(
    layout: list[list[list[str]]], where: str
) -> None:
    """Fewer than two of anything, and rows of unequal length."""
    with pytest.raises(MalformedRecord) as caught:
        check_layout(layout)
    assert where == caught.value.where


@pytest.mark.parametrize("text", ["1e3", "", "1,5", "nan", "--1", "1" * 33])
def test_a_reading_that_is_no_decimal_is_refused_with_its_place(text: str) -> None:
    """The place of the text is named."""
    with pytest.raises(MalformedRecord) as caught:
        parse_layout([[["1", "2"], ["1", "2"]], [["1", "2"], ["1", text]]])
    assert "readings[1][1][1]" == caught.value.where
