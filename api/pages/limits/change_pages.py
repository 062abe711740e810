"""What changes when: a rule does, a gauge was wrong, a correction lands. One form and one answer each, and the balls as a table."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.guards import may_do
from api.pages.limits.answering import Answer, Sheet, address_of, answering, asking, read_typed, typed_in
from api.pages.limits.change_rows import (
    corrected_kinds,
    correction_lines,
    gauge_lines,
    in_words,
    matrix_rows,
    quantity_rows,
    rules_lines,
)
from api.pages.limits.csv_table import csv_answer, numbers_of
from api.pages.limits.options import read_requirements
from api.pages.limits.tabs import CHANGES, of_limits
from api.parts import Parts, parts_of
from api.request_body import read_query
from api.routes.conformity import selection_of
from api.routes.impact import CorrectionToLand, GaugeToDoubt, RulesToCompare, sides_of
from ledger.application.impact_of_correction import ImpactOfCorrection, impact_of_correction
from ledger.application.impact_of_gauge import ImpactOfGauge, impact_of_gauge
from ledger.application.impact_of_rules import ImpactOfRules, impact_of_rules
from ledger.application.impact_pass import LISTED, Change, Where
from ledger.application.sent_to import sent_to
from ledger.conformity.outcome import CAUTION
from ledger.conformity.requirement import Requirement
from ledger.line.quantity import UNITS
from ledger.store.reader import open_reader

LISTED_SHOWN = 20
SHIPMENTS_SHOWN = 20

QUESTIONS = {"rules": "against", "gauge": "gauge", "correction": "fact"}
"""Each question, and a field that only its form has."""

_TABLE_HEAD = [
    *("serial", "unit", "lot", "state", "shipment", "ball before", "ball after", "quantity"),
    *("verdict before", "value before", "margin before", "limit before"),
    *("verdict after", "value after", "margin after", "limit after", "unit of value and margin"),
]


def _sheet(question: str) -> Sheet:
    return Sheet(CHANGES, "changes.html", f"{CHANGES}/{question}", "changes-answer.html")


class Changes(Controller):
    """The three questions."""

    path = CHANGES

    @get(opt=of_limits("What changes when"))
    async def form(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The three forms; what they ask for is worked out at the answers' own addresses."""
        typed = typed_in(request)
        question = next((one for one, field in QUESTIONS.items() if field in typed), "")
        asked = question != "" and "rulebook" in typed and "open" not in typed
        return await asking(request, _sheet(question or "rules"), asked=asked)

    @get("/rules", opt=of_limits("What changes when a rule does: the answer"))
    async def rules(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Balls under two editions, or as of two dates."""
        return await _answered(request, "rules", _rules_answer)

    @get("/gauge", opt=of_limits("What changes when a gauge was wrong: the answer"))
    async def gauge(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every ball measured with it since its last calibration."""
        return await _answered(request, "gauge", _gauge_answer)

    @get("/correction", opt=of_limits("What changes when a correction lands: the answer"))
    async def correction(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The book with the correction, against the book without it."""
        return await _answered(request, "correction", _correction_answer)

    @get(
        "/rules.csv",
        opt=numbers_of("Balls that come out otherwise when a rule changes, a line a quantity", RulesToCompare),
    )
    async def rules_table(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The balls as a file."""
        found = await _ask_rules(parts_of(request), read_query(request, RulesToCompare), LISTED)
        return csv_answer(
            "rule-changes.csv",
            _notes(f"before: {found.before.words}; after: {found.after.words}", more=found.more),
            _TABLE_HEAD,
            in_words(rules_lines(found)),
        )

    @get(
        "/gauge.csv",
        opt=numbers_of("Balls measured with a gauge that was wrong, a line a quantity that changes", GaugeToDoubt),
    )
    async def gauge_table(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The balls as a file."""
        found = await _ask_gauge(parts_of(request), read_query(request, GaugeToDoubt), LISTED)
        notes = _notes(f"gauge {found.gauge}, bias {found.bias or 'not known'}; {found.title}", more=found.more)
        return csv_answer("gauge-was-wrong.csv", notes, _TABLE_HEAD, in_words(gauge_lines(found)))

    @get(
        "/correction.csv",
        opt=numbers_of("Balls that a correction touches, a line a quantity that changes", CorrectionToLand),
    )
    async def correction_table(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The balls as a file."""
        found = await _ask_correction(parts_of(request), read_query(request, CorrectionToLand), LISTED)
        notes = _notes(f"correction {found.correction}; {found.title}", more=found.more)
        return csv_answer("correction.csv", notes, _TABLE_HEAD, in_words(correction_lines(found)))


def _notes(said: str, *, more: bool) -> tuple[str, ...]:
    return (said, *((f"the worst {LISTED} balls; there are others",) if more else ()), CAUTION)


async def _answered(request: Request[Any, Any, Any], question: str, make: Answer) -> Response[bytes]:
    async def answer(request: Request[Any, Any, Any], typed: dict[str, str]) -> dict[str, Any]:
        found = await make(request, typed)
        return {
            **found,
            "question": question,
            "csv": address_of(f"{CHANGES}/{question}.csv", typed, listed=None),
            "at_ms": parts_of(request).book.clock_ms(),
            "listed_shown": LISTED_SHOWN,
            "shipments_shown": SHIPMENTS_SHOWN,
        }

    return await answering(request, _sheet(question), answer)


async def _rules_answer(request: Request[Any, Any, Any], typed: dict[str, str]) -> dict[str, Any]:
    found = await _ask_rules(parts_of(request), read_typed(typed, RulesToCompare), LISTED_SHOWN)
    return {
        "found": found,
        "changes": [_change("", found.change)],
        "wheres": [("", found.where)],
        "names": await _names(request, found.where),
        "lines": rules_lines(found),
        "unread": await _unread(request, found.concerned, found.before.digest, found.after.digest),
    }


async def _gauge_answer(request: Request[Any, Any, Any], typed: dict[str, str]) -> dict[str, Any]:
    found = await _ask_gauge(parts_of(request), read_typed(typed, GaugeToDoubt), LISTED_SHOWN)
    shifted = [] if isinstance(found.shifted, msgspec.UnsetType) else [_change("shifted", found.shifted)]
    where = [] if isinstance(found.shifted_where, msgspec.UnsetType) else [("shifted", found.shifted_where)]
    return {
        "found": found,
        "unit": UNITS[found.unit].printed,
        "changes": [*shifted, _change("now", found.now)],
        "wheres": [*where, ("all", found.where)],
        "names": await _names(request, found.where),
        "lines": gauge_lines(found),
        "unread": await _unread(request, found.concerned, found.digest),
    }


async def _correction_answer(request: Request[Any, Any, Any], typed: dict[str, str]) -> dict[str, Any]:
    found = await _ask_correction(parts_of(request), read_typed(typed, CorrectionToLand), LISTED_SHOWN)
    return {
        "found": found,
        "changes": [_change("", found.change)],
        "wheres": [("", found.where)],
        "names": await _names(request, found.where),
        "lines": correction_lines(found),
        "unread": await _unread(request, found.concerned if found.judged else (), found.digest),
        "corrected": corrected_kinds(found),
    }


def _change(kind: str, change: Change) -> tuple[str, Change, Any, Any, Any]:
    """A change with its rows: of whole balls, of each quantity, and by the rule of the house (None without one)."""
    house = None if isinstance(change.house, msgspec.UnsetType) else matrix_rows(change.house)
    return kind, change, matrix_rows(change.transitions), quantity_rows(change), house


async def _unread(request: Request[Any, Any, Any], concerned: Collection[str], *digests: str) -> list[Requirement]:
    """The limits concerned that nobody read in the body's own text."""
    parts = parts_of(request)
    books = [await parts.long_read(read_requirements, parts.book.store, digest) for digest in digests]
    return [
        one
        for book in books
        for one in book.values()
        if one.quantity in concerned and one.per == "ball" and one.provenance != "read"
    ]


async def _names(request: Request[Any, Any, Any], where: Where) -> dict[str, str] | None:
    """Whom the shipments went to, for who may see whole entries; None for others."""
    if not may_do(request, "entries"):
        return None
    parts = parts_of(request)
    facts = [one.fact for one in where.shipments[:SHIPMENTS_SHOWN]]
    return await parts.long_read(_sent_to, parts, facts)


def _sent_to(parts: Parts, facts: list[str]) -> dict[str, str]:
    with open_reader(parts.book.store) as reader:
        return sent_to(reader, facts)


async def _ask_rules(parts: Parts, asked: RulesToCompare, listed: int) -> ImpactOfRules:
    before, after = sides_of(asked)
    raw = await parts.long_answer(impact_of_rules, selection_of(asked), before, after, listed=listed)
    return msgspec.json.decode(raw, type=ImpactOfRules)


async def _ask_gauge(parts: Parts, asked: GaugeToDoubt, listed: int) -> ImpactOfGauge:
    named = {"found": asked.found, "bias": asked.bias, "listed": listed}
    raw = await parts.long_answer(impact_of_gauge, asked.gauge, asked.rulebook, **named)
    return msgspec.json.decode(raw, type=ImpactOfGauge)


async def _ask_correction(parts: Parts, asked: CorrectionToLand, listed: int) -> ImpactOfCorrection:
    raw = await parts.long_answer(impact_of_correction, asked.fact, asked.rulebook, listed=listed)
    return msgspec.json.decode(raw, type=ImpactOfCorrection)
