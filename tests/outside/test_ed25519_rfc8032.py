"""Signatures against RFC 8032 section 7.1, speccheck and DSSE.

RFC 8032 section 7.1 is published; so is novifinancial/ed25519-speccheck@6551933 (Apache-2.0), from the paper
"Taming the many EdDSAs"; DSSE: secure-systems-lab/dsse@eebf7b5 protocol.md (Apache-2.0).
"""

from __future__ import annotations

import pytest

from ledger.book.envelope import pae
from ledger.book.signing import Verifier, signer_from_seed
from ledger.errors import MalformedKey, SignatureRejected
from tests.book.samples import vectors

# RFC 8032 section 7.1, TEST 1, TEST 2 and TEST 3: secret key, public key, message, signature.
RFC8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("seed", "public", "message", "signature"), RFC8032, ids=["TEST 1", "TEST 2", "TEST 3"])
def test_rfc_8032_section_7_1(seed: str, public: str, message: str, signature: str) -> None:
    """The published keys sign the published messages with the published bytes."""
    signer = signer_from_seed("any", bytes.fromhex(seed))

    assert public == signer.verifier.public.hex()
    assert signature == signer.sign(bytes.fromhex(message)).hex()
    signer.verifier.check(bytes.fromhex(message), bytes.fromhex(signature))


def test_all_published_signatures() -> None:
    """RFC 8032 section 7.1 again, with SHA(abc), from the vectors file."""
    for case in vectors("ed25519.json")["signatures"]:
        signer = signer_from_seed("any", bytes.fromhex(case["seed"]))
        assert case["signature"] == signer.sign(bytes.fromhex(case["message"])).hex()
        assert case["public_key"] == signer.verifier.public.hex()


def test_bad_signatures_and_weak_keys_are_rejected() -> None:
    """S + L, flipped bits, other lengths (RFC 8032 section 5.1.7) and every speccheck case with a small-order key.

    Left over are speccheck cases 2 and 3: an honest or mixed-order key with an R of small or mixed order, which the
    RFC lets a verifier accept; the key itself is not of small order, so its holder is bound.
    """
    accepted = []
    for case in vectors("ed25519.json")["negative"]:
        try:
            verifier = Verifier("any", bytes.fromhex(case["public_key"]))
            verifier.check(bytes.fromhex(case["message"]), bytes.fromhex(case["signature"]))
        except (MalformedKey, SignatureRejected):
            continue
        accepted.append(case["id"])

    assert accepted == ["speccheck-2", "speccheck-3"]


def test_pre_authentication_encoding_of_the_standard() -> None:
    """DSSE protocol.md: the example of PAE."""
    assert (
        pae("http://example.com/HelloWorld", b"hello world")
        == b"DSSEv1 29 http://example.com/HelloWorld 11 hello world"
    )


def test_pre_authentication_encoding_counts_bytes() -> None:
    """Own vector, agreed by securesystemslib 1.6: the length of the body is in bytes, and the signature follows."""
    case = next(case for case in vectors("ed25519.json")["dsse"] if case["id"] == "dsse-ed25519-utf8")
    encoded = pae(case["payload_type"], bytes.fromhex(case["payload_hex"]))

    assert case["pae_hex"] == encoded.hex()
    assert case["signature_hex"] == signer_from_seed("any", bytes.fromhex(case["seed"])).sign(encoded).hex()
