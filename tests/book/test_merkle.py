"""The tree: proofs that are made are accepted, and damaged ones are not."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.merkle import (
    EMPTY_ROOT,
    check_consistency,
    check_inclusion,
    leaf_hash,
    node_hash,
    prove_consistency,
    prove_inclusion,
    root,
)
from ledger.errors import CheckFailed, ConsistencyFailed, InclusionFailed, MalformedProof, NotFound
from tests.book.samples import flipped, leaves

LEAVES = leaves(300)


def _recursive_root(hashes: list[bytes]) -> bytes:
    """RFC 9162 section 2.1.1 word for word."""
    if not hashes:
        return hashlib.sha256(b"").digest()
    if len(hashes) == 1:
        return hashes[0]
    split = 1
    while split * 2 < len(hashes):
        split *= 2
    return node_hash(_recursive_root(hashes[:split]), _recursive_root(hashes[split:]))


@pytest.mark.parametrize("size", range(70))
def test_root_is_that_of_the_definition(size: int) -> None:
    """Pairing level by level gives the recursive definition."""
    assert _recursive_root(LEAVES[:size]) == root(LEAVES[:size])


def test_every_inclusion_proof_of_small_trees_is_accepted() -> None:
    """Every leaf of every tree up to 40 leaves is proved."""
    for size in range(1, 41):
        for index in range(size):
            proof = prove_inclusion(LEAVES, index, size)
            check_inclusion(LEAVES[index], index, size, proof, root(LEAVES[:size]))


def test_every_consistency_proof_of_small_trees_is_accepted() -> None:
    """Every pair of trees up to 40 leaves is proved."""
    for new in range(1, 41):
        for old in range(1, new + 1):
            check_consistency(old, root(LEAVES[:old]), new, root(LEAVES[:new]), prove_consistency(LEAVES, old, new))


@given(st.data())
def test_any_flipped_bit_of_an_inclusion_proof_is_detected(draw: st.DataObject) -> None:
    """One changed bit in leaf, proof or root is rejected."""
    size = draw.draw(st.integers(1, 300))
    index = draw.draw(st.integers(0, size - 1))
    parts = [LEAVES[index], root(LEAVES[:size]), *prove_inclusion(LEAVES, index, size)]
    place = draw.draw(st.integers(0, len(parts) - 1))
    parts[place] = flipped(parts[place], draw.draw(st.integers(0, 255)))

    with pytest.raises(InclusionFailed):
        check_inclusion(parts[0], index, size, parts[2:], parts[1])


@given(st.data())
def test_any_flipped_bit_of_a_consistency_proof_is_detected(draw: st.DataObject) -> None:
    """One changed bit in a root or the proof is rejected."""
    new = draw.draw(st.integers(1, 300))
    old = draw.draw(st.integers(1, new))
    parts = [root(LEAVES[:old]), root(LEAVES[:new]), *prove_consistency(LEAVES, old, new)]
    place = draw.draw(st.integers(0, len(parts) - 1))
    parts[place] = flipped(parts[place], draw.draw(st.integers(0, 255)))

    with pytest.raises(ConsistencyFailed):
        check_consistency(old, parts[0], new, parts[1], parts[2:])


@given(st.integers(1, 300), st.data())
def test_a_longer_or_shorter_proof_is_rejected(size: int, draw: st.DataObject) -> None:
    """A proof has exactly its length."""
    index = draw.draw(st.integers(0, size - 1))
    proof = prove_inclusion(LEAVES, index, size)
    head = root(LEAVES[:size])

    with pytest.raises(InclusionFailed):
        check_inclusion(LEAVES[index], index, size, [*proof, LEAVES[0]], head)
    if proof:
        with pytest.raises(InclusionFailed):
            check_inclusion(LEAVES[index], index, size, proof[:-1], head)


@given(st.integers(2, 300), st.data())
def test_a_longer_or_shorter_consistency_proof_is_rejected(new: int, draw: st.DataObject) -> None:
    """A consistency proof has exactly its length."""
    old = draw.draw(st.integers(1, new - 1))
    proof = prove_consistency(LEAVES, old, new)

    for changed in ([*proof, LEAVES[0]], proof[:-1], []):
        with pytest.raises(ConsistencyFailed):
            check_consistency(old, root(LEAVES[:old]), new, root(LEAVES[:new]), changed)


@given(st.integers(1, 120), st.data())
def test_a_proof_belongs_to_its_index(size: int, draw: st.DataObject) -> None:
    """At a given size a proof of one leaf proves it at no other index."""
    index = draw.draw(st.integers(0, size - 1))
    other = draw.draw(st.integers(0, size - 1))
    if index != other:
        with pytest.raises(InclusionFailed):
            check_inclusion(LEAVES[index], other, size, prove_inclusion(LEAVES, index, size), root(LEAVES[:size]))


@pytest.mark.parametrize(("index", "size"), [(-1, 4), (4, 4), (9, 4), (0, 0)])
def test_an_index_outside_the_tree_is_rejected(index: int, size: int) -> None:
    """No leaf stands outside the tree, and no proof for it is made."""
    with pytest.raises(InclusionFailed):
        check_inclusion(LEAVES[0], index, size, [], LEAVES[0])
    with pytest.raises(NotFound):
        prove_inclusion(LEAVES, index, size)


@pytest.mark.parametrize(("old", "new"), [(0, 4), (0, 0), (-1, 4), (5, 4)])
def test_old_size_zero_and_shrinking_are_rejected(old: int, new: int) -> None:
    """The core proves nothing from size 0 and nothing backwards."""
    with pytest.raises(ConsistencyFailed):
        check_consistency(old, EMPTY_ROOT, new, root(LEAVES[: max(new, 0)]), [])
    with pytest.raises(NotFound):
        prove_consistency(LEAVES, old, new)


def test_equal_sizes_take_only_an_empty_proof_and_equal_roots() -> None:
    """At one size there is one root."""
    head = root(LEAVES[:5])
    check_consistency(5, head, 5, head, [])

    assert prove_consistency(LEAVES, 5, 5) == []
    with pytest.raises(ConsistencyFailed):
        check_consistency(5, head, 5, head, [head])
    with pytest.raises(ConsistencyFailed):
        check_consistency(5, head, 5, root(LEAVES[:6]), [])


def test_trees_larger_than_their_leaves_are_not_proved() -> None:
    """A proof needs all the leaves of its tree."""
    with pytest.raises(NotFound):
        prove_inclusion(LEAVES[:3], 0, 4)
    with pytest.raises(NotFound):
        prove_consistency(LEAVES[:3], 1, 4)


@pytest.mark.parametrize("short", [b"", b"x" * 31, b"x" * 33])
def test_hashes_of_another_length_are_refused(short: bytes) -> None:
    """Every hash is 32 bytes, whichever it is."""
    good = LEAVES[0]
    for leaf, proof, head in [(short, [], short), (good, [short], good), (good, [], short)]:
        with pytest.raises(MalformedProof):
            check_inclusion(leaf, 0, 1, proof, head)
    for old, proof, head in [(short, [], good), (good, [short], good), (good, [], short)]:
        with pytest.raises(MalformedProof):
            check_consistency(1, old, 2, head, proof)


def test_a_leaf_is_never_a_node() -> None:
    """The prefixes keep the two children of a node from passing as an entry (second preimage)."""
    assert leaf_hash(LEAVES[0] + LEAVES[1]) != node_hash(LEAVES[0], LEAVES[1])


def test_no_leaf_is_doubled() -> None:
    """A last leaf said twice is another tree (CVE-2012-2459 class)."""
    assert root(LEAVES[:3]) != root([*LEAVES[:3], LEAVES[2]])


def test_sizes_are_not_bound_by_proofs_alone() -> None:
    """Why sizes come from checkpoints: the proof of leaf 0 at size 8 also verifies as size 5, 6 and 7."""
    proof = prove_inclusion(LEAVES, 0, 8)
    for size in (5, 6, 7, 8):
        check_inclusion(LEAVES[0], 0, size, proof, root(LEAVES[:8]))

    with pytest.raises(CheckFailed):
        check_inclusion(LEAVES[0], 0, 4, proof, root(LEAVES[:8]))
