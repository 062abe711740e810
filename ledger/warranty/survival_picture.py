"""Survival curves as a picture: steps of the share without a claim by age, a group's with its interval, and numbers at risk.

The group is the thick line with a shaded interval, the rest the dashed one; both are named at their ends.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ledger.conformity.svg_text import (
    BAND,
    FAINT,
    SOFT,
    TITLE,
    at,
    bar,
    line,
    picture,
    shorten,
    show,
    spaced,
    text,
    ticks,
)
from ledger.warranty.survival import Curve, LogRank

WIDTH = 760
_LEFT, _RIGHT, _TOP, _TALL, _FOOT = 96, 150, 84, 250, 116
_SHADE = "#dfe6ea"


def draw_survival(
    curves: tuple[Curve, Curve],
    names: tuple[str, str],
    at_risk: tuple[Sequence[float], Sequence[int], Sequence[int]],
    *,
    title: str,
    test: LogRank | None,
) -> str:
    """The picture, as SVG text. ``curves`` and ``names``: of the group, and of the rest of its models.

    ``at_risk``: ages in days, and how many balls of each were at risk there.
    """
    group, rest = curves
    longest = max(group.longest, rest.longest, 28.0)
    ends = [point.low for point in group.points if point.low is not None] + [curve.at(longest) for curve in curves]
    bottom = max(0.0, min(ends) - 0.12 * (1 - min(ends)) - 0.002)
    base = _TOP + _TALL

    def place(days: float, share: float) -> tuple[float, float]:
        x = _LEFT + (WIDTH - _LEFT - _RIGHT) * min(days, longest) / longest
        return x, base - _TALL * (max(share, bottom) - bottom) / (1 - bottom)

    parts = [
        text(20, 30, shorten(title, TITLE), size=17, bold=True),
        text(20, 50, _test_words(test), fill=SOFT),
        text(_LEFT, _TOP - 8, "share of balls without a claim, %", size=13, bold=True),
        bar(_LEFT, _TOP, width=WIDTH - _LEFT - _RIGHT, height=_TALL, fill=BAND),
        *_axes(place, longest, bottom),
        _interval(group, place),
        line(_steps(rest, place), dash="6 4", width=1.6),
        line(_steps(group, place), width=2.4),
        *_end_names(curves, names, place),
        *_risk_rows(at_risk, names, place),
    ]
    words = " ".join(_described(curve, name) for curve, name in zip(curves, names, strict=True))
    return picture(parts, WIDTH, base + _FOOT, title, f"{words} {_test_words(test)}.")


def _test_words(test: LogRank | None) -> str:
    if test is None:
        return "no log-rank test: a side has no balls, or there is no claim"
    return f"log-rank: chi-square {test.chi2:.2f}, one-sided P {test.p:.2g}; shaded: 95 % interval"


def _axes(place: Callable[[float, float], tuple[float, float]], longest: float, bottom: float) -> list[str]:
    parts = []
    shares, places = ticks(100 * bottom, 100.0, 5)
    for share in shares:
        y = place(0, share / 100)[1]
        parts.append(line([(_LEFT, y), (WIDTH - _RIGHT, y)], stroke=FAINT))
        parts.append(text(_LEFT - 8, y + 4, show(share, places), anchor="end", fill=SOFT))
    parts += [
        text(place(age, bottom)[0], _TOP + _TALL + 18, show(age, 0), anchor="middle", fill=SOFT)
        for age in ticks(0, longest, 7)[0]
    ]
    parts.append(
        text((_LEFT + WIDTH - _RIGHT) / 2, _TOP + _TALL + 36, "days since the sale", anchor="middle", fill=SOFT)
    )
    return parts


def _steps(curve: Curve, place: Callable[[float, float], tuple[float, float]]) -> list[tuple[float, float]]:
    corners, share = [place(0, 1.0)], 1.0
    for point in curve.points:
        corners += [place(point.days, share), place(point.days, point.share)]
        share = point.share
    return [*corners, place(curve.longest, share)]


def _interval(curve: Curve, place: Callable[[float, float], tuple[float, float]]) -> str:
    """The shaded interval, a step a claim; nothing where there is none."""
    held = [(point.days, point.low, point.high) for point in curve.points if point.low is not None]
    ends = [*(days for days, _, _ in held[1:]), curve.longest]
    upper: list[tuple[float, float]] = []
    lower: list[tuple[float, float]] = []
    for (days, low, high), end in zip(held, ends, strict=False):
        upper += [place(days, high or 0.0), place(end, high or 0.0)]
        lower += [place(days, low or 0.0), place(end, low or 0.0)]
    path = "L".join(f"{at(x)} {at(y)}" for x, y in [*upper, *reversed(lower)])
    return f'<path d="M{path}Z" fill="{_SHADE}" stroke="none"/>' if path else ""


def _end_names(
    curves: tuple[Curve, Curve], names: tuple[str, str], place: Callable[[float, float], tuple[float, float]]
) -> list[str]:
    ends = [place(curve.longest, curve.at(curve.longest)) for curve in curves]
    heights = spaced([y + 4 for _, y in ends], 15)
    x = WIDTH - _RIGHT + 8
    return [
        text(x, min(y, _TOP + _TALL), shorten(name, 20), bold=number == 0)
        for number, (y, name) in enumerate(zip(heights, names, strict=True))
    ]


def _risk_rows(
    at_risk: tuple[Sequence[float], Sequence[int], Sequence[int]],
    names: tuple[str, str],
    place: Callable[[float, float], tuple[float, float]],
) -> list[str]:
    ages, *rows = at_risk
    base = _TOP + _TALL + 64
    parts = [text(20, base, "balls at risk", size=11, fill=SOFT)]
    for number, (name, counts) in enumerate(zip(names, rows, strict=True)):
        y = base + 18 * (number + 1)
        parts.append(text(_LEFT - 24, y, shorten(name, 12), size=11, anchor="end", bold=number == 0))
        parts += [
            text(place(age, 1)[0], y, f"{count}", size=11, anchor="middle")
            for age, count in zip(ages, counts, strict=True)
        ]
    return parts


def _described(curve: Curve, name: str) -> str:
    last = curve.at(curve.longest)
    return f"{name}: {curve.balls} balls, {curve.claims} claims; {100 * last:.2f} % without a claim after {curve.longest:.0f} days."
