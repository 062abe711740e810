"""The days of claims: those of the place in which each was taken, by the offset in which it was told.

Terms run, and answers are due, by the calendar of who claims and who answers, and not by that of UTC.
"""

from __future__ import annotations

import datetime as dt

from ledger.book.instant import Instant, format_instant
from ledger.line.claim_rows import Claim, Replacement


def day_at(told: Claim | Replacement, ms: int) -> dt.date:
    """The date of an instant where a claim was taken, or a replacement told."""
    return dt.date.fromisoformat(format_instant(Instant(ms, told.offset_min))[:10])


def opened_on(claim: Claim) -> dt.date:
    """The day on which a claim was opened."""
    return day_at(claim, claim.opened_ms)


def replaced_on(replacement: Replacement) -> dt.date:
    """The day on which a ball took the place of another."""
    return day_at(replacement, replacement.replaced_ms)
