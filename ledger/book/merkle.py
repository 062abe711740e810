"""The Merkle tree of RFC 9162 section 2.1 (the same as RFC 6962 section 2.1) with SHA-256.

Hashes are 32 plain bytes; indexes count from 0; proofs run from the leaf to the root.
An empty tree hashes to SHA-256(""), a leaf to SHA-256(0x00 || entry), a node to SHA-256(0x01 || left || right);
n > 1 leaves split at the largest power of two below n. No padding, no doubled leaf.

A proof does not bind sizes or indexes by itself: many wrong sizes verify. Take size and root only from a
verified checkpoint, and hash the entry yourself. ``receipt.check_receipt`` does both.

Leaves are arguments here, so a proof costs O(n); ``tiles`` gives the same proofs from O(log n) tiles.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from ledger.errors import ConsistencyFailed, InclusionFailed, MalformedProof, NotFound

if TYPE_CHECKING:
    from collections.abc import Sequence

HASH_BYTES = 32
EMPTY_ROOT = hashlib.sha256(b"").digest()

_sha256 = hashlib.sha256


def leaf_hash(data: bytes) -> bytes:
    """Hash of an entry as a leaf: SHA-256(0x00 || data). Source: RFC 9162 section 2.1.1."""
    return _sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of a node over its two children: SHA-256(0x01 || left || right). Source: RFC 9162 section 2.1.1."""
    return _sha256(b"\x01" + left + right).digest()


def root(leaf_hashes: Sequence[bytes]) -> bytes:
    """Root over all of ``leaf_hashes``. O(n). Source: RFC 9162 section 2.1.1."""
    if not leaf_hashes:
        return EMPTY_ROOT
    # Pairing level by level, with an odd last node carried up as it is, gives the split at the largest power of two.
    level = list(leaf_hashes)
    while len(level) > 1:
        pairs = iter(level)
        above = [_sha256(b"\x01" + left + right).digest() for left, right in zip(pairs, pairs, strict=False)]
        if len(level) % 2:
            above.append(level[-1])
        level = above
    return level[0]


def prove_inclusion(leaf_hashes: Sequence[bytes], index: int, tree_size: int) -> list[bytes]:
    """Prove that leaf ``index`` stands in the tree of the first ``tree_size`` leaves: hashes, leaf to root.

    O(tree_size). Raises NotFound when the leaves do not reach that far. Source: RFC 9162 section 2.1.3.1.
    """
    _check_known(tree_size, len(leaf_hashes))
    return [root(leaf_hashes[start:stop]) for start, stop in inclusion_ranges(index, tree_size)]


def prove_consistency(leaf_hashes: Sequence[bytes], old_size: int, new_size: int) -> list[bytes]:
    """Prove that the first ``new_size`` leaves extend the first ``old_size``; empty when the sizes are equal.

    O(new_size). Raises NotFound unless 0 < old_size <= new_size <= leaves. Source: RFC 9162 section 2.1.4.1.
    """
    _check_known(new_size, len(leaf_hashes))
    return [root(leaf_hashes[start:stop]) for start, stop in consistency_ranges(old_size, new_size)]


def inclusion_ranges(index: int, tree_size: int) -> list[tuple[int, int]]:
    """Leaf ranges [start, stop) whose roots are the inclusion proof, leaf to root.

    Raises NotFound unless 0 <= index < tree_size. Source: RFC 9162 section 2.1.3.1.
    """
    if not 0 <= index < tree_size:
        raise NotFound("leaf is not in the tree", expected=f"an index below {tree_size}", got=index)
    ranges: list[tuple[int, int]] = []
    start, stop = 0, tree_size
    while stop - start > 1:
        middle = start + _split(stop - start)
        if index < middle:
            ranges.append((middle, stop))
            stop = middle
        else:
            ranges.append((start, middle))
            start = middle
    ranges.reverse()
    return ranges


def consistency_ranges(old_size: int, new_size: int) -> list[tuple[int, int]]:
    """Leaf ranges [start, stop) whose roots are the consistency proof, in its order.

    Raises NotFound unless 0 < old_size <= new_size. Source: RFC 9162 section 2.1.4.1 (SUBPROOF).
    """
    if not 0 < old_size <= new_size:
        raise NotFound("old tree is no part of the new one", expected=f"a size from 1 to {new_size}", got=old_size)
    ranges: list[tuple[int, int]] = []
    start, stop, whole = 0, new_size, True
    while stop != old_size:
        middle = start + _split(stop - start)
        if old_size <= middle:
            ranges.append((middle, stop))
            stop = middle
        else:
            ranges.append((start, middle))
            start, whole = middle, False
    if not whole:
        ranges.append((start, stop))
    ranges.reverse()
    return ranges


def check_inclusion(leaf_hash: bytes, index: int, tree_size: int, proof: Sequence[bytes], root: bytes) -> None:
    """Raise InclusionFailed unless ``proof`` leads from ``leaf_hash`` at ``index`` to ``root``.

    Raises MalformedProof for a hash that is not 32 bytes. Source: RFC 9162 section 2.1.3.2.
    """
    _check_hashes((leaf_hash, root, *proof))
    if not 0 <= index < tree_size:
        raise InclusionFailed("index is outside the tree", expected=f"below {tree_size}", got=index)
    place, last, running = index, tree_size - 1, leaf_hash
    for sibling in proof:
        if last == 0:
            raise InclusionFailed("inclusion proof is too long", got=f"{len(proof)} hashes")
        if place & 1 or place == last:
            running = node_hash(sibling, running)
            while not place & 1 and place:
                place >>= 1
                last >>= 1
        else:
            running = node_hash(running, sibling)
        place >>= 1
        last >>= 1
    if last != 0:
        raise InclusionFailed("inclusion proof is too short", got=f"{len(proof)} hashes")
    if running != root:
        raise InclusionFailed("inclusion proof leads to another root", expected=root.hex(), got=running.hex())


def check_consistency(old_size: int, old_root: bytes, new_size: int, new_root: bytes, proof: Sequence[bytes]) -> None:
    """Raise ConsistencyFailed unless the tree of ``new_size`` extends the one of ``old_size``.

    Old size 0 is refused: every tree extends the empty one, so there is nothing to prove.
    Equal sizes accept only an empty proof and equal roots. Raises MalformedProof for a hash that is not 32 bytes.
    Source: RFC 9162 section 2.1.4.2.
    """
    _check_hashes((old_root, new_root, *proof))
    if not 0 < old_size <= new_size:
        raise ConsistencyFailed("old size is out of range", expected=f"from 1 to {new_size}", got=old_size)
    if old_size == new_size:
        if proof or old_root != new_root:
            raise ConsistencyFailed("trees of one size have two roots or a proof that is not empty")
        return
    # A complete old tree is a node of the new one, so its root is left out of the proof.
    steps = list(proof) if old_size & (old_size - 1) else [old_root, *proof]
    if not steps or not proof:
        raise ConsistencyFailed("consistency proof is empty")
    old_found, new_found = _climb(old_size - 1, new_size - 1, steps)
    if old_found != old_root:
        raise ConsistencyFailed("consistency proof leads to another old root", expected=old_root.hex())
    if new_found != new_root:
        raise ConsistencyFailed("consistency proof leads to another new root", expected=new_root.hex())


def _climb(place: int, last: int, steps: list[bytes]) -> tuple[bytes, bytes]:
    """Steps 4 to 7 of RFC 9162 section 2.1.4.2: the two roots that ``steps`` lead to."""
    while place & 1:
        place >>= 1
        last >>= 1
    old_found = new_found = steps[0]
    for sibling in steps[1:]:
        if last == 0:
            raise ConsistencyFailed("consistency proof is too long")
        if place & 1 or place == last:
            old_found = node_hash(sibling, old_found)
            new_found = node_hash(sibling, new_found)
            while not place & 1 and place:
                place >>= 1
                last >>= 1
        else:
            new_found = node_hash(new_found, sibling)
        place >>= 1
        last >>= 1
    if last != 0:
        raise ConsistencyFailed("consistency proof is too short")
    return old_found, new_found


def _split(count: int) -> int:
    """The largest power of two strictly below ``count`` (count > 1)."""
    return 1 << ((count - 1).bit_length() - 1)


def _check_known(tree_size: int, leaves: int) -> None:
    if tree_size > leaves:
        raise NotFound("tree is larger than its leaves", expected=f"at most {leaves}", got=tree_size)


def _check_hashes(hashes: Sequence[bytes]) -> None:
    for digest in hashes:
        if len(digest) != HASH_BYTES:
            raise MalformedProof("hash has another length", expected=f"{HASH_BYTES} bytes", got=len(digest))
