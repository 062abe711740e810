"""The plant's calendar: 90 days from 3 August to 31 October 2026, and what its wall clock shows.

The plant lies where clocks go back by one hour in the night before 25 October 2026 at 03:00 (the rule of Directive
2000/84/EC, last Sunday of October at 01:00 UTC; from memory), so that cures over that night show elapsed time.
"""

from __future__ import annotations

import datetime as dt

from ledger.book.instant import Instant, format_instant

FIRST = dt.date(2026, 8, 3)
LAST = dt.date(2026, 10, 31)
DAYS = (LAST - FIRST).days + 1

MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR

_CLOCKS_BACK = dt.datetime(2026, 10, 25, 1, tzinfo=dt.UTC)
_CLOCKS_BACK_MS = int(_CLOCKS_BACK.timestamp()) * 1000
_EPOCH = dt.date(1970, 1, 1)

WORKDAYS: tuple[dt.date, ...] = tuple(
    day for number in range(DAYS) if (day := FIRST + dt.timedelta(days=number)).weekday() < 5
)
"""Monday to Friday, 65 of them."""


def offset_minutes(ms: int) -> int:
    """What the plant's wall clock is ahead of UTC at an instant."""
    return 120 if ms < _CLOCKS_BACK_MS else 60


def clock(day: dt.date, text: str) -> int:
    """POSIX milliseconds of a wall clock reading ``HH:MM`` on a day."""
    hours, minutes = (int(part) for part in text.split(":"))
    local = (day - _EPOCH).days * DAY + hours * HOUR + minutes * MINUTE
    return local - offset_minutes(local - 90 * MINUTE) * MINUTE


def on(workday: int, text: str) -> int:
    """POSIX milliseconds of a wall clock reading on the n-th working day, from 0."""
    return clock(WORKDAYS[workday], text)


def told(ms: int) -> str:
    """An instant as the plant's stations write it, with the offset of the day."""
    return format_instant(Instant(ms, offset_minutes(ms)))


def day_of(ms: int) -> dt.date:
    """The date on the plant's wall clock."""
    return _EPOCH + dt.timedelta(days=(ms + offset_minutes(ms) * MINUTE) // DAY)


def workday_of(ms: int) -> int:
    """The number of the working day that an instant lies on, or of the last one before it."""
    day = day_of(ms)
    return max(number for number, workday in enumerate(WORKDAYS) if workday <= day)


DEMO_NOW = clock(LAST, "10:00")
"""Where the story ends: Saturday 31 October 2026, 10:00 at the plant."""
