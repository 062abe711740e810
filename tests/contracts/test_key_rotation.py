"""A checkpoint key takes over from another: which key signs which size, and what a process without it may do."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from ledger.application.proofs import check_book
from ledger.book.checkpoint import check_checkpoint
from ledger.book.receipt import check_receipt
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.errors import KeyNotInTerm, RuleStands, SignatureRejected
from ledger.line.submission import Submission
from ledger.store.engine import Store
from ledger.store.rebuild import compare_views
from ledger.store.writer import Writer
from tests.plant import AT, ORIGIN, SIGNER, VERIFIER, registration, said

NEXT = signer_from_seed(ORIGIN, bytes(range(1, 33)))
OLD_ID = SIGNER.verifier.key_id.hex()

Start = Callable[..., Writer]


def introduce(key: Signer = NEXT) -> Submission:
    """Another checkpoint key of the book's name speaks from here on."""
    line = format_verifier(key.verifier)
    return said(
        "rotate", {"kind": "key-introduced", "at": AT, "key": ORIGIN, "purpose": "checkpoint", "verifier": line}
    )


def revoke() -> Submission:
    """The first key speaks no more."""
    return said("end-old", {"kind": "key-revoked", "at": AT, "key": ORIGIN, "id": OLD_ID, "reason": "rotated"})


def signed_by(writer: Writer) -> set[str]:
    """The key ids that signed a writer's newest checkpoint."""
    keys = [SIGNER.verifier, NEXT.verifier]
    return {line.verifier.key_id.hex() for line in check_checkpoint(writer.checkpoint or b"", keys).log_signatures}


@pytest.fixture
def both(writer: Writer, start: Start) -> Writer:
    """A writer that holds both keys, on the book of the first."""
    writer.stop()
    return start(signers=[SIGNER, NEXT])


def test_each_size_is_signed_by_the_keys_that_speak_for_it(store: Store, both: Writer) -> None:
    """The old one alone, both while the new one takes over, then the new one; the book checks by either in its time."""
    found = []
    for submission in (registration(1), introduce(), registration(2), revoke(), registration(3)):
        both.submit(submission, "a-lead").result(30)
        found.append(signed_by(both))
    old, new = OLD_ID, NEXT.verifier.key_id.hex()
    assert [{old}, {old, new}, {old, new}, {new}, {new}] == found
    both.stop()
    assert [] == compare_views(store)
    check_book(store, ORIGIN, [NEXT.verifier])
    with pytest.raises(SignatureRejected):
        check_book(store, ORIGIN, [SIGNER.verifier])


def test_a_receipt_of_the_takeover_is_checked_by_whoever_knows_the_old_key(both: Writer) -> None:
    """The entry that names the new key stands under a checkpoint that the old one signed: that is the way across."""
    entered = both.submit(introduce(), "a-lead").result(30)
    receipt = check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER])
    assert entered.index == receipt.index
    assert format_verifier(NEXT.verifier).encode() in entered.entry_bytes


def test_a_stolen_key_ends_at_once(both: Writer) -> None:
    """Introduced and revoked in one submission, no checkpoint bears both signatures."""
    records = introduce().records + revoke().records
    both.submit(Submission(key="at-once", records=records), "a-lead").result(30)
    assert {NEXT.verifier.key_id.hex()} == signed_by(both)


def test_a_revocation_that_would_leave_nobody_to_sign_is_refused(writer: Writer) -> None:
    """A service without the new key's file takes the introduction, and refuses to end its own key; it goes on."""
    writer.submit(introduce(), "a-lead").result(30)
    assert {OLD_ID} == signed_by(writer)
    with pytest.raises(RuleStands) as refusal:
        writer.submit(revoke(), "a-lead").result(30)
    assert "key" == refusal.value.where
    assert not writer.submit(registration(1), "a-lead").result(30).repeated


def test_a_process_with_the_old_key_alone_enters_nothing_more(writer: Writer, start: Start) -> None:
    """Another process ended its key: it says so, instead of signing for a size that its key has no term for."""
    other = start(signers=[SIGNER, NEXT])
    other.submit(introduce(), "a-lead").result(30)
    writer.submit(registration(1), "a-lead").result(30)
    other.submit(revoke(), "a-lead").result(30)
    with pytest.raises(KeyNotInTerm):
        writer.submit(registration(2), "a-lead").result(30)
    writer.stop()
    with pytest.raises(KeyNotInTerm):
        start()
    assert not start(signers=[NEXT]).submit(registration(2), "a-lead").result(30).repeated
