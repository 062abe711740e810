"""An uncertainty budget as it is answered: a row a term in the figures of a report, then what the terms make together."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from ledger.conformity.uncertainty import HEADER, LEVEL, Budget, budget_rows


class BudgetRow(msgspec.Struct, frozen=True, kw_only=True):
    """A term. ``type``: A from a series of readings, B from anything else (GUM 4.2, 4.3); figures are text, rounded.

    ``u``: standard uncertainty in ``unit``.  ``sensitivity``: unit of the result per ``unit``.  ``dof``: degrees of
    freedom, or "infinite".  ``contribution``: |sensitivity| u.  ``share``: of the variance.  ``how``: where it comes from.
    """

    term: str
    type: str
    u: str
    unit: str
    sensitivity: str
    dof: str
    contribution: str
    share: str
    how: str = ""


class BudgetFigures(msgspec.Struct, frozen=True, kw_only=True):
    """Combined standard uncertainty ``u``, expanded ``U`` = k u at coverage ``p``, in the unit of the result.

    ``dof``: effective degrees of freedom, which k follows (Student's t); None where they are infinite.
    """

    u: float
    U: float
    k: float
    dof: float | None
    p: float
    budget: tuple[BudgetRow, ...]


def rows_of(budget: Budget) -> tuple[BudgetRow, ...]:
    """The rows of a budget, in its order."""
    hows = [term.how for term in budget.terms]
    shown = budget_rows(budget)
    hows += [""] * (len(shown) - len(hows))
    return tuple(
        BudgetRow(**dict(zip(HEADER, row, strict=True)), how=how) for row, how in zip(shown, hows, strict=True)
    )


def figures_of(budget: Budget, p: float = LEVEL) -> BudgetFigures:
    """What the terms of a budget make together, at coverage ``p``."""
    expanded = budget.expanded(p)
    return BudgetFigures(
        u=budget.u,
        U=expanded.U,
        k=expanded.k,
        dof=None if math.isinf(expanded.dof) else expanded.dof,
        p=p,
        budget=rows_of(budget),
    )


def table_lines(rows: Sequence[BudgetRow]) -> list[str]:
    """The rows in aligned columns, under their names; the last column says where each comes from."""
    names = (*HEADER, "how")
    cells = [names, *([str(getattr(row, name)) for name in names] for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(names))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in cells]
