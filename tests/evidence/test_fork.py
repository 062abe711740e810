"""Evidence of a fork speaks for itself, or it is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scitt_cose.merkle import verify_consistency  # type: ignore[import-untyped]  # ships no types

from ledger.book.merkle import prove_consistency, root
from ledger.book.signing import signer_from_seed
from ledger.errors import CheckFailed, ConsistencyFailed, LedgerError, MalformedProof, SignatureRejected
from ledger.evidence.fork import ForkEvidence, check_fork, format_fork, parse_fork
from tests.evidence.shown_book import KEY, LOG, ShownBook, entries


def evidence(small: int, large: int) -> ForkEvidence:
    """A kept head, and a larger one of a book that differs in its first entry."""
    kept, shown = ShownBook(entries(small)), ShownBook(entries(large, changed=0))
    if small == large:
        return ForkEvidence(kept.head(), shown.head())
    proof = prove_consistency(shown.leaves, small, large)
    return ForkEvidence(kept.head(), shown.head(), root(shown.leaves[:small]), tuple(proof))


@given(st.integers(1, 40), st.integers(0, 40))
def test_files_give_the_same_evidence_again(small: int, more: int) -> None:
    """What is written is read back, and shows the fork."""
    said = evidence(small, small + more)
    files = format_fork(said, [KEY])
    assert parse_fork(files) == said
    assert "no one book has both" in files["README.txt"].decode()


def test_proof_holds_for_an_independent_library() -> None:
    """The proof from the other root is a consistency proof for scitt-cose too (RFC 9162 section 2.1.4)."""
    said = evidence(5, 13)
    shown = ShownBook(entries(13, changed=0))
    hashes = [step.hex() for step in said.proof]
    assert verify_consistency(said.other_root.hex(), root(shown.leaves).hex(), 5, 13, hashes)


def test_two_heads_of_one_book_are_no_fork() -> None:
    """Nobody is accused by heads that fit together."""
    book = ShownBook(entries(9))
    proof = tuple(prove_consistency(book.leaves, 4, 9))
    with pytest.raises(ConsistencyFailed, match="of one book"):
        check_fork(ForkEvidence(book.head(4), book.head(), root(book.leaves[:4]), proof), [KEY])
    with pytest.raises(ConsistencyFailed, match="of one book"):
        check_fork(ForkEvidence(book.head(), book.head()), [KEY])


def test_made_up_root_is_no_evidence() -> None:
    """Without a proof that the larger tree has the other root, nothing is shown."""
    book = ShownBook(entries(9))
    proof = tuple(prove_consistency(book.leaves, 4, 9))
    with pytest.raises(CheckFailed):
        check_fork(ForkEvidence(book.head(4), book.head(), bytes(32), proof), [KEY])


def test_head_signed_by_somebody_else_is_no_evidence() -> None:
    """Only the book's own key speaks against its holder."""
    stranger = signer_from_seed(LOG.name, bytes(range(32)))
    kept, shown = ShownBook(entries(3)), ShownBook(entries(3, changed=1), stranger)
    with pytest.raises(SignatureRejected):
        check_fork(ForkEvidence(kept.head(), shown.head()), [KEY])


@pytest.mark.parametrize("lost", ["kept", "shown"])
def test_evidence_lacks_a_note(lost: str) -> None:
    """Half of it is refused by name."""
    files = format_fork(evidence(3, 3), [KEY])
    del files[lost]
    with pytest.raises(MalformedProof, match=lost):
        parse_fork(files)


@given(st.binary(max_size=200))
def test_any_bytes_as_proof_are_read_or_refused(raw: bytes) -> None:
    """A proof of another shape is a plain refusal."""
    files = format_fork(evidence(3, 7), [KEY])
    try:
        check_fork(parse_fork({**files, "proof": raw}), [KEY])
    except LedgerError as error:
        assert str(error)  # noqa: PT017  # most bytes are refused, and how is not the point
    else:
        raise AssertionError(raw)
