"""The witness: cosigns what extends, and says with the right status why not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.checkpoint import check_checkpoint, sign_checkpoint
from ledger.book.merkle import EMPTY_ROOT, prove_consistency, root
from ledger.book.note import sign_note
from ledger.book.witness import (
    add_cosignatures,
    check_cosignature,
    cosign,
    format_add_checkpoint,
    parse_add_checkpoint,
    witness_step,
)
from ledger.errors import (
    MalformedInput,
    MalformedKey,
    MalformedNote,
    MalformedProof,
    SignatureRejected,
    WitnessRefused,
)
from tests.book.samples import LOG, NEXT_LOG, ORIGIN, STATION, WITNESS, flipped, leaves

LEAVES = leaves(40)
KEYS = {ORIGIN: [LOG.verifier]}


def _note(size: int) -> bytes:
    return sign_checkpoint(ORIGIN, size, root(LEAVES[:size]), [LOG])


def _request(old: int, new: int) -> bytes:
    return format_add_checkpoint(old, prove_consistency(LEAVES, old, new) if old else [], _note(new))


def _status(stored: tuple[int, bytes] | None, request: bytes) -> int:
    with pytest.raises(WitnessRefused) as caught:
        witness_step(stored, request, KEYS)
    return caught.value.status


@given(st.integers(0, 40), st.integers(0, 40))
def test_what_extends_the_stored_checkpoint_is_accepted(one: int, other: int) -> None:
    """From any stored size to any later one, and again at the same size."""
    old, new = sorted((one, other))
    accepted = witness_step((old, _note(old)) if old else None, _request(old, new), KEYS)

    assert (new, old, _note(new)) == (accepted.checkpoint.tree_size, accepted.old_size, accepted.note)


def test_the_first_checkpoint_and_a_stored_empty_one_are_size_zero() -> None:
    """Nothing stored and an empty tree stored are the same place to start from."""
    assert witness_step((0, _note(0)), _request(0, 5), KEYS).old_size == 0
    assert witness_step(None, _request(0, 5), KEYS).old_size == 0


def test_a_cosigned_note_checks() -> None:
    """The line that a witness gives makes a cosigned checkpoint, with its time."""
    note = _note(8)
    cosigned = add_cosignatures(note, cosign(note, WITNESS, 1_764_046_800))

    assert check_cosignature(cosigned, WITNESS.verifier) == 1_764_046_800
    assert len(check_checkpoint(cosigned, [LOG.verifier, WITNESS.verifier]).cosignatures) == 1


def test_every_flipped_bit_of_a_cosignature_is_detected() -> None:
    """Time, key id and signature are all bound, without exception."""
    note = _note(8)
    line = cosign(note, WITNESS, 1_764_046_800)
    survived = []
    for bit in range(len(line) * 8):
        try:
            check_cosignature(note + flipped(line, bit), WITNESS.verifier)
        except (MalformedInput, SignatureRejected):
            continue
        survived.append(bit)

    assert survived == []


def test_malformed_requests_are_400() -> None:
    """A request that cannot be read, or steps back, is a bad one."""
    good = _request(3, 8)
    for bad in (b"", b"old 3\n", good.replace(b"old 3", b"old 03"), good.replace(b"old 3", b"new 3"), b"\xff" + good):
        assert _status((3, _note(3)), bad) == 400
    assert _status((9, _note(9)), format_add_checkpoint(9, [], _note(8))) == 400
    assert _status(None, format_add_checkpoint(0, [], sign_note("no checkpoint\n", [LOG]))) == 400


def test_an_unknown_origin_is_404() -> None:
    """A witness knows its logs."""
    with pytest.raises(WitnessRefused) as caught:
        witness_step(None, _request(0, 8), {"other.example/balls": [LOG.verifier]})
    assert caught.value.status == 404


def test_a_missing_or_bad_signature_is_403() -> None:
    """Only the log's own good signature counts."""
    stranger = sign_checkpoint(ORIGIN, 8, root(LEAVES[:8]), [NEXT_LOG])
    assert _status(None, format_add_checkpoint(0, [], stranger)) == 403
    forged = _note(8).replace(b"\n8\n", b"\n9\n")
    assert _status(None, format_add_checkpoint(0, [], forged)) == 403


def test_another_old_size_is_409_and_tells_the_stored_one() -> None:
    """The log learns from where it has to prove."""
    for stored, old in (((5, _note(5)), 3), (None, 3), ((5, _note(5)), 0)):
        with pytest.raises(WitnessRefused) as caught:
            witness_step(stored, _request(old, 8), KEYS)
        assert (409, stored[0] if stored else 0) == (caught.value.status, caught.value.stored_size)


def test_what_does_not_extend_is_422() -> None:
    """A bad proof, a proof from nothing, another root at one size, an empty tree with a root."""
    fork = sign_checkpoint(ORIGIN, 8, root([*LEAVES[:7], LEAVES[9]]), [LOG])
    assert _status((8, _note(8)), format_add_checkpoint(8, [], fork)) == 422
    assert _status((3, _note(3)), format_add_checkpoint(3, prove_consistency(LEAVES, 3, 8), fork)) == 422
    assert _status((3, _note(3)), format_add_checkpoint(3, [], _note(8))) == 422
    assert _status(None, format_add_checkpoint(0, [EMPTY_ROOT], _note(8))) == 422
    assert _status((0, _note(0)), format_add_checkpoint(0, [EMPTY_ROOT], _note(8))) == 422
    assert _status(None, format_add_checkpoint(0, [], sign_checkpoint(ORIGIN, 0, LEAVES[0], [LOG]))) == 422


def test_the_later_of_two_racing_requests_is_turned_away() -> None:
    """After one request is stored, another from the same old size no longer fits: no rollback."""
    one, other = _request(3, 12), _request(3, 8)
    accepted = witness_step((3, _note(3)), one, KEYS)

    assert _status((accepted.checkpoint.tree_size, accepted.note), other) == 409


@given(st.integers(0, 2**63 - 1), st.lists(st.binary(min_size=32, max_size=32), max_size=63))
def test_parse_undoes_format(old: int, proof: list[bytes]) -> None:
    """Old size, proof and note come back."""
    asked = parse_add_checkpoint(format_add_checkpoint(old, proof, _note(8)))

    assert (old, tuple(proof), _note(8)) == (asked.old_size, asked.proof, asked.note)


@given(st.binary(max_size=120))
def test_any_bytes_are_a_request_or_are_refused(raw: bytes) -> None:
    """Arbitrary bytes raise this project's errors alone."""
    with pytest.raises((MalformedProof, MalformedNote)):
        parse_add_checkpoint(raw)


def test_requests_have_limits() -> None:
    """At most 63 hashes of 32 bytes, and a million bytes."""
    with pytest.raises(MalformedProof):
        format_add_checkpoint(1, [LEAVES[0]] * 64, _note(8))
    with pytest.raises(MalformedProof):
        format_add_checkpoint(1, [b"short"], _note(8))
    with pytest.raises(MalformedProof):
        format_add_checkpoint(-1, [], _note(8))
    long = format_add_checkpoint(1, [LEAVES[0]] * 63, _note(8)).replace(b"\n\n", b"\n" + b"A" * 43 + b"=\n\n", 1)
    with pytest.raises(MalformedProof):
        parse_add_checkpoint(long)
    with pytest.raises(MalformedProof):
        parse_add_checkpoint(b"x" * 1_000_001)


def test_only_witness_keys_cosign_and_only_checkpoints() -> None:
    """A station key, a time before 1970 and a note that is no checkpoint are refused."""
    with pytest.raises(MalformedKey):
        cosign(_note(8), STATION, 1)
    with pytest.raises(MalformedKey):
        cosign(_note(8), WITNESS, -1)
    with pytest.raises(MalformedInput):
        cosign(sign_note("no checkpoint\n", [LOG]), WITNESS, 1)


def test_a_plain_signature_is_no_cosignature() -> None:
    """The log's own signature has no time, and lines that are none are not added."""
    with pytest.raises(SignatureRejected):
        check_cosignature(_note(8), LOG.verifier)
    with pytest.raises(MalformedNote):
        add_cosignatures(_note(8), b"not a line\n")
