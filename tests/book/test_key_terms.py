"""Key terms: a key signs its own sizes and no others."""

from __future__ import annotations

import pytest

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.key_terms import KeyTerm, check_checkpoint_in_term, verifiers_at
from ledger.book.merkle import root
from ledger.book.signing import Signer
from ledger.errors import SignatureRejected
from tests.book.samples import LOG, NEXT_LOG, ORIGIN, leaves

HEAD = root(leaves(8))
# Both sign size 100: the overlap of a rotation.
TERMS = [KeyTerm(LOG.verifier, 0, 100), KeyTerm(NEXT_LOG.verifier, 100)]


@pytest.mark.parametrize(
    ("size", "known"),
    [(0, [LOG]), (99, [LOG]), (100, [LOG, NEXT_LOG]), (101, [NEXT_LOG]), (10**9, [NEXT_LOG])],
)
def test_terms_run_by_tree_size(size: int, known: list[Signer]) -> None:
    """Both ends of a term are included; an open term has no end."""
    assert [signer.verifier for signer in (LOG, NEXT_LOG) if signer in known] == verifiers_at(TERMS, size)


def test_a_key_signs_within_its_term() -> None:
    """Each key's checkpoints are believed at its own sizes."""
    for signer, size in ((LOG, 8), (LOG, 100), (NEXT_LOG, 100), (NEXT_LOG, 5_000)):
        note = sign_checkpoint(ORIGIN, size, HEAD, [signer])
        assert size == check_checkpoint_in_term(note, TERMS, origin=ORIGIN).tree_size


@pytest.mark.parametrize(("size", "signer"), [(8, NEXT_LOG), (99, NEXT_LOG), (101, LOG)])
def test_resealing_another_range_is_rejected(size: int, signer: Signer) -> None:
    """A later key does not seal an earlier range anew, nor an old key a new one."""
    with pytest.raises(SignatureRejected):
        check_checkpoint_in_term(sign_checkpoint(ORIGIN, size, HEAD, [signer]), TERMS)


def test_a_size_without_any_key_is_rejected() -> None:
    """Between terms nobody signs."""
    note = sign_checkpoint(ORIGIN, 8, HEAD, [LOG])
    with pytest.raises(SignatureRejected):
        check_checkpoint_in_term(note, [KeyTerm(LOG.verifier, 9)])


def test_a_checkpoint_of_a_rotation_is_signed_by_both() -> None:
    """At the overlap both signatures are checked."""
    note = sign_checkpoint(ORIGIN, 100, HEAD, [LOG, NEXT_LOG])
    assert len(check_checkpoint_in_term(note, TERMS).log_signatures) == 2
