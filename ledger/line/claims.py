"""Warranty claims as the desk tells them: opened, examined, decided, the claimant answered, the ball replaced.

Who claims, who drilled and how to reach them are erasable, as is all free text; what failed, what was found and why it was
so decided are short words.  Purchase, drilling and storage are what the claimant says of them.

What is checked when each is said stands in `claim_openings`, `claim_steps` and `claim_replacements`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from ledger.errors import UnknownSubject
from ledger.line.claim_rows import Claim
from ledger.line.record import Address, Digest, Erasable, Id, On, Part, Record, Slug
from ledger.line.state import State

EvidenceSort = Literal["photo", "receipt", "letter", "drilling-sheet", "other"]

FINAL = frozenset({"accept", "reject", "goodwill"})
"""The decisions that end a claim."""

UNDECIDED = frozenset({"open", "examined", "waiting", "sent-back"})
"""The states of a claim that still waits for a decision."""

STATE_WORDS = {
    "open": "open",
    "examined": "examined",
    "waiting": "waiting for the claimant",
    "sent-back": "sent back for examination",
    "accept": "accepted",
    "reject": "rejected",
    "goodwill": "settled by goodwill",
}
"""The states of a claim as people read them."""


class Evidence(Part, frozen=True, kw_only=True):
    """A file kept beside the book, by the SHA-256 of its bytes, and what it shows."""

    digest: Digest
    what: EvidenceSort


class Drilled(Part, frozen=True, kw_only=True):
    """How the ball was drilled: when, by whom, to which layout, and what was fitted into the holes."""

    on: On | UnsetType = UNSET
    by: Erasable | UnsetType = UNSET
    layout: Slug | UnsetType = UNSET
    fitted: Literal["none", "plug", "inserts", "both"] | UnsetType = UNSET


class Imported(Part, frozen=True, kw_only=True):
    """The file and line that an old claim was taken from."""

    file: Digest
    line: Annotated[int, Meta(ge=1, le=10_000_000)]


EvidenceParts = Annotated[tuple[Evidence, ...], Meta(max_length=50)]


class ClaimOpened(Record, frozen=True, kw_only=True, tag="claim-opened"):
    """A claim about a ball, or about a number that no ball of the book answers to.

    ``via``: the consignee that it came through.  ``answer_by``: the date by which the claimant is to be answered;
    ``keep_until``: the date from which personal fields and photos of the claim, once decided, are erased.
    """

    claim: Id
    mode: Slug
    serial: Annotated[str, Meta(min_length=1, max_length=20)] | UnsetType = UNSET
    unit: Id | UnsetType = UNSET
    bought_on: On | UnsetType = UNSET
    proof: Literal["receipt", "registration", "dealer", "none"] | UnsetType = UNSET
    drilled: Drilled | UnsetType = UNSET
    stored: Literal["indoors", "vehicle", "unheated", "outdoors", "unknown"] | UnsetType = UNSET
    claimant: Erasable | UnsetType = UNSET
    contact: Erasable | UnsetType = UNSET
    via: Id | UnsetType = UNSET
    market: Slug | UnsetType = UNSET
    evidence: EvidenceParts = ()
    answer_by: On | UnsetType = UNSET
    keep_until: On | UnsetType = UNSET
    imported: Imported | UnsetType = UNSET


class ClaimExamined(Record, frozen=True, kw_only=True, tag="claim-examined"):
    """What was found on the ball, or on its photos."""

    claim: Id
    findings: Annotated[tuple[Slug, ...], Meta(min_length=1, max_length=10)]
    evidence: EvidenceParts = ()


class ClaimDecided(Record, frozen=True, kw_only=True, tag="claim-decided"):
    """A person decided, on the facts named.

    ``need-more`` and ``send-back`` leave the claim undecided, with the date by which an answer is due (``answer_by``).
    """

    claim: Id
    decision: Literal["accept", "reject", "goodwill", "need-more", "send-back"]
    reason: Slug
    rests_on: Annotated[tuple[Address, ...], Meta(max_length=50)] = ()
    answer_by: On | UnsetType = UNSET


class ClaimReplaced(Record, frozen=True, kw_only=True, tag="claim-replaced"):
    """Another ball took the place of the claimed one.

    ``term``: whether its warranty begins anew or is what remained of the old ball's; ``old_ball``: what became of that.
    """

    claim: Id
    unit: Id
    term: Literal["fresh", "remaining"]
    old_ball: Literal["destroyed", "kept", "returned", "retained"]


class ClaimReplied(Record, frozen=True, kw_only=True, tag="claim-replied"):
    """A letter went to the claimant, kept beside the book by the SHA-256 of its bytes."""

    claim: Id
    letter: Digest
    to: Erasable | UnsetType = UNSET


def known_claim(state: State, claim: str) -> Claim:
    """The claim of this id. Raises UnknownSubject."""
    row = state.one(Claim, claim)
    if row is None:
        raise UnknownSubject(
            f"claim {claim} is not in the book", where="claim", mend="open it first, or correct the id"
        )
    return row


def about_claim(record: ClaimOpened | ClaimExamined | ClaimDecided | ClaimReplaced | ClaimReplied) -> Iterable[str]:
    """The claim, and the ball that the record names."""
    unit = getattr(record, "unit", UNSET)
    return [f"claim:{record.claim}", *([] if unit is UNSET else [f"unit:{unit}"])]


def files_named(record: Record) -> list[str]:
    """The digests of the files that a record names as those of a claim, letters of the desk's own included."""
    if isinstance(record, ClaimOpened | ClaimExamined):
        return [part.digest for part in record.evidence]
    return [record.letter] if isinstance(record, ClaimReplied) else []
