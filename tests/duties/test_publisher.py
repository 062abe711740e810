"""The thread that publishes: in one process at a time, at once when asked, once more at the end, and whatever goes wrong."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.outgoing import Outgoing
from ledger.application.published import publish_now, published_covering
from ledger.duties.publisher import DUTY, Publisher
from ledger.duties.publishing import PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.errors import StoreUnavailable
from ledger.evidence.time_token import parse_roots
from ledger.store.leases import take_lease
from ledger.store.reader import open_reader
from tests.duties.published_plant import PublishedPlant, served_tsa
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.witnesses import Running, policy_of, raw_server, running_witness


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


def published(plant: PublishedPlant) -> int:
    """The size of what is published; 0 for nothing."""
    found = plant.published()
    return 0 if found is None else found.size


def publisher(plant: PublishedPlant, witness: Running, holder: str = "one", every_s: float = 3_600) -> Publisher:
    """A publisher over the book, not started."""
    publishing = plant.publishing(PublishingPlan(policy=policy_of(witness.named("w")), every_s=every_s))
    return Publisher(plant.book.store, publishing, holder=holder, clock_ms=lambda: plant.now_ms)


def test_it_publishes_at_its_start_when_asked_and_at_the_end(plant: PublishedPlant, witness: Running) -> None:
    """What was entered between is published by the next of these."""
    one = publisher(plant, witness)
    one.start()
    assert one.publish_now(60)
    first, second = published(plant), plant.grows()
    assert (True, second) == (one.publish_now(60), published(plant))
    third = plant.grows()
    assert second == published(plant)
    one.stop()
    assert (True, third) == (first > 0, published(plant))
    assert not one.publish_now(60)
    with open_reader(plant.book.store) as reader:
        assert reader.setting(f"lease:{DUTY}") is None


def test_it_publishes_by_itself_as_the_book_grows(plant: PublishedPlant, witness: Running) -> None:
    """Every so many seconds, without anybody asking."""
    told = threading.Event()
    publishing = plant.publishing(
        PublishingPlan(policy=policy_of(witness.named("w")), every_s=0.01), on_published=lambda _: told.set()
    )
    one = Publisher(plant.book.store, publishing, holder="one", clock_ms=lambda: plant.now_ms)
    one.start()
    assert told.wait(60)
    told.clear()
    plant.grows()
    assert told.wait(60)
    one.stop()


def test_while_another_process_holds_the_lease_it_only_does_what_is_asked_of_it(
    plant: PublishedPlant, witness: Running
) -> None:
    """A turn of its own it leaves to the other; somebody who waits here is served here."""
    take_lease(plant.book.store, DUTY, "other", plant.now_ms, 60_000)
    one = publisher(plant, witness)
    one._turn()
    assert 0 == published(plant)
    one.start()
    assert one.publish_now(60)
    assert 0 < published(plant)
    one.stop()
    with open_reader(plant.book.store) as reader:
        assert (reader.setting(f"lease:{DUTY}") or "").startswith("other ")


@pytest.mark.parametrize("error", [StoreUnavailable("store cannot be reached"), ValueError("a fault of ours")])
def test_the_thread_survives_errors(
    plant: PublishedPlant, witness: Running, error: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever a turn raises is logged, whoever waits is let go, and the next turn comes."""
    one, fails = publisher(plant, witness), [error]
    newest = plant.book.checkpoint

    def fails_once() -> bytes:
        if fails:
            raise fails.pop()
        return newest()

    one._publishing._newest = fails_once
    one.start()
    while fails:
        assert one.publish_now(60)
    assert one.publish_now(60)
    one.stop()
    assert 0 < published(plant)
    assert str(error) in caplog.text


def test_a_book_publishes_once_its_duties_run(plant: PublishedPlant, witness: Running, tmp_path: Path) -> None:
    """Wired as a service has it: published at the start, on demand for evidence, and to the second place."""
    told: list[bytes] = []
    other = plant.opened()
    other.publish_by(PublishingPlan(policy=policy_of(witness.named("w"))), Outgoing(30), told.append)
    other.start(duties=True)
    found = publish_now(other, 60)
    with open_reader(other.store) as reader:
        size = reader.head().size
        assert found == published_covering(reader, size)
    assert found is not None
    assert (size, found.note) == (found.size, told[-1])
    assert found == publish_now(other, 60)
    other.close()


def test_evidence_now_comes_with_a_token(plant: PublishedPlant, witness: Running, tmp_path: Path) -> None:
    """Whoever asks for it now gets a token over it, however long ago the last one was."""
    tsa = OpenSslTsa(tmp_path / "tsa")
    with served_tsa(tsa) as url:
        plan = PublishingPlan(
            policy=policy_of(witness.named("w")), authorities=(Authority("one", url),), roots=parse_roots(tsa.roots)
        )
        plant.book.publish_by(plan, Outgoing(30))
        assert plant.book.publisher is not None
        plant.book.publisher.start()
        found = [publish_now(plant.book, 60)]
        plant.grows()
        found.append(publish_now(plant.book, 60))
    assert [1, 1] == [len(one.tokens) for one in found if one is not None]
    assert found[0] != found[1]


def test_evidence_without_a_policy_or_in_time_is_what_there_is(plant: PublishedPlant, tmp_path: Path) -> None:
    """Without witnesses nothing is published; with one that is slow the wait ends, and nothing is made up."""
    assert publish_now(plant.book, 60) is None
    with raw_server(b"", hold=True) as slow, running_witness(tmp_path, "v") as real:
        witness = real.named("v")
        slow_one = policy_of(type(witness)(witness.name, witness.verifier, slow.url))
        plant.book.publish_by(PublishingPlan(policy=slow_one), Outgoing(2))
        assert plant.book.publisher is not None
        plant.book.publisher.start()
        assert publish_now(plant.book, 0.05) is None
        plant.book.publisher.stop()


def test_stopping_one_that_never_ran_is_no_error(plant: PublishedPlant, witness: Running) -> None:
    """A publisher that was not started can be stopped, and nobody waits for it."""
    one = publisher(plant, witness)
    assert not one.publish_now(60)
    one.stop()
