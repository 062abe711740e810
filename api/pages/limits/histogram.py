"""The distribution of one quantity as a picture in a page: readings, limits, guard bands, mean, and the tolerance interval.

Inline SVG without styles: classes of ``limits.css`` give ink and patterns, so that it is drawn in the page's own colours, in
the dark too.  Nothing is told by colour alone: readings outside a limit are hatched, limits are dashed and named, guard
bands are dotted ground and named in the table beside, the mean is a whole line and named.
"""

from __future__ import annotations

from typing import NamedTuple

from markupsafe import Markup, escape

from api.pages.catalogue import Catalogue
from ledger.application.limits_answer import Band, Bins
from ledger.conformity.svg_text import at, ticks

WIDTH, HEIGHT = 760, 330
_LEFT, _RIGHT, _TOP, _BASE = 64, 24, 74, 258
_SPAN_Y, _UNIT_Y = 296, 318


class Marks(NamedTuple):
    """What is drawn, in the unit of the figure; ``places``: decimals of a reading."""

    bins: Bins
    low: float | None
    high: float | None
    mean: float | None
    tolerance: tuple[float | None, float | None] | None
    bands: tuple[Band, ...]
    places: int


class _Scale:
    """Where values and counts go."""

    def __init__(self, marks: Marks) -> None:
        bins = marks.bins
        ends = [*(marks.tolerance or ()), marks.low, marks.high, marks.mean]
        found = [end for end in ends if end is not None]
        margin = max(bins.width, 0.02 * (max([*found, bins.start]) - min([*found, bins.start])))
        self.left: float = min([bins.start, *found]) - margin
        self.right: float = max([bins.start + bins.width * len(bins.counts), *found]) + margin
        self.tallest = max(bins.counts)

    def x(self, value: float) -> float:
        inside: float = min(max(value, self.left), self.right)
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * (inside - self.left) / (self.right - self.left)

    def tall(self, count: float) -> float:
        return (_BASE - _TOP) * count / self.tallest


def draw_histogram(marks: Marks, unit: str, words: Catalogue, *, number: int = 0) -> Markup:
    """The picture; ``number`` tells its patterns from those of other pictures in the page."""
    scale = _Scale(marks)
    said = _said(marks, unit, words)
    parts = [
        _patterns(number),
        *_bands(marks, scale, number),
        *_axes(marks, scale, unit, words),
        *_bars(marks.bins, scale, number),
        *_limits(marks, scale, words),
        *_tolerance(marks, scale, words),
    ]
    head = f'<svg class="histogram" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="histogram-{number}">'
    return Markup(f'{head}<title id="histogram-{number}">{escape(said)}</title>{"".join(parts)}</svg>')  # noqa: S704  # every text in it is escaped


def _said(marks: Marks, unit: str, words: Catalogue) -> str:
    """The picture in one sentence, for who does not see it."""
    values = {
        "readings": words.number(sum(marks.bins.counts)),
        "unit": unit,
        "from": words.number(marks.bins.start, marks.places + 1),
        "to": words.number(marks.bins.start + marks.bins.width * len(marks.bins.counts), marks.places + 1),
        "outside": words.number(sum(marks.bins.outside)),
    }
    told = words.gettext(
        "Histogram of %(readings)s readings from %(from)s to %(to)s %(unit)s; %(outside)s lie outside the limits."
    )
    return told % values


def _patterns(number: int) -> str:
    return (
        f'<defs><pattern id="outside-{number}" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<rect class="ground" width="6" height="6"/><path class="hatch" d="M0 6L6 0M-1 1L1 -1M5 7L7 5"/></pattern>'
        f'<pattern id="band-{number}" width="5" height="5" patternUnits="userSpaceOnUse">'
        '<circle class="dot" cx="1.5" cy="1.5" r="1"/></pattern></defs>'
    )


def _bands(marks: Marks, scale: _Scale, number: int) -> list[str]:
    """The ground beside a limit in which a value is not accepted; the widest of a side is drawn."""
    parts = []
    for side, end in (("lower", marks.low), ("upper", marks.high)):
        band = max((one for one in marks.bands if one.side == side), key=lambda one: one.w, default=None)
        if end is None or band is None:
            continue
        inwards = end + band.w if side == "lower" else end - band.w
        outwards = (end - band.w if side == "lower" else end + band.w) if band.both_sides else end
        near, far = sorted((scale.x(inwards), scale.x(outwards)))
        box = f'x="{at(near)}" y="{_TOP}" width="{at(max(1.0, far - near))}" height="{_BASE - _TOP}"'
        parts.append(f'<rect class="band" {box}/><rect fill="url(#band-{number})" {box}/>')
    return parts


def _axes(marks: Marks, scale: _Scale, unit: str, words: Catalogue) -> list[str]:
    counts, _ = ticks(0, scale.tallest, 4)
    parts = []
    for count in counts:
        if count == int(count):
            y = at(_BASE - scale.tall(count))
            parts.append(f'<path class="grid" d="M{_LEFT} {y}H{WIDTH - _RIGHT}"/>')
            parts.append(_text(_LEFT - 8, float(y) + 4, words.number(count, 0), "end", "soft"))
    parts.append(f'<path class="axis" d="M{_LEFT} {_BASE}H{WIDTH - _RIGHT}"/>')
    values, places = ticks(scale.left, scale.right, 8)
    for value in values:
        x = scale.x(value)
        parts.append(f'<path class="axis" d="M{at(x)} {_BASE}v5"/>')
        parts.append(_text(x, _BASE + 19, words.number(value, places), "middle"))
    told = words.gettext("%(unit)s; hatched: outside a limit") % {"unit": unit}
    if marks.bands:
        told = words.gettext("%(unit)s; hatched: outside a limit; dotted: guard band") % {"unit": unit}
    parts.append(_text(_LEFT, _UNIT_Y, told, "start", "soft"))
    return parts


def _bars(bins: Bins, scale: _Scale, number: int) -> list[str]:
    parts = []
    for place, (count, outside) in enumerate(zip(bins.counts, bins.outside, strict=True)):
        if not count:
            continue
        near, far = (scale.x(bins.start + (place + more) * bins.width) for more in (0, 1))
        # A single reading among thousands is still to be seen.
        whole = max(2.0, scale.tall(count))
        inside = whole * (count - outside) / count
        box = f'x="{at(near + 0.5)}" width="{at(max(0.5, far - near - 1))}"'
        if inside:
            parts.append(f'<rect class="bar" {box} y="{at(_BASE - inside)}" height="{at(inside)}"/>')
        if outside:
            tall = f'y="{at(_BASE - whole)}" height="{at(whole - inside)}"'
            parts.append(f'<rect class="bar outside" fill="url(#outside-{number})" {box} {tall}/>')
    return parts


def _limits(marks: Marks, scale: _Scale, words: Catalogue) -> list[str]:
    """Lines at the limits and the mean with their names: the mean's above, the limits' outwards of their lines."""
    parts: list[str] = []
    named = (
        ("limit", marks.low, words.gettext("lower limit"), "end"),
        ("limit", marks.high, words.gettext("upper limit"), "start"),
        ("mean", marks.mean, words.gettext("mean"), "middle"),
    )
    for kind, value, name, anchor in named:
        if value is None:
            continue
        x, y = scale.x(value), 34 if kind == "mean" else 58
        told = f"{name} {words.number(value, marks.places + (1 if kind == 'mean' else 0))}"
        room = 7.4 * len(told)
        before = {"start": 0.0, "middle": room / 2, "end": room}[anchor]
        place = min(max(x, before + 4), WIDTH - 4 - (room - before))
        parts.append(f'<path class="{kind}" d="M{at(x)} {y + 6}V{_BASE}"/>')
        parts.append(_text(place, y, told, anchor, "name"))
    return parts


def _tolerance(marks: Marks, scale: _Scale, words: Catalogue) -> list[str]:
    """A span under the axis, open on the side that has no limit."""
    if marks.tolerance is None:
        return []
    low, high = marks.tolerance
    left = scale.x(scale.left if low is None else low)
    right = scale.x(scale.right if high is None else high)
    ends = "".join(f"M{at(x)} {_SPAN_Y - 9}v8" for x, end in ((left, low), (right, high)) if end is not None)
    line = f'<path class="span" d="M{at(left)} {_SPAN_Y - 5}H{at(right)}{ends}"/>'
    told = words.gettext("tolerance interval")
    room = 6.6 * len(told)
    middle = min(max((left + right) / 2, room / 2 + 4), WIDTH - 4 - room / 2)
    return [line, _text(middle, _SPAN_Y + 8, told, "middle", "soft")]


def _text(x: float, y: float, content: str, anchor: str, kind: str = "") -> str:
    marked = f' class="{kind}"' if kind else ""
    return f'<text x="{at(x)}" y="{at(y)}" text-anchor="{anchor}"{marked}>{escape(content)}</text>'
