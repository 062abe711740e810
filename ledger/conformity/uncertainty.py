"""Uncertainty budgets: terms, their combined and expanded uncertainty, and the table of them that goes into a report.

Source: JCGM 100:2008 (GUM) 4.2, 4.3, 5.1.2, 5.2.2, 6.2, G.4; clause numbers from memory.

A term is one reason for doubt: a standard uncertainty, how strongly the result follows it (sensitivity), and how well it
is itself known (degrees of freedom, infinite where there is no doubt about it).  Degrees of freedom stay real-valued: a
whole number taken below them gives another factor than the one that GUM G.4.2 prints.

Budgets are linear (first order).  What a budget's terms are is decided by the models (``measurement_models``,
``mass_model``); what follows for a verdict is decided by ``verdict``.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from ledger.errors import MalformedQuantity
from ledger.line.quantity import UNITS

Kind = Literal["A", "B"]

LEVEL = 0.95
"""The coverage probability that is used where none is stated (GUM 6.2.3, from memory)."""

HEADER = ("term", "type", "u", "unit", "sensitivity", "dof", "contribution", "share")
"""What the columns of ``budget_rows`` are; ``contribution`` is |sensitivity| u, in the unit of the result."""


class Term(msgspec.Struct, frozen=True, kw_only=True):
    """One reason for doubt. ``u``: standard uncertainty in ``unit``; ``sensitivity``: unit of the result per ``unit``.

    ``kind``: ``A`` from a series of readings, ``B`` from anything else (GUM 4.2, 4.3).  ``dof``: degrees of freedom.
    ``how``: in words, where it comes from.  Raises MalformedQuantity for a negative or non-finite ``u``, a non-finite
    sensitivity, or ``dof`` of zero and below.
    """

    name: str
    u: float
    unit: str
    kind: Kind = "B"
    sensitivity: float = 1.0
    dof: float = math.inf
    how: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be a term."""
        check_positive(self.u, f"uncertainty of {self.name}", zero_allowed=True)
        if not math.isfinite(self.sensitivity):
            raise MalformedQuantity("sensitivity is not finite", got=self.sensitivity, where=self.name)
        if not self.dof > 0:
            raise MalformedQuantity("degrees of freedom are not positive", got=self.dof, where=self.name)

    @property
    def signed(self) -> float:
        """What the term does to the result, with its sign: sensitivity times u."""
        return self.sensitivity * self.u

    @property
    def contribution(self) -> float:
        """The part of the result's standard uncertainty that the term makes alone, in the unit of the result."""
        return abs(self.signed)


class Correlation(msgspec.Struct, frozen=True):
    """The correlation coefficient of two terms of one budget, by their names (GUM 5.2.2)."""

    first: str
    second: str
    r: float


class Expanded(msgspec.Struct, frozen=True, kw_only=True):
    """An expanded uncertainty U = k u. ``p`` is the coverage probability, None where k was given instead of it."""

    U: float
    k: float
    dof: float
    p: float | None = None


class Budget(msgspec.Struct, frozen=True, kw_only=True):
    """A value, in ``unit``, and every term of its uncertainty.

    Terms are independent of each other except for ``correlations``; a pair is named at most once.
    Raises MalformedQuantity for a correlation outside -1 to 1, of a term with itself, of a pair named twice, or of a
    name that is not exactly one term's.
    """

    name: str
    value: float
    unit: str
    terms: tuple[Term, ...]
    correlations: tuple[Correlation, ...] = ()

    def __post_init__(self) -> None:
        """Refuse correlations that cannot be."""
        names = [term.name for term in self.terms]
        pairs = {frozenset((pair.first, pair.second)) for pair in self.correlations}
        if len(pairs) != len(self.correlations) or any(len(pair) != 2 for pair in pairs):
            raise MalformedQuantity("correlations do not name each pair of two terms once", where=self.name)
        for pair in self.correlations:
            if not -1 <= pair.r <= 1:
                raise MalformedQuantity("correlation is outside -1 to 1", got=pair.r, where=self.name)
            if names.count(pair.first) != 1 or names.count(pair.second) != 1:
                raise MalformedQuantity(
                    "correlation is not of two terms", expected=names, got=[pair.first, pair.second], where=self.name
                )

    @property
    def variance(self) -> float:
        """The square of the combined standard uncertainty (GUM 5.1.2 eq. 10, 5.2.2 eq. 16).

        Raises MalformedQuantity when the correlations contradict each other, so that it would be negative.
        """
        alone = math.fsum(term.signed**2 for term in self.terms)
        signed = {term.name: term.signed for term in self.terms}
        shared = math.fsum(2 * pair.r * signed[pair.first] * signed[pair.second] for pair in self.correlations)
        # Fully correlated terms may cancel, and then only rounding is left.
        if alone + shared < -1e-9 * alone:
            raise MalformedQuantity("correlations contradict each other", where=self.name)
        return max(alone + shared, 0.0)

    @property
    def u(self) -> float:
        """The combined standard uncertainty, in ``unit``."""
        if not self.correlations:
            return math.hypot(*(term.signed for term in self.terms))
        return math.sqrt(self.variance)

    @property
    def dof(self) -> float:
        """Effective degrees of freedom, real-valued (Welch-Satterthwaite, GUM G.4.1 eq. G.2b).

        That formula asks for independent terms.  Where some are correlated, the fewest of any term that contributes are
        taken: common practice, no source.
        """
        count = [term for term in self.terms if term.contribution]
        if self.correlations:
            return min((term.dof for term in count), default=math.inf)
        u = self.u
        spread = math.fsum((term.contribution / u) ** 4 / term.dof for term in count)
        return 1 / spread if spread else math.inf

    def expanded(self, p: float = LEVEL) -> Expanded:
        """U for a coverage probability, by Student's t with the effective degrees of freedom (GUM G.4.1)."""
        k = coverage_factor(self.dof, p)
        return Expanded(U=k * self.u, k=k, dof=self.dof, p=p)

    def expanded_by(self, k: float) -> Expanded:
        """U for a coverage factor, such as the 2 of most certificates (GUM 6.2.1)."""
        check_positive(k, "coverage factor")
        return Expanded(U=k * self.u, k=k, dof=self.dof)


def coverage_factor(dof: float, p: float = LEVEL) -> float:
    """Student's t for a two-sided coverage probability and real-valued degrees of freedom; normal where infinite."""
    if not 0 < p < 1:
        raise MalformedQuantity("coverage probability is not between 0 and 1", got=p)
    if not dof > 0:
        raise MalformedQuantity("degrees of freedom are not positive", got=dof)
    from scipy.special import stdtrit  # noqa: PLC0415 - loaded only where a budget is asked for

    return float(stdtrit(dof, (1 + p) / 2))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value that lies anywhere within +/- half_width (GUM 4.3.7)."""
    return check_positive(half_width, "half-width", zero_allowed=True) / math.sqrt(3)


def triangular(half_width: float) -> float:
    """Standard uncertainty of a value within +/- half_width that more likely lies in the middle (GUM 4.3.9)."""
    return check_positive(half_width, "half-width", zero_allowed=True) / math.sqrt(6)


def mean_and_s(values: Sequence[float]) -> tuple[float, float]:
    """Mean and standard deviation of one reading (n - 1 in it; GUM 4.2.1, 4.2.2); values of any real type.

    Exact sums: readings that agree in their first ten digits lose nothing.  Raises MalformedQuantity below two values.
    """
    if len(values) < 2:
        raise MalformedQuantity("readings are too few for a scatter", expected="at least two", got=len(values))
    return _mean(values), float(statistics.stdev(values))


class Repeatability(msgspec.Struct, frozen=True, kw_only=True):
    """Standard deviation of one reading, in its unit, from a study of the gauge, with its degrees of freedom."""

    s: float
    dof: float
    how: str = "gauge study"


class Calibration(msgspec.Struct, frozen=True, kw_only=True):
    """What a certificate states: expanded uncertainty ``U``, in the unit of the reading, and its ``k``."""

    U: float
    k: float = 2.0
    dof: float = math.inf
    how: str = "certificate"


def mean_budget(
    values: Sequence[float],
    *,
    unit: str,
    calibration: Calibration,
    resolution: float,
    repeatability: Repeatability | None = None,
    name: str = "mean of the readings",
) -> Budget:
    """The budget of the mean of n readings by one gauge: u^2 = s^2/n + u_cal^2 + resolution^2/12.

    The calibration is common to all the readings, so it is not divided by n, and neither is the resolution (GUM 4.2.3,
    4.3.3, F.2.2.1).  ``resolution``: one step of the display, in ``unit``.
    Without ``repeatability`` the scatter is that of the readings themselves, and two are needed; with it, one is enough.
    Raises MalformedQuantity for no readings, for too few, and for a negative or non-finite figure.
    """
    n = len(values)
    if n == 0:
        raise MalformedQuantity("readings are missing", expected="at least one", got=0, where=name)
    check_positive(calibration.k, "coverage factor of the calibration")
    check_positive(resolution, "resolution", zero_allowed=True)
    if repeatability is None:
        mean, s = mean_and_s(values)
        repeatability = Repeatability(s=s, dof=n - 1, how=f"scatter of the {n} readings")
    else:
        mean = _mean(values)
    terms = (
        Term(
            name="repeatability",
            u=repeatability.s / math.sqrt(n),
            unit=unit,
            kind="A",
            dof=repeatability.dof,
            how=f"{repeatability.how}, divided by the root of {n}",
        ),
        Term(
            name="calibration",
            u=calibration.U / calibration.k,
            unit=unit,
            dof=calibration.dof,
            how=f"{calibration.how}, U = {in_figures(calibration.U, 3)} with k = {in_figures(calibration.k, 3)}",
        ),
        Term(name="resolution", u=rectangular(resolution / 2), unit=unit, how="half a step, rectangular"),
    )
    return Budget(name=name, value=mean, unit=unit, terms=terms)


def budget_rows(budget: Budget) -> list[tuple[str, ...]]:
    """The budget as rows of text, one a term, in the columns of ``HEADER``; the shares of u^2 add up to 100 %.

    Correlated terms leave a remainder, which may be negative: it has its own last row.
    """
    variance = budget.variance
    rows: list[tuple[str, ...]] = [
        (
            term.name,
            term.kind,
            in_figures(term.u, 3),
            _printed(term.unit),
            in_figures(term.sensitivity, 4),
            _dof_text(term.dof),
            in_figures(term.contribution, 3),
            _share_text(term.contribution**2, variance),
        )
        for term in budget.terms
    ]
    if budget.correlations:
        shared = variance - math.fsum(term.contribution**2 for term in budget.terms)
        rows.append(("correlation", "", "", "", "", "", "", _share_text(shared, variance)))
    return rows


def format_budget(budget: Budget, p: float = LEVEL) -> str:
    """The budget as a table of aligned text, then u, the effective degrees of freedom and U in one line each."""
    rows = [HEADER, *budget_rows(budget)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADER))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    expanded, unit = budget.expanded(p), _printed(budget.unit)
    return "\n".join(
        [
            f"{budget.name}: {in_figures(budget.value, 7)} {unit}".rstrip(),
            *lines,
            f"combined standard uncertainty u = {in_figures(budget.u, 3)} {unit}".rstrip(),
            f"effective degrees of freedom {_dof_text(budget.dof)}",
            f"expanded uncertainty U = {in_figures(expanded.U, 2)} {unit} (k = {expanded.k:.2f}, {p:.4g} coverage)",
        ]
    )


def in_figures(value: float, figures: int) -> str:
    """Decimal text of a finite value rounded to so many significant figures, without exponent."""
    return f"{Decimal(f'{value:.{figures - 1}e}'):f}"


def check_positive(value: float, what: str, *, zero_allowed: bool = False) -> float:
    """The value is finite and above zero (or zero where allowed), or MalformedQuantity is raised."""
    if not math.isfinite(value) or value < 0 or (value == 0 and not zero_allowed):
        wanted = "zero or more" if zero_allowed else "more than zero"
        raise MalformedQuantity(f"{what} is impossible", expected=wanted, got=value)
    return value


def _mean(values: Sequence[float]) -> float:
    if not all(math.isfinite(value) for value in values):
        raise MalformedQuantity("readings are not finite", where="readings")
    return float(statistics.mean(values))


def _printed(unit: str) -> str:
    # A model's own unit, such as lb.in2, is printed as it is.
    return UNITS[unit].printed if unit in UNITS else unit


def _dof_text(dof: float) -> str:
    return "infinite" if math.isinf(dof) else in_figures(dof, 3) if dof < 100 else f"{dof:.0f}"


def _share_text(part: float, variance: float) -> str:
    return f"{100 * part / variance:.1f} %" if variance else "0.0 %"
