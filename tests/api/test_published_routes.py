"""What is published, over HTTP: the note and its tokens to the byte, for anyone; the standing, for those who may look."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.outgoing import Outgoing
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.receipt import parse_receipt
from ledger.duties.publishing import PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.evidence.time_token import check_token, parse_roots
from tests.api.running import Service, running
from tests.duties.published_plant import served_tsa
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.plant import registration
from tests.witnesses import policy_of, running_witness


@pytest.fixture
def tsa(tmp_path: Path) -> OpenSslTsa:
    """An authority."""
    return OpenSslTsa(tmp_path / "tsa")


@pytest.fixture
def served(tmp_path: Path, tsa: OpenSslTsa) -> Iterator[Service]:
    """A service with a witness and an authority; nothing is published yet."""
    with running(tmp_path, balls=1) as service, running_witness(tmp_path, "w") as witness, served_tsa(tsa) as url:
        plan = PublishingPlan(
            policy=policy_of(witness.named("w")), authorities=(Authority("one", url),), roots=parse_roots(tsa.roots)
        )
        service.book.publish_by(plan, Outgoing(30))
        yield service


def publish(service: Service) -> None:
    """One turn."""
    assert service.book.publisher is not None
    service.book.publisher._publishing.turn()


def test_before_the_first_there_is_none(served: Service) -> None:
    """404 with the mend, at each address; the standing says nothing is published."""
    for address in ("/checkpoint/published", "/checkpoint/published/5", "/checkpoint/published/5/tokens/one"):
        assert 404 == served.nobody.get(address).status_code
    assert 404 == served.nobody.get("/receipts/0", params={"published": "true"}).status_code
    assert served["desk"].get("/checkpoint/published/standing").json()["published"] is None
    assert 401 == served.nobody.get("/checkpoint/published/standing").status_code


def test_what_is_published_is_served_to_the_byte(served: Service, tsa: OpenSslTsa) -> None:
    """The newest stays the newest; the published one has its own address, its tokens and its receipts."""
    publish(served)
    served.book.submit(registration(2), served.keeper).result(30)
    note = served.nobody.get("/checkpoint/published").content
    size = parse_checkpoint(note).tree_size
    assert size + 1 == parse_checkpoint(served.nobody.get("/checkpoint").content).tree_size
    named = served.nobody.get(f"/checkpoint/published/{size}").json()
    assert (size, note.decode(), ["one"]) == (
        named["size"],
        named["note"],
        [token["authority"] for token in named["tokens"]],
    )
    token = served.nobody.get(named["tokens"][0]["address"])
    assert "application/timestamp-reply" == token.headers["content-type"]
    assert named["tokens"][0]["at_ms"] == check_token(token.content, note, parse_roots(tsa.roots)).at_ms
    receipt = served.nobody.get("/receipts/0", params={"published": "true"}).text
    assert note == parse_receipt(receipt).checkpoint_note
    for wrong in (f"/checkpoint/published/{size + 1}", f"/checkpoint/published/{size}/tokens/two"):
        assert 404 == served.nobody.get(wrong).status_code


def test_odd_input_is_refused(served: Service) -> None:
    """Sizes that are none, a query that is not known."""
    publish(served)
    for address in ("-1", "99999999999999999999999", "x", "0"):
        assert 404 == served.nobody.get(f"/checkpoint/published/{address}").status_code
    assert 400 == served.nobody.get("/receipts/0", params={"published": "perhaps"}).status_code
    assert 400 == served.nobody.get("/receipts/0", params={"witnessed": "true"}).status_code


def test_the_standing_and_the_metrics_say_the_same(served: Service) -> None:
    """Figures for a program, and gauges for whoever watches."""
    publish(served)
    standing = served["auditor"].get("/checkpoint/published/standing").json()
    text = served["admin"].get("/metrics").text
    assert (True, "w.witness.test") == (standing["published"]["reached"], standing["witnesses"][0]["witness"])
    assert f"pourbook_published_size {standing['published']['size']}\n" in text
    assert "pourbook_exposed_entries 0\n" in text
    assert "pourbook_registration_seconds_count" in text
