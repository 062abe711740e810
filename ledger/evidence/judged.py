"""The verdicts of a ball that rest on a reading, as far as its events tell of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from msgspec import UNSET

from ledger.evidence.dossier_format import VerdictTable


class Judged(NamedTuple):
    """A verdict on a reading: SHA-256 of its rulebook, how it came out, the address of the reading's fact."""

    rulebook: str
    outcome: str
    fact: str


def judged_in(tables: Sequence[VerdictTable]) -> list[Judged]:
    """The verdicts of a sheet that rest on a reading, in their order."""
    return [
        Judged(table.rulebook, line.outcome, line.fact)
        for table in tables
        for line in table.verdicts
        if line.fact is not UNSET
    ]
