"""Who else speaks for the demo's book: its log key, the witness of the policy, the time stamping authority."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from api.outgoing import Outgoing
from ledger.application.pourbook import wall_clock_ms
from ledger.book.policy import Policy
from ledger.book.signing import Signer, format_verifier
from ledger.duties.publishing import Publishing, PublishingPlan
from ledger.errors import Unsupported
from ledger.evidence.trust import Trust
from ledger.store.engine import Store
from ops.demo_walk.public_tools import Said, run_commands
from ops.demo_walk.time_stamps import TimeStamps

QUICK_CASES = (1, 2, 3, 4, 5, 11)
"""Cases of VERIFY.md that take no time for each entry: files, signatures, cosignatures, time stamps."""


@dataclass(frozen=True, slots=True)
class Parties:
    """All of them; ``log`` signs as who holds the book's key does."""

    log: Signer
    policy: Policy
    stamps: TimeStamps

    @property
    def trust(self) -> Trust:
        """What a reader goes by who asks for the witness's word, and for the authority's where there is one."""
        return Trust(keys=[], policy=self.policy, roots=self.stamps.roots)

    def ask(self, store: Store, newest: Callable[[], bytes]) -> None:
        """Have the newest head of a store cosigned, published and stamped, as far as they do it."""
        Publishing(
            store,
            PublishingPlan(policy=self.policy, authorities=self.stamps.authorities, roots=self.stamps.roots),
            Outgoing(30),
            newest=newest,
            keys=lambda: [self.log.verifier],
            clock_ms=wall_clock_ms,
        ).turn(now=True)

    def public_tools(self, dossier: bytes) -> Said | str:
        """What the quick commands of VERIFY.md say of a dossier; why they could not be run, where tools are missing."""
        witnesses = " ".join(format_verifier(one.verifier) for one in self.policy.witnesses)
        given = {"KEY": format_verifier(self.log.verifier), "WITNESSES": witnesses}
        if self.stamps.root_file is not None:
            given["TSA_ROOT"] = str(self.stamps.root_file)
        with tempfile.TemporaryDirectory() as folder:
            try:
                return run_commands(dossier, Path(folder), given, QUICK_CASES)
            except Unsupported as error:
                return error.problem
