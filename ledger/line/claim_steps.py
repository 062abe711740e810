"""What follows the opening of a claim: it is examined, decided, and its claimant answered.

A decision is refused where its reason cannot carry it, or where the book does not hold the evidence that the reason needs
(`claim_reasons`: common practice, no source).  A file that was erased before is no evidence, since nobody can look at it.  Once accepted, rejected or settled by goodwill a claim is decided anew only
by a correction of that decision.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import UNSET

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.claim_grounds import own_evidence
from ledger.line.claim_openings import check_date, enter_evidence
from ledger.line.claim_reasons import MENDS, REASON_OF, SOURCE, WORDS, EvidenceKind, Reason, missing, reasons_for
from ledger.line.claim_rows import Claim, ClaimEvidence
from ledger.line.claimed_ball import ball_needs, bearers, claimed_ball
from ledger.line.claims import FINAL, STATE_WORDS, ClaimDecided, ClaimExamined, ClaimReplied, about_claim, known_claim
from ledger.line.erasure_rows import ErasedBlob
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kind import Kind, Setting
from ledger.line.rows import About, FactRow
from ledger.line.state import Need, State

_NEXT = {"need-more": "waiting", "send-back": "sent-back"}
"""The state in which a decision leaves the claim undecided."""


def _claim_needs(record: ClaimExamined | ClaimReplied, _state: State) -> Iterator[Need]:
    yield Need(Claim, "claim", record.claim)


def _known_check(record: ClaimExamined | ClaimReplied, state: State, _setting: Setting) -> list[Breach]:
    known_claim(state, record.claim)
    return []


def _examined_effects(fact: Fact, state: State) -> None:
    record: ClaimExamined = fact.record  # type: ignore[assignment]  # the kind table pairs them
    claim = state.held(Claim, record.claim)
    if claim is not None:
        stands = "examined" if claim.state in {"open", "sent-back"} else claim.state
        state.alter(Claim, record.claim, state=stands, examined=fact.address)
    enter_evidence(fact, record, state)


def _replied_effects(fact: Fact, state: State) -> None:
    record: ClaimReplied = fact.record  # type: ignore[assignment]  # the kind table pairs them
    row = ClaimEvidence(
        evidence=f"{fact.address}.0", claim=record.claim, digest=record.letter, what="reply", address=fact.address
    )
    state.put(row)


def _decided_needs(record: ClaimDecided, state: State) -> Iterator[Need]:
    need = Need(Claim, "claim", record.claim)
    yield need
    files = Need(ClaimEvidence, "claim", record.claim)
    yield files
    for row in state.where(ClaimEvidence, "claim", record.claim) if state.has(files) else []:
        yield Need(ErasedBlob, "digest", row.digest)
    for address in record.rests_on:
        yield Need(FactRow, "address", address)
        yield Need(About, "address", address)
    claim = state.one(Claim, record.claim) if state.has(need) else None
    if claim is not None:
        yield from ball_needs(claim.serial, claim.unit, state)


def _decided_check(record: ClaimDecided, state: State, setting: Setting) -> list[Breach]:
    claim = known_claim(state, record.claim)
    if claim.state in FINAL:
        raise Contradiction(
            f"claim {record.claim} is decided already: {STATE_WORDS[claim.state]}, by fact {claim.decided}",
            where="claim",
            mend=f"correct fact {claim.decided}, the earlier decision",
        )
    reason = _reason(record)
    _check_named(record, state)
    check_date(record.answer_by, "answer_by")
    if record.answer_by is not UNSET and record.decision in FINAL:
        raise Contradiction(
            "a claim that is decided waits for no answer",
            got=record.answer_by,
            where="answer_by",
            mend="leave the date out, or ask for more (need-more, send-back)",
        )
    there = evidence_of(claim, record, state, (setting.index, setting.position))
    lacking = list(missing(reason, there))
    if lacking:
        has = sorted(there & {kind for need in reason.needs for kind in need})
        raise RuleStands(
            f"{record.decision} for {record.reason} lacks {_in_words(lacking)} ({SOURCE})",
            expected=_in_words(reason.needs),
            got=", ".join(has) or "none of it",
            where="reason",
            mend="; ".join(" or ".join(MENDS[kind] for kind in need) for need in lacking),
        )
    return []


def _in_words(needs: Iterable[tuple[EvidenceKind, ...]]) -> str:
    return " and ".join(" or ".join(WORDS[kind] for kind in need) for need in needs)


def _reason(record: ClaimDecided) -> Reason:
    reason = REASON_OF.get(record.reason)
    if reason is None or record.decision not in reason.decisions:
        raise RuleStands(
            f"{record.reason} is no reason to {_WORDS[record.decision]} ({SOURCE})",
            expected="one of " + ", ".join(reasons_for(record.decision)),
            got=record.reason,
            where="reason",
            mend="choose a reason that carries the decision, or another decision",
        )
    return reason


_WORDS = {
    "accept": "accept a claim",
    "reject": "reject a claim",
    "goodwill": "settle a claim by goodwill",
    "need-more": "ask for more",
    "send-back": "send a ball back for examination",
}


def _check_named(record: ClaimDecided, state: State) -> None:
    for place, address in enumerate(record.rests_on):
        row = state.one(FactRow, address)
        where = f"rests_on[{place}]"
        if row is None:
            raise UnknownSubject(f"fact {address} is not in the book", where=where, mend="correct the address")
        if not row.standing:
            raise RuleStands(
                f"fact {address} was withdrawn",
                expected="a fact that stands",
                got=row.kind,
                where=where,
                mend="rest the decision on what stands",
            )


def evidence_of(
    claim: Claim, record: ClaimDecided, state: State, before: tuple[int, int] | None = None
) -> frozenset[str]:
    """The kinds of evidence that the book holds for a decision on a claim, at an address or now."""
    ball = claimed_ball(claim.serial, claim.unit, state)
    named = _named_sorts(record, state)
    there = {
        "date-of-making": ball is not None,
        "no-ball-of-ours": claim.unit is None and not bearers(claim.serial, state),
        "ball-of-ours": ball is not None,
        "asked-before": claim.state == "waiting",
        "fact-named": not named.isdisjoint(_TELLING),
        "other-claim": "claim" in named,
    }
    gone = _erased_files(claim, state, before)
    return own_evidence(claim, state, gone) | {kind for kind, is_there in there.items() if is_there}


_TELLING = frozenset({"lot", "unit", "gauge", "model", "hold", "case", "claim", "fact"})
"""What a fact is about that may say something of a claimed ball."""


def _named_sorts(record: ClaimDecided, state: State) -> set[str]:
    """The sorts of nodes that the facts named are about, but for facts of the claim itself, which it brings anyway."""
    found: set[str] = set()
    for address in record.rests_on:
        nodes = {row.node for row in state.where(About, "address", address)}
        if f"claim:{record.claim}" not in nodes:
            found |= {node.partition(":")[0] for node in nodes}
    return found


def _erased_files(claim: Claim, state: State, before: tuple[int, int] | None) -> set[str]:
    """The files of a claim that were erased before an address, or by now."""
    digests = {row.digest for row in state.where(ClaimEvidence, "claim", claim.claim)}
    erased = (state.one(ErasedBlob, digest) for digest in sorted(digests))
    return {row.digest for row in erased if row is not None and (before is None or parse_address(row.address) < before)}


def _decided_effects(fact: Fact, state: State) -> None:
    record: ClaimDecided = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(
        Claim,
        record.claim,
        state=_NEXT.get(record.decision, record.decision),
        due_on=None if record.answer_by is UNSET else record.answer_by,
        reason=record.reason,
        decided=fact.address,
    )


KINDS = (
    Kind(ClaimExamined, "report", _claim_needs, _known_check, _examined_effects, about_claim),
    Kind(ClaimDecided, "decision", _decided_needs, _decided_check, _decided_effects, about_claim),
    Kind(ClaimReplied, "report", _claim_needs, _known_check, _replied_effects, about_claim),
)
