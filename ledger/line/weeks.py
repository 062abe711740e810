"""Weeks of ISO 8601 in UTC, as in 2026-W05: the week of an instant, and the instants of a week.

Source: ISO 8601-1:2019, 5.2.3 (week date; week 1 is that of the year's first Thursday), from memory.
"""

from __future__ import annotations

import datetime as dt
import re

_EPOCH = dt.date(1970, 1, 1)
_DAY_MS = 86_400_000
_FORM = re.compile(r"([0-9]{4})-W([0-9]{2})", re.ASCII)


def week_of(ms: int) -> str:
    """The week of an instant in POSIX milliseconds."""
    year, week, _ = (_EPOCH + dt.timedelta(milliseconds=ms)).isocalendar()
    return f"{year}-W{week:02d}"


def week_ends(week: str) -> tuple[int, int] | None:
    """Its first and its last millisecond; None where there is no such week."""
    found = _FORM.fullmatch(week)
    if found is None:
        return None
    try:
        monday = dt.date.fromisocalendar(int(found[1]), int(found[2]), 1)
    except ValueError:
        return None
    first = (monday - _EPOCH).days * _DAY_MS
    return first, first + 7 * _DAY_MS - 1
