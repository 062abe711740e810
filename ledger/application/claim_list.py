"""Claims as a list: by state, overdue or not, failure mode, model, market and day, a page at a time, oldest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

import msgspec

from ledger.application.claim_days import day_at, opened_on
from ledger.application.histories import instant_text
from ledger.application.terms_in_force import parse_day
from ledger.application.warranty_desk import known_claim
from ledger.line.claim_rows import Claim
from ledger.line.claims import STATE_WORDS, UNDECIDED
from ledger.line.rows import About, FactRow
from ledger.store.adopted_terms import AdoptedTerms
from ledger.store.claim_search import ClaimFilter, search_claims
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.warranty.deadlines import Due, due_of

MOST_LISTED = 1_000
_CHUNK = 2_000


class ClaimSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A claim in a list. ``due``: what is owed next, absent once it is decided; ``facts``: those about it."""

    claim: str
    mode: str
    state: str
    state_words: str
    opened_at: str
    serial: str | None = None
    unit: str | None = None
    bought_on: str | None = None
    market: str | None = None
    via: str | None = None
    replacement: str | None = None
    imported: bool = False
    due: Due | None = None
    facts: tuple[str, ...] = ()


class Claims(msgspec.Struct, frozen=True, kw_only=True):
    """A page of claims, oldest first. ``after``: what to ask with for the next page; absent on the last one."""

    claims: tuple[ClaimSeen, ...]
    after: str | None = None


class ClaimsAsked(NamedTuple):
    """Which claims are asked for; ``state`` may be ``undecided``. ``since`` is a date; ``after`` a claim."""

    state: str | None = None
    overdue: bool = False
    mode: str | None = None
    model: str | None = None
    market: str | None = None
    since: str | None = None
    after: str | None = None
    limit: int = 100


def claims_list(reader: Reader, asked: ClaimsAsked, now_ms: int) -> Claims:
    """A page of the claims asked for. Raises NotFound for a page after a claim that is not there, MalformedRecord.

    Overdue ones are sought among those that are not decided, chunk by chunk.
    """
    limit = max(1, min(asked.limit, MOST_LISTED))
    wanted = _filter(asked)
    after = None if asked.after is None else known_claim(reader, asked.after)
    dues = Dues(reader, now_ms)
    found: list[tuple[Claim, Due | None]] = []
    while wanted is not None and len(found) <= limit:
        rows = search_claims(reader, wanted, after, _CHUNK if asked.overdue else limit + 1)
        if not rows:
            break
        due = dues.of(rows)
        found += [(row, due.get(row.claim)) for row in rows if not asked.overdue or _is_over(due.get(row.claim))]
        after = rows[-1]
    page = found[:limit]
    facts = reader.rows_of(About, "node", [f"claim:{row.claim}" for row, _ in page])
    return Claims(
        claims=tuple(_seen(row, due, facts[f"claim:{row.claim}"]) for row, due in page),
        after=page[-1][0].claim if len(found) > limit else None,
    )


def _is_over(due: Due | None) -> bool:
    return due is not None and due.days_over > 0


def _filter(asked: ClaimsAsked) -> ClaimFilter | None:
    """The conditions of the store; None where no claim can meet them."""
    states: tuple[str, ...] = ()
    if asked.state is not None:
        states = tuple(sorted(UNDECIDED)) if asked.state == "undecided" else (asked.state,)
    if asked.overdue:
        states = tuple(state for state in states or sorted(UNDECIDED) if state in UNDECIDED)
        if not states:
            return None
    since_ms = None
    if asked.since is not None:
        since = dt.datetime.combine(parse_day(asked.since, "since"), dt.time(), tzinfo=dt.UTC)
        since_ms = int(since.timestamp()) * 1000
    return ClaimFilter(states, asked.mode, asked.model, asked.market, since_ms)


class Dues:
    """What is owed of claims, by their states and the deadlines of the terms in force when each was opened."""

    def __init__(self, reader: Reader, now_ms: int) -> None:
        """As of an instant."""
        self._reader = reader
        self._terms = AdoptedTerms(reader)
        self._now_ms = now_ms

    def of(self, claims: Sequence[Claim]) -> dict[str, Due]:
        """What is owed of each claim that is not decided. One query."""
        began = {row.claim: _began_by(row) for row in claims if row.state in UNDECIDED}
        facts: list[FactRow] = rows_with(self._reader, FactRow, "address", {fact for fact in began.values() if fact})
        at_ms = {fact.address: fact.at_ms for fact in facts}
        found: dict[str, Due] = {}
        for row in claims:
            since = day_at(row, at_ms.get(began.get(row.claim, ""), row.opened_ms))
            stated = None if row.due_on is None else dt.date.fromisoformat(row.due_on)
            deadlines = self._terms.on(opened_on(row)).terms.deadlines
            due = due_of(row.state, since, stated, deadlines, day_at(row, self._now_ms))
            if due is not None:
                found[row.claim] = due
        return found


def _began_by(row: Claim) -> str:
    """The fact by which a claim came into its state; empty for its opening."""
    if row.state in {"waiting", "sent-back"}:
        return row.decided or ""
    return (row.examined or "") if row.state == "examined" else ""


def _seen(row: Claim, due: Due | None, facts: Sequence[About]) -> ClaimSeen:
    return ClaimSeen(
        claim=row.claim,
        mode=row.mode,
        state=row.state,
        state_words=STATE_WORDS[row.state],
        opened_at=instant_text(row.opened_ms),
        serial=row.serial,
        unit=row.unit,
        bought_on=row.bought_on,
        market=row.market,
        via=row.via,
        replacement=row.replacement,
        imported=row.imported,
        due=due,
        facts=tuple(about.address for about in facts),
    )
