"""ledger.conformity.uncertainty: the laws of a budget, what is refused, and its table."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity import uncertainty as unc
from ledger.errors import MalformedQuantity

PARTS = st.floats(1e-3, 1e3)
DOFS = st.one_of(st.floats(1, 1e4), st.just(math.inf))
TERMS = st.lists(
    st.builds(
        unc.Term,
        name=st.just("part"),
        u=PARTS,
        unit=st.just("lb"),
        sensitivity=st.floats(-10, 10).filter(lambda c: abs(c) > 1e-3),
        dof=DOFS,
    ),
    min_size=1,
    max_size=6,
)
SOUND = unc.Calibration(U=0.02)


def budget_of(terms: Sequence[unc.Term], *correlations: unc.Correlation) -> unc.Budget:
    """A budget about a value of one pound."""
    return unc.Budget(name="weight", value=1.0, unit="lb", terms=tuple(terms), correlations=correlations)


def two_terms(r: float, first: float = 3.0, second: float = 4.0) -> unc.Budget:
    """Two terms, of one pound each times their sensitivity, correlated by r."""
    terms = [
        unc.Term(name="a", u=1.0, unit="lb", sensitivity=first, dof=9),
        unc.Term(name="b", u=1.0, unit="lb", sensitivity=second, dof=5),
    ]
    return budget_of(terms, unc.Correlation("a", "b", r))


@given(TERMS)
def test_u_lies_between_the_largest_part_and_the_sum(terms: list[unc.Term]) -> None:
    """Independent parts add up to no less than the largest and no more than all of them."""
    parts = [term.contribution for term in terms]
    assert max(parts) * (1 - 1e-12) <= budget_of(terms).u <= sum(parts) * (1 + 1e-12)


@given(TERMS)
def test_effective_dof_lies_between_the_fewest_and_the_sum(terms: list[unc.Term]) -> None:
    """GUM G.4.1, note: nu_eff is at least the fewest of a term and at most the sum of all."""
    dofs = [term.dof for term in terms]
    assert min(dofs) * (1 - 1e-9) <= budget_of(terms).dof <= sum(dofs) * (1 + 1e-9)


@given(TERMS, st.permutations(range(6)))
def test_the_order_of_terms_changes_nothing(terms: list[unc.Term], order: list[int]) -> None:
    """A budget is a set of reasons."""
    shuffled = [terms[i] for i in order if i < len(terms)]
    assert budget_of(terms).u == pytest.approx(budget_of(shuffled).u, rel=1e-12)
    assert budget_of(terms).dof == pytest.approx(budget_of(shuffled).dof, rel=1e-9)


@given(DOFS, st.floats(0.5, 0.999))
def test_fewer_dof_and_more_coverage_widen(dof: float, p: float) -> None:
    """The factor falls with the degrees of freedom, grows with the coverage, and is never below the normal one."""
    normal = unc.coverage_factor(math.inf, p)
    assert normal <= unc.coverage_factor(dof, p) * (1 + 1e-9)
    assert unc.coverage_factor(dof, p) <= unc.coverage_factor(dof / 2, p) * (1 + 1e-9)
    assert unc.coverage_factor(dof, p) < unc.coverage_factor(dof, (1 + p) / 2)


@given(st.floats(-1, 1))
def test_two_correlated_terms_follow_the_law_of_cosines(r: float) -> None:
    """u^2 = a^2 + b^2 + 2 r a b, by eq. 16 of the GUM."""
    assert two_terms(r).variance == pytest.approx(9 + 16 + 24 * r, abs=1e-9)


def test_full_correlation_adds_and_cancels() -> None:
    """With r = 1 parts of one sign add, and equal parts of opposite signs leave nothing."""
    assert two_terms(1.0).u == 7.0
    assert two_terms(1.0, 3.0, -3.0).u == 0.0
    assert two_terms(0.0).dof == 5


@given(
    st.lists(st.floats(14, 16), min_size=2, max_size=40),
    st.floats(0, 0.1),
    st.floats(1, 3),
    st.floats(0, 0.1),
)
def test_the_mean_s_budget_is_its_formula(values: list[float], expanded: float, k: float, step: float) -> None:
    """u^2 = s^2/n + u_cal^2 + res^2/12, whatever the readings."""
    budget = unc.mean_budget(values, unit="lb", calibration=unc.Calibration(U=expanded, k=k), resolution=step)
    mean, s = unc.mean_and_s(values)
    assert mean == budget.value
    assert budget.variance == pytest.approx(s**2 / len(values) + (expanded / k) ** 2 + step**2 / 12, rel=1e-9)


@given(st.integers(1, 10_000))
def test_more_readings_never_take_the_calibration_away(n: int) -> None:
    """However many readings, u stays above the calibration's, and falls towards it."""
    study = unc.Repeatability(s=0.5, dof=30)
    budgets = [
        unc.mean_budget([15.0] * count, unit="lb", calibration=SOUND, resolution=0, repeatability=study)
        for count in (n, n + 1)
    ]
    assert 0.01 < budgets[1].u < budgets[0].u


def test_one_reading_is_enough_beside_a_study() -> None:
    """A single reading has no scatter of its own, so it needs the gauge's."""
    study = unc.Repeatability(s=0.03, dof=30)
    budget = unc.mean_budget([15.1], unit="lb", calibration=SOUND, resolution=0.01, repeatability=study)
    assert (15.1, 0.03) == (budget.value, budget.terms[0].u)
    with pytest.raises(MalformedQuantity, match="too few"):
        unc.mean_budget([15.1], unit="lb", calibration=SOUND, resolution=0.01)


def test_equal_readings_leave_calibration_and_resolution() -> None:
    """A gauge that shows one value five times is not therefore exact."""
    budget = unc.mean_budget([73.0] * 5, unit="shore_d", calibration=unc.Calibration(U=1.0), resolution=1.0)
    assert budget.u == pytest.approx(math.sqrt(0.25 + 1 / 12))
    assert math.inf == budget.dof


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda: unc.Term(name="a", u=-0.1, unit="lb"), "uncertainty of a is impossible"),
        (lambda: unc.Term(name="a", u=math.nan, unit="lb"), "uncertainty of a is impossible"),
        (lambda: unc.Term(name="a", u=1.0, unit="lb", sensitivity=math.inf), "sensitivity is not finite"),
        (lambda: unc.Term(name="a", u=1.0, unit="lb", dof=0), "degrees of freedom"),
        (lambda: two_terms(1.1), "outside -1 to 1"),
        (lambda: two_terms(math.nan), "outside -1 to 1"),
        (lambda: budget_of([], unc.Correlation("a", "b", 0.5)), "not of two terms"),
        (lambda: budget_of(two_terms(0).terms, unc.Correlation("a", "a", 0.5)), "each pair"),
        (lambda: unc.mean_budget([], unit="lb", calibration=SOUND, resolution=0.01), "missing"),
        (lambda: unc.mean_budget([1.0, math.inf], unit="lb", calibration=SOUND, resolution=0.01), "not finite"),
        (lambda: unc.mean_budget([1, 2], unit="lb", calibration=unc.Calibration(U=1, k=0), resolution=0), "factor"),
        (lambda: unc.mean_budget([1, 2], unit="lb", calibration=SOUND, resolution=-1), "resolution"),
        (lambda: unc.coverage_factor(5, 1.0), "coverage probability"),
        (lambda: unc.coverage_factor(0), "degrees of freedom"),
        (lambda: two_terms(0).expanded_by(0), "coverage factor"),
        (lambda: unc.rectangular(-1), "half-width"),
    ],
)
def test_impossible_figures_are_refused(make: Callable[[], object], reason: str) -> None:
    """What cannot be a term, a budget or a factor is refused with the reason."""
    with pytest.raises(MalformedQuantity, match=reason):
        make()


def test_correlations_that_contradict_each_other_are_refused() -> None:
    """Three terms cannot each be the opposite of the two others."""
    terms = [unc.Term(name=name, u=1.0, unit="lb") for name in "abc"]
    pairs = [unc.Correlation(a, b, -1.0) for a, b in ("ab", "bc", "ac")]
    with pytest.raises(MalformedQuantity, match="contradict"):
        _ = budget_of(terms, *pairs).u


@given(TERMS)
def test_the_shares_add_up(terms: list[unc.Term]) -> None:
    """The last column is the whole of u^2."""
    shares = [float(row[-1].removesuffix(" %")) for row in unc.budget_rows(budget_of(terms))]
    assert sum(shares) == pytest.approx(100, abs=0.05 * len(terms) + 1e-9)


def test_the_remainder_of_correlated_terms_has_its_row() -> None:
    """What correlation takes away is shown, so that the shares still add up."""
    rows = unc.budget_rows(two_terms(-0.5))
    assert [("a", "69.2 %"), ("b", "123.1 %"), ("correlation", "-92.3 %")] == [(row[0], row[-1]) for row in rows]


def test_the_table_reads_as_a_report_prints_it() -> None:
    """Names, types, figures, u, degrees of freedom and U stand in the text."""
    budget = unc.mean_budget(
        [15.02, 15.03, 15.01, 15.02, 15.04], unit="lb", calibration=SOUND, resolution=0.01, name="weight"
    )
    lines = unc.format_budget(budget).split("\n")
    assert "weight: 15.02400 lb" == lines[0]
    assert re.split("  +", lines[1]) == list(unc.HEADER)
    assert ["calibration", "B", "0.0100", "lb", "1.000", "infinite", "0.0100", "74.4 %"] == re.split("  +", lines[3])
    assert [
        "combined standard uncertainty u = 0.0116 lb",
        "effective degrees of freedom 107",
        "expanded uncertainty U = 0.023 lb (k = 1.98, 0.95 coverage)",
    ] == lines[5:]


def test_units_are_printed_as_everywhere() -> None:
    """A unit of the table is printed by its name, and a model's own as it is."""
    terms = (unc.Term(name="a", u=1.0, unit="shore_d"), unc.Term(name="b", u=1.0, unit="lb.in2"))
    budget = unc.Budget(name="hardness", value=73.0, unit="shore_d", terms=terms)
    assert ["Shore D", "lb.in2"] == [row[3] for row in unc.budget_rows(budget)]
    assert "u = 1.41 Shore D" in unc.format_budget(budget)


@given(st.floats(-1e12, 1e12), st.integers(1, 8))
def test_figures_are_decimal_text_close_to_the_value(value: float, figures: int) -> None:
    """Rounded text has no exponent and is within half a step of the last figure."""
    text = unc.in_figures(value, figures)
    assert "e" not in text.lower()
    assert float(text) == pytest.approx(value, rel=0.5 * 10 ** (1 - figures) * (1 + 1e-9))
