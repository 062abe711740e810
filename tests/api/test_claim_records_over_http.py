"""Claims as records over HTTP: their photos, what is refused and how, and a person's data erased."""

from __future__ import annotations

import hashlib
from typing import Any

import httpx

from tests.api.running import Service
from tests.application.files import PDF, SCRIPT, png
from tests.plant import AT


def sent(service: Service, raw: bytes, media_type: str = "image/png") -> str:
    """The digest of bytes that the desk sent."""
    answer = service["desk"].post("/blobs", content=raw, headers={"content-type": media_type})
    assert answer.status_code in {200, 201}, answer.text
    return str(answer.json()["digest"])


def opened(service: Service, claim: str, *photos: str, **fields: Any) -> httpx.Response:
    """A claim on ball U-000001."""
    evidence = [{"digest": digest, "what": "photo"} for digest in photos]
    said = {"kind": "claim-opened", "at": AT, "claim": claim, "mode": "void", "unit": "U-000001", "evidence": evidence}
    return service.say("desk", {**said, **fields})


def decided(service: Service, claim: str, decision: str, reason: str, **fields: Any) -> httpx.Response:
    """A decision on a claim."""
    said = {"kind": "claim-decided", "at": AT, "claim": claim, "decision": decision, "reason": reason}
    return service.say("desk", {**said, **fields})


def test_a_claim_is_taken_with_its_photo(service: Service) -> None:
    """By the desk alone; what does not fit is flagged, and nothing is held."""
    digest = sent(service, png(10))
    answer = opened(service, "WC-1", digest, claimant="a person", drilled={"on": "2026-01-05", "by": "a driller"})
    assert 201 == answer.status_code, answer.text
    breaches = {one["code"]: one["holds"] for found in answer.json()["breaches"] for one in found}
    assert {"claim-never-shipped": False, "claim-drilled-before-made": False} == breaches
    assert "a person" not in service["auditor"].get(f"/entries/{answer.json()['entry']}/bytes").text
    said = {"kind": "claim-opened", "at": AT, "claim": "WC-1B", "mode": "void"}
    assert 403 == service.say("station", said).status_code


def test_a_photo_that_is_none_is_refused(service: Service) -> None:
    """However it was called when it was sent; the problem names the place and the mend, and so for one not sent."""
    for digest, code in ((sent(service, SCRIPT), "rule-stands"), ("0" * 64, "unknown-subject")):
        answer = opened(service, "WC-2", sent(service, png(11)), digest)
        problem = answer.json()
        assert (422, code, "records[0].evidence[1]", True) == (
            answer.status_code, problem["code"], problem["where"], bool(problem["mend"]),
        )  # fmt: skip
    assert 201 == opened(service, "WC-2", sent(service, PDF, "application/pdf")).status_code


def test_a_decision_without_its_evidence_is_refused(service: Service) -> None:
    """It names what is missing; what the desk may choose from is listed with its source."""
    assert 201 == opened(service, "WC-3", mode="out-of-round").status_code
    answer = decided(service, "WC-3", "accept", "fault-found")
    assert (422, "records[0].reason", True) == (
        answer.status_code, answer.json()["where"], "lacks an examination" in answer.json()["detail"],
    )  # fmt: skip
    assert 422 == decided(service, "WC-3", "goodwill", "goodwill").status_code
    assert 201 == decided(service, "WC-3", "goodwill", "goodwill", note="granted by the head").status_code
    assert 409 == decided(service, "WC-3", "need-more", "photo-missing").status_code
    listed = service["desk"].get("/claim-words/reasons").json()
    needs = {one["reason"]: one["needs"] for one in listed["reasons"]}
    assert ([["an examination"]], "common practice, no source") == (needs["fault-found"], listed["source"])


def test_a_plant_adds_a_failure_mode(service: Service) -> None:
    """Quality adds it; before that a claim that names it is refused with the list."""
    refused = opened(service, "WC-4", mode="hums")
    assert (422, "records[0].mode") == (refused.status_code, refused.json()["where"])
    assert "crack-over-block" in refused.json()["detail"]
    added = {"kind": "failure-mode-added", "at": AT, "mode": "hums", "words": "hums on the lane"}
    assert 403 == service.say("desk", added).status_code
    said = service.say("quality", added)
    assert 201 == opened(service, "WC-4", mode="hums").status_code
    modes = {one["mode"]: one for one in service["desk"].get("/claim-words/modes").json()["modes"]}
    assert ("hums on the lane", said.json()["addresses"][0]) == (modes["hums"]["words"], modes["hums"]["fact"])
    assert {"mode": "void", "words": "void or soft spot"} == modes["void"]


def test_a_photo_is_erased_and_the_book_stays_whole(service: Service) -> None:
    """By quality or the keeper; reading it says so, sending it again is a conflict, and the claim still stands."""
    raw = png(12)
    digest = sent(service, raw)
    claim = opened(service, "WC-5", digest, mode="engraving", contact="a telephone number")
    said = {"kind": "blob-erasure", "at": AT, "blobs": [digest], "basis": "request", "reason": "asked"}
    assert 403 == service.say("desk", said).status_code
    assert raw == service["desk"].get(f"/blobs/{digest}").content
    erased = service.say("quality", said)
    assert 201 == erased.status_code, erased.text
    fields = {"entry": claim.json()["entry"], "fields": ["0/contact"], "basis": "request", "reason": "asked"}
    assert 201 == service.say("quality", {"kind": "erasure", "at": AT, **fields}).status_code
    read = service["desk"].get(f"/blobs/{digest}")
    assert (404, True) == (read.status_code, f"erased by fact {erased.json()['addresses'][0]}" in read.json()["detail"])
    again = service["desk"].post("/blobs", content=raw, headers={"content-type": "image/png"})
    assert (409, "contradiction") == (again.status_code, again.json()["code"])
    assert 422 == opened(service, "WC-6", digest).status_code
    assert hashlib.sha256(raw).hexdigest() == digest
    assert service.book.check().entries > claim.json()["entry"]
    assert "WC-5" in {one["claim"] for one in service["auditor"].get("/claims").json()["claims"]}
