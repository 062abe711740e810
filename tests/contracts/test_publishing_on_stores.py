"""Publishing on each database, to real witnesses: the quorum is reached with one away, and goes on after a restart."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from api.outgoing import Outgoing
from ledger.book.policy import Policy, PolicyWitness, check_by_policy
from ledger.book.signing import format_verifier
from ledger.duties.publishing import Publishing, PublishingPlan
from ledger.store.engine import Store
from ledger.store.published import newest_published, witness_standings
from ledger.store.writer import Writer
from tests.plant import ORIGIN, SIGNER, registration, steady_clock
from tests.witnesses import policy_of, running_witness, witness_key

NAMES = ("a", "b", "c")


class Plant:
    """A book and three witnesses, of which each can go away and come back."""

    def __init__(self, folder: Path, store: Store, writer: Writer) -> None:
        """All three serve."""
        self.folder, self.store, self.writer = folder, store, writer
        self.here: dict[str, ExitStack] = {}
        self.urls: dict[str, str] = {}
        self.numbers = iter(range(1, 1_000))
        for name in NAMES:
            self.comes(name)

    def comes(self, name: str) -> None:
        """A witness serves, at the address that it had before."""
        port = int(self.urls[name].rpartition(":")[2]) if name in self.urls else 0
        self.here[name] = ExitStack()
        running = self.here[name].enter_context(running_witness(self.folder, name, port=port))
        self.urls[name] = running.url

    def goes(self, name: str) -> None:
        """A witness is away."""
        self.here.pop(name).close()

    def policy(self, threshold: int = 2) -> Policy:
        """So many of the three."""
        witnesses = [PolicyWitness(name, witness_key(name).verifier, self.urls[name]) for name in NAMES]
        return policy_of(*witnesses, threshold=threshold)

    def publishing(self, policy: Policy | None = None) -> Publishing:
        """As a service that starts has it: nothing is remembered but what the store holds."""
        return Publishing(
            self.store,
            PublishingPlan(policy=policy or self.policy()),
            Outgoing(30),
            newest=lambda: self.writer.checkpoint or b"",
            keys=lambda: [SIGNER.verifier],
            clock_ms=steady_clock(),
        )

    def grows(self) -> int:
        """One more ball; the size of the book."""
        return int(self.writer.submit(registration(next(self.numbers)), "a-engraver").result(30).index) + 1

    def published(self) -> tuple[int, list[str]]:
        """The size of what is published, and who signed it, as the policy checks it."""
        with self.store.reading() as transaction:
            found = newest_published(transaction)
        if found is None:
            return 0, []
        checkpoint = check_by_policy(found.note, self.policy(), ORIGIN, log_keys=[SIGNER.verifier])
        return found.size, [line.verifier.name[0] for line in checkpoint.cosignatures]

    def standings(self) -> dict[str, tuple[int, str, str]]:
        """Size, fault and alarm of each witness."""
        with self.store.reading() as transaction:
            known = witness_standings(transaction)
        found = {name: known.get(format_verifier(witness_key(name).verifier)) for name in NAMES}
        return {name: (one.size, one.fault, one.alarm) for name, one in found.items() if one is not None}


@pytest.fixture
def plant(tmp_path: Path, store: Store, writer: Writer) -> Iterator[Plant]:
    """A book whose line has begun, and its witnesses."""
    made = Plant(tmp_path, store, writer)
    yield made
    for stack in made.here.values():
        stack.close()


def test_two_of_three_publish_while_one_is_away(plant: Plant, caplog: pytest.LogCaptureFixture) -> None:
    """The third is told once, is asked again when it is back, and what was published stays as it was."""
    publishing = plant.publishing()
    plant.goes("b")
    size = plant.grows()
    for _ in range(3):
        publishing.turn()
    assert (size, ["a", "c"]) == plant.published()
    assert (0, "") == plant.standings()["b"][::2]
    assert 1 == caplog.text.count("b.witness.test did not sign: it cannot be reached")
    before = plant.published()
    plant.comes("b")
    publishing.turn()
    assert (size, "", "") == plant.standings()["b"]
    assert before == plant.published()
    size = plant.grows()
    publishing.turn()
    assert (size, ["a", "b", "c"]) == plant.published()


def test_below_the_quorum_nothing_is_published(plant: Plant, caplog: pytest.LogCaptureFixture) -> None:
    """One signature is kept and is not enough; with the next witness back the same size is published."""
    publishing = plant.publishing()
    plant.goes("b")
    plant.goes("c")
    size = plant.grows()
    publishing.turn()
    assert (0, []) == plant.published()
    assert "not published: expected 2 of (a, b, c), got ('a',)" in caplog.text
    plant.comes("c")
    plant.goes("a")
    publishing.turn()
    assert (size, ["a", "c"]) == plant.published()


def test_a_restart_goes_on_from_what_the_store_and_the_witnesses_know(plant: Plant) -> None:
    """A new process asks each witness from the size that it signed; one that lost this knowledge learns it by a 409."""
    plant.publishing().turn()
    first = plant.published()
    assert (0, []) != first
    plant.publishing().turn()
    assert first == plant.published()
    with plant.store.writing() as transaction:
        transaction.run('DELETE FROM "witness_standing"')
    size = plant.grows()
    plant.publishing().turn()
    assert (size, ["a", "b", "c"]) == plant.published()


def test_two_processes_publish_one_book(plant: Plant) -> None:
    """A second process that knows nothing of the first's turn does no harm, and each size is published once."""
    one, two = plant.publishing(), plant.publishing()
    for publishing in (one, two, two, one, two, one):
        size = plant.grows()
        publishing.turn()
        assert (size, ["a", "b", "c"]) == plant.published()


def test_a_turn_without_growth_asks_nobody(plant: Plant, caplog: pytest.LogCaptureFixture) -> None:
    """Where all have signed what is published, there is nothing to send until the book grows."""
    publishing = plant.publishing()
    publishing.turn()
    published = plant.published()
    for name in NAMES:
        plant.goes(name)
    caplog.set_level(logging.INFO)
    publishing.turn()
    assert published == plant.published()
    assert {(published[0], "", "")} == set(plant.standings().values())


def test_an_empty_book_publishes_nothing(store: Store) -> None:
    """Before entry 0 there is no checkpoint."""
    publishing = Publishing(
        store, PublishingPlan(), Outgoing(30), newest=lambda: b"", keys=list, clock_ms=steady_clock()
    )
    publishing.turn(now=True)
    with store.reading() as transaction:
        assert newest_published(transaction) is None
