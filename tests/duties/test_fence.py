"""The fence at the start: a store behind a witness does not go on, another history neither, and no witness stops a good one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.outgoing import Outgoing
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.merkle import root
from ledger.book.policy import Policy, PolicyWitness
from ledger.book.signing import signer_from_seed
from ledger.duties.fence import WitnessHead, ask_heads, check_heads
from ledger.duties.publishing import PublishingPlan
from ledger.errors import StoreBehind, StoreDamaged
from ledger.store.engine import open_store
from tests.book.samples import leaves
from tests.duties.published_plant import PublishedPlant
from tests.plant import ORIGIN, SIGNER
from tests.witnesses import Running, http_answer, policy_of, raw_server, running_witness, witness_key

KEYS = [SIGNER.verifier]
W = PolicyWitness("w", witness_key("w").verifier, "https://w.example")


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[PublishedPlant]:
    """A book whose line has begun."""
    made = PublishedPlant(tmp_path)
    yield made
    made.book.close()


@pytest.fixture
def witness(tmp_path: Path) -> Iterator[Running]:
    """A witness that serves."""
    with running_witness(tmp_path, "w") as running:
        yield running


def publish(plant: PublishedPlant, witness: Running) -> None:
    """Have the witness sign what there is."""
    plant.publishing(PublishingPlan(policy=policy_of(witness.named("w")))).turn()


def heads(*witnesses: PolicyWitness) -> list[WitnessHead]:
    """What witnesses show over HTTP."""
    return ask_heads(Outgoing(30), Policy(witnesses=witnesses), ORIGIN)


def test_a_restored_backup_is_refused(plant: PublishedPlant, witness: Running, tmp_path: Path) -> None:
    """The witness signed more than the backup holds: it does not start, and the later book does."""
    backup = tmp_path / "backup.sqlite"
    plant.book.close()
    shutil.copy(tmp_path / "book.sqlite", backup)
    plant.book = plant.opened()
    plant.book.start()
    later = plant.grows()
    publish(plant, witness)
    store = open_store(f"sqlite:///{backup}")
    with pytest.raises(StoreBehind, match=rf"witness w\.witness\.test: store is older.*at least {later} entries, got"):
        check_heads(store, ORIGIN, KEYS, heads(witness.named("w")))
    store.close()
    assert [] == check_heads(plant.book.store, ORIGIN, KEYS, heads(witness.named("w")))


def test_another_history_is_refused(plant: PublishedPlant) -> None:
    """A head of the same size, signed by the book's key, over other entries."""
    fork = sign_checkpoint(ORIGIN, 5, root(leaves(5)), [SIGNER])
    with pytest.raises(StoreDamaged, match="another history than a head that a witness signed") as caught:
        check_heads(plant.book.store, ORIGIN, KEYS, [WitnessHead(W, fork, "")])
    assert "evidence" in caught.value.mend


def test_a_witness_cannot_stop_a_book_at_will(plant: PublishedPlant) -> None:
    """A larger head that no key of the book signed, one of another book, and bytes that are none are only told."""
    stranger = signer_from_seed(ORIGIN, bytes(31) + b"\1")
    for note in (
        sign_checkpoint(ORIGIN, 1_000, root(leaves(5)), [stranger]),
        sign_checkpoint("other.example", 1_000, root(leaves(5)), [signer_from_seed("other.example", bytes(32))]),
        b"garbage",
        b"",
    ):
        (told,) = check_heads(plant.book.store, ORIGIN, KEYS, [WitnessHead(W, note, "")])
        assert told.startswith("witness w.witness.test shows a head that no key of this book signed")


def test_a_witness_that_does_not_answer_is_told(plant: PublishedPlant, tmp_path: Path) -> None:
    """Away, slow, broken or without an address: the book starts, and each that was asked is named with the reason."""
    with raw_server(b"") as server:
        gone = server.url
    with raw_server(b"", hold=True) as slow, raw_server(http_answer("500 No", b"")) as broken:
        witnesses = [
            PolicyWitness(name, witness_key(name).verifier, url)
            for name, url in (("gone", gone), ("slow", slow.url), ("broken", broken.url), ("none", ""))
        ]
        shown = ask_heads(Outgoing(1), Policy(witnesses=tuple(witnesses)), ORIGIN)
    assert [
        "witness gone.witness.test was not heard: it cannot be reached: Connection refused",
        "witness slow.witness.test was not heard: no whole answer within 1 s",
        "witness broken.witness.test was not heard: it answered 500",
    ] == check_heads(plant.book.store, ORIGIN, KEYS, shown)
    assert [] == ask_heads(Outgoing(1), Policy(), ORIGIN)


def test_a_new_witness_knows_nothing_and_one_that_forgot_is_told(
    plant: PublishedPlant, witness: Running, tmp_path: Path
) -> None:
    """A 404 before the first signature is as it should be; after one, the witness lost its state."""
    assert [] == check_heads(plant.book.store, ORIGIN, KEYS, heads(witness.named("w")))
    publish(plant, witness)
    (told,) = check_heads(plant.book.store, ORIGIN, KEYS, [WitnessHead(witness.named("w"), None, "")])
    assert told.endswith("it lost its state")


def test_a_book_that_grew_since_starts(plant: PublishedPlant, witness: Running) -> None:
    """The witness is behind, and that is no fault."""
    publish(plant, witness)
    plant.grows()
    assert [] == check_heads(plant.book.store, ORIGIN, KEYS, heads(witness.named("w")))
