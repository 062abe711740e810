"""Process capability of measured values: the indices, their intervals, the share outside, tolerance intervals, in words.

Cp, Cpu, Cpl, Cpk and k as in NIST/SEMATECH e-Handbook 6.1.6, with the standard deviation of all values (over n - 1).
Books differ here: some keep these names for the spread within subgroups and call what is computed here Pp and Ppk.
Everything but the share counted outside takes the values for a normal distribution, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

import msgspec

from ledger.conformity.bins import side_of
from ledger.conformity.intervals import Interval, cp_interval, cpk_interval, exact_interval, wilson_interval
from ledger.conformity.moments import Moments, gather_counts
from ledger.conformity.tolerance_factors import Factors, factors
from ledger.errors import MalformedQuantity

NORMAL = (
    "the indices, their intervals and the tolerance interval take the values for one normal distribution and the process "
    "for stable: look at the histogram and the control chart first; the share counted outside needs neither"
)
ONE_SIDED = "with one limit there is no Cp and no k: Cpk is the index of that side"
NO_SPREAD = "all values are the same: no index can be given"


class Indices(msgspec.Struct, frozen=True, kw_only=True):
    """Cp and k need both limits, Cpu the upper, Cpl the lower; Cpk is the lesser of what there is.

    ``k`` is the distance of the mean from the middle, 0 there and 1 at a limit.
    """

    cp: float | None
    cpu: float | None
    cpl: float | None
    cpk: float
    k: float | None


class Outside(msgspec.Struct, frozen=True, kw_only=True):
    """Values counted outside: below the lower and above the upper limit, with two intervals of the share.

    ``expected``: the share that a normal distribution of this mean and s has outside.
    """

    below: int
    above: int
    share: float
    wilson: Interval
    exact: Interval
    expected: float | None


class Capability(msgspec.Struct, frozen=True, kw_only=True):
    """Values of one quantity against limits, in one unit.

    ``tolerance``: the ends that contain ``factors.content`` of the balls with ``factors.confidence``, by the exact
    factor, an end for each limit.  ``indices`` and ``tolerance`` are None when all values are the same.
    """

    count: int
    mean: float
    s: float
    low: float | None
    high: float | None
    indices: Indices | None
    cp_interval: Interval | None
    cpk_interval: Interval | None
    factors: Factors
    tolerance: tuple[float | None, float | None] | None
    outside: Outside
    cautions: tuple[str, ...]


def indices(mean: float, s: float, low: float | None, high: float | None) -> Indices:
    """The indices. Raises MalformedQuantity without a limit, for limits out of order, and when s is not positive."""
    if low is None and high is None:
        raise MalformedQuantity("capability needs a limit", expected="a lower or an upper limit", where="limits")
    if low is not None and high is not None and not low < high:
        raise MalformedQuantity("limits are out of order", expected=f"more than {low}", got=high, where="limits")
    if not (s > 0 and math.isfinite(s) and math.isfinite(mean)):
        raise MalformedQuantity("capability needs a spread", expected="s above 0", got=s, where="s")
    cpu = None if high is None else (high - mean) / (3 * s)
    cpl = None if low is None else (mean - low) / (3 * s)
    cp = k = None
    if low is not None and high is not None:
        cp = (high - low) / (6 * s)
        k = abs((low + high) / 2 - mean) / ((high - low) / 2)
    return Indices(cp=cp, cpu=cpu, cpl=cpl, cpk=min(side for side in (cpu, cpl) if side is not None), k=k)


def assess(
    counts: Mapping[int, int],
    *,
    low: Fraction | None,
    high: Fraction | None,
    strict: bool = False,
    confidence: float = 0.95,
    content: float = 0.99,
) -> Capability:
    """The capability of readings given as whole millionths to how often each was read.

    ``strict``: a value on a limit is outside.  Memory grows with the different values, which a gauge's resolution
    bounds.  Raises MalformedQuantity for fewer than 2 values, no limit, or limits out of order.
    """
    moments = gather_counts(counts)
    if moments.count < 2:
        raise MalformedQuantity(
            "capability needs more values", expected="at least 2", got=moments.count, where="values"
        )
    bounds = (None if low is None else float(low), None if high is None else float(high))
    mean, s = float(moments.mean), moments.s
    found = indices(mean, s or 1.0, *bounds)  # refuses limits that are none, spread or not
    factor = factors(moments.count, content, confidence)
    both = low is not None and high is not None
    half = (factor.two_sided if both else factor.one_sided) * s
    return Capability(
        count=moments.count,
        mean=mean,
        s=s,
        low=bounds[0],
        high=bounds[1],
        indices=found if s else None,
        cp_interval=cp_interval(found.cp, moments.count, confidence) if s and found.cp is not None else None,
        cpk_interval=cpk_interval(found.cpk, moments.count, confidence) if s else None,
        factors=factor,
        tolerance=(None if low is None else mean - half, None if high is None else mean + half) if s else None,
        outside=_outside(counts, moments, low, high, strict=strict, confidence=confidence),
        cautions=_cautions(moments, both=both),
    )


def _cautions(moments: Moments, *, both: bool) -> tuple[str, ...]:
    said = [NORMAL] if moments.variance else [NO_SPREAD]
    if not both:
        said.append(ONE_SIDED)
    return tuple(said)


def _outside(
    counts: Mapping[int, int],
    moments: Moments,
    low: Fraction | None,
    high: Fraction | None,
    *,
    strict: bool,
    confidence: float,
) -> Outside:
    below = above = 0
    for value, times in counts.items():
        side = side_of(value, low, high, strict=strict)
        below += times if side < 0 else 0
        above += times if side > 0 else 0
    return Outside(
        below=below,
        above=above,
        share=(below + above) / moments.count,
        wilson=wilson_interval(below + above, moments.count, confidence),
        exact=exact_interval(below + above, moments.count, confidence),
        expected=_expected(moments, low, high),
    )


def _expected(moments: Moments, low: Fraction | None, high: Fraction | None) -> float | None:
    if not moments.variance:
        return None
    # Differences are taken exactly: a tail is read off the distance alone.
    scale = moments.s * math.sqrt(2)
    distances = [moments.mean - low] if low is not None else []
    distances += [high - moments.mean] if high is not None else []
    return sum(math.erfc(float(distance) / scale) / 2 for distance in distances)


def capability_lines(found: Capability, name: str, unit: str, places: int) -> tuple[str, ...]:
    """The report, a sentence a line; values of the quantity with so many decimal places."""

    def show(value: float | None) -> str:
        return "open" if value is None else f"{value:.{places}f}"

    limits = f"limits {show(found.low)} to {show(found.high)} {unit}"
    if found.high is None or found.low is None:
        limits = f"limit: {'at least' if found.high is None else 'at most'} {show(found.high if found.low is None else found.low)} {unit}"
    lines = [f"{name}: {found.count} values, mean {show(found.mean)}, s {found.s:.{places + 1}f} {unit}; {limits}"]
    if found.indices is not None:
        lines.append(_indices_line(found.indices))
    lines += [_interval_line(label, one) for label, one in _intervals(found)]
    if found.tolerance is not None:
        lines.append(_tolerance_line(found, unit, tuple(map(show, found.tolerance))))
    lines.append(_outside_line(found))
    return (*lines, *found.cautions)


def _indices_line(found: Indices) -> str:
    named = {"Cp": found.cp, "Cpu": found.cpu, "Cpl": found.cpl, "Cpk": found.cpk, "k": found.k}
    shown = ", ".join(f"{name} {value:.3f}" for name, value in named.items() if value is not None)
    return f"{shown} (s of all values; where Cp is kept for the spread within subgroups these are Pp and Ppk)"


def _intervals(found: Capability) -> list[tuple[str, Interval]]:
    pairs = (("Cp", found.cp_interval), ("Cpk", found.cpk_interval))
    return [(label, one) for label, one in pairs if one is not None]


def _interval_line(label: str, one: Interval) -> str:
    return f"{label}, {one.confidence:.0%} interval: {one.low:.3f} to {one.high:.3f} ({one.method})"


def _tolerance_line(found: Capability, unit: str, ends: tuple[str, ...]) -> str:
    by = found.factors
    if "open" not in ends:
        where, exact, near = f"between {ends[0]} and {ends[1]}", by.two_sided, f"Howe's {by.two_sided_howe:.4f}"
    else:
        where = f"above {ends[0]}" if ends[1] == "open" else f"below {ends[1]}"
        natrella = by.one_sided_natrella
        exact, near = by.one_sided, "Natrella's none" if natrella is None else f"Natrella's {natrella:.4f}"
    return (
        f"with {by.confidence:.0%} confidence at least {by.content:.0%} lie {where} {unit} "
        f"(exact factor {exact:.4f}; approximation {near})"
    )


def _outside_line(found: Capability) -> str:
    outside = found.outside
    line = (
        f"outside the limits: {outside.below} below and {outside.above} above of {found.count}, {outside.share:.2%}; "
        f"{outside.exact.confidence:.0%} interval {outside.exact.low:.3%} to {outside.exact.high:.3%} "
        f"({outside.exact.method}), {outside.wilson.low:.3%} to {outside.wilson.high:.3%} ({outside.wilson.method})"
    )
    return line if outside.expected is None else f"{line}; a normal distribution has {outside.expected:.3%} there"
