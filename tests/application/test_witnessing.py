"""How the book is witnessed, in figures: what is published and by whom, who is behind, what is exposed, the last tokens."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.exposition import witnessing_exposition
from api.outgoing import Outgoing
from ledger.application.published import published_note
from ledger.application.witnessing import witnessing
from ledger.book.policy import Policy, PolicyWitness
from ledger.book.receipt import check_receipt
from ledger.duties.publishing import PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.errors import NotFound
from ledger.evidence.time_token import parse_roots
from ledger.store.reader import open_reader
from tests.duties.published_plant import PublishedPlant, served_tsa
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.plant import SIGNER, START_MS
from tests.witnesses import Running, policy_of, running_witness, witness_key


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


def turn(plant: PublishedPlant, plan: PublishingPlan) -> None:
    """Wire a plan as a service does, and publish once."""
    plant.book.publish_by(plan, Outgoing(30))
    assert plant.book.publisher is not None
    plant.book.publisher._publishing.turn()


def test_a_book_without_a_policy_is_exposed_whole(plant: PublishedPlant) -> None:
    """Nothing published, nobody named: every entry since the first could be taken back."""
    found = witnessing(plant.book)
    with open_reader(plant.book.store) as reader:
        first, size = reader.entry(0).recorded_ms, reader.head().size
    assert (None, (), (), size, first, None) == (
        found.published,
        found.witnesses,
        found.authorities,
        found.exposed,
        found.exposed_ms,
        found.every_s,
    )


def test_what_is_published_is_said_with_its_signers_and_quorum(plant: PublishedPlant, witness: Running) -> None:
    """Two of two witnesses, of which one lies beside the book: the quorum is said with it, and without."""
    far = PolicyWitness("far", witness_key("far").verifier, "")
    policy = policy_of(witness.named("near"), far, threshold=1)
    turn(plant, PublishingPlan(policy=policy, every_s=30, beside={"near": "its key lies here"}))
    size = plant.grows()
    found = witnessing(plant.book)
    assert found.published is not None
    assert (size - 1, "1 of (near, far)", True, False) == (
        found.published.size,
        found.published.quorum,
        found.published.reached,
        found.published.reached_apart,
    )
    assert [("w.witness.test", START_MS // 1000 * 1000)] == [(one.witness, one.at_ms) for one in found.published.signed]
    assert (1, 30) == (found.exposed, found.every_s)
    assert [("near", 1, "", "its key lies here"), ("far", size, "the policy gives no address for it", "")] == [
        (one.name, one.behind, one.fault, one.beside) for one in found.witnesses
    ]


def test_what_an_earlier_policy_published_is_told_as_such(plant: PublishedPlant, witness: Running) -> None:
    """The witness that signed is named, and its signature is not the quorum that is asked for now."""
    turn(plant, PublishingPlan(policy=policy_of(witness.named("w"))))
    other = policy_of(PolicyWitness("v", witness_key("v").verifier))
    plant.book.publish_by(PublishingPlan(policy=other), Outgoing(30))
    found = witnessing(plant.book).published
    assert found is not None
    assert (["w.witness.test"], False, "1 of (v)") == (
        [one.witness for one in found.signed],
        found.reached,
        found.quorum,
    )
    plant.book.publisher = None
    found = witnessing(plant.book).published
    assert found is not None
    assert (["w.witness.test"], False) == ([one.witness for one in found.signed], found.reached)


def test_a_quorum_of_none_is_never_said_to_be_reached(plant: PublishedPlant, witness: Running) -> None:
    """Where the policy asks for nobody, nobody's word stands behind it."""
    turn(plant, PublishingPlan(policy=Policy(witnesses=(witness.named("w"),))))
    found = witnessing(plant.book).published
    assert found is not None
    assert (1, False, False) == (len(found.signed), found.reached, found.reached_apart)


def test_the_last_tokens_are_said(plant: PublishedPlant, witness: Running, tmp_path: Path) -> None:
    """What each authority stamped last and when; the metrics have their age."""
    tsa = OpenSslTsa(tmp_path / "tsa")
    with served_tsa(tsa) as url:
        authorities = (Authority("one", url), Authority("two", "http://127.0.0.1:9/"))
        plan = PublishingPlan(
            policy=policy_of(witness.named("w")), authorities=authorities, roots=parse_roots(tsa.roots)
        )
        turn(plant, plan)
    one, two = witnessing(plant.book).authorities
    assert (True, plant.now_ms, "") == (one.at_ms is not None, one.received_ms, one.fault)
    assert (0, None, None, True) == (two.size, two.at_ms, two.received_ms, two.fault.startswith("it cannot be reached"))
    text = witnessing_exposition(witnessing(plant.book), plant.now_ms + 60_000)
    assert 'pourbook_time_token_age_seconds{authority="one"} 60\n' in text
    assert 'authority="two"' not in text


def test_the_metrics_say_what_is_exposed(plant: PublishedPlant, witness: Running) -> None:
    """Sizes, ages and faults as gauges of the exposition format, each with its help and type once."""
    turn(plant, PublishingPlan(policy=policy_of(witness.named("w"))))
    size = plant.grows()
    text = witnessing_exposition(witnessing(plant.book), plant.now_ms + 5_000)
    for line in (
        f"pourbook_published_size {size - 1}",
        "pourbook_exposed_entries 1",
        "pourbook_exposed_seconds 5",
        "pourbook_published_age_seconds 5",
        'pourbook_witness_behind_entries{witness="w.witness.test"} 1',
        'pourbook_witness_fault{witness="w.witness.test"} 0',
        'pourbook_witness_alarm{witness="w.witness.test"} 0',
        'pourbook_witness_beside{witness="w.witness.test"} 0',
    ):
        assert f"{line}\n" in text
    names = [line.split(" ")[2] for line in text.splitlines() if line.startswith("# TYPE")]
    assert len(names) == len(set(names)) == text.count("# HELP")


def test_receipts_against_what_is_published(plant: PublishedPlant, witness: Running) -> None:
    """An entry that it covers has one, with the cosignature inside; a later one, and a book without any, have none."""
    with pytest.raises(NotFound, match="no checkpoint is published yet"):
        plant.book.receipt(0, published=True)
    turn(plant, PublishingPlan(policy=policy_of(witness.named("w"))))
    size = plant.grows()
    keys = [SIGNER.verifier, witness.signer.verifier]
    found = check_receipt(plant.book.receipt(0, published=True), plant.book.entry_bytes(0), keys)
    with open_reader(plant.book.store) as reader:
        assert found.checkpoint.note == published_note(reader)
    assert 1 == len(found.checkpoint.cosignatures)
    with pytest.raises(NotFound, match="no checkpoint covers the entry"):
        plant.book.receipt(size - 1, published=True)
    assert plant.book.receipt(size - 1)
