"""A witness: it signs what extends what it signed last, keeps that first, and keeps what did not fit."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.witness import Witness
from ledger.book.checkpoint import check_checkpoint, parse_checkpoint, sign_checkpoint
from ledger.book.merkle import prove_consistency, root
from ledger.book.note import parse_note
from ledger.book.signing import signer_from_seed
from ledger.book.witness import check_cosignature, cosign, format_add_checkpoint
from ledger.errors import MalformedKey, WitnessRefused
from ledger.store.witness_state import WitnessState, open_witness_state
from tests.book.samples import LOG, NEXT_LOG, ORIGIN, WITNESS, leaves

LEAVES = leaves(40)
NOW_MS = 1_773_000_000_500


@pytest.fixture
def state(tmp_path: Path) -> Iterator[WitnessState]:
    """An empty state."""
    opened = open_witness_state(tmp_path / "state", begin=True)
    yield opened
    opened.close()


@pytest.fixture
def witness(state: WitnessState) -> Witness:
    """A witness that knows both keys of one log."""
    return Witness(state, [WITNESS], lambda: {ORIGIN: [LOG.verifier, NEXT_LOG.verifier]}, lambda: NOW_MS)


def note(size: int) -> bytes:
    """The log's checkpoint of a size."""
    return sign_checkpoint(ORIGIN, size, root(LEAVES[:size]), [LOG])


def request(old: int, new: int, signed: bytes | None = None) -> bytes:
    """A request from one size to another."""
    return format_add_checkpoint(old, prove_consistency(LEAVES, old, new) if old else [], signed or note(new))


def status(witness: Witness, asked: bytes) -> int:
    """The status of a refusal."""
    with pytest.raises(WitnessRefused) as caught:
        witness.add_checkpoint(asked)
    return caught.value.status


def test_it_signs_what_grows_and_shows_the_last(witness: Witness) -> None:
    """Three checkpoints, one after the other; the last is shown by the hash of its origin, cosigned."""
    for old, new in ((0, 5), (5, 12), (12, 12)):
        lines = witness.add_checkpoint(request(old, new))
        assert 1_773_000_000 == check_cosignature(note(new) + lines, WITNESS.verifier)
    shown = witness.checkpoint(hashlib.sha256(ORIGIN.encode()).hexdigest())
    assert shown is not None
    checkpoint = check_checkpoint(shown, [LOG.verifier, WITNESS.verifier], ORIGIN)
    assert (12, 1) == (checkpoint.tree_size, len(checkpoint.cosignatures))
    assert witness.checkpoint(hashlib.sha256(b"other").hexdigest()) is None
    assert witness.checkpoint("not a hash") is None


def test_nothing_is_shown_of_a_known_log_before_its_first(witness: Witness) -> None:
    """Known, and never cosigned: there is nothing to show."""
    assert witness.checkpoint(hashlib.sha256(ORIGIN.encode()).hexdigest()) is None


def test_either_key_of_a_log_counts_while_it_is_rotated(witness: Witness) -> None:
    """By the old key, by both, by the new one: the same log goes on."""
    for old, new, keys in ((0, 5, [LOG]), (5, 8, [LOG, NEXT_LOG]), (8, 9, [NEXT_LOG])):
        signed = sign_checkpoint(ORIGIN, new, root(LEAVES[:new]), keys)
        assert witness.add_checkpoint(request(old, new, signed))


def test_the_race_of_the_standard_ends_well(witness: Witness, state: WitnessState) -> None:
    """Two requests from one size at once: one is signed, the other is told the size that is stored; never a step back."""
    witness.add_checkpoint(request(0, 3))
    for sizes in ((8, 12), (20, 15), (21, 22)):
        old = parse_checkpoint(_stored(state)).tree_size
        outcomes: dict[int, int] = {}
        gate = threading.Barrier(2)

        def ask(new: int, old: int = old, outcomes: dict[int, int] = outcomes, gate: threading.Barrier = gate) -> None:
            gate.wait()
            try:
                witness.add_checkpoint(request(old, new))
                outcomes[new] = 200
            except WitnessRefused as error:
                outcomes[new] = error.status

        threads = [threading.Thread(target=ask, args=(size,)) for size in sizes]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [200, 409] == sorted(outcomes.values())
        signed = next(size for size, code in outcomes.items() if code == 200)
        assert signed == parse_checkpoint(_stored(state)).tree_size


def _stored(state: WitnessState) -> bytes:
    found = state.stored(ORIGIN)
    assert found is not None
    return found.note


def test_what_does_not_fit_is_kept_as_evidence(witness: Witness, state: WitnessState) -> None:
    """A second head of one size, signed by the log: both notes are kept, and the stored one stays."""
    witness.add_checkpoint(request(0, 8))
    fork = sign_checkpoint(ORIGIN, 8, root([*LEAVES[:7], LEAVES[9]]), [LOG])
    assert 422 == status(witness, format_add_checkpoint(8, [], fork))
    (misfit,) = state.misfits()
    heads = [check_checkpoint(one, [LOG.verifier], ORIGIN) for one in (misfit.note, misfit.stored)]
    assert (8, 8, False) == (heads[0].tree_size, heads[1].tree_size, heads[0].root_hash == heads[1].root_hash)
    assert witness.add_checkpoint(request(8, 9))


def test_lines_of_strangers_are_not_passed_on(witness: Witness, state: WitnessState) -> None:
    """What anyone may add under a note is neither kept nor shown; the witness's own line fits in."""
    stranger = cosign(note(8), WITNESS, 1).replace(b"witness.example/w1", b"stranger.example")
    witness.add_checkpoint(request(0, 8, note(8) + stranger * 98))
    names = [line.name for line in parse_note(_stored(state)).signatures]
    assert [ORIGIN, WITNESS.name] == names


def test_refusals_have_the_status_of_the_standard(witness: Witness) -> None:
    """400, 404, 403, 409 and 422, with nothing kept."""
    unknown = sign_checkpoint("other.example", 5, root(LEAVES[:5]), [signer_from_seed("other.example", bytes(32))])
    assert [400, 404, 403, 409] == [
        status(witness, asked)
        for asked in (
            b"old 0\n\nno note",
            format_add_checkpoint(0, [], unknown),
            request(0, 5, note(5).replace(b"\n5\n", b"\n6\n")),
            request(3, 5),
        )
    ]


def test_a_witness_with_two_keys_signs_with_both(state: WitnessState) -> None:
    """While its key is rotated, whoever knows either one finds its line."""
    following = signer_from_seed(WITNESS.name, bytes(32), "witness")
    both = Witness(state, [WITNESS, following], lambda: {ORIGIN: [LOG.verifier]}, lambda: NOW_MS)
    lines = both.add_checkpoint(request(0, 5))
    for signer in (WITNESS, following):
        assert check_cosignature(note(5) + lines, signer.verifier)


def test_only_a_witness_key_witnesses(state: WitnessState) -> None:
    """One key, one purpose."""
    with pytest.raises(MalformedKey):
        Witness(state, [LOG], dict, lambda: NOW_MS)
