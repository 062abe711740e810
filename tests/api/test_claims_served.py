"""Claims over HTTP: the list, one claim, its answer, its letter, and the terms that the plant adopts."""

from __future__ import annotations

import io
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker
import pytest

from tests.api.running import Service, running
from tests.application.desk_stories import png

AT = "2026-03-10T08:00:00.000+00:00"
TERMS = """format = 1
keep_days = 365
[[term]]
months = 24
source = "plant"
[[term.exclusion]]
mode = "engraving"
words = "worn numbers are no fault"
[deadlines]
first_answer = 5
"""


def opened(claim: str, **fields: Any) -> dict[str, Any]:
    """A claim for a void."""
    return {"kind": "claim-opened", "at": AT, "claim": claim, "mode": "void", **fields}


def decided(claim: str, decision: str, reason: str, **fields: Any) -> dict[str, Any]:
    """A decision."""
    said = {"kind": "claim-decided", "at": AT, "claim": claim, "decision": decision, "reason": reason}
    return {**said, **fields}


def letter(service: Service, claim: str, role: str = "desk", key: str | None = None, **body: Any) -> httpx.Response:
    """Ask for a letter."""
    headers = service.key() if key is None else {"idempotency-key": key}
    return service[role].post(f"/claims/{claim}/letter", json=body, headers=headers)


def adopted(service: Service, text: str, role: str = "quality") -> httpx.Response:
    """Send a file of terms."""
    headers = {**service.key(), "content-type": "application/toml"}
    return service[role].post("/warranty/terms", content=text.encode(), headers=headers)


@pytest.fixture(scope="module")
def desk(service: Service) -> Service:
    """A claim with a photo, examined; one that only asks; one on an unknown number."""
    sent = service["desk"].post("/blobs", content=png(), headers={"content-type": "image/png"}).json()["digest"]
    evidence = [{"digest": sent, "what": "photo"}]
    told = [
        opened("WC-1", serial="P000001", bought_on="2026-03-05", claimant="Ann Example", evidence=evidence),
        {"kind": "claim-examined", "at": AT, "claim": "WC-1", "findings": ["void-at-pin"]},
        opened("WC-2", unit="U-000002", market="jp"),
        opened("WC-3", serial="NOBODY"),
    ]
    for record in told:
        assert 201 == service.say("desk", record).status_code
    return service


def test_one_claim_is_shown_whole(desk: Service) -> None:
    """Facts in order, the ball, the photo, what is next; the claimant's name nowhere."""
    answer = desk["desk"].get("/claims/WC-1")
    claim = answer.json()
    assert (200, "examined", "void or soft spot") == (answer.status_code, claim["state"], claim["mode_words"])
    assert ["claim-opened", "claim-examined"] == [fact["kind"] for fact in claim["facts"]]
    assert ["U-000001"] == [ball["unit"] for ball in claim["balls"]]
    assert ["stored"] == [file["file"] for file in claim["evidence"]]
    assert {"claim-decided"} <= {step["step"] for step in claim["next"]}
    assert "Ann" not in answer.text


def test_an_answer_comes_with_reasons_and_ways(desk: Service) -> None:
    """The term, what the facts speak for, what each decision needs, and the caution."""
    claim = desk["desk"].get("/claims/WC-1/answer").json()
    assert ("in term", "accept") == (claim["answer"]["balls"][0]["term"]["outcome"], claim["proposal"]["speaks_for"])
    assert {"accept", "reject", "goodwill", "need-more", "send-back"} == {
        way["decision"] for way in claim["proposal"]["ways"]
    }
    assert "a person decides" in claim["proposal"]["caution"]
    assert "need-more" == desk["desk"].get("/claims/WC-3/answer").json()["proposal"]["speaks_for"]


def test_claims_are_listed_by_what_is_asked(desk: Service) -> None:
    """By state, market, model and overdue, in pages; a filter that nobody knows is refused."""
    ask = desk["desk"].get
    assert ["WC-2"] == [one["claim"] for one in ask("/claims", params={"market": "jp"}).json()["claims"]]
    assert ["WC-1"] == [one["claim"] for one in ask("/claims", params={"state": "examined"}).json()["claims"]]
    assert ["WC-1", "WC-2"] == [one["claim"] for one in ask("/claims", params={"model": "M1"}).json()["claims"]]
    overdue = ask("/claims", params={"overdue": "true", "limit": 1}).json()
    assert (["WC-1"], "WC-1") == ([one["claim"] for one in overdue["claims"]], overdue["after"])
    assert overdue["claims"][0]["due"]["days_over"] > 0
    more = ask("/claims", params={"overdue": "true", "after": "WC-1"}).json()
    assert ["WC-2", "WC-3"] == [one["claim"] for one in more["claims"]]
    for wrong in ({"state": "lost"}, {"colour": "red"}, {"limit": 0}, {"since": "2026-02-30"}):
        assert 400 == ask("/claims", params=wrong).status_code


def test_a_letter_is_written_stored_and_entered_once(tmp_path: Path) -> None:
    """201, then 200 with the same entry; the PDF is read back by its digest and says the decision."""
    with running(tmp_path, balls=1) as service:
        service.say("desk", opened("WC-1", serial="P000001", claimant="Ann Example"))
        service.say("desk", decided("WC-1", "need-more", "photo-missing", answer_by="2026-04-01"))
        first, again = (letter(service, "WC-1", key="once") for _ in range(2))
        assert (201, 200, False, True) == (
            first.status_code, again.status_code, first.json()["repeated"], again.json()["repeated"],
        )  # fmt: skip
        for same in ("letter", "entry", "fact", "recorded_at"):
            assert first.json()[same] == again.json()[same]
        stored = service["desk"].get(f"/blobs/{first.json()['letter']}")
        assert "application/pdf" == stored.headers["content-type"]
        with closing(pypdfium2.PdfDocument(io.BytesIO(stored.content))) as document:
            text = " ".join(document[0].get_textpage().get_text_range().split())
        assert "Test plant" in text
        assert "Ann Example" in text
        assert "we need from you: photos of the fault" in text
        facts = service["desk"].get("/claims/WC-1").json()["facts"]
        assert ["claim-opened", "claim-decided", "claim-replied"] == [fact["kind"] for fact in facts]
        other = letter(service, "WC-1", key="once", to=["Bob Other"])
        assert (409, "key-reused") == (other.status_code, other.json()["code"])


def test_a_letter_needs_a_decision(desk: Service) -> None:
    """A claim that is only open or examined is a 422 with the mend; an unknown one a 404; no key a 400."""
    refused = letter(desk, "WC-2")
    assert (422, "rule-stands") == (refused.status_code, refused.json()["code"])
    assert "decide it first" in refused.json()["mend"]
    assert 404 == letter(desk, "WC-99").status_code
    assert 400 == desk["desk"].post("/claims/WC-2/letter", json={}).status_code
    assert 400 == letter(desk, "WC-2", language="xx").status_code
    assert 400 == letter(desk, "WC-2", to=[""]).status_code


@pytest.mark.parametrize("path", ["/claims/WC-99", "/claims/WC-99/answer", "/claims?after=WC-99"])
def test_what_is_not_there_is_a_404(desk: Service, path: str) -> None:
    """An unknown claim is not found, with where to look."""
    answer = desk["desk"].get(path)
    assert (404, "not-found") == (answer.status_code, answer.json()["code"])


def test_roles_are_kept(desk: Service) -> None:
    """The desk and the quality lead read and write, the auditor reads, a station does neither."""
    assert [200, 200, 200, 403] == [
        desk[role].get("/claims/WC-1").status_code for role in ("desk", "quality", "auditor", "station")
    ]
    assert [200, 403] == [desk[role].get("/claims/WC-1/answer").status_code for role in ("desk", "auditor")]
    assert [403, 403] == [letter(desk, "WC-1", role).status_code for role in ("auditor", "station")]
    assert 401 == desk.nobody.get("/claims/WC-1").status_code
    assert 403 == adopted(desk, TERMS, "desk").status_code


def test_terms_are_adopted_and_then_answered_by(tmp_path: Path) -> None:
    """The file is in force from its day on, shown with its digest; the same file again is a 200."""
    with running(tmp_path, balls=1) as service:
        assert "" == service["desk"].get("/warranty/terms").json()["source"].get("digest", "")
        first, again = adopted(service, TERMS), adopted(service, TERMS)
        assert (201, 200) == (first.status_code, again.status_code)
        shown = service["desk"].get("/warranty/terms").json()
        assert (first.json()["digest"], f"{first.json()['entry']}.0") == (
            shown["source"]["digest"], shown["source"]["fact"],
        )  # fmt: skip
        assert (365, 5, 24) == (
            shown["terms"]["keep_days"], shown["terms"]["deadlines"]["first_answer"], shown["terms"]["term"][0]["months"],
        )  # fmt: skip
        answer = service["desk"].get("/warranty", params={"serial": "P000001", "mode": "engraving"}).json()
        assert ("excluded", ["worn numbers are no fault"]) == (
            answer["balls"][0]["term"]["outcome"], answer["balls"][0]["term"]["reasons"],
        )  # fmt: skip
        assert shown["source"] == answer["terms"]
        early = service["desk"].get("/warranty", params={"serial": "P000001", "on": "2020-01-01"}).json()
        assert "digest" not in early["terms"]


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("format = 1\nterm = []\nkept = 3", "line 3"),
        (TERMS + "soon = 3\n", "warranty terms"),
        ("format", "warranty terms"),
    ],
)
def test_wrong_terms_are_refused_with_their_place(desk: Service, text: str, where: str) -> None:
    """A 400 that names the line or the file, and nothing is in force by it."""
    answer = adopted(desk, text)
    assert (400, "malformed-terms") == (answer.status_code, answer.json()["code"])
    assert where in answer.json()["where"]
