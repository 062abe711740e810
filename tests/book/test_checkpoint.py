"""Checkpoints: signed by the log's own key, consistent, and not cut short."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.checkpoint import (
    UnverifiedCheckpoint,
    check_checkpoint,
    check_extends,
    format_checkpoint,
    parse_checkpoint,
    sign_checkpoint,
)
from ledger.book.merkle import EMPTY_ROOT, prove_consistency, root
from ledger.book.note import sign_note
from ledger.book.signing import signer_from_seed
from ledger.book.witness import add_cosignatures, cosign
from ledger.errors import (
    ConsistencyFailed,
    MalformedCheckpoint,
    MalformedInput,
    MalformedKey,
    MalformedNote,
    SignatureRejected,
)
from tests.book.samples import LOG, ORIGIN, STATION, WITNESS, flipped, leaves

LEAVES = leaves(40)
HEAD = root(LEAVES[:8])
TEXT = format_checkpoint(ORIGIN, 8, HEAD)
NOTE = sign_checkpoint(ORIGIN, 8, HEAD, [LOG])


@given(st.integers(1, 2**63 - 1), st.binary(min_size=32, max_size=32))
def test_parse_undoes_format(size: int, head: bytes) -> None:
    """Origin, size and root come back, from the text and from the whole note, as text and as bytes."""
    expected = UnverifiedCheckpoint(ORIGIN, size, head)
    text = format_checkpoint(ORIGIN, size, head)
    note = sign_checkpoint(ORIGIN, size, head, [LOG])

    assert [expected] * 4 == [parse_checkpoint(form) for form in (text, text.encode(), note, note.decode())]


def test_a_signed_checkpoint_is_accepted() -> None:
    """A checkpoint by the log's key is believed, and keeps its note."""
    checkpoint = check_checkpoint(NOTE, [LOG.verifier], ORIGIN)

    assert (ORIGIN, 8, HEAD, NOTE) == (
        checkpoint.origin,
        checkpoint.tree_size,
        checkpoint.root_hash,
        checkpoint.note,
    )
    assert [LOG.verifier] == [line.verifier for line in checkpoint.log_signatures]


def test_cosignatures_are_checked_and_timed() -> None:
    """A known witness's cosignature is told with its time; an unknown one is told apart."""
    cosigned = add_cosignatures(NOTE, cosign(NOTE, WITNESS, 1_764_046_800))

    known = check_checkpoint(cosigned, [LOG.verifier, WITNESS.verifier])
    assert [1_764_046_800] == [line.at_seconds for line in known.cosignatures]
    unknown = check_checkpoint(cosigned, [LOG.verifier])
    assert ((), 1) == (unknown.cosignatures, len(unknown.unknown))


def test_a_witness_alone_makes_no_checkpoint() -> None:
    """Without the log's own signature, a cosignature proves nothing."""
    cosigned = add_cosignatures(NOTE, cosign(NOTE, WITNESS, 1))

    with pytest.raises(SignatureRejected):
        check_checkpoint(cosigned, [WITNESS.verifier])


def test_another_key_of_ours_makes_no_checkpoint() -> None:
    """A known key whose name is not the origin does not speak for the log."""
    with pytest.raises(SignatureRejected):
        check_checkpoint(sign_note(TEXT, [STATION]), [STATION.verifier, LOG.verifier])


def test_a_checkpoint_of_another_book_is_rejected() -> None:
    """The origin asked for must be the one signed."""
    with pytest.raises(SignatureRejected):
        check_checkpoint(NOTE, [LOG.verifier], "other.example/balls")


def test_a_book_cut_short_is_noticed() -> None:
    """A checkpoint below a size known from elsewhere is rejected, however well it is signed."""
    check_checkpoint(NOTE, [LOG.verifier], at_least_size=8)

    with pytest.raises(ConsistencyFailed):
        check_checkpoint(NOTE, [LOG.verifier], at_least_size=9)


def test_the_empty_book_has_one_root() -> None:
    """Size 0 is signed with SHA-256 of nothing, and no other root is accepted."""
    check_checkpoint(sign_checkpoint(ORIGIN, 0, EMPTY_ROOT, [LOG]), [LOG.verifier])

    with pytest.raises(ConsistencyFailed):
        check_checkpoint(sign_checkpoint(ORIGIN, 0, HEAD, [LOG]), [LOG.verifier])


def test_only_the_checkpoint_key_of_the_book_signs() -> None:
    """One key, one purpose: neither another purpose nor another name signs a checkpoint."""
    for signer in (STATION, WITNESS, signer_from_seed("other.example/balls", b"\x01" * 32)):
        with pytest.raises(MalformedKey):
            sign_checkpoint(ORIGIN, 8, HEAD, [signer])
    with pytest.raises(MalformedNote):
        sign_checkpoint(ORIGIN, 8, HEAD, [])


@pytest.mark.parametrize(
    ("origin", "size", "head"),
    [("", 1, HEAD), ("a\nb", 1, HEAD), (ORIGIN, -1, HEAD), (ORIGIN, 2**63, HEAD), (ORIGIN, 1, HEAD[:31])],
)
def test_what_no_checkpoint_may_say_is_not_written(origin: str, size: int, head: bytes) -> None:
    """Writing is as strict as reading."""
    with pytest.raises(MalformedCheckpoint):
        format_checkpoint(origin, size, head)


def test_extension_lines_are_carried_and_not_read() -> None:
    """Lines after the root are kept as they are."""
    signed = sign_note(TEXT + "one\ntwo\n", [LOG])

    assert check_checkpoint(signed, [LOG.verifier]).extensions == ("one", "two")
    with pytest.raises(MalformedCheckpoint):
        check_checkpoint(sign_note(TEXT + "\nafter a blank line\n", [LOG]), [LOG.verifier])


@pytest.mark.parametrize(
    "text",
    [TEXT.replace("\n8", "\t\n8"), TEXT[:-1], TEXT + "\x00\n", "\ud800" + TEXT, b"\xff" + TEXT.encode(), ""],
    ids=ascii,
)
def test_texts_that_are_no_checkpoint_are_refused(text: str | bytes) -> None:
    """Control characters, a missing newline and what is not UTF-8 are refused."""
    with pytest.raises(MalformedCheckpoint):
        parse_checkpoint(text)


def test_every_flipped_bit_of_a_checkpoint_is_detected() -> None:
    """One changed bit anywhere in the signed checkpoint is malformed or rejected, without exception."""
    survived = []
    for bit in range(len(NOTE) * 8):
        try:
            check_checkpoint(flipped(NOTE, bit), [LOG.verifier])
        except (MalformedInput, SignatureRejected):
            continue
        survived.append(bit)

    assert survived == []


@given(st.binary(max_size=120) | st.text(max_size=120))
def test_anything_is_a_checkpoint_or_is_refused(text: bytes | str) -> None:
    """Arbitrary bytes and text raise this project's errors alone."""
    with pytest.raises((MalformedCheckpoint, MalformedNote)):
        parse_checkpoint(text)


@given(st.integers(0, 40), st.integers(0, 40))
def test_later_checkpoints_extend_earlier_ones(one: int, other: int) -> None:
    """Two states of one book are consistent, in the right order only."""
    old, new = sorted((one, other))
    before = UnverifiedCheckpoint(ORIGIN, old, root(LEAVES[:old]))
    after = UnverifiedCheckpoint(ORIGIN, new, root(LEAVES[:new]))
    check_extends(before, after, prove_consistency(LEAVES, old, new) if old else [])

    if old < new and old:
        with pytest.raises(ConsistencyFailed):
            check_extends(after, before, prove_consistency(LEAVES, old, new))


def test_a_split_view_shows_itself() -> None:
    """Two signed checkpoints of one size with two roots pass no proof."""
    fork = sign_checkpoint(ORIGIN, 8, root([*LEAVES[:7], LEAVES[9]]), [LOG])
    one, other = (check_checkpoint(note, [LOG.verifier]) for note in (NOTE, fork))

    for proof in ([], [HEAD], prove_consistency(LEAVES, 4, 8)):
        with pytest.raises(ConsistencyFailed):
            check_extends(one, other, proof)


def test_a_forked_extension_is_rejected() -> None:
    """A tree grown from another history does not extend this one, even with its own honest proof."""
    forked = [*LEAVES[:7], LEAVES[9], *LEAVES[10:20]]
    after = UnverifiedCheckpoint(ORIGIN, len(forked), root(forked))

    with pytest.raises(ConsistencyFailed):
        check_extends(UnverifiedCheckpoint(ORIGIN, 8, HEAD), after, prove_consistency(forked, 8, len(forked)))


def test_two_books_are_not_compared() -> None:
    """Another origin is another book; from size 0 a proof is empty."""
    empty = UnverifiedCheckpoint(ORIGIN, 0, EMPTY_ROOT)
    with pytest.raises(ConsistencyFailed):
        check_extends(empty, UnverifiedCheckpoint("other.example/balls", 8, HEAD), [])
    with pytest.raises(ConsistencyFailed):
        check_extends(empty, UnverifiedCheckpoint(ORIGIN, 8, HEAD), [HEAD])
