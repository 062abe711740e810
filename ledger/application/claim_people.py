"""What is kept of people in a claim, opened for the desk: who claims, how to reach him, who drilled, notes.

Read from the openings each time, and kept nowhere else, so that what is erased is gone from here at once.
"""

from __future__ import annotations

import msgspec

from ledger.application.warranty_desk import known_claim
from ledger.duties.retention import kept_of
from ledger.store.openings import openings_between
from ledger.store.reader import Reader

CAUTION = (
    "of people: for answering this claim alone; it goes when it is erased, or after the day until which it is kept"
)


class PersonalField(msgspec.Struct, frozen=True, kw_only=True):
    """One field as it was said: ``path`` within the entry, as an erasure names it, and its last part."""

    entry: int
    path: str
    field: str
    said: str


class ClaimPeople(msgspec.Struct, frozen=True, kw_only=True):
    """Every such field of a claim that can still be opened, in order of entry and path."""

    claim: str
    fields: tuple[PersonalField, ...]
    caution: str = CAUTION


def claim_people(reader: Reader, claim: str) -> ClaimPeople:
    """What is kept of people. Raises NotFound. One query an entry about the claim."""
    known_claim(reader, claim)
    found: list[PersonalField] = []
    for entry, paths in kept_of(reader, claim).items():
        told = {one.opening.path: one.opening.value for one in openings_between(reader.transaction, entry, entry + 1)}
        found += [
            PersonalField(entry=entry, path=path, field=path.rpartition("/")[2], said=str(told[path]))
            for path in paths
            if path in told
        ]
    return ClaimPeople(claim=claim, fields=tuple(found))
