"""The frontier: the same tree with nothing but its right edge."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ledger.book.frontier import Frontier, prove_tail
from ledger.book.merkle import EMPTY_ROOT, check_inclusion, prove_inclusion, root
from ledger.errors import MalformedProof
from tests.book.samples import leaves

LEAVES = leaves(700)
sizes = st.integers(0, 500)
groups = st.integers(0, 150)


@given(sizes, groups)
def test_appending_gives_the_root_of_all_leaves(size: int, group: int) -> None:
    """However the leaves are grouped, the root is that of all of them."""
    before = Frontier().append(LEAVES[:size])
    after = before.append(LEAVES[size : size + group])

    assert root(LEAVES[: size + group]) == after.root()
    assert Frontier().append(LEAVES[: size + group]) == after
    assert before.size == size


@given(sizes, st.integers(1, 60))
def test_tail_proofs_are_those_of_the_whole_tree(size: int, group: int) -> None:
    """The proofs of new leaves need no old leaf, and are byte for byte the usual ones."""
    before = Frontier().append(LEAVES[:size])
    total = size + group
    proofs = prove_tail(before, LEAVES[size:total])

    assert [prove_inclusion(LEAVES, index, total) for index in range(size, total)] == proofs
    head = before.append(LEAVES[size:total]).root()
    for index in range(size, total):
        check_inclusion(LEAVES[index], index, total, proofs[index - size], head)


@given(st.integers(0, 700))
def test_stored_bytes_give_the_frontier_back(size: int) -> None:
    """Reading undoes writing."""
    frontier = Frontier().append(LEAVES[:size])

    assert frontier == Frontier.from_bytes(frontier.to_bytes())


@given(st.binary(max_size=150))
def test_any_bytes_are_a_frontier_or_are_refused(raw: bytes) -> None:
    """Arbitrary bytes raise the one error, or are the one form."""
    try:
        frontier = Frontier.from_bytes(raw)
    except MalformedProof:
        return
    assert raw == frontier.to_bytes()


def test_the_empty_frontier_is_the_empty_tree() -> None:
    """No leaves: the root is SHA-256 of nothing, and there is nothing to prove."""
    assert Frontier().root() == EMPTY_ROOT
    assert prove_tail(Frontier(), []) == []
