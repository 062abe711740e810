"""Data Integrity proofs with the cryptosuite ``eddsa-jcs-2022``.

What is signed is SHA-256 of the canonical proof options (without ``proofValue``), then SHA-256 of the canonical document
(without ``proof``): the proof's hash first.  Canonical is RFC 8785, in the book's own profile of it: no floats, no null, at
most 65,535 bytes.  The options carry the document's contexts.

A verifier that follows the standard takes the contexts of the proof, and lets others follow them in the document: contexts
that somebody appended after signing then pass.  This one takes only documents whose contexts are the proof's.

Source: W3C Data Integrity EdDSA Cryptosuites v1.0 (Recommendation, 15 May 2025), section 3.3.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from ledger.book.canonical import encode
from ledger.book.signing import NoteSigner, Verifier
from ledger.errors import DossierRejected, LedgerError, MalformedDossier, MalformedKey
from ledger.evidence.multibase import format_multibase, parse_multibase

SUITE = "eddsa-jcs-2022"
PROOF_TYPE = "DataIntegrityProof"
PURPOSE = "assertionMethod"


def signed_bytes(document: Mapping[str, Any], options: Mapping[str, Any]) -> bytes:
    """The 64 bytes that are signed. Raises MalformedCanonical or TooLarge for what has no canonical form here."""
    return sha256(encode(dict(options))).digest() + sha256(encode(dict(document))).digest()


def prove(document: Mapping[str, Any], method: str, signer: NoteSigner, *, created: str = "") -> dict[str, Any]:
    """The document with its proof; ``method``: the id of the signer's key in the issuer's document.

    ``created`` (an instant) may be left out, so that the same document has the same proof whenever it is made. Raises
    MalformedKey for a key of another purpose.
    """
    if signer.purpose != "credential":
        raise MalformedKey("key has another purpose", expected="credential", got=signer.purpose)
    options = {
        "type": PROOF_TYPE,
        "cryptosuite": SUITE,
        **({"created": created} if created else {}),
        "verificationMethod": method,
        "proofPurpose": PURPOSE,
        **({"@context": document["@context"]} if "@context" in document else {}),
    }
    value = format_multibase(signer.sign(signed_bytes(document, options)))
    return {**document, "proof": {**options, "proofValue": value}}


def check_proof(secured: Mapping[str, Any], public: bytes, where: str = "proof") -> dict[str, Any]:
    """Check the one proof of a document by a public key (32 bytes); the document without its proof.

    Raises MalformedDossier for a proof of another shape, DossierRejected for one that is wrong, MalformedKey for a key that
    binds nobody. Says nothing of who holds the key.
    """
    document = {name: value for name, value in secured.items() if name != "proof"}
    proof = secured.get("proof")
    if not isinstance(proof, dict) or not isinstance(proof.get("proofValue"), str):
        raise MalformedDossier("document has no single proof with a value", where=where)
    options = {name: value for name, value in proof.items() if name != "proofValue"}
    for name, expected in (("type", PROOF_TYPE), ("cryptosuite", SUITE), ("proofPurpose", PURPOSE)):
        if options.get(name) != expected:
            raise DossierRejected(
                "proof is of another kind", expected=expected, got=options.get(name), where=f"{where}/{name}"
            )
    if options.get("@context") != document.get("@context"):
        raise DossierRejected("contexts are not those that were signed", where="@context")
    verifier = Verifier("issuer", public)
    try:
        verifier.check(signed_bytes(document, options), parse_multibase(proof["proofValue"], where))
    except LedgerError as error:
        raise DossierRejected("signature is not by this key over this document", got=str(error), where=where) from error
    return document
