"""The cure and rest of one ball as a drawing: when each stage was, and how long against the window of the plan.

On the left each stage on the calendar that all share; on the right its length on a scale of its own, with the window
hatched, since minutes in a mould and days at rest fit no scale together.  A stage that the ball only possibly had is
dashed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from ledger.book.instant import instant_ms
from ledger.evidence.pdf.parts import CureSpan
from ledger.evidence.pdf.pen import ACCENT, BAR, EDGE, INK, LINE, SMALL, SMALL_BOLD, SMALL_INK, SOFT, WASH, Pen
from ledger.evidence.pdf.words import CURES, duration, word

_ROW, _HEAD = 8.4, 6.0
_DAY = 86_400_000
_EPOCH = date(1970, 1, 1).toordinal()


def cure_height(spans: Sequence[CureSpan]) -> float:
    """How tall the drawing is, in mm."""
    return _HEAD + _ROW * len(spans) + 2


def cure_words(spans: Sequence[CureSpan]) -> str:
    """The drawing in words."""
    return "Cure and rest. " + " ".join(f"{_stage(span)}: {', '.join(_said(span))}." for span in spans)


class _Calendar(NamedTuple):
    """Where instants lie across the drawing: POSIX ms of the first and how many to the last, left end and width in mm."""

    first: int
    reach: int
    left: float
    wide: float

    def at(self, ms: int) -> float:
        """The place of an instant."""
        return self.left + self.wide * (ms - self.first) / self.reach


def draw_cures(pen: Pen, x: float, y: float, spans: Sequence[CureSpan], room: float) -> None:
    """Draw it from its upper left corner, ``room`` mm wide."""
    first = min(instant_ms(span.began) for span in spans)
    last = max(instant_ms(span.ended) for span in spans)
    calendar = _Calendar(first, max(last - first, 1), x + room * 0.25, room * 0.33)
    scale, words = (x + room * 0.61, room * 0.17), x + room * 0.8
    _draw_days(pen, y, calendar, _ROW * len(spans))
    pen.write(scale[0], y + 3, "length and window of the plan", SMALL)
    for number, span in enumerate(spans):
        top = y + _HEAD + number * _ROW
        pen.line([(x, top), (x + room, top)], tone=LINE, width=0.12)
        pen.write(x, top + 3.4, _stage_name(span), SMALL_BOLD)
        pen.write(x, top + 6.6, pen.shortened(_lot(span), SMALL, room * 0.24), SMALL)
        _draw_on_calendar(pen, span, top, calendar)
        _draw_against_window(pen, span, top, scale)
        for line, said in enumerate(_said(span)):
            style = SMALL_BOLD if line and span.kept is False else SMALL_INK if line == 0 else SMALL
            pen.write(words, top + 3.4 + 3.2 * line, pen.shortened(said, style, room * 0.2), style)


def _draw_days(pen: Pen, y: float, calendar: _Calendar, tall: float) -> None:
    """A line for the midnight (UTC) of some days, with its date, as many as there is room for."""
    days = range(-(-calendar.first // _DAY), (calendar.first + calendar.reach) // _DAY + 1)
    step = max(1, -(-len(days) // 5))
    for day in days[::step]:
        at = calendar.at(day * _DAY)
        pen.line([(at, y + 4), (at, y + _HEAD + tall)], tone=LINE, width=0.12)
        inside = min(max(at, calendar.left + 5), calendar.left + calendar.wide - 5)
        pen.write(inside, y + 3, f"{date.fromordinal(_EPOCH + day):%m-%d}", SMALL, align="C")


def _draw_on_calendar(pen: Pen, span: CureSpan, top: float, calendar: _Calendar) -> None:
    began, ended = calendar.at(instant_ms(span.began)), calendar.at(instant_ms(span.ended))
    # A stage of minutes among weeks is still to be seen.
    size = (max(0.7, ended - began), 3.0)
    left = min(began, calendar.left + calendar.wide - 0.7)
    pen.box((left, top + 2.7), size, fill=BAR, edge=INK, dash=0 if span.certain else 0.7)


def _draw_against_window(pen: Pen, span: CureSpan, top: float, scale: tuple[float, float]) -> None:
    left, wide = scale
    ends = [span.elapsed_s, span.least_s or 0, span.most_s or 0]
    end = max(ends) * 1.18 or 1
    if span.least_s is not None or span.most_s is not None:
        low = left + wide * (span.least_s or 0) / end
        high = left + wide * (span.most_s / end if span.most_s is not None else 1)
        pen.box((low, top + 1.5), (high - low, 5.4), fill=WASH, edge=None)
        pen.hatched((low, top + 1.5), (high - low, 5.4), tone=LINE)
        for at, given in ((low, span.least_s), (high, span.most_s)):
            if given is not None:
                pen.line([(at, top + 1.5), (at, top + 6.9)], tone=EDGE, width=0.35)
    inside = span.kept is not False
    size = (wide * span.elapsed_s / end, 1.9)
    pen.box((left, top + 3.25), size, fill=SOFT if inside else ACCENT, edge=None)
    pen.line([(left, top + 1.5), (left, top + 6.9)], tone=INK, width=0.3)


def _stage_name(span: CureSpan) -> str:
    return word(CURES, span.stage)


def _lot(span: CureSpan) -> str:
    return span.lot if span.certain else f"{span.lot}, possible"


def _stage(span: CureSpan) -> str:
    return f"{_stage_name(span)} ({_lot(span)})"


def _said(span: CureSpan) -> list[str]:
    lasted = duration(span.elapsed_s)
    if span.kept is None:
        return [lasted, "no window in the plan"]
    least = "" if span.least_s is None else duration(span.least_s)
    most = "" if span.most_s is None else duration(span.most_s)
    window = f"{least} to {most}" if least and most else f"at least {least}" if least else f"at most {most}"
    return [lasted, f"plan {window}" if span.kept else f"NOT KEPT: {window}"]
