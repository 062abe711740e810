"""The right edge of the tree: all that is needed to append, to give the root, and to prove new leaves.

A tree of ``size`` leaves is a row of complete subtrees, one for each set bit of ``size``, largest first
(RFC 9162 section 2.1.1). Keeping their roots is enough: at most 63 hashes for any book.

Bytes: ``u64be size``, then the 32-byte roots, largest subtree first.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.book.merkle import EMPTY_ROOT, HASH_BYTES, node_hash
from ledger.errors import MalformedProof

if TYPE_CHECKING:
    from collections.abc import Sequence

_sha256 = hashlib.sha256


@dataclass(frozen=True, slots=True)
class Frontier:
    """``size`` leaves and the roots of their complete subtrees, largest first."""

    size: int = 0
    roots: tuple[bytes, ...] = ()

    def append(self, leaf_hashes: Sequence[bytes]) -> Frontier:
        """Give the frontier after ``leaf_hashes``; O(n), this one is unchanged."""
        level, base, stack = list(leaf_hashes), self.size, list(self.roots)
        alone: list[bytes] = []
        # ``level`` holds the nodes of one height from position ``base`` on; all to the left of it is in the stack.
        while level:
            if base & 1:
                level.insert(0, stack.pop())
            if len(level) & 1:
                alone.append(level.pop())
            pairs = iter(level)
            level = [_sha256(b"\x01" + left + right).digest() for left, right in zip(pairs, pairs, strict=True)]
            base >>= 1
        return Frontier(self.size + len(leaf_hashes), (*stack, *reversed(alone)))

    def root(self) -> bytes:
        """Root of the whole tree; O(log n)."""
        if not self.roots:
            return EMPTY_ROOT
        running = self.roots[-1]
        for left in reversed(self.roots[:-1]):
            running = node_hash(left, running)
        return running

    def to_bytes(self) -> bytes:
        """Give the stored form; ``from_bytes`` reads it back."""
        return self.size.to_bytes(8, "big") + b"".join(self.roots)

    @classmethod
    def from_bytes(cls, raw: bytes) -> Frontier:
        """Read the stored form; raises MalformedProof when the roots do not fit the size."""
        size = int.from_bytes(raw[:8], "big")
        if len(raw) != 8 + HASH_BYTES * size.bit_count():
            raise MalformedProof("frontier has another length", got=len(raw), where=f"size {size}")
        return cls(size, tuple(raw[at : at + HASH_BYTES] for at in range(8, len(raw), HASH_BYTES)))


def prove_tail(before: Frontier, new_leaves: Sequence[bytes]) -> list[list[bytes]]:
    """Inclusion proofs of each new leaf in the tree of ``before.size + len(new_leaves)``; reads nothing.

    Each proof is what ``merkle.prove_inclusion`` gives for that leaf. O(n log n) for n new leaves.
    """
    proofs: list[list[bytes]] = [[] for _ in new_leaves]
    if not new_leaves:
        return proofs
    # ``level`` holds the nodes of one height from position ``base`` on; all to the left of it is old.
    level, base, height = list(new_leaves), before.size, 0
    old_roots = list(before.roots)
    while base or len(level) > 1:
        if base & 1:
            level.insert(0, old_roots.pop())
            base -= 1
        count = len(level)
        for offset, proof in enumerate(proofs):
            sibling = (((before.size + offset) >> height) ^ 1) - base
            if sibling < count:
                proof.append(level[sibling])
        above = [node_hash(level[at], level[at + 1]) for at in range(0, count - 1, 2)]
        if count % 2:
            above.append(level[-1])
        level, base, height = above, base >> 1, height + 1
    return proofs
