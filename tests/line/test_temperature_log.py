"""The file of a temperature log: what is read, and what is refused with its line."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.instant import instant_ms
from ledger.errors import MalformedInput
from ledger.line.temperature_log import NINTHS, Logged, celsius_text, parse_log, thin

NINE = instant_ms("2026-03-02T09:00:00.000+00:00")
GOOD = "2026-03-02T09:00:00Z,22.9\n2026-03-02T10:05:00.5+01:00,23.0\n"
READ = [Logged(NINE, 206_100_000), Logged(NINE + 300_500, 207_000_000)]


@pytest.mark.parametrize(
    "text",
    [
        GOOD,
        GOOD.removesuffix("\n"),
        GOOD.replace("\n", "\r\n"),
        "\ufeff" + GOOD,
        "instant,temperature\n" + GOOD,
        "instant,temperature_c\r\n" + GOOD,
        GOOD.replace("Z", "z").replace("T", "t"),
        GOOD.replace(":00.5+", ":00.500999+"),
    ],
)
def test_a_log_is_read(text: str) -> None:
    """With or without header, byte order mark and CR; digits beyond the millisecond are dropped."""
    assert READ == parse_log(text.encode())


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("212", 100), ("-40", -40), ("32", 0), ("71", Fraction(65, 3)), ("100.4", 38)]
)
def test_fahrenheit_converts_exactly(fahrenheit: str, celsius: int | Fraction) -> None:
    """Fixed points of both scales, and one that no decimal in Celsius has."""
    log = f"instant,temperature_f\n2026-03-02T09:00:00Z,{fahrenheit}\n2026-03-02T09:01:00Z,70\n"
    assert celsius * NINTHS == parse_log(log.encode())[0].ninths


LINES = [
    ("2026-03-02T09:00:00Z,22.9\n2026-03-02T08:59:59Z,22.9", "line 2", "out of order"),
    ("2026-03-02T09:00:00Z,22.9\n2026-03-02T10:00:00+01:00,22.8", "line 2", "stands twice"),
    ("2026-03-02T09:00:00,22.9", "line 1", "no offset"),
    ("2026-03-02 09:00:00,22.9", "line 1", "no offset, or no T"),
    ("2026-03-02 09:00:00Z,22.9", "line 1", "another form"),
    ("2026-03-02T09:00Z,22.9", "line 1", "another form"),
    ("2026-03-02T09:00:00-00:00,22.9", "line 1", "-00:00"),
    ("2026-02-30T09:00:00Z,22.9", "line 1", "calendar"),
    ("2026-03-02T09:00:60Z,22.9", "line 1", "second 60"),
    ("2026-03-02T09:00:00Z,", "line 1", "no decimal"),
    ("2026-03-02T09:00:00Z,warm", "line 1", "no decimal"),
    ("2026-03-02T09:00:00Z,+22.9", "line 1", "no decimal"),
    ("2026-03-02T09:00:00Z, 22.9", "line 1", "no decimal"),
    ("2026-03-02T09:00:00Z,22,9", "line 1", "number of columns"),
    ("2026-03-02T09:00:00Z;22.9", "line 1", "number of columns"),
    ("2026-03-02T09:00:00Z,22.9\n\n2026-03-02T09:01:00Z,22.9", "line 2", "empty"),
    ("2026-03-02T09:00:00Z,-127", "line 1", "not plausible"),
    ("2026-03-02T09:00:00Z,300.000001", "line 1", "not plausible"),
    ("time,temp\n" + GOOD, "line 1", "header"),
    ("instant,temperature_c\n2026-03-02T09:00:00Z,x", "line 2", "no decimal"),
    ("instant,temperature_c\n", "body", "too few"),
    ("2026-03-02T09:00:00Z,22.9", "body", "too few"),
    ("", "body", "too few"),
]


@pytest.mark.parametrize(("text", "where", "problem"), LINES)
def test_what_is_wrong_is_named_with_its_line(text: str, where: str, problem: str) -> None:
    """The line, what is wrong with it, and the mend."""
    with pytest.raises(MalformedInput) as refused:
        parse_log(text.encode())
    assert (where, True) == (refused.value.where, bool(refused.value.mend))
    assert problem in str(refused.value)


def test_bytes_that_are_no_text_are_named_with_their_line() -> None:
    """A degree sign in another encoding."""
    with pytest.raises(MalformedInput) as refused:
        parse_log(GOOD.encode() + b"2026-03-02T11:00:00Z,22\xb0\n")
    assert "line 3" == refused.value.where


@given(st.binary(max_size=80) | st.text(alphabet="0123456789-:TZ+.,\r\n", max_size=80).map(str.encode))
def test_any_bytes_are_a_log_or_are_refused(raw: bytes) -> None:
    """Arbitrary bytes give readings in order, or MalformedInput."""
    try:
        readings = parse_log(raw)
    except MalformedInput:
        return
    assert sorted({one.at_ms for one in readings}) == [one.at_ms for one in readings]


def test_a_leap_second_is_the_second_after_it() -> None:
    """RFC 3339 section 5.8 has this one; POSIX has no second of its own for it."""
    log = parse_log(b"1990-12-31T15:59:59.5-08:00,20\n1990-12-31T23:59:60.25Z,21\n1991-01-01T00:00:01Z,20\n")
    assert [750, 750] == [late.at_ms - early.at_ms for early, late in pairwise(log)]


@given(st.lists(st.integers(-540_000_000, 2_700_000_000), min_size=1, max_size=300), st.integers(4, 60))
def test_thinning_keeps_ends_and_extremes(ninths: list[int], most: int) -> None:
    """Never more than asked for, in order, with the first, the last, the coldest and the warmest."""
    readings = [Logged(place, value) for place, value in enumerate(ninths)]
    kept = thin(readings, most)
    assert (True, readings[0], readings[-1]) == (len(kept) <= max(most, 1), kept[0], kept[-1])
    assert (min(ninths), max(ninths)) == (min(one.ninths for one in kept), max(one.ninths for one in kept))
    assert sorted(kept) == kept


@pytest.mark.parametrize(
    ("ninths", "text"), [(0, "0"), (9 * 22_900_000, "22.9"), (-9_000_000, "-1"), (195_000_000, "21.666667"), (-1, "0")]
)
def test_degrees_are_plain_decimals(ninths: int, text: str) -> None:
    """Six places at most, no trailing zeros, no negative zero."""
    assert text == celsius_text(ninths)
