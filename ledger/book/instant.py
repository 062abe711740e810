"""Instants as the book writes them: ``YYYY-MM-DDTHH:MM:SS.mmm±HH:MM``.

A profile of RFC 3339 section 5.6 with one form for each value: always three digits of milliseconds,
``+00:00`` and never ``Z`` or ``-00:00`` (RFC 3339 section 4.3 gives the latter another meaning),
no second 60, real dates of the proleptic Gregorian calendar, offsets of at most 14 hours.
The offset is kept: it is what the clock on the wall showed. Order and duration go by ``ms`` alone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from ledger.errors import MalformedInstant

MAX_OFFSET_MINUTES = 14 * 60

_FORM = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})T([01][0-9]|2[0-3]):([0-5][0-9]):([0-5][0-9])\.([0-9]{3})"
    r"([+-])(0[0-9]|1[0-4]):([0-5][0-9])",
    re.ASCII,
)
_EPOCH_DAY = date(1970, 1, 1).toordinal()
_DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True, order=True)
class Instant:
    """A point in time: ``ms`` milliseconds since 1970-01-01T00:00Z, and the offset it was told in.

    Instants are ordered and equal by ``ms`` alone: the same moment told in two offsets is one moment.
    """

    ms: int
    offset_minutes: int = field(default=0, compare=False)

    @property
    def text(self) -> str:
        """The one form of this instant, see ``format_instant``."""
        return format_instant(self)


def parse_instant(text: str) -> Instant:
    """Read the one form; raises MalformedInstant for anything else."""
    match = _FORM.fullmatch(text)
    if match is None:
        raise MalformedInstant("instant has another form", expected="YYYY-MM-DDTHH:MM:SS.mmm±HH:MM", got=text)
    day, hour, minute, second, milli, sign, offset_hours, offset_rest = match.groups()
    offset = int(offset_hours) * 60 + int(offset_rest)
    if sign == "-":
        offset = -offset
        if offset == 0:
            raise MalformedInstant("offset -00:00 is not used", expected="+00:00", got=text)
    if not -MAX_OFFSET_MINUTES <= offset <= MAX_OFFSET_MINUTES:
        raise MalformedInstant("offset is too large", expected="at most 14:00", got=text)
    local = (int(hour) * 60 + int(minute)) * 60_000 + int(second) * 1_000 + int(milli)
    return Instant(_day_number(day) * _DAY_MS + local - offset * 60_000, offset)


# One record asks for its instants several times, and a station's records share many of them.
@lru_cache(maxsize=8192)
def instant_ms(text: str) -> int:
    """Give the POSIX milliseconds of ``text``; raises MalformedInstant as ``parse_instant`` does."""
    return parse_instant(text).ms


def format_instant(instant: Instant) -> str:
    """Write the one form; raises MalformedInstant outside years 0001 to 9999 or offsets of ±14:00."""
    offset = instant.offset_minutes
    if not -MAX_OFFSET_MINUTES <= offset <= MAX_OFFSET_MINUTES:
        raise MalformedInstant("offset is too large", expected="at most 840 minutes", got=offset)
    days, rest = divmod(instant.ms + offset * 60_000, _DAY_MS)
    try:
        day = date.fromordinal(days + _EPOCH_DAY)
    except (ValueError, OverflowError) as error:
        raise MalformedInstant("instant is outside years 0001 to 9999", got=instant.ms) from error
    seconds, milli = divmod(rest, 1_000)
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(minutes, 60)
    sign = "-" if offset < 0 else "+"
    offset_hours, offset_rest = divmod(abs(offset), 60)
    clock = f"{hour:02d}:{minute:02d}:{second:02d}.{milli:03d}"
    return f"{day.isoformat()}T{clock}{sign}{offset_hours:02d}:{offset_rest:02d}"


# A plant writes many instants of few days, so the calendar is asked once a day.
@lru_cache(maxsize=4096)
def _day_number(day: str) -> int:
    """Days since 1970-01-01 of ``YYYY-MM-DD``."""
    try:
        return date(int(day[:4]), int(day[5:7]), int(day[8:])).toordinal() - _EPOCH_DAY
    except ValueError as error:
        raise MalformedInstant("date is not in the calendar", got=day) from error
