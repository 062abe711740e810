"""What a submission has to pass before it is queued: checks that look into the store, for the few kinds that need one.

Most of what is said, every registration too, is of no such kind, and pays for one look at its types.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from ledger.access.tokens import Account
from ledger.application import said_approvals, said_cases, said_evidence, said_releases, said_shipments, said_undone
from ledger.line.record import Record
from ledger.line.submission import Submission, said_records
from ledger.store.engine import Store

LOOKED_AT: frozenset[type[Record]] = (
    said_releases.LOOKED_AT
    | said_evidence.LOOKED_AT
    | said_cases.LOOKED_AT
    | said_shipments.LOOKED_AT
    | said_undone.LOOKED_AT
    | said_approvals.LOOKED_AT
)
"""Kinds for which `check_said` may have to look into the store."""


def is_looked_at(records: Iterable[Record]) -> bool:
    """Whether `check_said` may have to look into the store for these records."""
    return not LOOKED_AT.isdisjoint(map(type, records))


def check_said(store: Store, submission: Submission, account: Account, clock_ms: Callable[[], int]) -> dict[str, str]:
    """Check what rests on verdicts, files, cases or draws, what leaves for sale and takes back; see the modules asked.

    Gives what the balls of releases at first quality were judged with, as a digest by unit. Raises what these raise.
    """
    if not is_looked_at(said_records(submission)):
        return {}
    judged = said_releases.check_said_releases(store, submission, account)
    said_evidence.check_said_evidence(store, submission, account)
    said_cases.check_said_cases(store, submission, account)
    said_shipments.check_said_shipments(store, submission, account)
    said_undone.check_said_undone(store, submission, account, clock_ms())
    said_approvals.check_said_approvals(store, submission, account)
    return judged
