"""Warranty terms as data, and whether a ball is in term on a day.

A file of terms is TOML with ``format = 1`` and one ``[[term]]`` table a term (fields of `Term`). Unknown keys are
refused. The most particular term wins: model and market, then model, then market, then neither.

A term runs from the date of purchase. Its last day is the day of the same number so many months later, or the last of
that month where it is shorter (29 Feb and one year: 28 Feb); that day is in term. Dates are calendar dates, without
time zones. Exclusions of other sorts (misuse, storage, drilling) are for a person to judge.
"""

from __future__ import annotations

import calendar
import datetime as dt
import tomllib
from collections.abc import Iterable
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from ledger.errors import MalformedTerms

LARGEST_FILE = 100_000
"""Bytes of a file of terms."""

TermOutcome = Literal["in term", "out of term", "cannot tell"]


class Term(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How long a maker answers for a ball, for a model (empty: any) in a market (empty: any).

    ``grades_without``: grades that are sold without warranty. ``source`` says where the term is stated.
    """

    model: str = ""
    market: str = ""
    months: Annotated[int, Meta(ge=0, le=600)]
    grades_without: tuple[str, ...] = ()
    source: str


DEFAULT_TERM = Term(
    months=12, grades_without=("second", "house", "prototype", "demo"), source="one published warranty page"
)
"""One year from the date of purchase, as on one published warranty page; that other grades than first quality have none
is common practice, no source. A plant states its own."""


class _TermsFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    format: Literal[1]
    term: tuple[Term, ...]


class TermAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Whether a ball is in term on a day, why, and the last day of the term where it is known."""

    outcome: TermOutcome
    reasons: tuple[str, ...]
    last_day: dt.date | None = None
    term: Term


def parse_terms(text: bytes | str, where: str = "warranty terms") -> tuple[Term, ...]:
    """The terms of a file. Raises MalformedTerms: no TOML, unknown or missing keys, two terms for one case."""
    if len(text) > LARGEST_FILE:
        raise MalformedTerms("file is too large", expected=f"at most {LARGEST_FILE} bytes", where=where)
    try:
        tables = tomllib.loads(text if isinstance(text, str) else text.decode("utf-8"))
        terms = msgspec.convert(tables, _TermsFile).term
    except (ValueError, RecursionError, msgspec.ValidationError) as error:
        raise MalformedTerms("file is no list of terms", got=str(error), where=where) from error
    cases = [(term.model, term.market) for term in terms]
    for place, case in enumerate(cases):
        if case in cases[:place]:
            raise MalformedTerms(
                "two terms for one case",
                got=f"model {case[0] or 'any'}, market {case[1] or 'any'}",
                where=where,
                mend="keep one of them",
            )
    return terms


def find_term(terms: Iterable[Term], model: str, market: str = "") -> Term:
    """The most particular term for a model in a market; `DEFAULT_TERM` where none fits."""
    fitting = [term for term in terms if term.model in ("", model) and term.market in ("", market)]
    return max(fitting, key=lambda term: (bool(term.model), bool(term.market)), default=DEFAULT_TERM)


def last_day(start: dt.date, months: int) -> dt.date:
    """The last day of a term of whole months: the day of the same number, or the last of a shorter month."""
    years, month = divmod(start.month - 1 + months, 12)
    year = start.year + years
    if year > dt.MAXYEAR:
        return dt.date.max
    return dt.date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def in_term(
    term: Term, made_on: dt.date | None, bought_on: dt.date | None, on: dt.date, *, grade: str | None = None
) -> TermAnswer:
    """Whether a ball is in term on a day, as far as its dates and its grade tell.

    A purchase that is not proven still leaves an answer while even a purchase on the day of making would be in term.
    """
    if grade is not None and grade in term.grades_without:
        return _answer(term, "out of term", f"grade {grade} is sold without warranty")
    if term.months == 0:
        return _answer(term, "out of term", "the model is sold without warranty")
    if bought_on is not None:
        return _from_purchase(term, made_on, bought_on, on)
    if made_on is None:
        return _answer(term, "cannot tell", "neither the date of purchase nor that of making is known")
    earliest_end = last_day(made_on, term.months)
    if made_on <= on <= earliest_end:
        why = f"made on {made_on}, so in term to {earliest_end} at least, whenever it was bought"
        return _answer(term, "in term", why, "the date of purchase is not known")
    why = f"the term runs {term.months} months from purchase; made on {made_on}, it may have been bought later"
    return _answer(term, "cannot tell", "the date of purchase is not known", why)


def _from_purchase(term: Term, made_on: dt.date | None, bought_on: dt.date, on: dt.date) -> TermAnswer:
    if made_on is not None and bought_on < made_on:
        return _answer(
            term, "cannot tell", f"bought on {bought_on}, before it was made on {made_on}: one date is wrong"
        )
    if bought_on > on:
        return _answer(term, "cannot tell", f"bought on {bought_on}, after the day asked about, {on}")
    ends = last_day(bought_on, term.months)
    outcome: TermOutcome = "in term" if on <= ends else "out of term"
    return _answer(term, outcome, f"bought on {bought_on}, {term.months} months: to {ends} inclusive", ends=ends)


def _answer(term: Term, outcome: TermOutcome, *reasons: str, ends: dt.date | None = None) -> TermAnswer:
    return TermAnswer(outcome=outcome, reasons=reasons, last_day=ends, term=term)
