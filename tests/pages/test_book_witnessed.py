"""The page of the book on witnesses and time: by whom it is cosigned, when, quorum or not, what is exposed, what is wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from api.outgoing import Outgoing
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.policy import PolicyWitness
from ledger.book.signing import format_verifier
from ledger.duties.publishing import PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.evidence.time_token import parse_roots
from ledger.store.published import WitnessStanding, put_witness_standing
from tests.api.running import Service, running
from tests.duties.published_plant import served_tsa
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.pages.forms_sent import Browser, give_password
from tests.plant import registration
from tests.witnesses import policy_of, running_witness, witness_key


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A running service in which quality may sign in."""
    with running(tmp_path, balls=2) as one:
        give_password(one, "quality")
        yield one


@pytest.fixture
def lead(service: Service) -> Iterator[Browser]:
    """The quality lead's browser."""
    browser = Browser(service)
    browser.sign_in("The quality")
    yield browser
    browser.close()


def words(page: str) -> str:
    """The text of a page, as it is read."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def turn(service: Service, plan: PublishingPlan) -> None:
    """Wire a plan as a service does, and publish once."""
    service.book.publish_by(plan, Outgoing(30))
    assert service.book.publisher is not None
    service.book.publisher._publishing.turn()


def test_without_witnesses_and_authorities_that_is_said(lead: Browser) -> None:
    """The keeper's word and the service's clock are all there is."""
    said = words(lead.open("/book").text)
    assert "No witness has signed a checkpoint of this book." in said
    assert "No time stamping authority is named: when an entry came rests on the clock of this service." in said
    assert "published" not in said


def test_who_signed_when_and_what_is_exposed_is_said(service: Service, lead: Browser, tmp_path: Path) -> None:
    """The quorum, with and without the witness beside the book; the token; what came since; the note to save."""
    tsa = OpenSslTsa(tmp_path / "tsa")
    with running_witness(tmp_path, "w") as witness, served_tsa(tsa) as url:
        plan = PublishingPlan(
            policy=policy_of(witness.named("w")),
            authorities=(Authority("one", url), Authority("two", "http://127.0.0.1:9/")),
            roots=parse_roots(tsa.roots),
            beside={"w": "its address is on the machine of the book"},
        )
        turn(service, plan)
    size = parse_checkpoint(service.book.checkpoint()).tree_size
    service.book.submit(registration(3), service.keeper).result(30)
    page = lead.open("/book").text
    said = words(page)
    for sentence in (
        f"The checkpoint of {size} entries was published on ",
        "The witness w.witness.test signed it too, by its own clock on ",
        "That is the quorum that the policy asks for: 1 of (w).",
        "Without the witnesses that lie beside the book it would not be reached.",
        "The witness w.witness.test counts as none: its address is on the machine of the book.",
        "1 entry is not covered by it, recorded on ",
        "Every 60 s the newest checkpoint goes to the witnesses, if the book grew.",
        f"The authority one stamped the checkpoint of {size} entries: it existed before ",
        "The authority two gave no token when it was asked last: it cannot be reached: Connection refused.",
        "The newest published checkpoint",
    ):
        assert sentence in said, sentence
    published = service.nobody.get("/checkpoint/published").text
    assert published in unescape(page)
    assert 200 == service.nobody.get(f"/checkpoint/published/{size}/tokens/one").status_code
    assert f'/checkpoint/published/{size}/tokens/one"' in page


def test_what_is_wrong_with_a_witness_is_said(service: Service, lead: Browser, tmp_path: Path) -> None:
    """One that holds another head stands out; one that is away, and one that was never asked, are named."""
    with running_witness(tmp_path, "good") as good:
        bad = [PolicyWitness(name, witness_key(name).verifier, "http://127.0.0.1:9") for name in ("fork", "away")]
        policy = policy_of(good.named("good"), *bad, threshold=1)
        turn(service, PublishingPlan(policy=policy))
        new = PolicyWitness("new", witness_key("new").verifier, "http://127.0.0.1:9")
        policy = policy_of(good.named("good"), *bad, new, threshold=2)
        service.book.publish_by(PublishingPlan(policy=policy), Outgoing(30))
    verifier = format_verifier(bad[0].verifier)
    put_witness_standing(
        service.book.store, WitnessStanding(verifier, 0, 1_000, None, "away", "it signed a head of 99 entries")
    )
    said = words(lead.open("/book").text)
    assert "The witness fork.witness.test holds another head of this book. it signed a head of 99 entries" in said
    assert "The witness away.witness.test did not sign when it was asked on " in said
    assert "it cannot be reached: Connection refused." in said
    assert "The witness new.witness.test was not asked yet." in said
    assert "That is not the quorum that the policy asks for now: 2 of (good, fork, away, new)." in said


def test_the_page_says_it_in_german(service: Service, lead: Browser, tmp_path: Path) -> None:
    """What the book says of others stays English, and is marked as such."""
    with running_witness(tmp_path, "w") as witness:
        away = PolicyWitness("away", witness_key("away").verifier, "http://127.0.0.1:9")
        turn(service, PublishingPlan(policy=policy_of(witness.named("w"), away, threshold=1)))
    page = lead.client.get("/book", headers={"accept-language": "de"}).text
    said = words(page)
    size = parse_checkpoint(service.book.checkpoint()).tree_size
    assert f"Der Prüfpunkt von {size} Einträgen wurde am " in said
    assert "Der Zeuge w.witness.test zeichnete ihn mit" in said
    assert '<span lang="en">it cannot be reached: Connection refused</span>' in page
