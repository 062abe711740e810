"""Warranty terms and the days they run to."""

from __future__ import annotations

import contextlib
import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedTerms
from ledger.warranty.terms import DEFAULT_TERM, Term, find_term, in_term, last_day, parse_terms

TERMS = """format = 1
[[term]]
months = 24
source = "plant"
[[term]]
model = "ROC"
months = 36
source = "plant"
[[term]]
model = "ROC"
market = "JP"
months = 12
source = "plant"
[[term]]
market = "JP"
months = 6
source = "plant"
"""


def day(text: str) -> dt.date:
    """A date."""
    return dt.date.fromisoformat(text)


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        ("2024-05-06", 12, "2025-05-06"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        ("2024-01-31", 1, "2024-02-29"),
        ("2024-12-15", 1, "2025-01-15"),
        ("2024-05-06", 0, "2024-05-06"),
    ],
)
def test_last_day_is_the_same_day_of_the_month(start: str, months: int, end: str) -> None:
    """A term ends on the day of the same number, or on the last of a shorter month."""
    assert day(end) == last_day(day(start), months)


@given(st.dates(max_value=dt.date(9000, 1, 1)), st.integers(0, 600))
def test_last_day_is_never_before_the_start(start: dt.date, months: int) -> None:
    """A term runs forward, into the month so many months later."""
    end = last_day(start, months)
    assert end >= start
    assert start.year * 12 + start.month + months == end.year * 12 + end.month


def test_last_day_of_the_last_year_is_the_last_there_is() -> None:
    """A term beyond the calendar ends with it."""
    assert dt.date.max == last_day(day("9999-12-01"), 12)


@pytest.mark.parametrize(
    ("bought", "on", "outcome"),
    [
        ("2024-05-06", "2025-05-06", "in term"),
        ("2024-05-06", "2025-05-07", "out of term"),
        ("2024-05-06", "2024-05-06", "in term"),
        ("2024-04-30", "2024-05-06", "cannot tell"),
        ("2024-05-06", "2024-05-05", "cannot tell"),
    ],
)
def test_a_purchase_date_tells(bought: str, on: str, outcome: str) -> None:
    """The last day is in term; a purchase before making, or after the day asked about, tells nothing."""
    assert outcome == in_term(DEFAULT_TERM, day("2024-05-01"), day(bought), day(on)).outcome


@pytest.mark.parametrize(
    ("made", "on", "outcome"),
    [
        ("2024-05-01", "2025-05-01", "in term"),
        ("2024-05-01", "2025-05-02", "cannot tell"),
        (None, "2025", "cannot tell"),
    ],
)
def test_without_a_purchase_date_the_day_of_making_tells_while_it_can(made: str | None, on: str, outcome: str) -> None:
    """Within a year of making, a ball is in term whenever it was bought; later the purchase must be known."""
    asked = day(on) if len(on) > 4 else day("2025-01-01")
    assert outcome == in_term(DEFAULT_TERM, None if made is None else day(made), None, asked).outcome


def test_a_grade_without_warranty_is_out_of_term() -> None:
    """A second-quality ball has no warranty, however new."""
    answer = in_term(DEFAULT_TERM, day("2024-05-01"), day("2024-05-02"), day("2024-05-03"), grade="second")
    assert ("out of term", ("grade second is sold without warranty",)) == (answer.outcome, answer.reasons)


def test_a_term_of_no_months_is_no_warranty() -> None:
    """A model may be sold without warranty."""
    term = Term(months=0, source="plant")
    assert "out of term" == in_term(term, None, day("2024-05-02"), day("2024-05-02")).outcome


@pytest.mark.parametrize(
    ("model", "market", "months"), [("ROC", "JP", 12), ("ROC", "US", 36), ("ELM", "JP", 6), ("ELM", "US", 24)]
)
def test_the_most_particular_term_wins(model: str, market: str, months: int) -> None:
    """Model and market, then model, then market, then the general one."""
    assert months == find_term(parse_terms(TERMS), model, market).months


def test_no_terms_leave_the_default() -> None:
    """Without a file, one year from purchase."""
    assert DEFAULT_TERM == find_term((), "ROC")


@pytest.mark.parametrize(
    "text",
    [
        "format = 2\nterm = []",
        "format = 1",
        TERMS + "colour = 1",
        TERMS + '[[term]]\nmonths = 3\nsource = "x"',
        'format = 1\n[[term]]\nmonths = -1\nsource = "x"',
        b"\xff",
        "a" * 200_000,
    ],
)
def test_another_file_is_refused(text: str | bytes) -> None:
    """What is no file of terms is refused as such."""
    with pytest.raises(MalformedTerms):
        parse_terms(text)


@given(st.binary(max_size=60))
def test_any_bytes_give_only_our_error(raw: bytes) -> None:
    """Bytes of any sort raise only this project's error."""
    with contextlib.suppress(MalformedTerms):
        parse_terms(raw)
