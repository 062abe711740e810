"""Issuers: identifiers of the web, where their documents lie, and the documents."""

from __future__ import annotations

import msgspec
import pytest

from ledger.errors import MalformedDossier, MalformedInput, MalformedLink
from ledger.evidence.did_web import check_did, did_address, did_document, did_of, method_of, parse_did_document
from tests.evidence.test_data_integrity import PUBLIC

DID = "did:web:id.example.com"


@pytest.mark.parametrize(
    ("did", "address"),
    [
        ("did:web:w3c-ccg.github.io", "https://w3c-ccg.github.io/.well-known/did.json"),
        ("did:web:w3c-ccg.github.io:user:alice", "https://w3c-ccg.github.io/user/alice/did.json"),
        ("did:web:example.com%3A3000:user:alice", "https://example.com:3000/user/alice/did.json"),
    ],
)
def test_an_identifier_leads_to_its_document(did: str, address: str) -> None:
    """Source: examples of the did:web method, W3C CCG."""
    assert address == did_address(did)


@pytest.mark.parametrize(
    ("stem", "did"),
    [
        ("id.example.com", DID),
        ("https://id.example.com/", DID),
        ("https://example.com:8443/balls/ids", "did:web:example.com%3A8443:balls:ids"),
    ],
)
def test_a_host_of_labels_has_an_identifier(stem: str, did: str) -> None:
    """Its port is escaped, its path parted by colons."""
    assert did == did_of(stem)
    check_did(did)


@pytest.mark.parametrize(
    "did", ["", "did:key:z6Mk", "did:web:", "did:web:a b", "did:web:a/b", "did:web:a::b", "did:web:a%2Fb"]
)
def test_what_is_no_identifier_of_the_web_is_refused(did: str) -> None:
    """Before anything is asked of it."""
    with pytest.raises(MalformedInput):
        check_did(did)


def test_a_stem_that_is_none_is_refused() -> None:
    """As on a label."""
    with pytest.raises(MalformedLink):
        did_of("no host")


def test_a_document_reads_back_and_knows_its_keys() -> None:
    """By their ids, and no other."""
    document = parse_did_document(did_document(DID, [PUBLIC]))
    key = document.key(method_of(DID, PUBLIC))
    assert key is not None
    assert (DID, DID) == (document.id, key.controller)
    assert document.key(f"{DID}#other") is None


def test_the_order_of_keys_is_none() -> None:
    """The same keys give the same bytes."""
    keys = [PUBLIC, bytes(range(32))]
    assert did_document(DID, keys) == did_document(DID, keys[::-1])


def test_a_key_of_somebody_else_is_not_the_issuer_s() -> None:
    """Nor is one by which it makes no assertions."""
    raw = did_document(DID, [PUBLIC])
    method = method_of(DID, PUBLIC)
    other = raw.replace(f'"controller":"{DID}"'.encode(), b'"controller":"did:web:evil.example"')
    silent = raw.replace(f'"assertionMethod":["{method}"]'.encode(), b'"assertionMethod":[]')
    assert raw not in (other, silent)
    assert [parse_did_document(one).key(method) for one in (other, silent)] == [None, None]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (b'{"@context"', b'{ "@context"'),
        (b"https://www.w3.org/ns/did/v1", b"https://evil.example/v1"),
        (b'"Multikey"', b'"JsonWebKey"'),
        (b"did:web:", b"did:key:"),
        (b'"id"', b'"more":1,"id"'),
        (b"}\n", b"}"),
        (b"[", b"[[["),
    ],
)
def test_another_document_is_refused(before: bytes, after: bytes) -> None:
    """Other contexts, other sorts of keys, other fields, another form."""
    with pytest.raises(MalformedDossier):
        parse_did_document(did_document(DID, [PUBLIC]).replace(before, after, 1))


def test_a_document_is_plain_json() -> None:
    """Of the fields that did:web wants."""
    plain = msgspec.json.decode(did_document(DID, [PUBLIC]))
    assert {"@context", "id", "verificationMethod", "assertionMethod"} == plain.keys()
    assert plain["verificationMethod"][0]["publicKeyMultibase"].startswith("z6Mk")
