"""A gauge study in figures and words: tests, standard deviations, percentages, and which convention each follows.

Books differ in four places, and the report says which way it went:

- operators and parts are tested against the interaction (random effects), or against the pooled mean square once it is
  pooled; AIAG's manual prints them against the equipment, so both are given;
- the interaction is pooled when its p-value is above ``alpha``: 0.25 here; 0.05 is used too;
- percentages are of the total standard deviation (they do not add up to 100); shares of variance stand beside them;
- a tolerance is held against 6 standard deviations (AIAG before its 3rd edition took 5.15).

Source: AIAG, Measurement Systems Analysis, 4th edition, chapter III (from memory).
"""

from __future__ import annotations

import math
from fractions import Fraction

import msgspec

from ledger.errors import MalformedQuantity
from ledger.line.gauge_study import Anova, Components, Effect, Layout, analyse, estimate

ALPHA = 0.25
"""The p-value above which the interaction is pooled; common practice, no source."""

CONVENTIONS = (
    "operators and parts are tested against the interaction, as for random effects, or against the pooled mean square",
    "the F that AIAG's manual prints, against the equipment alone, stands beside it",
    "variance components below zero are set to zero",
    "percentages are of the total standard deviation and do not add up to 100; contributions are of variance and do",
    "ndc is 1.41 PV/GRR, cut off",
    "% of tolerance takes 6 standard deviations",
)


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """A row of the table of variance; ``f`` and ``p`` are None where there is nothing to test against.

    ``f_equipment``: against the equipment mean square, as AIAG's manual prints it.
    """

    name: str
    ss: float
    df: int
    ms: float
    f: float | None = None
    p: float | None = None
    f_equipment: float | None = None


class Share(msgspec.Struct, frozen=True, kw_only=True):
    """A standard deviation in the unit, its per cent of the total one, of the variance, and (6 of it) of the tolerance."""

    id: str
    name: str
    sd: float
    percent: float | None
    contribution: float | None
    of_tolerance: float | None


class GaugeReport(msgspec.Struct, frozen=True, kw_only=True):
    """The study as it is reported; ``shares`` by AIAG's names EV, AV, INT, GRR, PV, TV.

    ``stated``: whether to pool was said with the study, and not left to the p-value.
    """

    operators: int
    trials: int
    parts: int
    mean: float
    alpha: float
    pooled: bool
    stated: bool
    rows: tuple[Row, ...]
    shares: tuple[Share, ...]
    ndc: int | None
    repeat_df: int
    clamped: tuple[str, ...]
    conventions: tuple[str, ...] = CONVENTIONS

    def share(self, id: str) -> Share:
        """The share of that name."""
        return next(one for one in self.shares if one.id == id)


def interaction_pools(anova: Anova, alpha: float = ALPHA) -> bool:
    """Whether the interaction's p-value is above alpha; an F that does not exist (no scatter at all) pools nothing."""
    if not 0 <= alpha <= 1:
        raise MalformedQuantity("alpha is out of range", expected="0 to 1", got=alpha, where="alpha")
    _, p = _test(anova.interaction, anova.equipment)
    return p is not None and p > alpha


def report_gauge_study(
    layout: Layout, *, pool: bool | None = None, alpha: float = ALPHA, tolerance: Fraction | None = None
) -> GaugeReport:
    """The whole study from its readings ``[operator][trial][part]``; ``tolerance``: upper minus lower limit, in the unit.

    ``pool``: what the study states about the interaction; None leaves it to the p-value.
    Raises MalformedRecord for an unbalanced study and MalformedQuantity for an alpha or tolerance that is none.
    """
    if tolerance is not None and tolerance <= 0:
        raise MalformedQuantity("tolerance is out of range", expected="more than 0", got=tolerance, where="tolerance")
    anova = analyse(layout)
    pooled = interaction_pools(anova, alpha) if pool is None else pool
    found = estimate(anova, pool=pooled)
    return GaugeReport(
        operators=anova.operators,
        trials=anova.trials,
        parts=anova.parts,
        mean=float(anova.mean),
        alpha=alpha,
        pooled=pooled,
        stated=pool is not None,
        rows=_rows(anova, pooled=pooled),
        shares=_shares(found, tolerance),
        ndc=found.ndc,
        repeat_df=found.repeat_df,
        clamped=found.clamped,
    )


def _test(effect: Effect, against: Effect) -> tuple[float | None, float | None]:
    from scipy.special import fdtrc  # noqa: PLC0415  # loaded when asked for

    if not against.ss:
        return None, None
    f = float(effect.ms / against.ms)
    return f, float(fdtrc(effect.df, against.df, f))


def _rows(anova: Anova, *, pooled: bool) -> tuple[Row, ...]:
    against = anova.pooled if pooled else anova.interaction

    def row(name: str, effect: Effect, error: Effect | None = None) -> Row:
        f, p = (None, None) if error is None else _test(effect, error)
        beside = None if error is None else _test(effect, anova.equipment)[0]
        return Row(name=name, ss=float(effect.ss), df=effect.df, ms=float(effect.ms), f=f, p=p, f_equipment=beside)

    rows = [
        row("operators", anova.operator, against),
        row("parts", anova.part, against),
        row("operators x parts", anova.interaction, anova.equipment),
        row("equipment", anova.equipment),
    ]
    if pooled:
        rows.append(row("equipment, interaction pooled", anova.pooled))
    return (*rows, row("total", anova.total))


def _shares(found: Components, tolerance: Fraction | None) -> tuple[Share, ...]:
    named = (
        ("EV", "repeatability (equipment)", found.equipment),
        ("AV", "reproducibility (operators)", found.operator),
        ("INT", "operators x parts", found.interaction),
        ("GRR", "gauge, repeatability and reproducibility", found.grr),
        ("PV", "parts", found.part),
        ("TV", "total", found.total),
    )
    return tuple(
        Share(
            id=id,
            name=name,
            sd=math.sqrt(variance),
            percent=100 * math.sqrt(variance / found.total) if found.total else None,
            contribution=float(100 * variance / found.total) if found.total else None,
            of_tolerance=600 * math.sqrt(variance) / float(tolerance) if tolerance is not None else None,
        )
        for id, name, variance in named
    )


def gauge_lines(report: GaugeReport, unit: str, places: int) -> tuple[str, ...]:
    """The report, a sentence a line; standard deviations with so many decimal places."""
    lines = [
        f"{report.parts} parts, {report.operators} operators, {report.trials} trials; mean {report.mean:.{places}f} {unit}"
    ]
    lines += [_row_line(row, places) for row in report.rows]
    lines.append(_pool_line(report))
    lines += [_share_line(share, unit, places) for share in report.shares]
    lines.append(_ndc_line(report))
    if report.clamped:
        lines.append(f"estimated below zero and set to zero: {', '.join(report.clamped)}")
    return (*lines, *(f"convention: {one}" for one in report.conventions))


def _row_line(row: Row, places: int) -> str:
    line = f"{row.name}: sum of squares {row.ss:.{places}f}, {row.df} degrees of freedom, mean square {row.ms:.{places + 2}f}"
    if row.f is None or row.p is None:
        return line
    beside = "" if row.f_equipment in (None, row.f) else f" (against the equipment {row.f_equipment:.2f})"
    return f"{line}, F {row.f:.2f}{beside}, p {_p_text(row.p)}"


def _p_text(p: float) -> str:
    return "below 0.0001" if p < 0.0001 else f"{p:.4f}"


def _pool_line(report: GaugeReport) -> str:
    p = next(row.p for row in report.rows if row.name == "operators x parts")
    if p is None:
        return "every trial repeats the one before it exactly: nothing to pool; is the resolution too coarse?"
    if report.stated:
        return f"the interaction's p is {_p_text(p)}; {'pooled into the equipment' if report.pooled else 'kept apart'}, as the study states"
    if report.pooled:
        return f"the interaction's p {_p_text(p)} is above alpha {report.alpha}: pooled into the equipment"
    return f"the interaction's p {_p_text(p)} is not above alpha {report.alpha}: kept apart"


def _share_line(share: Share, unit: str, places: int) -> str:
    line = f"{share.id} {share.name}: {share.sd:.{places}f} {unit}"
    if share.percent is not None and share.contribution is not None:
        line += f", {share.percent:.1f} % of total, {share.contribution:.1f} % of variance"
    return line if share.of_tolerance is None else f"{line}, {share.of_tolerance:.1f} % of tolerance"


def _ndc_line(report: GaugeReport) -> str:
    if report.ndc is None:
        return "ndc: cannot be given, the gauge shows no scatter"
    line = f"ndc {report.ndc}: the study tells so many groups of parts apart"
    return line if report.ndc >= 5 else f"{line}; 5 or more are asked for (AIAG, from memory)"
