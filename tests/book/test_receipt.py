"""Receipts: an entry proved offline, and every change to it noticed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.merkle import node_hash, prove_inclusion
from ledger.book.receipt import HEADER, check_receipt, format_receipt, format_receipts, parse_receipt
from ledger.errors import InclusionFailed, MalformedInput, MalformedReceipt, SignatureRejected
from tests.book.samples import LOG, ORIGIN, STATION, flipped, small_book

BOOK = small_book(6)
RECEIPT = BOOK.receipt(3)


@given(st.integers(1, 12), st.data())
def test_every_entry_of_a_book_is_proved_by_its_receipt(count: int, draw: st.DataObject) -> None:
    """The receipt of an entry, with its bytes and the log's key, is all that is needed."""
    book = small_book(count)
    index = draw.draw(st.integers(0, count - 1))
    receipt = check_receipt(book.receipt(index), book.entries[index], [LOG.verifier], ORIGIN)

    assert (index, book.hashes[index], count) == (receipt.index, receipt.entry_hash, receipt.checkpoint.tree_size)
    assert book.note == receipt.checkpoint.note


@given(st.none() | st.binary(max_size=40))
def test_parse_undoes_format(extra: bytes | None) -> None:
    """Index, proof, checkpoint and extra bytes come back, from text and from bytes."""
    receipt = parse_receipt(BOOK.receipt(2))
    text = format_receipt(receipt.index, receipt.proof, receipt.checkpoint_note, extra)
    again = parse_receipt(text)

    assert (2, receipt.proof, BOOK.note, extra) == (again.index, again.proof, again.checkpoint_note, again.extra)
    assert again == parse_receipt(text.encode())
    assert extra == check_receipt(text, BOOK.entries[2], [LOG.verifier]).extra


@given(st.integers(1, 12), st.data())
def test_receipts_written_together_are_those_written_alone(count: int, draw: st.DataObject) -> None:
    """Neighbours written together have the receipts that each has by itself; no proofs give none."""
    book = small_book(count)
    first = draw.draw(st.integers(0, count))
    proofs = [prove_inclusion(book.hashes, index, count) for index in range(first, count)]

    assert [book.receipt(index) for index in range(first, count)] == format_receipts(first, proofs, book.note)


def test_every_flipped_bit_of_a_receipt_is_detected() -> None:
    """One changed bit anywhere in the receipt is malformed or rejected, without exception."""
    raw = RECEIPT.encode()
    survived = []
    for bit in range(len(raw) * 8):
        try:
            check_receipt(flipped(raw, bit), BOOK.entries[3], [LOG.verifier])
        except (MalformedInput, SignatureRejected, InclusionFailed):
            continue
        survived.append(bit)

    assert survived == []


def test_every_flipped_bit_of_the_entry_is_detected() -> None:
    """One changed bit anywhere in the entry is not what was receipted, without exception."""
    survived = []
    for bit in range(len(BOOK.entries[3]) * 8):
        try:
            check_receipt(RECEIPT, flipped(BOOK.entries[3], bit), [LOG.verifier])
        except InclusionFailed:
            continue
        survived.append(bit)

    assert survived == []


def test_a_receipt_is_for_its_entry_alone() -> None:
    """Another entry, or another index, is not proved by it."""
    with pytest.raises(InclusionFailed):
        check_receipt(RECEIPT, BOOK.entries[2], [LOG.verifier])
    for index in (0, 1, 2, 4, 5, 6, 2**63 - 1):
        moved = RECEIPT.replace("index 3\n", f"index {index}\n")
        with pytest.raises(InclusionFailed):
            check_receipt(moved, BOOK.entries[3], [LOG.verifier])


def test_an_inner_node_is_no_entry() -> None:
    """The children of a node, said to be an entry of a smaller tree, do not pass: the entry is hashed here."""
    children = BOOK.hashes[0] + BOOK.hashes[1]
    proof = [node_hash(BOOK.hashes[2], BOOK.hashes[3]), node_hash(BOOK.hashes[4], BOOK.hashes[5])]

    with pytest.raises(InclusionFailed):
        check_receipt(format_receipt(0, proof, BOOK.note), children, [LOG.verifier])


def test_the_key_and_the_book_must_be_the_right_ones() -> None:
    """A receipt under another key, or asked for as another book's, is rejected."""
    with pytest.raises(SignatureRejected):
        check_receipt(RECEIPT, BOOK.entries[3], [STATION.verifier])
    with pytest.raises(SignatureRejected):
        check_receipt(RECEIPT, BOOK.entries[3], [LOG.verifier], "other.example/balls")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (HEADER, "c2sp.org/tlog-proof@v2"),
        ("index 3", "index 03"),
        ("index 3", "index +3"),
        ("index 3", "index"),
        ("index 3", "index 9223372036854775808"),
        ("index 3", "index 3\nindex 3"),
        ("index 3", "extra !!\nindex 3"),
        ("index 3\n", ""),
        ("index 3\n", "index 3\n\n"),
        ("\n\n", "\n"),
        ("=\n", "\n"),
        ("=\n", "=\r\n"),
        ("index 3\n", "index 3\nAAAA\n"),
        ("index 3\n", "index 3\n" + "A" * 43 + "=\n" + ("A" * 43 + "=\n") * 63),
    ],
)
def test_receipts_of_another_form_are_refused(old: str, new: str) -> None:
    """Header, extra, index, hashes and blank line each have one form."""
    with pytest.raises(MalformedReceipt):
        parse_receipt(RECEIPT.replace(old, new, 1))


def test_what_no_receipt_may_hold_is_not_written() -> None:
    """Writing is as strict as reading."""
    for index, proof, note in [
        (-1, [], BOOK.note),
        (0, [b"x"], BOOK.note),
        (0, [b"x" * 32] * 64, BOOK.note),
        (0, [], b"\xff"),
    ]:
        with pytest.raises(MalformedReceipt):
            format_receipt(index, proof, note)
    with pytest.raises(MalformedReceipt):
        parse_receipt("x" * 2_000_000)


@given(
    st.binary(max_size=200)
    | st.text(max_size=200)
    | st.integers(0, len(RECEIPT)).flatmap(
        lambda cut: st.text(max_size=6).map(lambda junk: RECEIPT[:cut] + junk + RECEIPT[cut:])
    )
)
def test_anything_is_a_receipt_or_is_refused(text: bytes | str) -> None:
    """Arbitrary and damaged receipts raise this project's errors alone."""
    try:
        check_receipt(text, BOOK.entries[3], [LOG.verifier])
    except (MalformedReceipt, SignatureRejected, InclusionFailed):
        return
    assert text == RECEIPT
