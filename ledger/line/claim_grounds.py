"""Whether a decided claim still has the evidence that its reason needs, once a correction changed what was said of it.

Looked at is what the claim's own facts say: purchase, proof, files, examinations.  A decision that a correction itself puts
anew is judged as every decision is (`claim_steps`); this is for those that stand beside the corrected facts.  A file that
was erased since bore its decision then.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from ledger.line.claim_reasons import REASON_OF, WORDS, missing
from ledger.line.claim_rows import Claim, ClaimEvidence
from ledger.line.claims import FINAL
from ledger.line.fact import Breach
from ledger.line.state import State

_OWN = frozenset({"date-of-purchase", "proof-of-purchase", "photo", "examination"})


def own_evidence(claim: Claim, state: State, gone: Collection[str] = ()) -> frozenset[str]:
    """The kinds of evidence that a claim's own facts give; ``gone``: digests of files that nobody can look at."""
    files = {row.what for row in state.where(ClaimEvidence, "claim", claim.claim) if row.digest not in gone}
    there = {
        "date-of-purchase": claim.bought_on is not None,
        "proof-of-purchase": claim.proof in {"receipt", "registration", "dealer"} or "receipt" in files,
        "photo": "photo" in files,
        "examination": claim.examined is not None,
    }
    return frozenset(kind for kind, is_there in there.items() if is_there)


def unfounded_claims(nodes: Iterable[str], state: State) -> list[Breach]:
    """The decided claims among the nodes whose reason lacks evidence, as breaches that hold nothing."""
    breaches: list[Breach] = []
    for node in sorted(nodes):
        sort, _, name = node.partition(":")
        claim = state.held(Claim, name) if sort == "claim" else None
        reason = REASON_OF.get(claim.reason or "") if claim is not None and claim.state in FINAL else None
        if claim is None or reason is None or claim.decided is None:
            continue
        there = own_evidence(claim, state)
        for need in missing(reason, there):
            if _OWN.issuperset(need):
                lacking = " or ".join(WORDS[kind] for kind in need)
                said = (
                    f"the decision on claim {name} ({claim.state}, {claim.reason}) lacks {lacking} after the correction"
                )
                mend = f"correct fact {claim.decided}, the decision, too"
                breach = Breach(
                    code="claim-unfounded", node=node, said=said, holds=False, fact=claim.decided, mend=mend
                )
                breaches.append(breach)
    return breaches
