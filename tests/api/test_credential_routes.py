"""Credentials over HTTP: the file checks without the service, by the document that is served where did:web looks."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ledger.application.signers import credential_key_name
from ledger.book.signing import signer_from_seed
from ledger.evidence.credential import pinned_contexts
from ledger.evidence.credential_check import check_credential, parse_credential
from ledger.evidence.did_web import did_address, parse_did_document
from ledger.evidence.own_terms import terms_address
from tests.api.running import SIGNERS, STEM, Service, running
from tests.plant import ORIGIN

KEY = signer_from_seed(credential_key_name(ORIGIN), bytes(range(2, 34)), "credential")
PATH = "/balls/U-000001/credential"


@pytest.fixture(scope="module")
def issuing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service that gives credentials."""
    folder = tmp_path_factory.mktemp("issuing")
    with running(folder, balls=2, signers=SIGNERS._replace(credential=KEY), public_burst=10_000) as one:
        yield one


def test_a_credential_checks_by_the_document_that_the_service_gives(issuing: Service) -> None:
    """With nothing else, as a customer would."""
    answer = issuing["auditor"].get(PATH)
    assert (200, "application/vc") == (answer.status_code, answer.headers["content-type"])
    issuer = parse_did_document(issuing.nobody.get("/.well-known/did.json").content)
    said = check_credential(parse_credential(answer.content), issuer, pinned_contexts(terms_address(STEM)))
    assert "P000001" == said["credentialSubject"]["pb:serial"]
    assert f"{STEM}/.well-known/did.json" == did_address(issuer.id)


def test_the_document_is_where_did_web_looks(issuing: Service) -> None:
    """With a path in the identifier and without, for anyone."""
    answers = [issuing.nobody.get(path) for path in ("/did.json", "/.well-known/did.json")]
    assert [200, 200] == [answer.status_code for answer in answers]
    assert answers[0].content == answers[1].content


def test_the_same_head_gives_the_same_credential(issuing: Service) -> None:
    """To the byte, whoever asks."""
    assert issuing["auditor"].get(PATH).content == issuing["quality"].get(PATH).content


def test_credentials_are_for_those_who_hand_dossiers_over(issuing: Service) -> None:
    """Quality and the auditor."""
    assert {403} == {issuing[role].get(PATH).status_code for role in ("station", "inspector", "desk", "admin")}
    assert 401 == issuing.nobody.get(PATH).status_code


def test_an_unknown_ball_has_none(issuing: Service) -> None:
    """Said as such."""
    assert 404 == issuing["auditor"].get("/balls/U-404/credential").status_code


def test_a_service_without_a_key_says_so(service: Service) -> None:
    """501 with the mend, and no document."""
    answer = service["auditor"].get(PATH)
    assert (501, True) == (answer.status_code, "key-introduced" in answer.text)
    assert 404 == service.nobody.get("/.well-known/did.json").status_code


def test_another_issuer_may_be_named(tmp_path_factory: pytest.TempPathFactory) -> None:
    """In the settings; the document is then of that identifier."""
    signers, did = SIGNERS._replace(credential=KEY), "did:web:balls.example:makers"
    with running(tmp_path_factory.mktemp("other"), balls=1, signers=signers, credential_issuer=did) as one:
        issuer = parse_did_document(one.nobody.get("/did.json").content)
        secured = parse_credential(one["auditor"].get(PATH).content)
    assert did == issuer.id == secured["issuer"]
    check_credential(secured, issuer, pinned_contexts(terms_address(STEM)))
