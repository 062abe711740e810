"""Checking a credential with nothing but the issuer's document and the contexts that are expected: no network, no clock.

In this order: the shape and the contexts, which must be exactly those expected; who issued it, and that the key named is one
by which the issuer makes assertions; the proof; the dates, against an instant that the caller gives.

A good credential says that its issuer said so, and no more. That its claims follow from the book is for who has the entries
(`check_claims`), and that the issuer's document is the issuer's for who can ask the domain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from ledger.book.canonical import decode
from ledger.errors import DossierRejected, LedgerError, MalformedDossier
from ledger.evidence.credential import VC_CONTEXT, Ground, credential
from ledger.evidence.data_integrity import check_proof
from ledger.evidence.did_web import DidDocument
from ledger.evidence.dossier_format import BallSheet, first_difference, told_short
from ledger.evidence.multibase import parse_multikey
from ledger.evidence.own_terms import PREFIX


def parse_credential(raw: bytes, where: str = "credential") -> dict[str, Any]:
    """A credential of ours, from its one form. Raises MalformedDossier."""
    try:
        secured = decode(raw.removesuffix(b"\n"))
    except LedgerError as error:
        raise MalformedDossier("credential is not in its one form", got=str(error), where=where) from error
    if not isinstance(secured, dict) or not raw.endswith(b"\n"):
        raise MalformedDossier("credential is not a JSON object and a newline", where=where)
    return secured


def check_credential(
    secured: Mapping[str, Any],
    issuer: DidDocument,
    contexts: Sequence[Any],
    *,
    at_ms: int | None = None,
    where: str = "credential",
) -> dict[str, Any]:
    """Check a credential; the credential without its proof.

    ``contexts``: the whole list that it must have. ``at_ms``: the instant (POSIX milliseconds) at which it must be valid;
    without one, dates are not held against anything. Raises MalformedDossier, DossierRejected, MalformedKey.
    """
    if secured.get("@context") != list(contexts) or not contexts or contexts[0] != VC_CONTEXT:
        raise DossierRejected(
            "credential has other contexts", expected=list(contexts), got=secured.get("@context"), where=where
        )
    types = secured.get("type")
    if not isinstance(types, list) or "VerifiableCredential" not in types:
        raise MalformedDossier("not a verifiable credential", got=types, where=f"{where}/type")
    if not isinstance(secured.get("credentialSubject"), dict):
        raise MalformedDossier("credential has no subject", where=f"{where}/credentialSubject")
    if _issuer_of(secured) != issuer.id:
        raise DossierRejected(
            "credential has another issuer", expected=issuer.id, got=_issuer_of(secured), where=f"{where}/issuer"
        )
    proof = secured.get("proof")
    method = proof.get("verificationMethod") if isinstance(proof, dict) else None
    key = issuer.key(method) if isinstance(method, str) else None
    if key is None:
        raise DossierRejected("issuer makes no assertions by this key", got=method, where=f"{where}/proof")
    document = check_proof(secured, parse_multikey(key.public), f"{where}/proof")
    _check_dates(secured, at_ms, where)
    return document


def _issuer_of(secured: Mapping[str, Any]) -> Any:
    issuer = secured.get("issuer")
    return issuer.get("id") if isinstance(issuer, dict) else issuer


def _check_dates(secured: Mapping[str, Any], at_ms: int | None, where: str) -> None:
    starts, ends = (_instant(secured, name, where) for name in ("validFrom", "validUntil"))
    if starts is not None and ends is not None and ends < starts:
        raise DossierRejected("credential ends before it begins", where=f"{where}/validUntil")
    if at_ms is None:
        return
    if starts is not None and at_ms < starts:
        raise DossierRejected("credential is not valid yet", got=secured["validFrom"], where=f"{where}/validFrom")
    if ends is not None and at_ms > ends:
        raise DossierRejected(
            "credential is not valid any more", got=secured["validUntil"], where=f"{where}/validUntil"
        )
    created = _instant(secured["proof"], "created", f"{where}/proof")
    if created is not None and at_ms < created:
        raise DossierRejected("proof is of the future", got=secured["proof"]["created"], where=f"{where}/proof/created")


def _instant(fields: Mapping[str, Any], name: str, where: str) -> int | None:
    """POSIX milliseconds of a date with its offset; the forms of VC 2.0 are more than those of the book."""
    text = fields.get(name)
    if text is None:
        return None
    try:
        instant = datetime.fromisoformat(text)
    except (TypeError, ValueError) as error:
        raise MalformedDossier("no such instant", got=text, where=f"{where}/{name}") from error
    if instant.tzinfo is None:
        raise MalformedDossier("instant has no offset", got=text, where=f"{where}/{name}")
    return round(instant.timestamp() * 1000)


def stated_terms(secured: Mapping[str, Any], where: str = "credential") -> str:
    """The namespace that a credential gives our prefix. Raises MalformedDossier."""
    contexts = secured.get("@context")
    own = contexts[1] if isinstance(contexts, list) and len(contexts) == 2 else None
    terms = own.get(PREFIX) if isinstance(own, dict) else None
    if not isinstance(terms, str) or not terms.endswith("/terms/"):
        raise MalformedDossier("credential has other contexts", expected=f"that of VC 2.0, and {PREFIX}", where=where)
    return terms


def check_claims(document: Mapping[str, Any], sheet: BallSheet, ground: Ground, where: str) -> None:
    """Check that a credential says what the sheet gives. Raises DossierRejected naming the first claim that differs."""
    differs = first_difference(dict(document), credential(sheet, ground))
    if differs is not None:
        field, said, found = differs
        raise DossierRejected(
            "claim differs from the sheet", expected=told_short(found), got=told_short(said), where=f"{where}: {field}"
        )
