"""Days that a form asks for, as the instants between which records count: whole days by the plant's wall clock."""

from __future__ import annotations

import datetime as dt
from typing import Any

from litestar import Request

from api.pages.catalogue import time_zone
from api.pages.desk.forms import Typed
from api.parts import parts_of
from ledger.book.instant import Instant, format_instant
from ledger.errors import MalformedInput


def day_span(
    request: Request[Any, Any, Any], typed: Typed, first: str, last: str, *, into: tuple[str, str]
) -> dict[str, str]:
    """The first instant of one day and the last of another, under the names ``into``; an empty day is left out.

    Raises MalformedInput naming the field for what is no day.
    """
    return {
        name: _instant(request, typed[field], field, end=end)
        for name, field, end in ((into[0], first, False), (into[1], last, True))
        if typed[field]
    }


def _instant(request: Request[Any, Any, Any], text: str, where: str, *, end: bool) -> str:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError as error:
        raise MalformedInput("day cannot be read", expected="YYYY-MM-DD", got=text, where=where) from error
    clock = dt.time(23, 59, 59, 999_000) if end else dt.time()
    moment = dt.datetime.combine(day, clock, time_zone(parts_of(request).settings.time_zone))
    minutes = int((moment.utcoffset() or dt.timedelta()).total_seconds()) // 60
    return format_instant(Instant(round(moment.timestamp() * 1000), minutes))
