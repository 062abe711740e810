"""Cure windows on a scale of their own, and a ball's way through the plant along one line of time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

import drawsvg
from markupsafe import Markup

from api.pages.catalogue import Catalogue
from api.pages.kind_words import KIND_WORDS
from api.pages.lots.inline_svg import box, drawing, inlined, line, text
from api.pages.words import english_word
from ledger.application.ball_story import StepTold
from ledger.application.cure_times import CureTime
from ledger.book.instant import instant_ms

_DAY_MS = 86_400_000
_CURE_WIDTH, _CURE_HEIGHT, _EDGE = 240.0, 26.0, 4.0
_LEFT, _RIGHT, _TOP, _LANE = 112.0, 16.0, 30.0, 34.0
WIDTH = 920.0
MOST_DAYS = 60
"""Days of a ball's way that are drawn; what came later is in the list."""


def cure_picture(cure: CureTime, words: Catalogue) -> Markup:
    """How long a stage lasted against its window: nothing before the first mark is permitted, nothing after the second."""
    longest = max(cure.elapsed_s, (cure.least_s or 0) * 1.15, cure.most_s or 0, 1) * 1.05
    # A window of weeks would make its beginning invisible.
    longest = min(longest, max(cure.elapsed_s, cure.least_s or 0, 1) * 2.5)
    scale = (_CURE_WIDTH - 2 * _EDGE) / longest

    def at(seconds: float) -> float:
        return _EDGE + min(seconds, longest) * scale

    title = words.gettext("lasted %(elapsed)s; permitted from %(least)s to %(most)s") % {
        "elapsed": words.span(cure.elapsed_s * 1000),
        "least": "–" if cure.least_s is None else words.span(cure.least_s * 1000),
        "most": "–" if cure.most_s is None else words.span(cure.most_s * 1000),
    }
    picture = drawing(_CURE_WIDTH, _CURE_HEIGHT, title, "cure")
    if cure.least_s is not None:
        end = longest if cure.most_s is None else cure.most_s
        picture.append(box(at(cure.least_s), 3, width=at(end) - at(cure.least_s), height=20, css="allowed"))
    picture.append(box(at(0), 9, width=at(cure.elapsed_s) - at(0), height=8, css=f"lasted {_kept(cure)}"))
    for limit in (cure.least_s, cure.most_s):
        if limit is not None and limit <= longest:
            picture.append(line(at(limit), 1, at(limit), 25, "limit"))
    return inlined(picture)


def _kept(cure: CureTime) -> str:
    return "open" if cure.kept is None else "kept" if cure.kept else "missed"


class _Lane(NamedTuple):
    """One row: whose it is, its spans and its points."""

    name: str
    certain: bool
    spans: tuple[CureTime, ...]
    steps: tuple[StepTold, ...]


def way_picture(
    steps: Sequence[StepTold], cures: Sequence[CureTime], lots: dict[str, int], ball: str, words: Catalogue
) -> Markup | None:
    """A row for each lot and one for the ball: rests as bars, steps as points, breaches as open diamonds."""
    if not steps:
        return None
    first = min(step.at_ms for step in steps)
    steps = [step for step in steps if step.at_ms - first <= MOST_DAYS * _DAY_MS]
    ends = [instant_ms(cure.ended_at) for cure in cures]
    last = max([*(step.at_ms for step in steps), *(end for end in ends if end - first <= MOST_DAYS * _DAY_MS)])
    scale = (WIDTH - _LEFT - _RIGHT) / max(last - first, 1)
    lanes = _lanes(steps, cures, lots, ball)
    height = _TOP + len(lanes) * _LANE + 8
    picture = drawing(WIDTH, height, words.gettext("Steps and cure times of %(ball)s") % {"ball": ball}, "way")
    _days(picture, words, (first, last), scale, height)
    for number, lane in enumerate(lanes):
        _draw(picture, lane, _TOP + number * _LANE + _LANE / 2, words, (first, scale))
    return inlined(picture)


def _lanes(steps: Sequence[StepTold], cures: Sequence[CureTime], lots: dict[str, int], ball: str) -> list[_Lane]:
    found = []
    for lot in sorted(lots, key=lambda name: (lots[name], name)):
        own = tuple(step for step in steps if step.lot == lot)
        spans = tuple(cure for cure in cures if cure.lot == lot)
        certain = all(step.certain for step in own) and all(span.certain for span in spans)
        found.append(_Lane(lot, certain, spans, own))
    return [*found, _Lane(ball, True, (), tuple(step for step in steps if not step.lot))]


def _days(picture: drawsvg.Drawing, words: Catalogue, ends: tuple[int, int], scale: float, height: float) -> None:
    """A mark at each midnight of the plant, or at so many that their dates do not touch."""
    first, last = ends
    days = max(1, (last - first) // _DAY_MS)
    every = -(-days // 9)
    day = dt.datetime.fromtimestamp(first / 1000, words.zone).replace(hour=0, minute=0, second=0, microsecond=0)
    while True:
        day += dt.timedelta(days=every)
        at = day.timestamp() * 1000
        if at > last:
            return
        x = _LEFT + (at - first) * scale
        picture.append(line(x, _TOP - 6, x, height - 4, "day"))
        picture.append(text(words.day(round(at)).rpartition(" ")[0], 11, x, 16, "date", anchor="middle"))


def _draw(picture: drawsvg.Drawing, lane: _Lane, middle: float, words: Catalogue, scaled: tuple[int, float]) -> None:
    first, scale = scaled
    css = "certain" if lane.certain else "possible"
    picture.append(text(lane.name, 12, _LEFT - 10, middle + 4, "lane", anchor="end"))
    picture.append(line(_LEFT, middle, WIDTH - _RIGHT, middle, f"base {css}"))
    for span in lane.spans:
        began, ended = (_LEFT + (instant_ms(end) - first) * scale for end in (span.began_at, span.ended_at))
        bar = box(began, middle - 6, width=max(ended - began, 2), height=12, css=f"lasted {_kept(span)}")
        bar.append_title(f"{words.gettext(english_word('window', span.stage))}: {words.span(span.elapsed_s * 1000)}")
        picture.append(bar)
        if span.least_s is not None:
            x = began + span.least_s * 1000 * scale
            picture.append(line(x, middle - 10, x, middle + 10, "limit"))
    for step in lane.steps:
        x = _LEFT + (step.at_ms - first) * scale
        said = f"{step_words(step, words)}, {words.instant(step.at_ms)}"
        point = (
            drawsvg.Path(class_="breach").M(x, middle - 7).L(x + 7, middle).L(x, middle + 7).L(x - 7, middle).Z()
            if step.breaches
            else drawsvg.Circle(round(x, 1), middle, 3.5, class_="step")
        )
        point.append_title(said)
        picture.append(point)


def step_words(step: StepTold, words: Catalogue) -> str:
    """A step in words: a kind of record, or a step of a lot."""
    return words.gettext(english_word("kind" if step.what in KIND_WORDS else "step", step.what))


def detail_words(step: StepTold, words: Catalogue) -> str:
    """What a record says of a step beside its kind, such as the operation of a rework or the grade of a release."""
    sort = {"rework": "operation", "release": "grade", "regrade": "grade", "scrap": "end"}.get(step.what, "step")
    return words.gettext(english_word(sort, step.detail))


def permitted_ms(began_at: str, least_s: int) -> int:
    """The earliest instant (POSIX ms) at which a window that began then permits the next step."""
    return instant_ms(began_at) + least_s * 1000
