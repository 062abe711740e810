"""The issuer of credentials: a ``did:web`` identifier, where its document lies, and the document.

``did:web:id.example.com`` has its document at ``https://id.example.com/.well-known/did.json``, and
``did:web:id.example.com%3A3000:a:b`` at ``https://id.example.com:3000/a/b/did.json``.  An identifier lasts as long as the
domain is the maker's, so a dossier has the document of its time in it.

Source: W3C CCG did:web method; W3C DID Core 1.0; Multikey of W3C Controlled Identifiers v1.0.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Annotated, Final, Literal

import msgspec
from msgspec import Meta, field

from ledger.errors import MalformedDossier, MalformedInput
from ledger.evidence.multibase import format_multikey
from ledger.evidence.own_terms import stem_address

CONTEXTS: Final = ("https://www.w3.org/ns/did/v1", "https://w3id.org/security/multikey/v1")

_DID = re.compile(r"did:web:([A-Za-z0-9.-]+(?:%3A[0-9]{1,5})?)((?::[A-Za-z0-9._~-]+)*)", re.ASCII)

Did = Annotated[str, Meta(pattern=r"^did:web:[A-Za-z0-9._~%:-]+\Z", max_length=300)]
Method = Annotated[str, Meta(pattern=r"^did:web:[A-Za-z0-9._~%:-]+#[A-Za-z0-9]+\Z", max_length=400)]


class Key(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A key of the issuer."""

    id: Method
    type: Literal["Multikey"]
    controller: Did
    public: Annotated[str, Meta(max_length=100)] = field(name="publicKeyMultibase")


class DidDocument(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The issuer's document: its keys, and those by which it makes assertions."""

    context: tuple[Literal["https://www.w3.org/ns/did/v1"], Literal["https://w3id.org/security/multikey/v1"]] = field(
        name="@context"
    )
    id: Did
    keys: Annotated[tuple[Key, ...], Meta(max_length=50)] = field(name="verificationMethod")
    asserting: Annotated[tuple[Method, ...], Meta(max_length=50)] = field(name="assertionMethod")

    def key(self, method: str) -> Key | None:
        """The key of that id, if the issuer makes assertions by it and it is the issuer's own."""
        found = next((key for key in self.keys if key.id == method), None)
        return found if found is not None and method in self.asserting and found.controller == self.id else None


_encode = msgspec.json.Encoder().encode


def did_of(stem: str) -> str:
    """The identifier of who has that host, or web address. Raises MalformedLink for a stem that is none."""
    host, *path = stem_address(stem).partition("://")[2].split("/")
    return ":".join(("did:web", host.replace(":", "%3A"), *path))


def check_did(did: str) -> None:
    """Return if that is a did:web identifier. Raises MalformedInput."""
    if _DID.fullmatch(did) is None:
        raise MalformedInput("not a did:web identifier", expected="did:web:host, or did:web:host:path", got=did)


def did_address(did: str) -> str:
    """Where the document lies. Raises MalformedInput."""
    check_did(did)
    host, *path = did.removeprefix("did:web:").split(":")
    return "/".join(("https:/", host.replace("%3A", ":"), *(path or [".well-known"]), "did.json"))


def method_of(did: str, public: bytes) -> str:
    """The id of a key (32 bytes) in its issuer's document."""
    return f"{did}#{format_multikey(public)}"


def did_document(did: str, keys: Iterable[bytes]) -> bytes:
    """The document of an issuer who makes assertions by these public keys, and a newline. Raises MalformedInput."""
    check_did(did)
    methods = [
        Key(id=method_of(did, public), type="Multikey", controller=did, public=format_multikey(public))
        for public in sorted(keys)
    ]
    document = DidDocument(
        context=CONTEXTS,
        id=did,
        keys=tuple(methods),
        asserting=tuple(method.id for method in methods),
    )
    return _encode(document) + b"\n"


def parse_did_document(raw: bytes, where: str = "did.json") -> DidDocument:
    """Read a document of our form. Raises MalformedDossier."""
    try:
        document = msgspec.json.decode(raw, type=DidDocument)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise MalformedDossier("issuer's document has another shape", got=str(error), where=where) from error
    if _encode(document) + b"\n" != raw:
        raise MalformedDossier("issuer's document is not in its one form", expected="compact JSON", where=where)
    return document
