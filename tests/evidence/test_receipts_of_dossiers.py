"""Receipts checked together are what each is by itself."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.checkpoint import Checkpoint, check_checkpoint, sign_checkpoint
from ledger.book.merkle import leaf_hash, prove_inclusion, root
from ledger.book.receipt import format_receipt
from ledger.errors import DossierRejected, InclusionFailed, LedgerError, MalformedReceipt
from ledger.evidence.receipt_check import ReceiptCheck
from tests.evidence.small_dossier import LOG, ORIGIN

LEAVES = [leaf_hash(b"entry %d" % number) for number in range(300)]


@cache
def head(size: int) -> Checkpoint:
    """The checkpoint of the first entries."""
    return check_checkpoint(sign_checkpoint(ORIGIN, size, root(LEAVES[:size]), [LOG]), [LOG.verifier])


def receipt(index: int, size: int) -> bytes:
    """The receipt of an entry."""
    return format_receipt(index, prove_inclusion(LEAVES[:size], index, size), head(size).note).encode()


@given(st.integers(1, 300), st.lists(st.integers(0, 299), min_size=1, max_size=30))
def test_right_receipts_pass_in_any_order(size: int, wanted: list[int]) -> None:
    """Whatever was kept of others."""
    checked = ReceiptCheck(head(size))
    for index in wanted:
        if index < size:
            checked.check(index, LEAVES[index], receipt(index, size), "receipt")


@given(st.integers(2, 300), st.data())
def test_a_changed_byte_is_found_whatever_was_kept(size: int, data: st.DataObject) -> None:
    """After its neighbours were checked, and the receipt itself in its right form."""
    checked = ReceiptCheck(head(size))
    index = data.draw(st.integers(0, size - 1))
    for other in (index ^ 1, index, max(0, index - 5)):
        if other < size:
            checked.check(other, LEAVES[other], receipt(other, size), "receipt")
    raw = bytearray(receipt(index, size))
    raw[data.draw(st.integers(0, len(raw) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    with pytest.raises((MalformedReceipt, DossierRejected, InclusionFailed)):
        checked.check(index, LEAVES[index], bytes(raw), "receipt")


@given(st.integers(2, 300), st.data())
def test_another_entry_is_found_whatever_was_kept(size: int, data: st.DataObject) -> None:
    """The hash of another entry does not lead where the right one does."""
    checked = ReceiptCheck(head(size))
    index = data.draw(st.integers(0, size - 1))
    checked.check(index, LEAVES[index], receipt(index, size), "receipt")
    with pytest.raises(InclusionFailed):
        checked.check(index, LEAVES[index ^ 1 if index ^ 1 < size else index - 1], receipt(index, size), "receipt")


def wrong(raw: bytes, index: int = 3, size: int = 11) -> LedgerError:
    """Why a receipt is refused."""
    with pytest.raises(LedgerError) as found:
        ReceiptCheck(head(size)).check(index, LEAVES[index], raw, "receipt")
    return found.value


def test_why_it_is_refused_is_told() -> None:
    """In the words of the one check."""
    assert "receipt is against another checkpoint" == wrong(receipt(3, 12)).problem
    assert "receipt is of another entry" == wrong(receipt(4, 11)).problem
    assert "entry is beyond the checkpoint" == wrong(receipt(3, 11).replace(b"index 3", b"index 12"), 12).problem
    long = receipt(3, 11).replace(b"index 3\n", b"index 3\n" + receipt(3, 11).split(b"\n")[2] + b"\n")
    assert "inclusion proof" in wrong(long).problem
    assert isinstance(wrong(b"c2sp.org/tlog-proof@v1\nindex 3\nx\n\n" + head(11).note), MalformedReceipt)
    other = receipt(3, 11).replace(b"@v1\n", b"@v1\nextra AA==\n")
    ReceiptCheck(head(11)).check(3, LEAVES[3], other, "receipt")


def test_what_is_kept_is_let_go() -> None:
    """And made again."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ledger.evidence.receipt_check._KEPT", 3)
        checked = ReceiptCheck(head(300))
        for index in range(300):
            checked.check(index, LEAVES[index], receipt(index, 300), "receipt")
