"""Publishing: what witnesses do wrong stops nobody, a fork is an alarm, and tokens are over exactly what was published."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.outgoing import Outgoing
from ledger.book.checkpoint import check_checkpoint, sign_checkpoint
from ledger.book.merkle import root
from ledger.book.policy import Policy, PolicyGroup, PolicyWitness
from ledger.book.signing import format_verifier
from ledger.book.witness import cosign, format_add_checkpoint
from ledger.duties.publishing import PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.errors import ConsistencyFailed, SignatureRejected
from ledger.evidence.time_token import check_token, parse_roots
from ledger.store.published import (
    Published,
    put_published,
    time_tokens,
    token_fault,
    witness_standings,
)
from tests.book.samples import leaves
from tests.duties.published_plant import PublishedPlant, served_tsa
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.plant import ORIGIN, SIGNER
from tests.witnesses import http_answer, policy_of, raw_server, running_witness, witness_key


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[PublishedPlant]:
    """A book whose line has begun."""
    made = PublishedPlant(tmp_path)
    yield made
    made.book.close()


@pytest.fixture(scope="module")
def tsa(tmp_path_factory: pytest.TempPathFactory) -> OpenSslTsa:
    """An authority."""
    return OpenSslTsa(tmp_path_factory.mktemp("tsa"))


def standing(plant: PublishedPlant, witness: PolicyWitness) -> tuple[int, str, str]:
    """Size, fault and alarm of a witness."""
    with plant.book.store.reading() as transaction:
        found = witness_standings(transaction)[format_verifier(witness.verifier)]
    return found.size, found.fault, found.alarm


def signers_of(published: Published | None, *witnesses: PolicyWitness) -> list[str]:
    """Who signed what is published."""
    assert published is not None
    keys = [SIGNER.verifier, *(witness.verifier for witness in witnesses)]
    return [line.verifier.name for line in check_checkpoint(published.note, keys, ORIGIN).cosignatures]


def test_bad_witnesses_stop_neither_the_good_one_nor_the_book(tmp_path: Path, plant: PublishedPlant) -> None:
    """Slow, garbage, a wrong key, one that knows no such book, no address: each is told, and the good one publishes."""
    wrong = cosign(plant.book.checkpoint(), witness_key("wrong"), 5)
    with (
        running_witness(tmp_path, "good") as good,
        running_witness(tmp_path, "stranger", {}) as stranger,
        raw_server(b"", hold=True) as slow,
        raw_server(b"garbage") as garbage,
        raw_server(http_answer("200 OK", wrong)) as other,
    ):
        bad = {
            "slow": (slow.url, "no whole answer within 1 s"),
            "garbage": (garbage.url, "its answer is no HTTP: BadStatusLine"),
            "other": (other.url, "its answer has no cosignature by the key that the policy names"),
            "stranger": (stranger.url, "it does not know this book"),
            "silent": ("", "the policy gives no address for it"),
        }
        witnesses = [PolicyWitness(name, witness_key(name).verifier, url) for name, (url, _) in bad.items()]
        policy = policy_of(good.named("good"), *witnesses, threshold=1)
        plant.publishing(PublishingPlan(policy=policy), Outgoing(1)).turn()
    assert ["good.witness.test"] == signers_of(plant.published(), good.named("good"))
    assert {name: (0, fault, "") for name, (_, fault) in bad.items()} == {
        witness.name: standing(plant, witness) for witness in witnesses
    }
    assert plant.grows() > 0


def test_what_a_witness_cannot_find_in_its_history_is_an_alarm(
    tmp_path: Path, plant: PublishedPlant, caplog: pytest.LogCaptureFixture
) -> None:
    """A witness that signed another history under this key refuses; the alarm stays while it is away, till it signs again."""
    fork = sign_checkpoint(ORIGIN, 5, root(leaves(5)), [SIGNER])
    with running_witness(tmp_path, "w") as running:
        witness = running.named("w")
        publishing = plant.publishing(PublishingPlan(policy=policy_of(witness)), Outgoing(5))
        Outgoing(30)("POST", f"{running.url}/add-checkpoint", format_add_checkpoint(0, [], fork))
        publishing.turn()
        alarm = "it says that the checkpoint does not extend the one that it holds"
        assert (0, alarm, alarm) == standing(plant, witness)
        assert 1 == len(running.state.misfits())
    assert plant.published() is None
    publishing.turn()
    assert (0, alarm) == standing(plant, witness)[::2]
    assert [record.levelname for record in caplog.records if record.levelname == "CRITICAL"]
    (tmp_path / "w.witness").unlink()
    with running_witness(tmp_path, "w", port=int(running.url.rpartition(":")[2])):
        publishing.turn()
    assert (plant.published() or Published(0, b"", 0)).size == standing(plant, witness)[0]
    assert ("", "") == standing(plant, witness)[1:]


def test_a_witness_with_a_larger_head_is_an_alarm_if_the_book_has_not_got_it(plant: PublishedPlant) -> None:
    """More than the book holds is an alarm; more than was submitted and less than that is another process's doing."""
    note, size = plant.book.checkpoint(), plant.grows()
    for stated, alarm in ((size + 1, f"it signed a head of {size + 1} entries; this book has {size}"), (size, "")):
        answer = http_answer("409 Conflict", f"{stated}\n".encode(), "text/x.tlog.size")
        with raw_server(answer) as server:
            witness = PolicyWitness("w", witness_key(f"w{stated}").verifier, server.url)
            publishing = plant.publishing(PublishingPlan(policy=policy_of(witness)))
            publishing._newest = lambda: note
            publishing.turn()
        assert (0, f"it holds {stated} entries, more than were submitted", alarm) == standing(plant, witness)


def test_a_head_that_does_not_extend_what_was_published_is_shown_to_nobody(plant: PublishedPlant) -> None:
    """Whatever went wrong here: what others were shown stands, and the witness is not asked."""
    other = sign_checkpoint(ORIGIN, 3, root(leaves(3)), [SIGNER])
    put_published(plant.book.store, Published(3, other, 1))
    with raw_server(b"") as server:
        witness = PolicyWitness("w", witness_key("w").verifier, server.url)
        with pytest.raises(ConsistencyFailed):
            plant.publishing(PublishingPlan(policy=policy_of(witness))).turn()
        assert [] == server.asked


def test_a_note_by_a_key_that_is_not_the_books_is_shown_to_nobody(plant: PublishedPlant) -> None:
    """The own signature is checked before anybody is asked."""
    publishing = plant.publishing(PublishingPlan(policy=policy_of(PolicyWitness("w", witness_key("w").verifier))))
    publishing._keys = lambda: [witness_key("w").verifier]
    with pytest.raises(SignatureRejected):
        publishing.turn()


def test_a_witness_that_the_policy_drops_signs_no_more(tmp_path: Path, plant: PublishedPlant) -> None:
    """What it signed stays in the store; what is published bears the lines of the policy's witnesses alone."""
    with running_witness(tmp_path, "a") as one, running_witness(tmp_path, "b") as two:
        both = policy_of(one.named("a"), two.named("b"), threshold=2)
        none = Policy(witnesses=(two.named("b"),), quorum="none")
        plant.publishing(PublishingPlan(policy=both)).turn()
        plant.grows()
        plant.publishing(PublishingPlan(policy=none)).turn()
        assert ["b.witness.test"] == signers_of(plant.published(), one.named("a"), two.named("b"))


def test_what_is_published_is_told_to_the_second_place(tmp_path: Path, plant: PublishedPlant) -> None:
    """Each published note once, whole."""
    told: list[bytes] = []
    with running_witness(tmp_path, "w") as running:
        publishing = plant.publishing(PublishingPlan(policy=policy_of(running.named("w"))), on_published=told.append)
        publishing.turn()
        publishing.turn()
        plant.grows()
        publishing.turn()
    published = plant.published()
    assert published is not None
    assert (2, published.note) == (len(told), told[-1])


def test_a_token_is_over_the_published_bytes(tmp_path: Path, plant: PublishedPlant, tsa: OpenSslTsa) -> None:
    """Checked against the roots, by OpenSSL too, and kept with what it is over."""
    with running_witness(tmp_path, "w") as running, served_tsa(tsa) as url:
        plan = PublishingPlan(
            policy=policy_of(running.named("w")), authorities=(Authority("one", url),), roots=parse_roots(tsa.roots)
        )
        plant.publishing(plan).turn()
    published = plant.published()
    assert published is not None
    with plant.book.store.reading() as transaction:
        (token,) = time_tokens(transaction, published.size)
    found = check_token(token.response, published.note, parse_roots(tsa.roots))
    assert ("one", found.at_ms, True) == (token.authority, token.at_ms, tsa.verify(published.note, token.response))
    assert not tsa.verify(plant.book.checkpoint(), token.response)


def test_an_authority_is_asked_so_often_and_no_oftener(tmp_path: Path, plant: PublishedPlant, tsa: OpenSslTsa) -> None:
    """Once a stretch, not without growth, and at once when somebody asks to have it published now."""
    asked: list[bytes] = []
    with running_witness(tmp_path, "w") as running, served_tsa(tsa, asked) as url:
        plan = PublishingPlan(
            policy=policy_of(running.named("w")),
            authorities=(Authority("one", url),),
            roots=parse_roots(tsa.roots),
            token_every_s=600,
        )
        publishing = plant.publishing(plan)
        counts = []
        for wait_s, grows, now in (
            (0, 0, False),
            (30, 1, False),
            (569, 1, False),
            (1, 0, False),
            (600, 0, True),
            (1, 1, True),
        ):
            plant.now_ms += wait_s * 1_000
            for _ in range(grows):
                plant.grows()
            publishing.turn(now=now)
            counts.append(len(asked))
    assert [1, 1, 1, 2, 2, 3] == counts


def test_what_an_authority_does_wrong_is_told_and_tried_again(
    tmp_path: Path, plant: PublishedPlant, tsa: OpenSslTsa, caplog: pytest.LogCaptureFixture
) -> None:
    """A 500, another media type and a replayed answer give no token; what is published does not wait for one."""
    with running_witness(tmp_path, "w") as running, served_tsa(tsa, faults=("500", "text", "old")) as url:
        plan = PublishingPlan(
            policy=policy_of(running.named("w")), authorities=(Authority("one", url),), roots=parse_roots(tsa.roots)
        )
        publishing = plant.publishing(plan)
        told = []
        for _ in range(4):
            publishing.turn()
            with plant.book.store.reading() as transaction:
                told.append(token_fault(transaction, "one"))
                count = len(time_tokens(transaction, (plant.published() or Published(0, b"", 0)).size))
    assert ["it answered 500 application/timestamp-reply", "it answered 200 text/plain"] == told[:2]
    assert told[2].startswith("time token answers another request")
    assert ("", 1) == (told[3], count)
    assert "time stamps of one: it answered 500" in caplog.text


def test_an_authority_that_is_away_holds_nobody(plant: PublishedPlant, tsa: OpenSslTsa, tmp_path: Path) -> None:
    """Published without a token; the other authority's token is there."""
    with running_witness(tmp_path, "w") as running, served_tsa(tsa) as url, raw_server(b"", hold=True) as slow:
        plan = PublishingPlan(
            policy=policy_of(running.named("w")),
            authorities=(Authority("slow", slow.url), Authority("two", url)),
            roots=parse_roots(tsa.roots),
        )
        plant.publishing(plan, Outgoing(1)).turn()
    published = plant.published()
    assert published is not None
    with plant.book.store.reading() as transaction:
        assert ["two"] == [token.authority for token in time_tokens(transaction, published.size)]
        assert "no whole answer within 1 s" == token_fault(transaction, "slow")


def test_without_witnesses_a_checkpoint_is_published_for_its_token_alone(
    plant: PublishedPlant, tsa: OpenSslTsa
) -> None:
    """As often as a token is due, with the log's own line and no other."""
    with served_tsa(tsa) as url:
        plan = PublishingPlan(authorities=(Authority("one", url),), roots=parse_roots(tsa.roots), token_every_s=600)
        publishing = plant.publishing(plan)
        publishing.turn()
        first = plant.published()
        plant.grows()
        publishing.turn()
        assert first == plant.published()
        plant.now_ms += 600_000
        publishing.turn()
    assert [] == signers_of(plant.published())
    assert first != plant.published()


def test_without_witnesses_and_authorities_nothing_is_published(plant: PublishedPlant) -> None:
    """There is nobody to show it to."""
    plant.publishing(PublishingPlan(policy=Policy(groups=(PolicyGroup("g", 1, ("x",)),)))).turn(now=True)
    assert plant.published() is None
