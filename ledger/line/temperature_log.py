"""The temperature log of a rack as a file: a CSV of instants and temperatures.

The format, read strictly::

    instant,temperature_c
    2026-03-02T08:00:00Z,22.9
    2026-03-02T09:05:00.500+01:00,23.0

UTF-8, a byte order mark let pass; two columns parted by one comma, no quotes; lines end in LF or CR LF.  The header may
be absent, and then degrees are Celsius; it is ``instant,temperature_c``, ``instant,temperature`` (Celsius too) or
``instant,temperature_f``.  Instants are those of RFC 3339 section 5.6 with their offset: ``Z`` is taken, ``t`` and ``z``
too, seconds are never left out, digits beyond the millisecond are dropped; ``-00:00`` is refused, as in the book.
``23:59:60`` in UTC is the POSIX second after it.  Temperatures are decimals of at most six places.
Instants strictly ascend; a line that breaks any of this is named.

Temperatures are whole ninths of a millionth of a degree Celsius, so that Fahrenheit converts exactly.
The plausible range only catches typing errors and broken sensors (common practice, no source).
What a log says is in `temperature_summary`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from ledger.book.decimal_text import scaled
from ledger.book.instant import Instant, format_instant, parse_instant
from ledger.errors import MalformedDecimal, MalformedInput, MalformedInstant

NINTHS = 9_000_000
"""One degree Celsius."""

COLDEST, WARMEST = -60, 300
"""Degrees Celsius that a log may hold, both included."""

_HEADERS = {"instant,temperature_c": "C", "instant,temperature": "C", "instant,temperature_f": "F"}
_INSTANT = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt]([0-9]{2}:[0-9]{2}):([0-9]{2})(?:\.([0-9]{1,9}))?([Zz]|[+-][0-9]{2}:[0-9]{2})",
    re.ASCII,
)
_NO_OFFSET = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9:.]+", re.ASCII)
_DAY_MS = 86_400_000


class Logged(NamedTuple):
    """One reading: POSIX milliseconds, and ninths of a millionth of a degree Celsius."""

    at_ms: int
    ninths: int


def parse_log(raw: bytes) -> list[Logged]:
    """The readings of a log in their order. Raises MalformedInput naming the line; memory is about 150 bytes a reading."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _bad(
            raw[: error.start].count(b"\n") + 1, "log is not UTF-8 text", mend="save it as CSV in UTF-8"
        ) from error
    lines = text.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    unit, first = "C", 0
    header = lines[0].removesuffix("\r") if lines else ""
    if header and not header[0].isdigit():
        unit, first = _unit_of(header), 1
    found: list[Logged] = []
    for number, line in enumerate(lines[first:], first + 1):
        logged = _read_line(line.removesuffix("\r"), unit, number)
        if found:
            _check_after(found[-1], logged, number)
        found.append(logged)
    if len(found) < 2:
        raise MalformedInput(
            "log holds too few readings",
            expected="at least 2",
            got=len(found),
            where="body",
            mend="send the whole log: one reading says nothing over time",
        )
    return found


def _unit_of(header: str) -> str:
    unit = _HEADERS.get(header)
    if unit is None:
        raise _bad(
            1, "header is another", expected=" or ".join(_HEADERS), got=header, mend="name the two columns so, or none"
        )
    return unit


def _read_line(line: str, unit: str, number: int) -> Logged:
    cells = line.split(",")
    if len(cells) != 2:
        problem = "line is empty" if not line.strip() else "line has another number of columns"
        mend = "part instant and temperature by one comma, with a point in the decimal, and leave no line empty"
        raise _bad(number, problem, expected="instant,temperature", got=line, mend=mend)
    return Logged(_instant_ms(cells[0], number), _ninths(cells[1], unit, number))


def _check_after(before: Logged, logged: Logged, number: int) -> None:
    if logged.at_ms > before.at_ms:
        return
    got = _instant_text(logged.at_ms)
    if logged.at_ms == before.at_ms:
        raise _bad(number, "instant stands twice", got=got, mend="keep one reading of each instant")
    raise _bad(
        number,
        "instant is out of order",
        expected=f"after {_instant_text(before.at_ms)}",
        got=got,
        mend="sort the readings by time; an offset that changed with the clocks must be in each line",
    )


def parse_log_instant(text: str) -> int:
    """POSIX milliseconds of an RFC 3339 instant, as a log has it. Raises MalformedInstant."""
    found = _INSTANT.fullmatch(text)
    if found is None:
        if _NO_OFFSET.fullmatch(text):
            raise MalformedInstant(
                "instant has no offset, or no T", expected="YYYY-MM-DDTHH:MM:SS+HH:MM or Z", got=text
            )
        raise MalformedInstant("instant has another form", expected="YYYY-MM-DDTHH:MM:SS+HH:MM or Z", got=text)
    day, minute, second, fraction, offset = found.groups()
    leap = second == "60"
    milli = (fraction or "").ljust(3, "0")[:3]
    shift = "+00:00" if offset in "Zz" else offset
    ms = parse_instant(f"{day}T{minute}:{'59' if leap else second}.{milli}{shift}").ms
    if not leap:
        return ms
    # RFC 3339 section 5.7: a second 60 is the last of a day in UTC.
    if ms % _DAY_MS // 1000 != 86_399:
        raise MalformedInstant("second 60 is not at the end of a day in UTC", got=text)
    return ms + 1000


def _instant_ms(text: str, number: int) -> int:
    try:
        return parse_log_instant(text)
    except MalformedInstant as error:
        raise _bad(
            number,
            error.problem,
            expected=error.expected,
            got=text,
            mend="send each instant with its date, seconds and offset, such as 2026-03-02T08:00:00+01:00",
        ) from error


def _ninths(text: str, unit: str, number: int) -> int:
    try:
        millionths = scaled(text, 6)
    except MalformedDecimal as error:
        raise _bad(
            number,
            "temperature is no decimal of at most six places",
            expected="such as 22.9",
            got=text,
            mend="send the number alone, with a point; leave out a line that has no reading",
        ) from error
    ninths = 9 * millionths if unit == "C" else 5 * (millionths - 32_000_000)
    if not COLDEST * NINTHS <= ninths <= WARMEST * NINTHS:
        raise _bad(
            number,
            "temperature is not plausible",
            expected=f"{COLDEST} to {WARMEST} deg C",
            got=f"{text} deg {unit}",
            mend="leave out what the sensor made up, or name the column temperature_f",
        )
    return ninths


def _bad(line: int, problem: str, *, expected: object = None, got: object = None, mend: str) -> MalformedInput:
    return MalformedInput(problem, expected=expected, got=got, where=f"line {line}", mend=mend)


def thin(readings: Sequence[Logged], most: int) -> list[Logged]:
    """At most so many readings (4 or more) for a picture: of each stretch of like length the coldest and the warmest.

    The first and the last stay, so that a picture shows how far the log reaches, and no excursion is lost.
    """
    if len(readings) <= most:
        return list(readings)
    slots = (most - 2) // 2
    kept = {0, len(readings) - 1}
    for slot in range(slots):
        places = range(slot * len(readings) // slots, (slot + 1) * len(readings) // slots)
        kept |= {min(places, key=lambda at: readings[at].ninths), max(places, key=lambda at: readings[at].ninths)}
    return [readings[place] for place in sorted(kept)]


def celsius_text(ninths: int) -> str:
    """Degrees Celsius as `degrees_text`."""
    return degrees_text(Fraction(ninths, NINTHS))


def degrees_text(degrees: Fraction) -> str:
    """Degrees as decimal text, rounded half to even at six places."""
    millionths = round(degrees * 1_000_000)
    whole, rest = divmod(abs(millionths), 1_000_000)
    text = f"{whole}.{rest:06d}".rstrip("0").rstrip(".")
    return f"-{text}" if millionths < 0 else text


def _instant_text(ms: int) -> str:
    return format_instant(Instant(ms, 0))
