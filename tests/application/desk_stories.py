"""A desk's day for tests: claims with photos and receipts, decisions, letters, terms, on the floor's plant."""

from __future__ import annotations

import hashlib
import io
from typing import Any

from PIL import Image

from ledger.application.claim_letters import LetterAsked, Written, send_letter
from ledger.application.claim_list import Claims, ClaimsAsked, claims_list
from ledger.application.claim_view import ClaimView, claim_view
from ledger.application.terms_in_force import terms_adoption
from ledger.application.warranty_desk import ClaimAnswer, claim_answer
from ledger.store.blobs import put_blob
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at


def png(mark: str = "") -> bytes:
    """A picture of one point; another colour for another mark."""
    colour = tuple(hashlib.sha256(mark.encode()).digest()[:3])
    raw = io.BytesIO()
    Image.new("RGB", (1, 1), colour).save(raw, "PNG")
    return raw.getvalue()


def photo(floor: Floor, mark: str = "") -> dict[str, str]:
    """A photo, stored."""
    return {"digest": put_blob(floor.book.store, png(mark), "image/png").digest, "what": "photo"}


def examined(claim: str, hours: float = 310, *findings: str, **fields: Any) -> dict[str, Any]:
    """What was found."""
    said = {
        "kind": "claim-examined",
        "at": at(hours),
        "claim": claim,
        "findings": list(findings or ("crack-at-block",)),
    }
    return {**said, **fields}


def decided(claim: str, decision: str, reason: str, hours: float = 320, **fields: Any) -> dict[str, Any]:
    """A decision."""
    said = {"kind": "claim-decided", "at": at(hours), "claim": claim, "decision": decision, "reason": reason}
    return {**said, **fields}


def replaced(claim: str, unit: str, hours: float = 330, **fields: Any) -> dict[str, Any]:
    """Another ball took its place, with a fresh term; the old one stays with its owner."""
    said = {"kind": "claim-replaced", "at": at(hours), "claim": claim, "unit": unit}
    return {**said, "term": "fresh", "old_ball": "kept", **fields}


def sent(shipment: str, *units: str, hours: float = 100, **fields: Any) -> dict[str, Any]:
    """Balls that left, not for sale, so that nothing but their engraving is asked of them."""
    said = {"kind": "shipment", "at": at(hours), "shipment": shipment, "units": list(units), "consignee": "a shop"}
    return {**said, "purpose": "display", **fields}


def adopt_terms(floor: Floor, text: str, key: str = "terms") -> Any:
    """Adopt a file of terms; the entry."""
    adoption, waiting = floor.book.adopt(terms_adoption, text.encode(), key, floor.lead)
    assert "warranty" == adoption.id
    return waiting.result(30)


def seen(floor: Floor, claim: str) -> ClaimView:
    """One claim whole."""
    with open_reader(floor.book.store) as reader:
        return claim_view(reader, claim, floor.now_ms)


def answered(floor: Floor, claim: str) -> ClaimAnswer:
    """The answer for a claim."""
    with open_reader(floor.book.store) as reader:
        return claim_answer(reader, claim)


def listed(floor: Floor, **asked: Any) -> Claims:
    """A page of claims."""
    with open_reader(floor.book.store) as reader:
        return claims_list(reader, ClaimsAsked(**asked), floor.now_ms)


def letter(floor: Floor, claim: str, key: str = "letter", **asked: Any) -> tuple[Written, Any]:
    """A letter, written and entered."""
    written = send_letter(floor.book, LetterAsked(claim, **asked), key, floor.lead)
    return written, written.entered.result(30)
