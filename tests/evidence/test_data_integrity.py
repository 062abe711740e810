"""Proofs of eddsa-jcs-2022: what they cover, and every way to get past one that was thought of."""

from __future__ import annotations

import copy
from collections.abc import Callable
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.canonical import encode
from ledger.book.signing import signer_from_seed
from ledger.errors import DossierRejected, LedgerError, MalformedDossier, MalformedKey
from ledger.evidence.data_integrity import check_proof, prove, signed_bytes

SIGNER = signer_from_seed("books.example/credential", sha256(b"credential key of the tests").digest(), "credential")
PUBLIC = SIGNER.verifier.public
DOCUMENT: dict[str, Any] = {
    "@context": ["https://www.w3.org/ns/credentials/v2", {"pb": "https://id.example.com/terms/"}],
    "id": "urn:uuid:1",
    "claims": [{"pb:value": "15.10"}, {"pb:value": "74"}],
}
METHOD = "did:web:id.example.com#key"


def proved(**more: Any) -> dict[str, Any]:
    """A document of these fields with its proof."""
    return prove({**DOCUMENT, **more}, METHOD, SIGNER)


def test_a_proof_checks_and_gives_the_document_back() -> None:
    """Without its proof."""
    assert DOCUMENT == check_proof(proved(), PUBLIC)


def test_the_hash_of_the_proof_comes_first() -> None:
    """Two SHA-256 over canonical bytes, options then document."""
    options = {name: value for name, value in proved()["proof"].items() if name != "proofValue"}
    expected = sha256(encode(options)).digest() + sha256(encode(DOCUMENT)).digest()
    assert expected == signed_bytes(DOCUMENT, options)


def test_the_same_document_has_the_same_proof() -> None:
    """Nothing of the clock is in it unless it is given."""
    assert proved() == proved()
    dated = prove(DOCUMENT, METHOD, SIGNER, created="2026-09-24T12:00:00Z")
    assert "2026-09-24T12:00:00Z" == dated["proof"]["created"]
    assert DOCUMENT == check_proof(dated, PUBLIC)


def test_only_a_key_for_credentials_signs() -> None:
    """One key, one purpose."""
    other = signer_from_seed("books.example/dossier", bytes(32), "dossier")
    with pytest.raises(MalformedKey, match="another purpose"):
        prove(DOCUMENT, METHOD, other)


CHANGES: dict[str, Callable[[dict[str, Any]], object]] = {
    "a claim": lambda one: one["claims"][0].update({"pb:value": "15.11"}),
    "a claim more": lambda one: one.update(more=True),
    "the order of claims": lambda one: one["claims"].reverse(),
    "a context appended after signing": lambda one: one["@context"].append("https://evil.example/v1"),
    "a context appended to proof and document": lambda one: [
        part["@context"].append("https://evil.example/v1") for part in (one, one["proof"])
    ],
    "the prefix": lambda one: one["@context"][1].update(pb="https://evil.example/"),
    "no context in the proof": lambda one: one["proof"].pop("@context"),
    "the method": lambda one: one["proof"].update(verificationMethod="did:web:evil.example#key"),
    "the purpose": lambda one: one["proof"].update(proofPurpose="authentication"),
    "the suite": lambda one: one["proof"].update(cryptosuite="eddsa-rdfc-2022"),
    "the type": lambda one: one["proof"].update(type="Ed25519Signature2020"),
    "a date in the proof": lambda one: one["proof"].update(created="2026-09-24T12:00:00Z"),
    "the value": lambda one: one["proof"].update(proofValue=one["proof"]["proofValue"][:-1] + "1"),
    "a value in another base": lambda one: one["proof"].update(proofValue="m" + one["proof"]["proofValue"][1:]),
    "a value that is too short": lambda one: one["proof"].update(proofValue="z1"),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_a_change_of_anything_is_found(change: Callable[[dict[str, Any]], object]) -> None:
    """In the document, in the proof, in both alike."""
    secured = copy.deepcopy(proved())
    change(secured)
    with pytest.raises((DossierRejected, MalformedDossier)):
        check_proof(secured, PUBLIC)


@pytest.mark.parametrize("proof", [None, [], [{}], {}, {"proofValue": 5}, "z1"])
def test_no_single_proof_is_refused(proof: Any) -> None:
    """None, several, or one without a value."""
    with pytest.raises(MalformedDossier):
        check_proof({**DOCUMENT, "proof": proof}, PUBLIC)


def test_another_key_is_refused() -> None:
    """And one that would bind nobody is no key."""
    with pytest.raises(DossierRejected):
        check_proof(proved(), signer_from_seed("x", bytes(32)).verifier.public)
    with pytest.raises(MalformedKey):
        check_proof(proved(), bytes(32))


@given(st.dictionaries(st.text(max_size=5), st.floats(allow_nan=False) | st.none() | st.text(max_size=5), max_size=3))
def test_what_has_no_canonical_form_is_an_error_of_ours(fields: dict[str, Any]) -> None:
    """Floats, nothing, names that are not ASCII, text that is not composed."""
    with pytest.raises(LedgerError):
        check_proof({**fields, "proof": proved()["proof"]}, PUBLIC)
