"""A value against its limit on a small scale: what is allowed, the guard band, the value with U to both sides.

It draws the figures that a verdict states, and judges nothing.  The numbers stand beside it in words.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from markupsafe import Markup
from msgspec import UnsetType

from api.pages.catalogue import Catalogue
from api.pages.lots.inline_svg import box, drawing, inlined, line
from ledger.conformity.outcome import Verdict

WIDTH, HEIGHT = 190.0, 34.0
_EDGE = 6.0
_RANGE = re.compile(r"(-?[\d.]+) to (-?[\d.]+) ")
_SIDE = re.compile(r"(<=|>=|<|>) (-?[\d.]+) ")


class Limits(NamedTuple):
    """The ends of what a limit allows; None where it has none there."""

    low: float | None
    high: float | None


def limits_of(text: str) -> Limits | None:
    """The ends of a limit as it is printed ("26.704 to 27.002 in", ">= 73 Shore D"); None for other text."""
    if between := _RANGE.match(text + " "):
        return Limits(float(between[1]), float(between[2]))
    if side := _SIDE.match(text + " "):
        end = float(side[2])
        return Limits(None, end) if side[1] in {"<", "<="} else Limits(end, None)
    return None


def band_of(verdict: Verdict) -> float:
    """The guard band that is drawn: the requirement's own, or else that of the house; 0 where neither has one."""
    own = verdict.guard_band
    house = None if isinstance(verdict.house, UnsetType) else verdict.house.guard_band
    return float(own or house or 0)


def margin_picture(verdict: Verdict, words: Catalogue) -> Markup | None:
    """The picture; None where nothing was held against the limit."""
    limits = limits_of(verdict.limit)
    if verdict.value is None or limits is None:
        return None
    value, spread, band = float(verdict.value), float(verdict.expanded or 0), band_of(verdict)
    low, high = _domain(limits, value, spread, band)
    scale = (WIDTH - 2 * _EDGE) / (high - low)

    def at(figure: float) -> float:
        return _EDGE + (min(max(figure, low), high) - low) * scale

    title = words.gettext(
        "%(value)s against the limit %(limit)s, margin %(margin)s, U %(spread)s, guard band %(band)s"
    ) % {
        "value": verdict.value,
        "limit": verdict.limit,
        "margin": verdict.margin or "–",
        "spread": verdict.expanded or "–",
        "band": f"{band:g}",
    }
    picture = drawing(WIDTH, HEIGHT, title, "scale")
    first, last = (low if limits.low is None else limits.low), (high if limits.high is None else limits.high)
    picture.append(box(at(first), 8, width=at(last) - at(first), height=18, css="allowed"))
    for end, inward in ((limits.low, band), (limits.high, -band)):
        if end is not None and band:
            left, right = sorted((at(end), at(end + inward)))
            picture.append(box(left, 8, width=right - left, height=18, css="guard"))
        if end is not None:
            picture.append(line(at(end), 3, at(end), 31, "limit"))
    picture.append(line(_EDGE, 26, WIDTH - _EDGE, 26, "axis"))
    if spread:
        picture.append(line(at(value - spread), 17, at(value + spread), 17, "spread"))
        for end in (value - spread, value + spread):
            picture.append(line(at(end), 13, at(end), 21, "spread"))
    picture.append(box(at(value) - 4, 13, width=8, height=8, css=f"value {verdict.outcome}", rx=4))
    return inlined(picture)


def _domain(limits: Limits, value: float, spread: float, band: float) -> tuple[float, float]:
    """From where to where: all that is drawn, and a little of what lies beyond each limit."""
    ends = [end for end in limits if end is not None]
    points = [*ends, value - spread, value + spread]
    points += [limits.low + band] if limits.low is not None else []
    points += [limits.high - band] if limits.high is not None else []
    low, high = min(points), max(points)
    room = (high - low) * 0.25 or abs(high) * 0.05 or 1.0
    return low - room, high + room
