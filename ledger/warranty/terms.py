"""Warranty terms as data, and whether a ball is in term on a day.

A file of terms is one TOML file with ``format = 1``, one ``[[term]]`` table a term (fields of `Term`), each with
``[[term.exclusion]]`` tables (fields of `Exclusion`), a table ``[deadlines]`` (fields of `Deadlines`) and ``keep_days``.
Unknown keys are refused. The most particular term wins: model and market, then model, then market, then neither.

A term runs from the day of purchase, of shipment by the maker, or of manufacture, as it says. Its last day is the day of
the same number so many months later, or the last of that month where it is shorter (29 Feb and one year: 28 Feb); that day
is in term. Dates are calendar dates, without time zones. What no date, grade or failure mode tells (misuse, storage,
drilling) is for a person to judge.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterable
from typing import Annotated, Literal, NamedTuple

import msgspec
from msgspec import Meta

from ledger.conformity.toml_text import TomlText, read_toml
from ledger.errors import MalformedRulebook, MalformedTerms

LARGEST_FILE = 100_000
"""Bytes of a file of terms."""

TermOutcome = Literal["in term", "out of term", "excluded", "cannot tell"]
Start = Literal["purchase", "shipment", "manufacture"]

Days = Annotated[int, Meta(ge=1, le=3_650)]
_Word = Annotated[str, Meta(pattern=r"^([a-z0-9][a-z0-9-]{0,39})?\Z")]
_Words = Annotated[str, Meta(min_length=1, max_length=200)]


class Exclusion(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a term does not answer for: a failure mode, a grade, or a failure mode of a grade; ``words`` say it to a buyer."""

    mode: _Word = ""
    grade: _Word = ""
    words: _Words


class Term(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How long a maker answers for a ball, for a model (empty: any) in a market (empty: any).

    ``start``: the day from which it runs. ``transferable``: whether it holds for a later owner too. ``source`` says where
    the term is stated.
    """

    model: str = ""
    market: str = ""
    start: Start = "purchase"
    months: Annotated[int, Meta(ge=0, le=600)]
    transferable: bool = True
    exclusion: tuple[Exclusion, ...] = ()
    source: _Words


class Deadlines(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Days that the desk gives itself: from opening to a first answer, from sending back to the examination, from the
    examination to the decision, and for the claimant from a request to what was asked for.

    The defaults are common practice, no source.
    """

    first_answer: Days = 14
    examination: Days = 30
    decision: Days = 30
    request: Days = 21


DEFAULT_DEADLINES = Deadlines()
DEFAULT_KEEP_DAYS = 730
"""Days for which personal data of a claim are kept after its decision, where a file of the plant's states none (common
practice, no source: what the law of a place asks for goes before it). Erased by it is a claim that has no date of its own,
once the plant has adopted a file of terms; nothing is erased by the defaults alone (`ledger.duties.retention`)."""

_GRADES_WITHOUT = {
    "second": "second quality is sold without warranty",
    "house": "house balls are sold without warranty",
    "prototype": "prototypes are handed out without warranty",
    "demo": "demonstration balls are handed out without warranty",
}

DEFAULT_TERM = Term(
    months=12,
    exclusion=tuple(Exclusion(grade=grade, words=words) for grade, words in _GRADES_WITHOUT.items()),
    source="one published warranty page",
)
"""One year from the date of purchase, as on one published warranty page; that other grades than first quality have none
is common practice, no source. A plant states its own."""


class Terms(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a file says: terms, deadlines of the desk, and how long personal data are kept after a decision, in days."""

    format: Literal[1] = 1
    term: tuple[Term, ...] = ()
    deadlines: Deadlines = DEFAULT_DEADLINES
    keep_days: Days = DEFAULT_KEEP_DAYS


DEFAULT_TERMS = Terms()


class TermsSource(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Which terms an answer goes by: ``digest`` of the file and ``fact``, the address at which it was adopted."""

    said: str
    digest: str = ""
    fact: str = ""


class TermsInForce(NamedTuple):
    """The terms to answer by, and which they are."""

    terms: Terms
    source: TermsSource


_OWN = "the service's own defaults, common practice, no source but where a term names one"

DEFAULT_IN_FORCE = TermsInForce(DEFAULT_TERMS, TermsSource(said=f"no terms were adopted by that day: {_OWN}"))
"""Where a plant has stated no terms."""


class Dates(NamedTuple):
    """What is known of a ball's beginnings, and its grade and fault, as far as they are known."""

    made_on: dt.date | None
    shipped_on: dt.date | None = None
    bought_on: dt.date | None = None
    grade: str | None = None
    mode: str | None = None


class TermAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Whether a ball is in term on a day, why, and the last day of the term where it is known."""

    outcome: TermOutcome
    reasons: tuple[str, ...]
    last_day: dt.date | None = None
    term: Term


def parse_terms(text: bytes | str, where: str = "warranty terms") -> Terms:
    """What a file of terms says.

    Raises MalformedTerms naming the line or the key: no TOML, unknown or missing keys, two terms for one case, an exclusion
    of nothing.
    """
    if len(text) > LARGEST_FILE:
        raise MalformedTerms("file is too large", expected=f"at most {LARGEST_FILE} bytes", where=where)
    try:
        terms, lines = read_toml(text, _TermsFile, where, "term")
    except MalformedRulebook as error:
        problem = error.problem.replace("schema is not kept", "file is no file of terms")
        raise MalformedTerms(
            problem, expected=error.expected, got=error.got, where=error.where, mend="correct it and send it again"
        ) from error
    _check_cases(terms.term, lines)
    return Terms(term=terms.term, deadlines=terms.deadlines, keep_days=terms.keep_days)


class _TermsFile(Terms, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A file has to name its format and its terms."""

    format: Literal[1]
    term: tuple[Term, ...]


def _check_cases(terms: tuple[Term, ...], lines: TomlText) -> None:
    cases = [(term.model, term.market) for term in terms]
    for place, (term, case) in enumerate(zip(terms, cases, strict=True)):
        if case in cases[:place]:
            raise MalformedTerms(
                "two terms for one case",
                got=f"model {case[0] or 'any'}, market {case[1] or 'any'}",
                where=lines.place(place, "model", "market"),
                mend="keep one of them",
            )
        if any(not one.mode and not one.grade for one in term.exclusion):
            raise MalformedTerms(
                "an exclusion excludes nothing",
                expected="a failure mode, a grade, or both",
                where=lines.place(place, "exclusion"),
                mend="name mode or grade, or leave the exclusion out",
            )


def find_term(terms: Iterable[Term], model: str, market: str = "") -> Term:
    """The most particular term for a model in a market; `DEFAULT_TERM` where none fits."""
    fitting = [term for term in terms if term.model in ("", model) and term.market in ("", market)]
    return max(fitting, key=lambda term: (bool(term.model), bool(term.market)), default=DEFAULT_TERM)


def term_words(term: Term) -> str:
    """A term in a line, for whom it holds and where it is stated."""
    for_whom = f"{term.model or 'any model'}, {term.market or 'any market'}"
    months = "1 month" if term.months == 1 else f"{term.months} months"
    passing = "" if term.transferable else ", for the first buyer alone"
    return f"{months} from {term.start}{passing} ({for_whom}; source: {term.source})"


def last_day(start: dt.date, months: int) -> dt.date:
    """The last day of a term of whole months: the day of the same number, or the last of a shorter month."""
    years, month = divmod(start.month - 1 + months, 12)
    year = start.year + years
    if year > dt.MAXYEAR:
        return dt.date.max
    return dt.date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def in_term(term: Term, dates: Dates, on: dt.date) -> TermAnswer:
    """Whether a ball is in term on a day, as far as its dates, its grade and its fault tell.

    A start that is not known still leaves an answer while even a start on the day of making would be in term.
    """
    excluded = [one.words for one in term.exclusion if _excludes(one, dates)]
    if term.months == 0:
        excluded.append("the model is sold without warranty")
    if excluded:
        return TermAnswer(outcome="excluded", reasons=tuple(excluded), term=term)
    wrong = _contradiction(dates, on)
    if wrong:
        return TermAnswer(outcome="cannot tell", reasons=(wrong,), term=term)
    began = {"purchase": dates.bought_on, "shipment": dates.shipped_on, "manufacture": dates.made_on}[term.start]
    answer = _without_start(term, dates, on) if began is None else _from_start(term, began, on)
    if term.transferable or answer.outcome == "out of term":
        return answer
    first = "the term holds for the first buyer alone: ask who bought the ball"
    return msgspec.structs.replace(answer, reasons=(*answer.reasons, first))


def _excludes(one: Exclusion, dates: Dates) -> bool:
    return one.mode in ("", dates.mode) and one.grade in ("", dates.grade)


def _contradiction(dates: Dates, on: dt.date) -> str:
    """What cannot be true of the dates together; empty where all may be."""
    made, bought = dates.made_on, dates.bought_on
    if bought is not None and made is not None and bought < made:
        return f"bought on {bought}, before it was made on {made}: one date is wrong"
    if bought is not None and bought > on:
        return f"bought on {bought}, after the day asked about, {on}"
    return ""


_STARTED = {"purchase": "bought", "shipment": "shipped", "manufacture": "made"}


def _from_start(term: Term, began: dt.date, on: dt.date) -> TermAnswer:
    ends = last_day(began, term.months)
    months = "1 month" if term.months == 1 else f"{term.months} months"
    why = f"{_STARTED[term.start]} on {began}, {months}: to {ends} inclusive"
    outcome: TermOutcome = "in term" if on <= ends else "out of term"
    return TermAnswer(outcome=outcome, reasons=(why,), last_day=ends, term=term)


def _without_start(term: Term, dates: Dates, on: dt.date) -> TermAnswer:
    unknown = f"the date of {term.start} is not known"
    if dates.made_on is None:
        return TermAnswer(outcome="cannot tell", reasons=(unknown, "nor is that of making"), term=term)
    at_least = last_day(dates.made_on, term.months)
    if dates.made_on <= on <= at_least:
        why = f"made on {dates.made_on}, so in term to {at_least} at least, whatever that date is"
        return TermAnswer(outcome="in term", reasons=(unknown, why), term=term)
    later = f"the term runs {term.months} months from {term.start}; made on {dates.made_on}, it may have begun later"
    return TermAnswer(outcome="cannot tell", reasons=(unknown, later), term=term)
