"""A gauge study: how far readings of one thing scatter, by the gauge and by who reads it; analysis of variance.

Layout: ``[operator][trial][part]``, every operator reading every part the same number of times (balanced, crossed).
The model: reading = mean + part + operator + operator x part + equipment, the first four effects random.
Source: AIAG, Measurement Systems Analysis, 4th edition, chapter III, ANOVA method (from memory).

Sums of squares are exact fractions, and the standard deviations are whole millionths of the readings' unit by integer
square root, so every machine computes the same figures and a view may hold them.  Each is rounded to the nearest by
itself.  The p-value that decides about pooling needs the F distribution and is not here: see
``ledger.conformity.gauge_report``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import isqrt

from ledger.errors import MalformedQuantity, MalformedRecord
from ledger.line.quantity import SCALE, parse_number

Layout = Sequence[Sequence[Sequence[Fraction]]]

_FIRST_NDC = Fraction("1.41") ** 2
"""AIAG prints 1.41, not the root of two; the number of categories is cut off, so the two can differ."""


@dataclass(frozen=True, slots=True)
class Effect:
    """One row of the analysis: sum of squares in the unit squared, and degrees of freedom (at least 1)."""

    ss: Fraction
    df: int

    @property
    def ms(self) -> Fraction:
        """The mean square."""
        return self.ss / self.df


@dataclass(frozen=True, slots=True)
class Anova:
    """The table of a balanced study; ``equipment`` is what is left, also called error or repeatability."""

    operators: int
    trials: int
    parts: int
    mean: Fraction
    operator: Effect
    part: Effect
    interaction: Effect
    equipment: Effect

    @property
    def total(self) -> Effect:
        """All readings against their mean; the four effects add up to it exactly."""
        rows = (self.operator, self.part, self.interaction, self.equipment)
        return Effect(sum((row.ss for row in rows), Fraction(0)), sum(row.df for row in rows))

    @property
    def pooled(self) -> Effect:
        """Equipment and interaction taken together."""
        return Effect(self.equipment.ss + self.interaction.ss, self.equipment.df + self.interaction.df)

    @property
    def f_interaction(self) -> Fraction | None:
        """Interaction against equipment; None when every trial repeats the one before it exactly."""
        return self.interaction.ms / self.equipment.ms if self.equipment.ss else None


@dataclass(frozen=True, slots=True)
class Components:
    """Variances in the unit squared, negative estimates set to 0 and named in ``clamped``.

    ``pooled``: the interaction was taken into the equipment and is 0.  ``repeat_df``: degrees of freedom of
    ``equipment``.
    """

    equipment: Fraction
    operator: Fraction
    interaction: Fraction
    part: Fraction
    pooled: bool
    repeat_df: int
    clamped: tuple[str, ...]

    @property
    def reproducibility(self) -> Fraction:
        """Operator and interaction together."""
        return self.operator + self.interaction

    @property
    def grr(self) -> Fraction:
        """Repeatability and reproducibility: all that the gauge and its readers add."""
        return self.equipment + self.reproducibility

    @property
    def total(self) -> Fraction:
        """The gauge's and the parts' together."""
        return self.grr + self.part

    @property
    def ndc(self) -> int | None:
        """Number of distinct categories, 1.41 PV/GRR cut off to a whole number; None when the gauge shows no scatter."""
        return isqrt(int(_FIRST_NDC * self.part / self.grr)) if self.grr else None


@dataclass(frozen=True, slots=True)
class GaugeSpread:
    """Standard deviations in whole millionths of the unit; AIAG's names beside ours.

    ``repeatability`` EV, ``operator`` AV, ``interaction`` INT, ``reproducibility`` (AV and INT), ``grr`` GRR,
    ``part`` PV, ``total`` TV.
    """

    repeatability: int
    operator: int
    interaction: int
    reproducibility: int
    grr: int
    part: int
    total: int
    ndc: int | None
    repeat_df: int
    pooled: bool


def parse_layout(texts: Sequence[Sequence[Sequence[str]]]) -> tuple[tuple[tuple[Fraction, ...], ...], ...]:
    """The readings from decimal text. Raises MalformedRecord with the place of a text that is no decimal."""
    return tuple(
        tuple(
            tuple(_reading(text, f"readings[{o}][{t}][{p}]") for p, text in enumerate(trial))
            for t, trial in enumerate(operator)
        )
        for o, operator in enumerate(texts)
    )


def _reading(text: str, where: str) -> Fraction:
    try:
        return parse_number(text, where)
    except MalformedQuantity as error:
        raise MalformedRecord(error.problem, expected=error.expected, got=error.got, where=where) from error


def check_layout(layout: Sequence[Sequence[Sequence[object]]]) -> None:
    """The study is balanced with at least 2 operators, 2 trials and 2 parts, or MalformedRecord is raised."""
    _check_several("operators", len(layout), "readings")
    trials = len(layout[0])
    _check_several("trials", trials, "readings[0]")
    parts = len(layout[0][0])
    _check_several("parts", parts, "readings[0][0]")
    for o, operator in enumerate(layout):
        if len(operator) != trials:
            raise MalformedRecord(
                "study is not balanced", expected=f"{trials} trials", got=len(operator), where=f"readings[{o}]"
            )
        for t, trial in enumerate(operator):
            if len(trial) != parts:
                raise MalformedRecord(
                    "study is not balanced", expected=f"{parts} parts", got=len(trial), where=f"readings[{o}][{t}]"
                )


def _check_several(name: str, count: int, where: str) -> None:
    if count < 2:
        raise MalformedRecord(f"study has too few {name}", expected="at least 2", got=count, where=where)


def analyse(layout: Layout) -> Anova:
    """The sums of squares of a balanced study, exactly; linear in the readings.  Raises MalformedRecord (check_layout)."""
    check_layout(layout)
    o, t, p = len(layout), len(layout[0]), len(layout[0][0])
    cells = [[sum(trial[part] for trial in operator) for part in range(p)] for operator in layout]
    by_operator = [sum(row) for row in cells]
    by_part = [sum(row[part] for row in cells) for part in range(p)]
    grand = Fraction(sum(by_operator))
    # Sums of squared totals over their counts: the short form loses nothing in exact numbers.
    correction = grand**2 / (o * t * p)
    all_squares = Fraction(sum(value**2 for operator in layout for trial in operator for value in trial))
    ss_operator = _squares(by_operator) / (t * p) - correction
    ss_part = _squares(by_part) / (o * t) - correction
    ss_cells = sum((_squares(row) for row in cells), Fraction(0)) / t
    return Anova(
        operators=o,
        trials=t,
        parts=p,
        mean=grand / (o * t * p),
        operator=Effect(ss_operator, o - 1),
        part=Effect(ss_part, p - 1),
        interaction=Effect(ss_cells - correction - ss_operator - ss_part, (o - 1) * (p - 1)),
        equipment=Effect(all_squares - ss_cells, o * p * (t - 1)),
    )


def _squares(values: Sequence[Fraction | int]) -> Fraction:
    return Fraction(sum(value**2 for value in values))


def estimate(anova: Anova, *, pool: bool) -> Components:
    """The variance components of the random model by the method of moments.

    ``pool``: take the interaction into the equipment, as is done when its p-value is above the alpha that the study
    states.  Operators and parts are then held against the pooled mean square, else against the interaction's.
    """
    o, t, p = anova.operators, anova.trials, anova.parts
    residual = anova.pooled if pool else anova.equipment
    against = residual.ms if pool else anova.interaction.ms
    raw = {
        "operator": (anova.operator.ms - against) / (t * p),
        "interaction": Fraction(0) if pool else (anova.interaction.ms - anova.equipment.ms) / t,
        "part": (anova.part.ms - against) / (o * t),
    }
    kept = {name: max(value, Fraction(0)) for name, value in raw.items()}
    return Components(
        equipment=residual.ms,
        operator=kept["operator"],
        interaction=kept["interaction"],
        part=kept["part"],
        pooled=pool,
        repeat_df=residual.df,
        clamped=tuple(name for name, value in raw.items() if value < 0),
    )


def spread(components: Components) -> GaugeSpread:
    """The standard deviations in whole millionths of the unit, each rounded to the nearest by itself."""
    return GaugeSpread(
        repeatability=root_millionths(components.equipment),
        operator=root_millionths(components.operator),
        interaction=root_millionths(components.interaction),
        reproducibility=root_millionths(components.reproducibility),
        grr=root_millionths(components.grr),
        part=root_millionths(components.part),
        total=root_millionths(components.total),
        ndc=components.ndc,
        repeat_df=components.repeat_df,
        pooled=components.pooled,
    )


def root_millionths(variance: Fraction) -> int:
    """The square root of a variance (not negative) in whole millionths, to the nearest, by integer arithmetic."""
    # floor(y + 1/2) = (floor(2y) + 1) // 2, and floor(2y) is the integer root of floor(4 y^2).
    return (isqrt(int(4 * variance * SCALE**2)) + 1) // 2
