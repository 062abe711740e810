"""Why a claim may be decided, as a table: each reason, the decisions that it may carry, and the evidence that it needs.

All of it is common practice of warranty desks, no source.  Evidence is looked for in what the book holds of the claim, and
never in free text; each of a reason's needs is one kind of evidence, or one of several of which any will do.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

SOURCE = "common practice, no source"
"""Where the table is from, as shown beside it."""

EvidenceKind = Literal[
    "date-of-purchase",
    "proof-of-purchase",
    "date-of-making",
    "photo",
    "examination",
    "no-ball-of-ours",
    "ball-of-ours",
    "asked-before",
    "fact-named",
    "other-claim",
]

WORDS: dict[str, str] = {
    "date-of-purchase": "the date of purchase",
    "proof-of-purchase": "a proof of purchase (receipt, registration or dealer)",
    "date-of-making": "the date of making (one ball of the book answers to the claim)",
    "photo": "a photo",
    "examination": "an examination",
    "no-ball-of-ours": "that no ball of the book answers to the claim",
    "ball-of-ours": "one ball of the book that answers to the claim",
    "asked-before": "an earlier decision that asked for more",
    "fact-named": "a fact that it rests on (rests_on), of a ball, lot, gauge, hold, case or other claim",
    "other-claim": "a fact of the other claim (rests_on)",
}
"""Each kind of evidence as people read it."""

MENDS: dict[str, str] = {
    "date-of-purchase": "correct the claim with bought_on",
    "proof-of-purchase": "correct the claim with its proof",
    "date-of-making": "correct the claim with the right number or unit",
    "photo": "enter the photo with an examination (claim-examined), or correct the claim",
    "examination": "enter what was found (claim-examined)",
    "no-ball-of-ours": "choose another reason: the ball is in this book",
    "ball-of-ours": "correct the claim with the right number or unit",
    "asked-before": "ask for what is missing first (need-more)",
    "fact-named": "name the fact in rests_on; the claim's own say nothing more",
    "other-claim": "name a fact of the other claim in rests_on",
}
"""What would bring each kind of evidence."""


class Reason(NamedTuple):
    """A reason: ``decisions`` it may carry; ``needs`` must all be met, each by any one of its kinds of evidence."""

    reason: str
    words: str
    decisions: tuple[str, ...]
    needs: tuple[tuple[EvidenceKind, ...], ...] = ()


REASONS: tuple[Reason, ...] = (
    Reason("fault-found", "a fault of the maker's was found on the ball", ("accept",), (("examination",),)),
    Reason(
        "in-term",
        "in term, and the fault is one that the terms cover",
        ("accept",),
        (("date-of-purchase",), ("proof-of-purchase",), ("photo", "examination")),
    ),
    Reason(
        "known-fault",
        "the ball is of a lot with a known fault",
        ("accept", "goodwill"),
        (("ball-of-ours",), ("fact-named",)),
    ),
    Reason("out-of-term", "the term is over", ("reject", "goodwill"), (("date-of-purchase", "date-of-making"),)),
    Reason("not-covered", "the terms do not cover it", ("reject", "goodwill"), (("ball-of-ours",),)),
    Reason("misuse", "damaged by use or handling", ("reject", "goodwill"), (("examination",),)),
    Reason("drilled-wrongly", "drilled or fitted wrongly", ("reject", "goodwill"), (("examination",),)),
    Reason("stored-hot", "stored too hot or too cold", ("reject", "goodwill"), (("examination",),)),
    Reason("worn", "ordinary wear", ("reject", "goodwill"), (("examination",),)),
    Reason("no-fault-found", "no fault was found", ("reject", "goodwill"), (("examination",),)),
    Reason("not-our-ball", "not a ball of this maker's", ("reject",), (("no-ball-of-ours",),)),
    Reason("claimed-before", "the same fault was claimed before", ("reject",), (("other-claim",),)),
    Reason("no-answer", "what was asked for did not come", ("reject",), (("asked-before",),)),
    Reason("goodwill", "by goodwill", ("goodwill",)),
    Reason("proof-missing", "a proof of purchase is missing", ("need-more",)),
    Reason("photo-missing", "a photo is missing", ("need-more",)),
    Reason("number-missing", "the number, or a photo of it, is missing", ("need-more",)),
    Reason("examine-at-maker", "to be examined at the maker's", ("send-back",)),
)

REASON_OF: dict[str, Reason] = {reason.reason: reason for reason in REASONS}


def reasons_for(decision: str) -> list[str]:
    """The reasons that may carry a decision."""
    return [reason.reason for reason in REASONS if decision in reason.decisions]


def missing(reason: Reason, there: frozenset[str]) -> Iterator[tuple[EvidenceKind, ...]]:
    """The needs of a reason that nothing of what is there meets."""
    for need in reason.needs:
        if there.isdisjoint(need):
            yield need
