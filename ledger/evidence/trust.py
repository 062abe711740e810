"""What the reader of a dossier trusts, from elsewhere than from whoever handed the dossier over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.book.key_terms import KeyTerm
from ledger.book.policy import Policy
from ledger.book.signing import Verifier, parse_verifier

if TYPE_CHECKING:
    from cryptography import x509


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """Keys, witnesses, authorities and a clock.

    ``keys``: the verifier line of the book's checkpoint key, with the sizes of the book over which it speaks where the reader
    knows them, and, if known, those of witnesses and of the dossier key. ``policy``: whose cosignatures are wanted.
    ``roots``: certificates of time stamping authorities. ``now_ms``: the reader's own clock, POSIX milliseconds; without it
    nothing is held to be of the future.
    """

    keys: Sequence[KeyTerm | Verifier | str]
    policy: Policy | None = None
    roots: Sequence[x509.Certificate] = ()
    now_ms: int | None = None

    def terms(self) -> list[KeyTerm]:
        """The keys with their sizes, those of the policy too. Raises MalformedKey."""
        read = [parse_verifier(key) if isinstance(key, str) else key for key in self.keys]
        given = [key if isinstance(key, KeyTerm) else KeyTerm(key) for key in read]
        named = [] if self.policy is None else self.policy.verifiers()
        known = {term.verifier for term in given}
        return given + [KeyTerm(verifier) for verifier in named if verifier not in known]
