"""Warranty terms and the days they run to."""

from __future__ import annotations

import contextlib
import datetime as dt

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedTerms
from ledger.warranty.terms import (
    DEFAULT_TERM,
    DEFAULT_TERMS,
    Dates,
    Deadlines,
    Exclusion,
    Term,
    find_term,
    in_term,
    last_day,
    parse_terms,
    term_words,
)

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
    assert outcome == in_term(DEFAULT_TERM, Dates(day("2024-05-01"), bought_on=day(bought)), day(on)).outcome


@pytest.mark.parametrize(
    ("start", "ends"), [("purchase", "2025-03-31"), ("shipment", "2025-02-28"), ("manufacture", "2025-01-31")]
)
def test_a_term_runs_from_the_day_that_it_names(start: str, ends: str) -> None:
    """Purchase, shipment and manufacture each have their own last day, which is in term, and the next is not."""
    term = msgspec.convert({"start": start, "months": 12, "source": "plant"}, Term)
    dates = Dates(day("2024-01-31"), day("2024-02-29"), day("2024-03-31"))
    answer = in_term(term, dates, day(ends))
    assert ("in term", day(ends)) == (answer.outcome, answer.last_day)
    assert "out of term" == in_term(term, dates, day(ends) + dt.timedelta(days=1)).outcome


@pytest.mark.parametrize("start", ["purchase", "shipment", "manufacture"])
@pytest.mark.parametrize("on", ["2024-06-01", "2026-06-01"])
def test_without_any_date_nothing_can_be_told(start: str, on: str) -> None:
    """A term whose start is not known, on a ball whose making is not, cannot be told."""
    term = msgspec.convert({"start": start, "months": 12, "source": "plant"}, Term)
    assert "cannot tell" == in_term(term, Dates(None), day(on)).outcome


@pytest.mark.parametrize("start", ["purchase", "shipment"])
@pytest.mark.parametrize(
    ("made", "on", "outcome"),
    [("2024-05-01", "2025-05-01", "in term"), ("2024-05-01", "2025-05-02", "cannot tell")],
)
def test_the_day_of_making_tells_while_it_can(start: str, made: str, on: str, outcome: str) -> None:
    """Within a year of making, a ball is in term whenever the term began; later its start must be known."""
    term = msgspec.convert({"start": start, "months": 12, "source": "plant"}, Term)
    assert outcome == in_term(term, Dates(day(made)), day(on)).outcome


def test_a_grade_without_warranty_is_excluded() -> None:
    """A second-quality ball has no warranty, however new, and the answer says so in the words of the term."""
    answer = in_term(
        DEFAULT_TERM, Dates(day("2024-05-01"), bought_on=day("2024-05-02"), grade="second"), day("2024-05-03")
    )
    assert ("excluded", ("second quality is sold without warranty",)) == (answer.outcome, answer.reasons)


@pytest.mark.parametrize(
    ("mode", "grade", "outcome"),
    [
        ("engraving", "first", "excluded"),
        ("pin-loose", "first", "in term"),
        ("pin-loose", "demo", "excluded"),
        (None, "demo", "in term"),
        (None, None, "in term"),
    ],
)
def test_a_failure_mode_is_excluded_alone_or_with_a_grade(mode: str | None, grade: str | None, outcome: str) -> None:
    """An exclusion of a mode holds for every grade; one of both only where both fit; what is not known excludes nothing."""
    both = (
        Exclusion(mode="engraving", words="not engraving"),
        Exclusion(mode="pin-loose", grade="demo", words="no pins"),
    )
    term = Term(months=12, exclusion=both, source="plant")
    assert outcome == in_term(term, Dates(day("2024-05-01"), grade=grade, mode=mode), day("2024-05-03")).outcome


def test_a_term_of_no_months_is_no_warranty() -> None:
    """A model may be sold without warranty."""
    term = Term(months=0, source="plant")
    assert "excluded" == in_term(term, Dates(None, bought_on=day("2024-05-02")), day("2024-05-02")).outcome


def test_a_term_for_the_first_buyer_says_so() -> None:
    """Where a term is not transferable, whoever is in term is asked whether he bought the ball."""
    term = Term(months=12, transferable=False, source="plant")
    answer = in_term(term, Dates(None, bought_on=day("2024-05-02")), day("2024-05-03"))
    assert ("in term", "the term holds for the first buyer alone: ask who bought the ball") == (
        answer.outcome,
        answer.reasons[-1],
    )
    assert "12 months from purchase, for the first buyer alone (any model, any market; source: plant)" == term_words(
        term
    )


@given(st.dates(dt.date(2000, 1, 1), dt.date(2100, 1, 1)), st.integers(1, 120), st.integers(-500, 5_000))
def test_in_term_is_up_to_the_last_day_and_no_further(bought: dt.date, months: int, later: int) -> None:
    """From purchase on, a day is in term exactly while it is not after the last day."""
    on = bought + dt.timedelta(days=later)
    outcome = in_term(Term(months=months, source="plant"), Dates(None, bought_on=bought), on).outcome
    expected = "cannot tell" if later < 0 else "in term" if on <= last_day(bought, months) else "out of term"
    assert expected == outcome


@pytest.mark.parametrize(
    ("model", "market", "months"), [("ROC", "JP", 12), ("ROC", "US", 36), ("ELM", "JP", 6), ("ELM", "US", 24)]
)
def test_the_most_particular_term_wins(model: str, market: str, months: int) -> None:
    """Model and market, then model, then market, then the general one."""
    assert months == find_term(parse_terms(TERMS).term, model, market).months


def test_no_terms_leave_the_default() -> None:
    """Without a file, one year from purchase."""
    assert DEFAULT_TERM == find_term((), "ROC")


def test_a_file_states_deadlines_and_how_long_to_keep() -> None:
    """What a file leaves out keeps its default."""
    terms = parse_terms("format = 1\nkeep_days = 90\nterm = []\n[deadlines]\ndecision = 7\n")
    assert (90, Deadlines(decision=7), ()) == (terms.keep_days, terms.deadlines, terms.term)
    assert (730, 14, 30, 30, 21) == (DEFAULT_TERMS.keep_days, *msgspec.structs.astuple(DEFAULT_TERMS.deadlines))


def test_exclusions_stand_under_their_term() -> None:
    """An exclusion is a table of the term above it."""
    text = TERMS + '[[term.exclusion]]\nmode = "engraving"\nwords = "worn numbers are no fault"\n'
    assert ((), (Exclusion(mode="engraving", words="worn numbers are no fault"),)) == (
        parse_terms(text).term[0].exclusion,
        parse_terms(text).term[3].exclusion,
    )


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        (TERMS + "colour = 1", "warranty terms line 18", "colour"),
        (TERMS + '[[term.exclusion]]\nwords = "x"', "warranty terms line 14", "excludes nothing"),
        (TERMS + '[[term]]\nmonths = 3\nsource = "x"', "warranty terms line 18", "two terms for one case"),
        (TERMS + "[deadlines]\nsoon = 3", "warranty terms", "soon"),
        ("format = 1\nterm = []\nkept = 3", "warranty terms line 3", "kept"),
        (TERMS.replace("months = 24", 'months = "x"'), "warranty terms line 3", "months"),
        ("format = 1\nterm = x", "warranty terms line 2", "no TOML"),
    ],
)
def test_what_is_wrong_is_named_with_its_line_or_key(text: str, where: str, said: str) -> None:
    """A refusal says where, and the key in its words."""
    with pytest.raises(MalformedTerms, match=said) as refused:
        parse_terms(text)
    assert (where, True) == (refused.value.where, bool(refused.value.mend))


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
