"""A limit on the mean of a lot, held against the mean of the readings of its balls.

Each ball's reading has u^2 = s^2/n + f^2.  The parts s^2/n are independent from ball to ball and shrink with the number
of balls; the parts f are one gauge's own, taken as wholly common, and their mean stays (GUM 5.2.2, F.1.2; clauses from
memory).  Where a reading's parts are not known its whole uncertainty is taken as common.  The mean is that of the balls
measured: what balls that were not measured would add is in no figure here, and the verdict says how many were.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from ledger.conformity.decision import Figure, figure_of
from ledger.conformity.facts import Measured
from ledger.conformity.house import HousePolicy
from ledger.conformity.judged_figure import Ground, judge_figure, unjudged
from ledger.conformity.method import conditions_of, other_definition
from ledger.conformity.outcome import Verdict
from ledger.conformity.requirement import Requirement
from ledger.line.quantity import QUANTITIES, SCALE


def judge_mean(
    requirement: Requirement, values: Sequence[Measured], *, body: str = "", policy: HousePolicy | None = None
) -> Verdict:
    """The verdict on a lot's mean: one value a ball, in any unit of the quantity.

    The scope is the caller's to settle.  Values that may not be used, and those of another definition, are left out and
    counted; a value not taken as the method asks leaves the mean undecided.
    """
    name = QUANTITIES[requirement.quantity].name
    usable: list[Measured] = []
    left_out: dict[str, int] = {}
    for value in values:
        why = other_definition(requirement, value) if value.usable else value.why_unusable or "a reading is not usable"
        if why:
            left_out[why] = left_out.get(why, 0) + 1
        else:
            usable.append(value)
    reasons = tuple(f"left out: {count} of {len(values)}: {why}" for why, count in left_out.items())
    if not usable:
        return unjudged(
            requirement,
            "not_measured",
            (f"{name} has no usable reading in the lot", *reasons),
            body=body,
            policy=policy,
        )
    conditions = [conditions_of(requirement, value) for value in usable]
    balls = f"the mean of {len(usable)} ball{'s' if len(usable) > 1 else ''}"
    ground = Ground(
        blocked=tuple(dict.fromkeys(reason for one in conditions for reason in one.otherwise)),
        reasons=(
            balls,
            *reasons,
            *dict.fromkeys(reason for one in conditions for reason in one.unknown),
        ),
        u_from="; ".join(
            (*dict.fromkeys(value.u_from for value in usable if value.u_from), "the gauge's own part taken as common")
        ),
    )
    return judge_figure(requirement, mean_figure(usable, requirement.unit), ground, body=body, policy=policy)


def mean_figure(values: Sequence[Measured], unit: str) -> Figure:
    """The mean of at least one value, exactly, with its uncertainty in millionths of ``unit``."""
    figures = [figure_of(value).in_unit(unit) for value in values]
    count = len(figures)
    mean = sum((figure.value for figure in figures), Fraction(0)) / count
    if any(figure.u is None for figure in figures):
        return Figure(mean, unit, counted="ball")
    scattered = [_scattered(figure) for figure in figures]
    fixed = sum(
        math.sqrt(max(0.0, float(figure.u or 0) ** 2 - part)) for figure, part in zip(figures, scattered, strict=True)
    )
    # Of one ball, so that ``repeat`` squared over the number of balls is the scatter of the mean.
    repeat = math.sqrt(sum(scattered) / count)
    u = math.hypot(repeat / math.sqrt(count), fixed / count)
    known = all(figure.repeat is not None for figure in figures)
    return Figure(mean, unit, _millionths(u), _millionths(repeat) if known else None, count, "ball")


def _scattered(figure: Figure) -> float:
    """The part of u^2 that is this ball's alone: at most all of it."""
    if figure.repeat is None:
        return 0.0
    return min(float(figure.u or 0) ** 2, float(figure.repeat) ** 2 / figure.readings)


def _millionths(value: float) -> Fraction:
    return Fraction(math.ceil(round(value * SCALE, 3)), SCALE)
