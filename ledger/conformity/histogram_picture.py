"""A histogram with its limits as a picture.

Bars beyond a limit are hatched, not only coloured; limits are dashed lines with their names, the mean is a whole line.
"""

from __future__ import annotations

from collections.abc import Callable

from ledger.conformity.bins import Histogram
from ledger.conformity.svg_text import (
    FAINT,
    MARK,
    PAPER,
    SOFT,
    TITLE,
    bar,
    label,
    line,
    picture,
    shorten,
    show,
    text,
    ticks,
)
from ledger.errors import MalformedQuantity

WIDTH = 760

_LEFT, _RIGHT, _TOP, _TALL, _FOOT = 70, 30, 128, 220, 76
_HATCH = "hatch"
_BAR = "#bccad2"

_HATCHED = f"url(#{_HATCH})"

Mark = tuple[str, float, str]
"""Name, value, and both in words."""


def draw_histogram(
    histogram: Histogram, title: str, unit: str, *, low: float | None, high: float | None, mean: float | None = None
) -> str:
    """The picture, as SVG text; ``unit`` is as printed, limits and mean are in it.

    Which readings lie outside the histogram says (see ``bin_readings``); the limits are drawn where they are given.
    Raises MalformedQuantity for limits out of order.
    """
    if low is not None and high is not None and not low < high:
        raise MalformedQuantity("limits are out of order", expected=f"more than {low}", got=high, where="limits")
    start, end, width = float(histogram.start), float(histogram.end), float(histogram.width)
    given = {"lower limit": low, "upper limit": high, "mean": mean}
    found = [value for value in given.values() if value is not None]
    left, right = min([start, *found]) - width, max([end, *found]) + width

    def x(value: float) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * (value - left) / (right - left)

    value_ticks, places = ticks(left, right, 8)
    parts = [
        text(20, 30, shorten(title, TITLE), size=17, bold=True),
        text(20, 50, f"{sum(histogram.counts)} readings, {unit}", fill=SOFT),
    ]
    parts += _count_axis(max(histogram.counts))
    parts += _bars(histogram, x, places + 2)
    base = _TOP + _TALL
    parts.append(line([(_LEFT, base), (WIDTH - _RIGHT, base)]))
    for tick in value_ticks:
        parts += [
            line([(x(tick), base), (x(tick), base + 5)]),
            text(x(tick), base + 20, show(tick, places), anchor="middle"),
        ]
    parts.append(text(_LEFT, base + 42, f"value, {unit}; hatched: outside a limit", fill=SOFT))
    marks = [(name, value, f"{name} {_shown(value, places + 2)}") for name, value in given.items() if value is not None]
    parts += _marks(marks, x)
    words = f"Histogram of {sum(histogram.counts)} readings in {unit}, from {_shown(start, places + 2)} to "
    words += f"{_shown(end, places + 2)}; {sum(histogram.outside)} lie outside the limits."
    words += "".join(f" The {said}." for _, _, said in marks)
    return picture([_hatch(), *parts], WIDTH, base + _FOOT - 20, title, words)


def _shown(value: float, places: int) -> str:
    figure = show(value, places)
    return figure.rstrip("0").rstrip(".") if "." in figure else figure


def _hatch() -> str:
    # The same pattern under the same name: two pictures on one page do each other no harm.
    return (
        f'<defs><pattern id="{_HATCH}" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<rect width="6" height="6" fill="{PAPER}"/><path d="M0 6L6 0M-1 1L1 -1M5 7L7 5" stroke="{MARK}" '
        f'stroke-width="1.6"/></pattern></defs>'
    )


def _height(count: float, tallest: int) -> float:
    return _TALL * count / tallest


def _count_axis(tallest: int) -> list[str]:
    counts, _ = ticks(0, tallest, 4)
    parts: list[str] = []
    for count in counts:
        if count == int(count):
            y = _TOP + _TALL - _height(count, tallest)
            parts.append(line([(_LEFT, y), (WIDTH - _RIGHT, y)], stroke=FAINT))
            parts.append(text(_LEFT - 8, y + 4, show(count, 0), anchor="end", fill=SOFT))
    return parts


def _bars(histogram: Histogram, x: Callable[[float], float], places: int) -> list[str]:
    """A bar for each bin; the readings of it that lie outside stand hatched on top of the others."""
    parts: list[str] = []
    start, width, tallest = float(histogram.start), float(histogram.width), max(histogram.counts)
    for index, (count, outside) in enumerate(zip(histogram.counts, histogram.outside, strict=True)):
        if not count:
            continue
        near, far = start + index * width, start + (index + 1) * width
        said = f"{show(near, places)} to {show(far, places)}: {count}"
        said += f", of these {outside} outside" if outside else ""
        left, wide = x(near) + 0.5, max(0.5, x(far) - x(near) - 1)
        # A single reading among thousands is still to be seen.
        whole = max(2.0, _height(count, tallest))
        inside = whole * (count - outside) / count
        base = _TOP + _TALL
        if inside:
            parts.append(bar(left, base - inside, width=wide, height=inside, fill=_BAR, stroke=SOFT, said=said))
        if outside:
            parts.append(
                bar(left, base - whole, width=wide, height=whole - inside, fill=_HATCHED, stroke=MARK, said=said)
            )
    return parts


def _marks(marks: list[Mark], x: Callable[[float], float]) -> list[str]:
    """Lines at the limits and the mean with their names: the mean's above, the limits' outwards of their lines."""
    lines: list[str] = []
    names: list[str] = []
    for name, value, words in marks:
        y = 80.0 if name == "mean" else 100.0
        room = 7.8 * len(words)
        lines.append(
            line([(x(value), y + 6), (x(value), _TOP + _TALL)], width=1.6, dash="" if name == "mean" else "7 4")
        )
        place, anchor = x(value), {"mean": "middle", "lower limit": "end", "upper limit": "start"}[name]
        before = {"start": 0.0, "middle": room / 2, "end": room}[anchor]
        place = min(max(place, before + 4), WIDTH - 4 - (room - before))
        names.append(label(place, y, words, anchor=anchor))
    return lines + names
