"""What was said of a claim, in order, each fact in words: without what is erasable in it."""

from __future__ import annotations

import msgspec
from msgspec import UNSET

from ledger.application.histories import history_of
from ledger.line.claim_reasons import REASON_OF
from ledger.line.claims import ClaimDecided, ClaimExamined, ClaimOpened, ClaimReplaced, ClaimReplied
from ledger.line.record import Record
from ledger.store.reader import Reader


class ClaimFact(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A fact about a claim: its address, when it was and when it was entered, and what it says. ``standing`` is false for
    a withdrawn one, whose words are gone with it; ``rests_on``: the facts that a decision names.
    """

    fact: str
    kind: str
    at: str
    recorded_at: str
    author: str
    says: str = ""
    standing: bool = True
    corrected_by: str = ""
    rests_on: tuple[str, ...] = ()
    breaches: tuple[str, ...] = ()


def claim_facts(reader: Reader, claim: str) -> tuple[ClaimFact, ...]:
    """Every fact that is or was about a claim, in order of entry."""
    node = f"claim:{claim}"
    said = {fact.address: fact.record for fact in reader.facts_about(node)}
    return tuple(
        ClaimFact(
            fact=told.fact,
            kind=told.kind,
            at=told.at,
            recorded_at=told.recorded_at,
            author=told.author,
            says=claim_words(said[told.fact]) if told.fact in said else "",
            standing=told.standing,
            corrected_by=told.corrected_by,
            rests_on=_rests_on(said.get(told.fact)),
            breaches=told.breaches,
        )
        for told in history_of(reader, [node])
    )


def _rests_on(record: Record | None) -> tuple[str, ...]:
    return record.rests_on if isinstance(record, ClaimDecided) else ()


def claim_words(record: Record) -> str:
    """What a record says of a claim, in a line; empty for one of another sort."""
    if isinstance(record, ClaimOpened):
        bought = "" if record.bought_on is UNSET else f", bought on {record.bought_on}"
        return f"{record.mode}{bought}{_files(len(record.evidence))}"
    if isinstance(record, ClaimExamined):
        return f"{', '.join(record.findings)}{_files(len(record.evidence))}"
    if isinstance(record, ClaimDecided):
        reason = REASON_OF.get(record.reason)
        by = "" if record.answer_by is UNSET else f"; an answer is due by {record.answer_by}"
        return f"{record.decision}: {record.reason if reason is None else reason.words}{by}"
    if isinstance(record, ClaimReplaced):
        return f"replaced by {record.unit}, {record.term} term; the old ball is {record.old_ball}"
    return f"letter {record.letter[:12]}" if isinstance(record, ClaimReplied) else ""


def _files(count: int) -> str:
    return "" if not count else f", {count} {'file' if count == 1 else 'files'}"
