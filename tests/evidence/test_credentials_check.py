"""The credentials of a dossier: by keys of the book, under its head, and saying what the sheets give."""

from __future__ import annotations

import json
from typing import Any

import pytest

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.instant import instant_ms
from ledger.book.signing import signer_from_seed
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.credential import make_credential
from ledger.evidence.credentials_check import credential_keys
from ledger.evidence.did_web import did_document
from ledger.evidence.event_names import Plant
from ledger.line.rows import BookKey
from tests.evidence.issued_dossier import check_credentials, files, issued_book, issued_dossier, issued_keys
from tests.evidence.small_dossier import RECORDED, archived, resealed, sheet
from tests.evidence.test_credential import DID, ground
from tests.evidence.test_data_integrity import PUBLIC, SIGNER

NAME = "credentials/U-1.json"
HEAD = parse_checkpoint(issued_book().note)


def issued(unit: str = "U-1", **more: Any) -> bytes:
    """A credential by the right key, of another ground."""
    return make_credential(sheet(unit), ground(unit, **{"head": HEAD, **more}), SIGNER)


def dossier_with(**changed: bytes) -> bytes:
    """The dossier with other files in it, under digests and a signature that fit."""
    names = {"did": "did.json", "credential": NAME}
    return resealed({**files(), **{names[name]: raw for name, raw in changed.items()}})


def test_good_credentials_pass() -> None:
    """At the instant from which they are valid, and without any."""
    check_credentials(issued_dossier())
    check_credentials(issued_dossier(), instant_ms(RECORDED))


def test_credentials_of_the_future_are_found() -> None:
    """By a reader whose clock is behind."""
    with pytest.raises(DossierRejected, match="not valid yet"):
        check_credentials(issued_dossier(), instant_ms(RECORDED) - 1)


def test_a_key_that_no_entry_introduces_is_found() -> None:
    """Though document and credential are made by it alike."""
    stranger = signer_from_seed("stranger", bytes(32), "credential")
    raw = make_credential(sheet("U-1"), ground(head=HEAD), stranger)
    did = did_document(DID, [stranger.verifier.public])
    with pytest.raises(DossierRejected, match="issuer's keys are not those"):
        check_credentials(dossier_with(did=did, credential=raw))
    with pytest.raises(DossierRejected, match="makes no assertions"):
        check_credentials(dossier_with(credential=raw))


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"entered": "2025-02-28T12:00:00.000+00:00"}, "validFrom"),
        ({"ball": "https://id.example.com/01/09521234543213/21/OTHER"}, "credentialSubject/id"),
        (
            {"head": parse_checkpoint(b"books.example/plant-1\n5\nAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n")},
            "evidence",
        ),
        ({"plant": Plant("id.example.com", "books.example/plant-2")}, "evidence"),
    ],
)
def test_what_does_not_follow_from_the_dossier_is_found(more: dict[str, Any], field: str) -> None:
    """Though the right key signed it."""
    with pytest.raises(DossierRejected, match="claim differs") as found:
        check_credentials(dossier_with(credential=issued(**more)))
    assert found.value.where.startswith(f"{NAME}: {field}")


def test_the_credential_of_another_ball_is_found() -> None:
    """A good one in the wrong place."""
    with pytest.raises(DossierRejected, match="claim differs"):
        check_credentials(dossier_with(credential=files()["credentials/U-2.json"]))


def test_another_issuer_is_found() -> None:
    """The document says who it is."""
    with pytest.raises(DossierRejected, match="another issuer"):
        check_credentials(dossier_with(did=did_document("did:web:id.example.org", [PUBLIC])))


@pytest.mark.parametrize("raw", [b"", b"{}\n", b"\xff", b"[" * 5_000])
def test_files_that_are_none_are_refused(raw: bytes) -> None:
    """The issuer's document, and a credential."""
    for name in ("did.json", NAME):
        with pytest.raises(MalformedDossier, match=name):
            check_credentials(archived({**files(), name: raw}))


def test_a_prefix_that_is_no_address_is_refused() -> None:
    """Nothing could be named under it."""
    plain = json.loads(files()[NAME])
    plain["@context"][1]["pb"] = "urn:x:/terms/"
    raw = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"
    with pytest.raises(MalformedDossier, match="prefix stands for no address"):
        check_credentials(dossier_with(credential=raw))


@pytest.mark.parametrize(
    ("term", "size", "speaks"),
    [((5, None), 4, False), ((5, None), 5, True), ((5, 9), 9, True), ((5, 9), 10, False), ((5, None), 10**6, True)],
)
def test_a_key_speaks_in_its_term(term: tuple[int, int | None], size: int, *, speaks: bool) -> None:
    """From the size at which it was introduced to that at which it was revoked."""
    [row] = [key for key in issued_keys() if key.purpose == "credential"]
    fields = {name: getattr(row, name) for name in row.__struct_fields__}
    other = BookKey(**{**fields, "from_size": term[0], "to_size": term[1]})
    assert ([PUBLIC] if speaks else []) == credential_keys([other], size)
    assert [] == credential_keys([BookKey(**{**fields, "purpose": "dossier"})], 10**6)
