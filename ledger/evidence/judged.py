"""The verdicts of a ball that rest on a reading, as far as its events tell of them."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET

from ledger.evidence.dossier_format import VerdictTable

Judged = tuple[str, str, str]
"""A verdict on a reading: SHA-256 of its rulebook, how it came out, the address of the reading's fact."""


def judged_in(tables: Sequence[VerdictTable]) -> list[Judged]:
    """The verdicts of a sheet that rest on a reading, in their order."""
    return [
        (table.rulebook, line.outcome, line.fact)
        for table in tables
        for line in table.verdicts
        if line.fact is not UNSET
    ]
