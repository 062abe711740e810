"""A temperature log of a lot as a picture: the readings as a line, broken at its gaps, which are shaded; the window's ends."""

from __future__ import annotations

import drawsvg
from markupsafe import Markup
from msgspec import UNSET

from api.pages.catalogue import Catalogue
from api.pages.lots.inline_svg import box, drawing, inlined, line, text
from api.pages.words import english_word
from ledger.application.temperature_logs import LogSeen
from ledger.book.instant import instant_ms
from ledger.conformity.svg_text import ticks

WIDTH, HEIGHT = 760.0, 200.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 48.0, 12.0, 12.0, 26.0


def log_picture(log: LogSeen, words: Catalogue) -> Markup | None:
    """The picture; None where the file is not stored, so that there are no points."""
    if len(log.points) < 2:
        return None
    points = [(instant_ms(point.at), float(point.celsius)) for point in log.points]
    limits = [float(end) for end in (log.summary.low_c, log.summary.high_c) if end is not UNSET]
    first, last = points[0][0], points[-1][0]
    low, high = min([celsius for _, celsius in points] + limits), max([celsius for _, celsius in points] + limits)
    room = (high - low) * 0.1 or 1.0
    low, high = low - room, high + room

    def x_of(at_ms: int) -> float:
        return _LEFT + (at_ms - first) / max(last - first, 1) * (WIDTH - _LEFT - _RIGHT)

    def y_of(celsius: float) -> float:
        return _TOP + (high - celsius) / (high - low) * (HEIGHT - _TOP - _BOTTOM)

    title = words.gettext("Temperature of %(window)s: %(says)s") % {
        "window": words.gettext(english_word("window", log.stage)),
        "says": log.says,
    }
    picture = drawing(WIDTH, HEIGHT, title, "log")
    gaps = [(instant_ms(gap.from_at), instant_ms(gap.to_at)) for gap in log.summary.gaps]
    for began, ended in gaps:
        picture.append(
            box(x_of(began), _TOP, width=x_of(ended) - x_of(began), height=HEIGHT - _TOP - _BOTTOM, css="gap")
        )
    for end in limits:
        picture.append(line(_LEFT, y_of(end), WIDTH - _RIGHT, y_of(end), "limit"))
    marks, places = ticks(low, high, 5)
    for mark in marks:
        picture.append(line(_LEFT - 4, y_of(mark), _LEFT, y_of(mark), "axis"))
        picture.append(text(words.number(mark, places), 11, _LEFT - 7, y_of(mark) + 4, "date", anchor="end"))
    picture.append(line(_LEFT, _TOP, _LEFT, HEIGHT - _BOTTOM, "axis"))
    picture.append(line(_LEFT, HEIGHT - _BOTTOM, WIDTH - _RIGHT, HEIGHT - _BOTTOM, "axis"))
    picture.append(text(words.instant(first), 11, _LEFT, HEIGHT - 8, "date"))
    picture.append(text(words.instant(last), 11, WIDTH - _RIGHT, HEIGHT - 8, "date", anchor="end"))
    for stretch in _unbroken(points, gaps):
        path = drawsvg.Path(class_="reading")
        for place, (at_ms, celsius) in enumerate(stretch):
            go = path.M if place == 0 else path.L
            go(round(x_of(at_ms), 1), round(y_of(celsius), 1))
        picture.append(path)
    return inlined(picture)


def _unbroken(points: list[tuple[int, float]], gaps: list[tuple[int, int]]) -> list[list[tuple[int, float]]]:
    """The readings in stretches: none goes on over a gap."""
    found: list[list[tuple[int, float]]] = [[]]
    for point in points:
        before = found[-1][-1] if found[-1] else None
        if before is not None and any(before[0] <= began and point[0] >= ended for began, ended in gaps):
            found.append([])
        found[-1].append(point)
    return found
