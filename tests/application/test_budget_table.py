"""A budget as answered: the rows of the report, in words and figures."""

from __future__ import annotations

import pytest

from ledger.application.budget_table import figures_of, rows_of, table_lines
from ledger.conformity.uncertainty import Budget, Correlation, Term, budget_rows


def budget(**changes: object) -> Budget:
    """Two terms, the second with few degrees of freedom."""
    terms = (
        Term(name="first", u=0.3, unit="in", how="certificate"),
        Term(name="second", u=0.4, unit="in", kind="A", dof=5),
    )
    return Budget(name="sum", value=1.0, unit="in", terms=terms, **changes)  # type: ignore[arg-type]  # as asked


def test_rows_are_those_of_the_report() -> None:
    """Every cell of `budget_rows` under its name, and where the term comes from."""
    rows = rows_of(budget())
    shown = [(r.term, r.type, r.u, r.unit, r.sensitivity, r.dof, r.contribution, r.share) for r in rows]
    assert budget_rows(budget()) == shown
    assert ["certificate", ""] == [row.how for row in rows]


def test_a_correlation_has_a_row_of_its_own() -> None:
    """Which names no source."""
    rows = rows_of(budget(correlations=(Correlation("first", "second", 0.5),)))
    assert ("correlation", "") == (rows[-1].term, rows[-1].how)


def test_what_the_terms_make_together() -> None:
    """u, effective degrees of freedom, k and U; infinite degrees of freedom are left empty."""
    found = figures_of(budget())
    assert (0.5, 5 * 0.5**4 / 0.4**4) == pytest.approx((found.u, found.dof))
    assert found.k * 0.5 == pytest.approx(found.U)
    sure = Budget(name="one", value=1.0, unit="in", terms=(Term(name="first", u=0.3, unit="in"),))
    assert figures_of(sure).dof is None
    assert 1.959964 == pytest.approx(figures_of(sure).k, abs=1e-6)


def test_lines_stand_in_columns() -> None:
    """Every cell begins under its name."""
    lines = table_lines(rows_of(budget()))
    at = lines[0].index("how")
    assert "certificate" == lines[1][at:]
    assert 3 == len(lines)
