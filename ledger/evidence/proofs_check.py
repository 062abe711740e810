"""Every digest, proof and signature of a dossier, and nothing made anew from what is proved.

The first six steps of `verifier`, for a large dossier: a fraction of the time of the whole check.  What sheets, pages of
lots, events and verdicts say is not held against the entries, and the report says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, BinaryIO

from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.hands import ONE_HAND, Hands
from ledger.evidence.proving import (
    checking_digests,
    open_dossier,
    prove_entries,
    prove_head,
    prove_keys,
    proved_report,
    read_errors,
)
from ledger.evidence.report import DossierReport, Line, counted
from ledger.evidence.trust import Trust

_PROVED = frozenset(
    {"manifest", "digests", "checkpoint", "witnesses", "quorum", "time", "entries", "stations", "sealed", "keys"}
)
"""Codes of lines that speak of digests, proofs and signatures."""

_NEVER = frozenset({"truth", "left_out", "rulebooks"})
"""Codes of what no check tells."""


@dataclass(frozen=True, slots=True)
class ProofsReport:
    """A dossier whose digests, proofs and signatures are right; of ``whole`` only what speaks of these holds."""

    whole: DossierReport

    def checked(self) -> list[Line]:
        """What was checked and is right."""
        return [line for line in self.whole.checked() if line.code in _PROVED]

    def not_checked(self) -> list[Line]:
        """What only the whole check tells, and what none does."""
        left = "sheets, verdicts, lots, events and whatever else is made from the entries: leave out --proofs-only for these"
        told = (line for line in self.whole.not_checked() if line.code in _PROVED | _NEVER)
        return [Line("sheets", left), *told]

    def lines(self) -> list[str]:
        """The report, line by line."""
        counts = self.whole.counts
        return [
            f"digests, proofs and signatures of this dossier are right: {counted(counts.entries, 'entry')}",
            f"book: {self.whole.book}, {counted(self.whole.tree_size, 'entry')} at its checkpoint",
            f"scope, as stated: {self.whole.scope.words}",
            "",
            "checked:",
            *(f"  - {line.words}" for line in self.checked()),
            "",
            "not checked:",
            *(f"  - {line.words}" for line in self.not_checked()),
        ]

    def as_json(self) -> dict[str, Any]:
        """The report for machines: that of the whole check without what it does not tell, and ``proofs_only``."""
        whole = self.whole.as_json()
        del whole["lots"], whole["verdicts"]
        return whole | {
            "proofs_only": True,
            "checked": [line._asdict() for line in self.checked()],
            "not_checked": [line._asdict() for line in self.not_checked()],
        }


def check_proofs(file: BinaryIO, trust: Trust, hands: Hands = ONE_HAND) -> ProofsReport:
    """Check every digest, proof and signature. Raises MalformedDossier or DossierRejected: the first thing that is wrong."""
    with read_errors():
        opened = open_dossier(file, trust)
        facts = EntryFacts(is_wanted=None)
        with checking_digests(opened, hands):
            head = prove_head(opened, trust)
            found = prove_entries(opened, head, facts)
        prove_keys(opened, head, facts, found, hands=hands, now_ms=trust.now_ms)
    return ProofsReport(proved_report(opened, head, found))
