"""Hashing of passwords: Argon2id.

Costs are the second recommended option of RFC 9106 section 4: t = 3 passes, m = 64 MiB, p = 4 lanes, a salt of 16 bytes
and a tag of 32.  A text made with other costs is hashed anew at the next sign-in.
"""

from __future__ import annotations

import secrets
from functools import cached_property
from typing import NamedTuple

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.low_level import Type


class Cost(NamedTuple):
    """What one hash costs: passes, memory in KiB, lanes."""

    passes: int = 3
    memory_kib: int = 65_536
    lanes: int = 4


class PasswordHashes:
    """Makes and checks Argon2 texts. Each call takes the memory of its cost and some 0.1 s; it may be called from any thread."""

    def __init__(self, cost: Cost | None = None) -> None:
        """Hash at ``cost``; by default that of RFC 9106."""
        passes, memory_kib, lanes = cost or Cost()
        self._hasher = PasswordHasher(
            time_cost=passes, memory_cost=memory_kib, parallelism=lanes, hash_len=32, salt_len=16, type=Type.ID
        )

    @cached_property
    def _nobody(self) -> str:
        return self.made(secrets.token_urlsafe(16))

    def made(self, password: str) -> str:
        """The Argon2 text of a normalised password, with a fresh salt."""
        return self._hasher.hash(_bytes(password))

    def fits(self, password: str, hashed: str | None) -> bool:
        """Whether a password is the one that was hashed. None is no account: it costs the same, and never fits."""
        try:
            self._hasher.verify(hashed or self._nobody, _bytes(password))
        except (VerificationError, InvalidHashError):
            return False
        return hashed is not None

    def is_outdated(self, hashed: str) -> bool:
        """Whether a text was made at another cost."""
        return self._hasher.check_needs_rehash(hashed)


HASHES = PasswordHashes()
"""Hashes at the stated cost."""


def _bytes(password: str) -> bytes:
    # Half of a surrogate pair cannot be typed, and must not be an error of its own.
    return password.encode("utf-8", "replace")
