"""The tree against RFC 9162 section 2.1: published vectors, and an independent library.

Published leaves, roots and probes: Certificate Transparency reference data in transparency-dev/merkle,
commit 417fb0c (testonly/constants.go, rfc6962/rfc6962_test.go, testdata/), Apache-2.0.
Independent library: scitt-cose 0.5, module merkle, Apache-2.0.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scitt_cose import merkle as scitt  # type: ignore[import-untyped]  # it ships no types

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
from ledger.errors import CheckFailed, ConsistencyFailed, InclusionFailed, LedgerError, MalformedProof
from tests.book.samples import vectors

# transparency-dev/merkle@417fb0c testonly/constants.go: the eight leaves of the CT reference tree ...
CT_LEAVES = [
    bytes.fromhex(leaf)
    for leaf in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
# ... and, in the same file, the roots of its first 0, 1 and 8 leaves.
CT_ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}

leaf_lists = st.lists(st.binary(max_size=8), min_size=1, max_size=70)


def _to_hex(parts: list[bytes]) -> list[str]:
    return [part.hex() for part in parts]


def _hexes(hashes: list[str]) -> list[bytes]:
    return [bytes.fromhex(digest) for digest in hashes]


def _inclusion_verdict(case: dict[str, Any]) -> str:
    leaf = leaf_hash(bytes.fromhex(case["leaf_data"])) if "leaf_data" in case else bytes.fromhex(case["leaf_hash"])
    head, proof = bytes.fromhex(case["root"]), _hexes(case["proof"])
    try:
        check_inclusion(leaf, case["leaf_index"], case["tree_size"], proof, head)
    except (InclusionFailed, MalformedProof):
        return "reject"
    return "valid"


def _consistency_verdict(case: dict[str, Any]) -> str:
    old, new, proof = bytes.fromhex(case["root1"]), bytes.fromhex(case["root2"]), _hexes(case["proof"])
    try:
        check_consistency(case["size1"], old, case["size2"], new, proof)
    except (ConsistencyFailed, MalformedProof):
        return "reject"
    return "valid"


@pytest.mark.parametrize("size", CT_ROOTS)
def test_reference_roots_typed_in(size: int) -> None:
    """The published roots of the CT reference tree, see the source at their definition."""
    assert CT_ROOTS[size] == root([leaf_hash(leaf) for leaf in CT_LEAVES[:size]]).hex()


def test_hasher_vectors() -> None:
    """transparency-dev/merkle rfc6962/rfc6962_test.go: empty root, leaf and node hashes."""
    for case in vectors("merkle.json")["hasher"]:
        if case["op"] == "empty_root":
            assert case["out"] == EMPTY_ROOT.hex()
        elif case["op"] == "leaf":
            assert case["out"] == leaf_hash(bytes.fromhex(case["data"])).hex()
        else:
            assert case["out"] == node_hash(bytes.fromhex(case["left"]), bytes.fromhex(case["right"])).hex()


def test_reference_tree() -> None:
    """transparency-dev/merkle testonly/constants.go: leaf hashes, roots 0 to 8 and inner nodes."""
    published = vectors("merkle.json")
    hashes = [leaf_hash(bytes.fromhex(leaf)) for leaf in published["leaves"]]

    assert published["leaf_hashes"] == [digest.hex() for digest in hashes]
    assert [case["root"] for case in published["roots"]] == [root(hashes[:size]).hex() for size in range(9)]
    for node in published["inner_nodes"]:
        start, stop = node["range"]
        assert node["hash"] == root(hashes[start:stop]).hex()


def test_every_proof_of_the_reference_tree_is_made_to_the_byte() -> None:
    """All 36 inclusion and 36 consistency proofs; some published, all agreed by four libraries (see the file)."""
    published = vectors("merkle.json")
    hashes = [leaf_hash(leaf) for leaf in CT_LEAVES]
    for case in published["inclusion"]:
        assert _hexes(case["proof"]) == prove_inclusion(hashes, case["leaf_index"], case["tree_size"])
        assert _inclusion_verdict(case) == "valid"
    for case in published["consistency"]:
        assert _hexes(case["proof"]) == prove_consistency(hashes, case["size1"], case["size2"])
        assert _consistency_verdict(case) == "valid"
    assert (36, 36) == (len(published["inclusion"]), len(published["consistency"]))


def test_published_probes() -> None:
    """transparency-dev/merkle testdata/: 98 inclusion and 98 consistency probes, each with the published verdict.

    One is rejected here and accepted there: two equal "roots" of 12 bytes. Every hash of ours is 32 bytes.
    """
    published = vectors("merkle.json")
    inclusion, consistency = published["published_probes_inclusion"], published["published_probes_consistency"]

    assert [] == [case["file"] for case in inclusion if case["expect"] != _inclusion_verdict(case)]
    differ = [case["file"] for case in consistency if case["expect"] != _consistency_verdict(case)]
    assert differ == ["testdata/consistency/additional/sizes-are-equal-one-and-proof-is-empty.json"]
    assert (98, 98) == (len(inclusion), len(consistency))


def test_systematic_mutations_are_rejected() -> None:
    """109 + 83 mutations of the reference proofs, made for this set and rejected by every applicable library."""
    published = vectors("merkle.json")

    assert [] == [case["id"] for case in published["negative_inclusion"] if _inclusion_verdict(case) != "reject"]
    assert [] == [case["id"] for case in published["negative_consistency"] if _consistency_verdict(case) != "reject"]


def test_traps_verify_at_the_level_of_hashes() -> None:
    """Why sizes and leaf hashes are never taken from the prover: these verify, here as in every library."""
    traps = vectors("merkle.json")["traps_hash_level"]

    assert ["valid"] * 3 == [_inclusion_verdict(case) for case in traps["inclusion"]]
    assert ["valid"] == [_consistency_verdict(case) for case in traps["consistency"]]


def test_prefixes_and_odd_leaves() -> None:
    """RFC 9162 section 2.1.1: domain separation, and no leaf is doubled (CVE-2012-2459 class)."""
    published = vectors("merkle.json")
    separation, odd = published["domain_separation"], published["odd_leaf_duplication"]
    leaf = bytes.fromhex(separation["leaf_data"])

    assert separation["as_leaf_hash"] == leaf_hash(leaf).hex()
    assert separation["as_node_hash"] == node_hash(leaf[:32], leaf[32:]).hex()
    for count in ("3", "4"):
        hashes = [leaf_hash(bytes.fromhex(leaf)) for leaf in odd[f"leaves{count}"]]
        assert odd[f"root{count}"] == root(hashes).hex()


@given(leaf_lists)
def test_roots_agree_with_scitt_cose(entries: list[bytes]) -> None:
    """scitt-cose 0.5 gives the same root."""
    assert root([leaf_hash(entry) for entry in entries]).hex() == scitt.merkle_root(_to_hex(entries))


@given(leaf_lists, st.data())
def test_inclusion_agrees_with_scitt_cose(entries: list[bytes], draw: st.DataObject) -> None:
    """scitt-cose 0.5 makes the same inclusion proofs and accepts ours."""
    hashes = [leaf_hash(entry) for entry in entries]
    size = len(hashes)
    index = draw.draw(st.integers(0, size - 1))
    proof = _to_hex(prove_inclusion(hashes, index, size))

    assert proof == scitt.inclusion_proof(_to_hex(entries), index)
    assert scitt.verify_inclusion(entries[index].hex(), index, size, proof, root(hashes).hex())


@given(leaf_lists, st.data())
def test_consistency_agrees_with_scitt_cose(entries: list[bytes], draw: st.DataObject) -> None:
    """scitt-cose 0.5 makes the same consistency proofs and accepts ours."""
    hashes = [leaf_hash(entry) for entry in entries]
    new = len(hashes)
    old = draw.draw(st.integers(1, new))
    proof = _to_hex(prove_consistency(hashes, old, new))

    assert proof == scitt.consistency_proof(_to_hex(entries), old, new)
    assert scitt.verify_consistency(root(hashes[:old]).hex(), root(hashes).hex(), old, new, proof)


@given(leaf_lists, st.data())
def test_damaged_proofs_get_the_same_verdict_from_scitt_cose(entries: list[bytes], draw: st.DataObject) -> None:
    """With hashes swapped or dropped and any index, both libraries say the same."""
    hashes = [leaf_hash(entry) for entry in entries]
    size = len(hashes)
    index, claimed = draw.draw(st.integers(0, size - 1)), draw.draw(st.integers(0, size - 1))
    proof = draw.draw(st.permutations(prove_inclusion(hashes, index, size)))[: draw.draw(st.integers(0, 7))]
    head = root(hashes)
    theirs = scitt.verify_inclusion(entries[index].hex(), claimed, size, _to_hex(proof), head.hex())
    try:
        check_inclusion(hashes[index], claimed, size, proof, head)
    except CheckFailed:
        assert not theirs
        return
    assert theirs


def test_empty_old_tree_is_our_choice() -> None:
    """RFC 9162 section 2.1.4 leaves size 0 open: transparency-dev/merkle rejects it, and so do we."""
    with pytest.raises(LedgerError):
        check_consistency(0, EMPTY_ROOT, 1, leaf_hash(b""), [])
