"""The members of a family with their ratios as a picture: a row a member, the ratio and its interval on a logarithmic axis.

Nothing is told by colour alone: a signal is a hollow diamond and named in words, a member that stands out a larger dot.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from ledger.conformity.svg_text import (
    BAND,
    FAINT,
    SOFT,
    TITLE,
    bar,
    diamond,
    dot,
    line,
    picture,
    shorten,
    show,
    text,
)
from ledger.errors import MalformedQuantity
from ledger.warranty.lot_signals import FamilyLook, MemberSignal

WIDTH = 760
MOST = 30
"""Members drawn: the most striking."""

_LEFT, _RIGHT, _TOP, _ROW, _FOOT = 190, 150, 92, 24, 66
_LEAST, _GREATEST = 1 / 64, 256.0
_TICKS = tuple(2.0**power for power in range(-6, 9))


def draw_signals(look: FamilyLook, title: str) -> str:
    """The picture, as SVG text. Raises MalformedQuantity when no member can be compared."""
    shown = [one for one in look.members if one.p is not None][:MOST]
    if not shown:
        raise MalformedQuantity("picture needs members", expected="at least one that can be compared", where="members")
    ends = [end for one in shown for end in (one.ratio_low, one.ratio, one.ratio_high) if end]
    low = 2.0 ** math.floor(math.log2(max(_LEAST, min([*ends, 0.5]))))
    high = 2.0 ** math.ceil(math.log2(min(_GREATEST, max([*ends, 2.0]))))
    foot = _TOP + _ROW * len(shown)

    def x(ratio: float) -> float:
        inside = math.log2(min(max(ratio, low), high) / low) / math.log2(high / low)
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * inside

    parts = [
        text(20, 30, shorten(title, TITLE), size=17, bold=True),
        text(20, 50, _count_words(look, shown), fill=SOFT),
    ]
    parts.append(text(WIDTH - _RIGHT + 12, _TOP - 8, "claims, expected", size=11, fill=SOFT))
    parts.append(bar(_LEFT, _TOP, width=WIDTH - _LEFT - _RIGHT, height=foot - _TOP, fill=BAND))
    parts += _axis(x, low, high, foot)
    for row, one in enumerate(shown):
        parts += _draw_member(one, x, _TOP + _ROW * (row + 0.5))
    parts.append(
        text(_LEFT, foot + 40, "claims against the rest of the same models, age for age (1: alike)", fill=SOFT)
    )
    parts.append(
        text(
            _LEFT,
            foot + 56,
            "diamond: signal; large dot: stands out at this look; bar: 95 % interval",
            size=11,
            fill=SOFT,
        )
    )
    return picture(parts, WIDTH, foot + _FOOT, title, " ".join(_said(one) for one in shown))


def _count_words(look: FamilyLook, shown: list[MemberSignal]) -> str:
    signals = sum(one.stands == "signal" for one in look.members)
    words = f"{signals} of {look.tested} members signal; a signal needs an adjusted P of {look.level:.1g} or less"
    return words if len(shown) == look.tested else f"{words}; the first {len(shown)} are shown"


def _axis(x: Callable[[float], float], low: float, high: float, foot: float) -> list[str]:
    parts = []
    ticks = [tick for tick in _TICKS if low <= tick <= high]
    step = 1 + (len(ticks) - 1) // 9
    for tick in ticks:
        one = tick == 1
        parts.append(line([(x(tick), _TOP), (x(tick), foot)], stroke=SOFT if one else FAINT, width=1.6 if one else 1))
        if round(math.log2(tick)) % step == 0:
            name = show(tick, 0) if tick >= 1 else f"1/{round(1 / tick)}"
            parts.append(text(x(tick), foot + 18, name, anchor="middle", fill=SOFT))
    return parts


def _draw_member(one: MemberSignal, x: Callable[[float], float], y: float) -> list[str]:
    low, high = one.ratio_low or 0.0, one.ratio_high
    signal, said = one.stands == "signal", _said(one)
    parts = [
        text(_LEFT - 10, y + 4, shorten(one.name, 22), anchor="end", bold=signal),
        line([(x(low), y), (x(math.inf if high is None else high), y)], width=1.6),
    ]
    middle = x(math.inf if one.ratio is None else one.ratio)
    mark = diamond(middle, y, 7, said) if signal else dot(middle, y, 5 if one.stands == "stands-out" else 3, said)
    parts.append(mark)
    words = f"{one.compared}, {show(one.expected, 1)}" + ("; signal" if signal else "")
    parts.append(text(WIDTH - _RIGHT + 12, y + 4, words, bold=signal))
    return parts


def ratio_words(one: MemberSignal) -> str:
    """The ratio with its interval in words; what has no upper bound says so."""
    if one.ratio_low is None:
        return "nothing to compare with"
    ratio = "no claim among the rest" if one.ratio is None else f"{one.ratio:.2f} times"
    high = "no upper end" if one.ratio_high is None else f"{one.ratio_high:.2f}"
    return f"{ratio} ({one.ratio_low:.2f} to {high})"


def _said(one: MemberSignal) -> str:
    stands = {"signal": "signal", "stands-out": "stands out at this look", "no-signal": "no signal"}.get(one.stands, "")
    return f"{one.name}: {one.compared} claims, {one.expected:.1f} expected, {ratio_words(one)}, {stands}."
