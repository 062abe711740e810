"""Instants: one form, real dates, order by the moment alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.instant import Instant, format_instant, instant_ms, parse_instant
from ledger.errors import MalformedInstant

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
instants = st.builds(
    Instant,
    st.integers(-62_135_000_000_000, 253_402_000_000_000),
    st.integers(-840, 840),
)


@given(instants)
def test_parse_undoes_format(instant: Instant) -> None:
    """Writing and reading gives the same moment and the same offset."""
    again = parse_instant(instant.text)

    assert (instant.ms, instant.offset_minutes) == (again.ms, again.offset_minutes)


@given(instants)
def test_milliseconds_agree_with_the_standard_library(instant: Instant) -> None:
    """The text means for the standard library what it means here."""
    told = datetime.fromisoformat(instant.text)

    assert instant.ms == (told - EPOCH) // timedelta(milliseconds=1)
    assert instant.ms == instant_ms(instant.text)


@pytest.mark.parametrize(
    "text",
    [
        "2026-11-25T10:00:00.000Z",
        "2026-11-25T10:00:00.000-00:00",
        "2026-11-25T10:00:00+00:00",
        "2026-11-25T10:00:00.00+00:00",
        "2026-11-25T10:00:00.0000+00:00",
        "2026-11-25 10:00:00.000+00:00",
        "2026-11-25t10:00:00.000+00:00",
        "2026-11-25T23:59:60.000+00:00",
        "2026-11-25T24:00:00.000+00:00",
        "2026-11-25T10:60:00.000+00:00",
        "2026-02-29T10:00:00.000+00:00",
        "2026-13-01T10:00:00.000+00:00",
        "2026-00-01T10:00:00.000+00:00",
        "0000-01-01T10:00:00.000+00:00",
        "2026-11-25T10:00:00.000+14:01",
        "2026-11-25T10:00:00.000-15:00",
        "2026-11-25T10:00:00.000+01:60",
        "2026-11-25T10:00:00.000+0100",
        "2026-11-25T10:00:00.000+00:00\n",
        " 2026-11-25T10:00:00.000+00:00",
        "٢026-11-25T10:00:00.000+00:00",
        "2026-W48-3T10:00:00.000+00:00",
        "",
    ],
)
def test_other_forms_are_refused(text: str) -> None:
    """Z, -00:00, second 60, dates outside the calendar and every other spelling are refused."""
    with pytest.raises(MalformedInstant):
        parse_instant(text)


@given(st.text(max_size=40))
def test_any_text_is_an_instant_or_is_refused(text: str) -> None:
    """Arbitrary text raises the one error, or is the one form."""
    try:
        instant = parse_instant(text)
    except MalformedInstant:
        return
    assert text == format_instant(instant)


def test_one_moment_told_in_two_offsets_is_one_moment() -> None:
    """Order and equality go by the moment, not by the wall clock."""
    morning = parse_instant("2026-11-25T10:00:00.000+01:00")
    same = parse_instant("2026-11-25T09:00:00.000+00:00")
    later = parse_instant("2026-11-25T09:30:00.000-01:00")

    assert (morning == same, morning < later) == (True, True)


@pytest.mark.parametrize("instant", [Instant(10**17), Instant(-(10**17)), Instant(0, 841), Instant(0, -841)])
def test_what_the_form_cannot_say_is_refused(instant: Instant) -> None:
    """Years outside 0001 to 9999 and offsets above 14 hours are not written."""
    with pytest.raises(MalformedInstant):
        format_instant(instant)
