"""By whom the book's checkpoints are signed too: what is published, how each witness stands, the last time tokens.

What was published is held against the policy as it is now.  A witness of which it can be told that its key or state lies
beside the book counts as none: then the quorum is said twice, with it and without.
"""

from __future__ import annotations

import msgspec

from ledger.application.pourbook import Pourbook
from ledger.book.note import check_note
from ledger.book.policy import Policy, PolicyWitness, quorum_of, shown_name
from ledger.book.signing import COSIGNATURE_KEY, Verifier, format_verifier, parse_verifier
from ledger.duties.publishing import PublishingPlan
from ledger.errors import LedgerError
from ledger.store.published import (
    Published,
    WitnessStanding,
    last_token,
    newest_published,
    token_fault,
    witness_standings,
)
from ledger.store.reader import Reader, open_reader


class SignedToo(msgspec.Struct, frozen=True, kw_only=True):
    """A cosignature in the published checkpoint: the witness's key name, and the time by its own clock."""

    witness: str
    at_ms: int


class PublishedSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The newest published checkpoint. ``quorum``: what the policy asks for, ``reached``: whether these signatures are that.

    ``reached_apart``: whether they still are without the witnesses beside the book. Where the policy asks for no witness,
    both are False.
    """

    size: int
    published_ms: int
    text: str
    signed: tuple[SignedToo, ...]
    quorum: str
    reached: bool
    reached_apart: bool


class WitnessSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A witness of the policy. ``size``: the entries that it last signed, ``behind``: how many of the book's it has not.

    ``fault``: why its last answer was no signature; ``alarm``: that it holds another or a larger head of this book;
    ``beside``: why it counts as none. Empty where there is nothing to say; instants None for never.
    """

    name: str
    witness: str
    key_id: str
    size: int
    behind: int
    asked_ms: int | None
    cosigned_ms: int | None
    fault: str
    alarm: str
    beside: str


class AuthoritySeen(msgspec.Struct, frozen=True, kw_only=True):
    """A time stamping authority and its last token: over the published checkpoint of ``size``, stating ``at_ms``."""

    authority: str
    size: int
    at_ms: int | None
    received_ms: int | None
    fault: str


class Witnessing(msgspec.Struct, frozen=True, kw_only=True):
    """How the book is witnessed. ``exposed``: entries that no published checkpoint covers; ``exposed_ms``: since when.

    Whoever keeps both disk and key could take those back, and nobody else would know. ``every_s``: how often this service
    publishes; None where it does not.
    """

    published: PublishedSeen | None
    witnesses: tuple[WitnessSeen, ...]
    authorities: tuple[AuthoritySeen, ...]
    exposed: int
    exposed_ms: int | None
    every_s: float | None


def witnessing(book: Pourbook) -> Witnessing:
    """How a book is witnessed now. A few rows, whatever its size."""
    plan = book.publisher.plan if book.publisher is not None else None
    with open_reader(book.store) as reader:
        entries = reader.head().size
        published = newest_published(reader.transaction)
        standings = witness_standings(reader.transaction)
        covered = published.size if published is not None else 0
        exposed = max(0, entries - covered)
        return Witnessing(
            published=None if published is None else _published(published, plan, standings),
            witnesses=() if plan is None else _witnesses(plan, standings, entries),
            authorities=() if plan is None else _authorities(reader, plan),
            exposed=exposed,
            exposed_ms=reader.entry(covered).recorded_ms if exposed else None,
            every_s=None if plan is None else plan.every_s,
        )


def _published(
    published: Published, plan: PublishingPlan | None, standings: dict[str, WitnessStanding]
) -> PublishedSeen:
    policy, beside = (plan.policy, plan.beside) if plan is not None else (Policy(), {})
    # Those of an earlier policy signed as well, though they count for this one no more.
    known = dict.fromkeys([*(one.verifier for one in policy.witnesses), *map(parse_verifier, standings)])
    signed, verifiers = _signatures(published.note, list(known))
    whole = quorum_of(policy, verifiers)
    apart = quorum_of(policy, verifiers, leaving_out=beside.keys())
    asked = bool(policy.witnesses) and policy.quorum != "none"
    return PublishedSeen(
        size=published.size,
        published_ms=published.published_ms,
        text=published.note.decode("utf-8", "replace"),
        signed=signed,
        quorum=whole.asks,
        reached=asked and whole.reached,
        reached_apart=asked and apart.reached,
    )


def _signatures(note: bytes, known: list[Verifier]) -> tuple[tuple[SignedToo, ...], list[Verifier]]:
    try:
        lines = [line for line in check_note(note, known).signatures if line.verifier.kind == COSIGNATURE_KEY]
    except LedgerError:
        # No line by a known witness: the checkpoint was published without.
        return (), []
    signed = tuple(SignedToo(witness=line.verifier.name, at_ms=(line.at_seconds or 0) * 1000) for line in lines)
    return signed, [line.verifier for line in lines]


def _witnesses(plan: PublishingPlan, standings: dict[str, WitnessStanding], entries: int) -> tuple[WitnessSeen, ...]:
    def seen(witness: PolicyWitness) -> WitnessSeen:
        standing = standings.get(format_verifier(witness.verifier))
        size = standing.size if standing is not None else 0
        return WitnessSeen(
            name=shown_name(witness.name),
            witness=witness.verifier.name,
            key_id=witness.verifier.key_id.hex(),
            size=size,
            behind=max(0, entries - size),
            asked_ms=standing.asked_ms if standing is not None else None,
            cosigned_ms=standing.cosigned_ms if standing is not None else None,
            fault=standing.fault if standing is not None else "",
            alarm=standing.alarm if standing is not None else "",
            beside=plan.beside.get(witness.name, ""),
        )

    return tuple(map(seen, plan.policy.witnesses))


def _authorities(reader: Reader, plan: PublishingPlan) -> tuple[AuthoritySeen, ...]:
    found = []
    for authority in plan.authorities:
        last = last_token(reader.transaction, authority.name)
        found.append(
            AuthoritySeen(
                authority=authority.name,
                size=last.size if last is not None else 0,
                at_ms=last.at_ms if last is not None else None,
                received_ms=last.received_ms if last is not None else None,
                fault=token_fault(reader.transaction, authority.name),
            )
        )
    return tuple(found)
