"""Checking a credential by itself: contexts, issuer, key, proof, dates, and claims against the sheet."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.canonical import encode
from ledger.book.instant import instant_ms
from ledger.errors import DossierRejected, LedgerError, MalformedDossier
from ledger.evidence.credential import pinned_contexts
from ledger.evidence.credential_check import check_claims, check_credential, parse_credential, stated_terms
from ledger.evidence.data_integrity import prove
from ledger.evidence.did_web import did_document, method_of, parse_did_document
from tests.evidence.small_dossier import RECORDED, sheet
from tests.evidence.test_credential import CREDENTIAL, DID, PLAIN, PLANT, ground
from tests.evidence.test_data_integrity import PUBLIC, SIGNER

ISSUER = parse_did_document(did_document(DID, [PUBLIC]))
CONTEXTS = pinned_contexts(PLANT.terms)
METHOD = method_of(DID, PUBLIC)
UNSIGNED = {name: value for name, value in PLAIN.items() if name != "proof"}


def check(secured: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Check a credential by the issuer and the contexts of the tests."""
    return check_credential(secured, ISSUER, CONTEXTS, **more)


def signed(change: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
    """A credential that the issuer himself signed with something else in it."""
    document = copy.deepcopy(UNSIGNED)
    change(document)
    return prove(document, METHOD, SIGNER)


def in_contexts(contexts: list[Any]) -> dict[str, Any]:
    """A credential that the issuer himself signed in these contexts."""
    return signed(lambda one: one.update({"@context": contexts}))


def test_a_good_credential_passes() -> None:
    """And its claims are those of the sheet."""
    document = check(parse_credential(CREDENTIAL), at_ms=instant_ms(RECORDED))
    assert UNSIGNED == document
    check_claims(document, sheet("U-1"), ground(), "credential")
    assert PLANT.terms == stated_terms(PLAIN)


def test_contexts_are_pinned() -> None:
    """Even those that the issuer signed: one more, one less, another order, another prefix."""
    for contexts in (
        [*CONTEXTS, "https://evil.example/v1"],
        CONTEXTS[:1],
        CONTEXTS[::-1],
        [CONTEXTS[0], {"pb": "x:/"}],
    ):
        with pytest.raises(DossierRejected, match="other contexts"):
            check(in_contexts(contexts))


def test_a_list_that_does_not_begin_with_vc_2_pins_nothing() -> None:
    """Nobody can be talked into expecting other contexts."""
    for contexts in ([], ["https://www.w3.org/2018/credentials/v1"]):
        with pytest.raises(DossierRejected, match="other contexts"):
            check_credential(in_contexts(contexts), ISSUER, contexts)


@pytest.mark.parametrize("issuer", ["did:web:evil.example", {"id": "did:web:evil.example"}, "", 5])
def test_another_issuer_is_found(issuer: Any) -> None:
    """Though the key is right."""
    with pytest.raises(DossierRejected, match="another issuer"):
        check(signed(lambda one: one.update(issuer=issuer)))


def test_an_issuer_with_a_name_is_the_same_issuer() -> None:
    """VC 2.0 allows an object with an id."""
    check(signed(lambda one: one.update(issuer={"id": DID, "name": "Plant"})))


@pytest.mark.parametrize("method", [f"{DID}#other", "did:web:evil.example#key", None, 5])
def test_a_key_that_is_not_the_issuer_s_is_found(method: Any) -> None:
    """Whatever it signs."""
    secured = copy.deepcopy(PLAIN)
    secured["proof"]["verificationMethod"] = method
    with pytest.raises(DossierRejected, match="makes no assertions"):
        check(secured)


def test_a_key_by_which_the_issuer_asserts_nothing_is_found() -> None:
    """It may be his, and for something else."""
    raw = did_document(DID, [PUBLIC]).replace(f'"assertionMethod":["{METHOD}"]'.encode(), b'"assertionMethod":[]')
    with pytest.raises(DossierRejected, match="makes no assertions"):
        check_credential(PLAIN, parse_did_document(raw), CONTEXTS)


@pytest.mark.parametrize(
    ("change", "at", "match"),
    [
        ({"validFrom": "2026-01-01T00:00:00Z"}, "2025-12-31T23:59:59.999+00:00", "not valid yet"),
        ({"validFrom": "2026-01-01T00:00:00+01:00"}, "2025-12-31T22:59:59.999+00:00", "not valid yet"),
        ({"validUntil": "2026-01-01T00:00:00Z"}, "2026-01-01T00:00:00.001+00:00", "not valid any more"),
        ({"validFrom": "2026-01-02T00:00:00Z", "validUntil": "2026-01-01T00:00:00Z"}, None, "ends before it begins"),
    ],
)
def test_dates_are_held_against_the_instant_given(change: dict[str, Any], at: str | None, match: str) -> None:
    """Each at the millisecond after, or before, it would do."""
    with pytest.raises(DossierRejected, match=match):
        check(signed(lambda one: one.update(change)), at_ms=None if at is None else instant_ms(at))


def test_dates_do_at_their_very_instant() -> None:
    """Both ends included; without an instant none is looked at."""
    secured = signed(lambda one: one.update(validFrom="2026-01-01T00:00:00Z", validUntil="2026-01-01T00:00:00Z"))
    check(secured, at_ms=instant_ms("2026-01-01T00:00:00.000+00:00"))
    check(secured)


def test_a_proof_of_the_future_is_found() -> None:
    """Made later than the instant at which it is to be good."""
    secured = prove(UNSIGNED, METHOD, SIGNER, created="2026-01-01T00:00:00Z")
    with pytest.raises(DossierRejected, match="proof is of the future"):
        check(secured, at_ms=instant_ms("2025-12-31T00:00:00.000+00:00"))
    check(secured, at_ms=instant_ms("2026-01-01T00:00:00.000+00:00"))


@pytest.mark.parametrize("said", ["yesterday", "2026-01-01", "2026-01-01T00:00:00", 5, ["2026-01-01T00:00:00Z"]])
def test_a_date_without_offset_or_form_is_refused(said: Any) -> None:
    """An instant or nothing."""
    with pytest.raises(MalformedDossier):
        check(signed(lambda one: one.update(validFrom=said)))


@pytest.mark.parametrize("change", [{"type": ["Thing"]}, {"type": "VerifiableCredential"}, {"credentialSubject": [1]}])
def test_what_is_no_credential_is_refused(change: dict[str, Any]) -> None:
    """Though it is signed."""
    with pytest.raises(MalformedDossier):
        check(signed(lambda one: one.update(change)))


@pytest.mark.parametrize(
    ("path", "said"),
    [
        (("credentialSubject", "pb:serial"), "2345ACDFH"),
        (("credentialSubject", "pb:judgements", 0, "pb:verdicts", 0, "pb:outcome"), "does_not_conform"),
        (("credentialSubject", "pb:judgements", 0, "pb:verdicts", 0, "pb:value"), "74.0"),
        (("evidence", 0, "pb:treeSize"), 99),
        (("validFrom",), "2024-01-01T00:00:00.000+00:00"),
        (("pb:assessorLevel",), "3rdParty"),
    ],
)
def test_a_claim_that_the_sheet_does_not_give_is_found_and_named(path: tuple[Any, ...], said: Any) -> None:
    """Though the issuer signed it."""

    def change(document: Any) -> None:
        for step in path[:-1]:
            document = document[step]
        document[path[-1]] = said

    document = check(signed(change))
    with pytest.raises(DossierRejected, match="claim differs") as found:
        check_claims(document, sheet("U-1"), ground(), "credentials/U-1.json")
    assert "credentials/U-1.json: " + "/".join(map(str, path)) == found.value.where


@pytest.mark.parametrize(
    "raw", [b"", b"[]\n", CREDENTIAL[:-1], CREDENTIAL + b"\n", CREDENTIAL.replace(b'":', b'": ', 1)]
)
def test_another_form_is_refused(raw: bytes) -> None:
    """There is one form of a credential of ours."""
    with pytest.raises(MalformedDossier):
        parse_credential(raw)


@pytest.mark.parametrize(
    "contexts", [None, [], ["x"], ["x", "y"], ["x", {"pb": 5}], ["x", {"pb": "https://x/"}], ["x", {}]]
)
def test_a_namespace_that_is_none_is_refused(contexts: Any) -> None:
    """It has to be said, in its place."""
    with pytest.raises(MalformedDossier):
        stated_terms({"@context": contexts})


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from(sorted(PLAIN)), _JSON)
def test_any_field_may_be_anything(name: str, value: Any) -> None:
    """The answer is an error of ours, unless it was only said again."""
    if value == PLAIN[name]:
        return
    with pytest.raises(LedgerError):
        check({**PLAIN, name: value})


def test_a_credential_is_canonical_json() -> None:
    """So that it is read by any program, and is the same to the byte."""
    assert encode(json.loads(CREDENTIAL)) + b"\n" == CREDENTIAL
