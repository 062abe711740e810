"""Proofs against the published example of the standard, and against PyNaCl and base58, which know nothing of ours."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import base58
import nacl.exceptions
import nacl.signing
import pytest
import rfc8785

from ledger.book.signing import signer_from_seed
from ledger.errors import DossierRejected
from ledger.evidence.data_integrity import check_proof, prove, signed_bytes
from ledger.evidence.multibase import format_multibase, format_multikey, parse_multibase, parse_multikey
from tests.evidence.test_credential import CREDENTIAL
from tests.evidence.test_data_integrity import PUBLIC

VECTOR = Path(__file__).resolve().parents[3] / "shared" / "reference" / "vectors" / "eddsa_jcs_2022.json"

CONTEXTS = ["https://www.w3.org/ns/credentials/v2", "https://www.w3.org/ns/credentials/examples/v2"]
DOCUMENT: dict[str, Any] = {
    "@context": CONTEXTS,
    "id": "urn:uuid:58172aac-d8ba-11ed-83dd-0b3aef56cc33",
    "type": ["VerifiableCredential", "AlumniCredential"],
    "name": "Alumni Credential",
    "description": "A minimum viable example of an Alumni Credential.",
    "issuer": "https://vc.example/issuers/5678",
    "validFrom": "2023-01-01T00:00:00Z",
    "credentialSubject": {"id": "did:example:abcdefgh", "alumniOf": "The School of Examples"},
}
KEY = "z6MkrJVnaZkeFzdQyMZu1cgjg7k1pZZ6pvBQ7XJPt4swbTQ2"
SECRET = "z3u2en7t5LR2WtQH5PfFqMqwVHBeXouLzo6haApm8XHqvjxq"
METHOD = f"did:key:{KEY}#{KEY}"
CREATED = "2023-02-24T23:36:38Z"
HASHES = (
    "66ab154f5c2890a140cb8388a22a160454f80575f6eae09e5a097cabe539a1db"
    "59b7cb6251b8991add1ce0bc83107e3db9dbbab5bd2c28f687db1a03abc92f19"
)
VALUE = "z2HnFSSPPBzR36zdDgK8PbEHeXbR56YF24jwMpt3R1eHXQzJDMWS93FCzpvJpwTWd3GAVFuUfjoJdcnTMuVor51aX"


def test_the_published_example_is_reproduced_to_the_byte() -> None:
    """Source: W3C Data Integrity EdDSA Cryptosuites v1.0 (15 May 2025), appendix B.2, eddsa-jcs-2022."""
    seed = parse_multibase(SECRET)
    assert bytes.fromhex("8026") == seed[:2]
    signer = signer_from_seed("issuer", seed[2:], "credential")
    assert KEY == format_multikey(signer.verifier.public)
    secured = prove(DOCUMENT, METHOD, signer, created=CREATED)
    options = {name: value for name, value in secured["proof"].items() if name != "proofValue"}
    assert HASHES == signed_bytes(DOCUMENT, options).hex()
    assert VALUE == secured["proof"]["proofValue"]
    assert DOCUMENT == check_proof(secured, parse_multikey(KEY))


def test_the_vector_file_says_the_same() -> None:
    """Source: w3c/vc-di-eddsa TestVectors; document, options, hashes, signature and keys of did:key."""
    if not VECTOR.exists():
        pytest.skip("no published vector here")
    vector = json.loads(VECTOR.read_text("utf-8"))
    assert (DOCUMENT, HASHES, VALUE) == (vector["unsecured_document"], vector["hash_data_hex"], vector["proof_value"])
    assert vector["unsecured_document"] == check_proof(vector["signed_document"], parse_multikey(KEY))
    for known in vector["did_key"]:
        public = nacl.signing.SigningKey(bytes.fromhex(known["seed_hex"])).verify_key.encode()
        assert known["did"] == f"did:key:{format_multikey(public)}"


def test_contexts_appended_to_the_example_are_found() -> None:
    """A verifier that follows the standard alone lets them pass: it takes the proof's contexts."""
    secured = prove(
        DOCUMENT, METHOD, signer_from_seed("issuer", parse_multibase(SECRET)[2:], "credential"), created=CREATED
    )
    with pytest.raises(DossierRejected, match="contexts"):
        check_proof({**secured, "@context": [*CONTEXTS, "https://evil.example/v1"]}, parse_multikey(KEY))


def test_our_credential_verifies_with_other_libraries_alone() -> None:
    """Sources: rfc8785 (canonical JSON), hashlib, base58, PyNaCl (Ed25519)."""
    secured = json.loads(CREDENTIAL)
    proof = secured.pop("proof")
    value = proof.pop("proofValue")
    message = sha256(rfc8785.dumps(proof)).digest() + sha256(rfc8785.dumps(secured)).digest()
    key = nacl.signing.VerifyKey(base58.b58decode(proof["verificationMethod"].rpartition("#")[2][1:])[2:])
    assert PUBLIC == key.encode()
    key.verify(message, base58.b58decode(value[1:]))
    with pytest.raises(nacl.exceptions.BadSignatureError):
        key.verify(message[32:] + message[:32], base58.b58decode(value[1:]))


@pytest.mark.parametrize("raw", [b"", b"\0", b"\0\0\1", bytes(range(64)), b"\xff" * 34])
def test_base58_is_that_of_the_base58_package(raw: bytes) -> None:
    """Source: PyPI base58."""
    assert format_multibase(raw) == "z" + base58.b58encode(raw).decode()
