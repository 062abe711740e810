"""Elapsed time across clock changes, instants of logs, and cure windows, against published and computed examples.

RFC 3339 section 5.8 (timestamps, published) and 5.6 (what its grammar leaves out); IANA time zone database, by way of the
standard library; POSIX seconds for the leap second of 2016-12-31 (IERS Bulletin C 52, from memory).
"""

from __future__ import annotations

import datetime as dt
import zoneinfo

import pytest

from ledger.book.instant import instant_ms
from ledger.errors import MalformedInstant
from ledger.line.process_plan import window_breaches
from ledger.line.rows import Plan
from ledger.line.temperature_log import parse_log_instant
from tests.outside.metrology_vectors import vector


def wall(local: str, zone: str, fold: int = 0) -> str:
    """A clock on the wall, as the instant that it shows with its offset."""
    try:
        there = zoneinfo.ZoneInfo(zone)
    except zoneinfo.ZoneInfoNotFoundError:
        pytest.skip("no time zone database is installed")
    return dt.datetime.fromisoformat(local).replace(tzinfo=there, fold=fold).isoformat(timespec="milliseconds")


def cured(windows: str, began: str, ended: str) -> list[str]:
    """The codes of the breaches of a final cure from one instant to another."""
    plan = Plan(plan="1.0", model="M", from_ms=0, windows=windows, inspect="[]", rulebooks="")
    ends = instant_ms(began), instant_ms(ended)
    return [one.code for one in window_breaches(plan, "final-cure", *ends, node="lot:L", what="L", fact="")]


def window(least: int, most: int) -> str:
    """The windows of a plan that asks for a final cure, in seconds."""
    return f'[{{"stage":"final-cure","min_s":{least},"max_s":{most}}}]'


@pytest.mark.parametrize("id", ["dst-spring-ny", "dst-fall-ny", "dst-none-phoenix"])
def test_elapsed_time_is_not_the_difference_of_two_clocks_on_the_wall(id: str) -> None:
    """The window of exactly the elapsed seconds is kept, one second more or less is not."""
    inputs, expected, _ = vector(id)
    began, ended = (wall(inputs[end], inputs["zone"]) for end in ("start_local", "end_local"))
    elapsed = int(expected["elapsed_s"])
    assert elapsed * 1000 == instant_ms(ended) - instant_ms(began)
    assert [] == cured(window(elapsed, elapsed), began, ended)
    assert ["final-cure-short"] == cured(window(elapsed + 1, elapsed + 1), began, ended)
    assert ["final-cure-long"] == cured(window(0, elapsed - 1), began, ended)


def test_an_hour_that_comes_twice_needs_its_offset() -> None:
    """Without one it is refused; with one it is one of the two instants, an hour apart."""
    inputs, expected, _ = vector("dst-ambiguous")
    with pytest.raises(MalformedInstant):
        parse_log_instant(inputs["local"] + ":00")
    for fold in (0, 1):
        assert parse_log_instant(expected[f"utc_fold{fold}"]) == parse_log_instant(
            wall(inputs["local"], inputs["zone"], fold)
        )


def test_the_examples_of_rfc_3339_are_read() -> None:
    """Section 5.8: each is the same instant as its form in UTC; the leap second too."""
    inputs, expected, _ = vector("rfc3339-examples")
    assert [parse_log_instant(text) for text in expected["utc"]] == [
        parse_log_instant(text) for text in inputs["timestamps"]
    ]
    assert 482_196_050_520 == parse_log_instant("1985-04-12T23:20:50.52Z")


def test_what_rfc_3339_leaves_out_is_refused() -> None:
    """Section 5.6: no date that is none, hour 24, missing seconds or offset, offset without colon, week or basic form."""
    inputs, expected, _ = vector("rfc3339-invalid")
    assert not any(expected["valid"])
    for text in inputs["timestamps"]:
        with pytest.raises(MalformedInstant):
            parse_log_instant(text)


def test_a_leap_second_is_not_counted() -> None:
    """POSIX seconds: two minutes over the end of 2016, where an atomic clock counted 121 s."""
    inputs, expected, _ = vector("leap-2016")
    elapsed = parse_log_instant(inputs["end"]) - parse_log_instant(inputs["start"])
    assert expected["posix_s"] * 1000 == elapsed


def test_a_cure_window_is_kept_by_elapsed_time_at_both_ends() -> None:
    """12 h to 14 h: 11 h is short, 12 h and 14 h are kept, 15 h is long, whatever the clocks on the wall showed."""
    inputs, expected, _ = vector("cure-window")
    assert {"min": "PT12H", "max": "PT14H"} == inputs["window"]
    codes = {"short": ["final-cure-short"], "ok": [], "long": ["final-cure-long"]}
    for cure, verdict in zip(inputs["cures"], expected["verdict"], strict=True):
        began, ended = (
            dt.datetime.fromisoformat(cure[end]).isoformat(timespec="milliseconds") for end in ("start", "end")
        )
        assert codes[verdict] == cured(window(12 * 3_600, 14 * 3_600), began, ended)
