"""Claims so far and claims to come as a picture: months on one axis, the sum of claims on the other.

Claims so far are a whole line, those expected a dashed one with a shaded interval; a vertical line stands at today.
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
from ledger.errors import MalformedQuantity
from ledger.warranty.forecast import Forecast

WIDTH = 760
_LEFT, _RIGHT, _TOP, _TALL, _FOOT = 70, 168, 84, 250, 78
_SHADE = "#dfe6ea"


def draw_forecast(forecast: Forecast, so_far: Sequence[int], title: str) -> str:
    """The picture, as SVG text. ``so_far``: the sum of claims at the end of each month up to today, the last one today's.

    Raises MalformedQuantity where nothing is forecast.
    """
    if not forecast.months or not so_far:
        raise MalformedQuantity(
            "picture needs a forecast", expected="months to come", got=forecast.left_out, where="months"
        )
    now, months = so_far[-1], forecast.months
    most = max(now + months[-1].high, 1) * 1.05
    first, last = -(len(so_far) - 1), len(months)
    base = _TOP + _TALL

    def place(month: float, claims: float) -> tuple[float, float]:
        across = (WIDTH - _LEFT - _RIGHT) / (last - first)
        return _LEFT + across * (month - first), base - _TALL * claims / most

    end = months[-1]
    parts = [
        text(20, 30, shorten(title, TITLE), size=17, bold=True),
        text(20, 50, _words(forecast), fill=SOFT),
        text(_LEFT, _TOP - 8, "claims, summed", size=13, bold=True),
        bar(_LEFT, _TOP, width=WIDTH - _LEFT - _RIGHT, height=_TALL, fill=BAND),
        *_axes(place, (first, last), most),
        _interval(forecast, now, place),
        line([place(0, 0), place(0, most)], stroke=SOFT),
        line([place(first + number, count) for number, count in enumerate(so_far)], width=2.4),
        line([place(0, now), *(place(one.month, now + one.expected) for one in months)], dash="6 4", width=1.8),
    ]
    named = [("at most", now + end.high), ("expected", now + end.expected), ("at least", now + end.low)]
    heights = spaced([place(0, value)[1] + 4 for _, value in named], 15)
    parts += [
        text(WIDTH - _RIGHT + 8, y, f"{name} {show(value, 0)}") for (name, value), y in zip(named, heights, strict=True)
    ]
    return picture(parts, WIDTH, base + _FOOT, title, f"{now} claims so far. {_words(forecast)}.")


def _words(forecast: Forecast) -> str:
    end = forecast.months[-1]
    return (
        f"{end.expected:.1f} more claims expected within {end.month} months ({end.low} to {end.high}, "
        f"{100 * forecast.confidence:.0f} % interval) of {forecast.at_risk} balls at risk"
    )


def _axes(place: Callable[[float, float], tuple[float, float]], span: tuple[int, int], most: float) -> list[str]:
    parts = []
    for count in ticks(0, most, 5)[0]:
        if count == int(count):
            y = place(0, count)[1]
            parts.append(line([(_LEFT, y), (WIDTH - _RIGHT, y)], stroke=FAINT))
            parts.append(text(_LEFT - 8, y + 4, show(count, 0), anchor="end", fill=SOFT))
    for month in ticks(*span, 8)[0]:
        if month == int(month):
            name = "today" if month == 0 else f"{month:+.0f}"
            parts.append(text(place(month, 0)[0], _TOP + _TALL + 18, name, anchor="middle", fill=SOFT))
    parts.append(text((_LEFT + WIDTH - _RIGHT) / 2, _TOP + _TALL + 38, "months from today", anchor="middle", fill=SOFT))
    parts.append(
        text(_LEFT, _TOP + _TALL + 60, "whole line: entered; dashed: expected; shaded: interval", size=11, fill=SOFT)
    )
    return parts


def _interval(forecast: Forecast, now: int, place: Callable[[float, float], tuple[float, float]]) -> str:
    upper = [place(0, now), *(place(one.month, now + one.high) for one in forecast.months)]
    lower = [place(0, now), *(place(one.month, now + one.low) for one in forecast.months)]
    path = "L".join(f"{at(x)} {at(y)}" for x, y in [*upper, *reversed(lower)])
    return f'<path d="M{path}Z" fill="{_SHADE}" stroke="none"/>'
