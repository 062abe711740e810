"""What goes wrong at the desk over HTTP: each has its own clear answer, and what is taken is flagged and linked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from tests.api.running import Service, running
from tests.application.files import SCRIPT, png

AT = "2026-03-10T08:00:00.000+00:00"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Six balls: U-000001 was sent, U-000005 was scrapped, the others are on the shelf."""
    with running(tmp_path_factory.mktemp("desk"), balls=6, public_per_minute=60_000, public_burst=10_000) as service:
        sent = {"kind": "shipment", "at": AT, "shipment": "SH-1", "units": ["U-000001"], "consignee": "A shop"}
        assert 201 == service.say("station", {**sent, "purpose": "sample"}).status_code
        gone = {"kind": "scrap", "at": AT, "unit": "U-000005", "reason": "void", "how": "scrap"}
        assert 201 == service.say("quality", gone).status_code
        yield service


def opened(service: Service, claim: str, mode: str = "void", **fields: Any) -> httpx.Response:
    """A claim."""
    return service.say("desk", {"kind": "claim-opened", "at": AT, "claim": claim, "mode": mode, **fields})


def codes(answer: httpx.Response) -> set[str]:
    """What an entered claim was flagged with."""
    assert 201 == answer.status_code, answer.text
    breaches = [one for found in answer.json()["breaches"] for one in found]
    assert all(not one["holds"] and one["mend"] for one in breaches)
    return {one["code"] for one in breaches}


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"serial": "AAA-AAA-AA"}, "claim-foreign-number"),
        ({"serial": "NOBODY"}, "claim-foreign-number"),
        ({}, "claim-unknown-ball"),
        ({"unit": "U-000005"}, "claim-scrapped-ball"),
        ({"unit": "U-000002"}, "claim-never-shipped"),
        ({"unit": "U-000001", "bought_on": "2025-12-24"}, "claim-bought-before-made"),
        ({"unit": "U-000001", "bought_on": "2026-03-11"}, "claim-bought-after-claim"),
        ({"unit": "U-000001", "via": "SHOP-9"}, "claim-unknown-consignee"),
    ],
)
def test_a_claim_that_does_not_fit_is_taken_and_flagged(desk: Service, fields: dict[str, Any], expected: str) -> None:
    """Each by a code of its own with a mend; the ball is not held."""
    claim = f"F-{expected.upper()}-{len(str(fields))}"
    assert expected in codes(opened(desk, claim, **fields))
    assert 200 == desk["desk"].get(f"/claims/{claim}").status_code


def test_a_second_claim_for_a_fault_is_linked_from_both_sides(desk: Service) -> None:
    """The flag names the first one's fact, and each claim shows the other."""
    first = opened(desk, "R-1", "pin-loose", unit="U-000001")
    second = opened(desk, "R-2", "pin-loose", serial="P000001")
    assert "claim-repeated" in codes(second)
    flags = {one["code"]: one for found in second.json()["breaches"] for one in found}
    assert first.json()["addresses"][0] == flags["claim-repeated"]["fact"]
    links = [
        {one["claim"]: one["link"] for one in desk["desk"].get(f"/claims/{claim}").json()["linked"]}
        for claim in ("R-1", "R-2")
    ]
    assert ("later", "same fault") == (links[0]["R-2"], links[1]["R-1"])


@pytest.mark.parametrize(
    ("record", "status", "code", "where"),
    [
        ({"kind": "claim-opened", "claim": "B-1", "mode": "hums"}, 422, "unknown-subject", "mode"),
        ({"kind": "claim-opened", "claim": "B-1", "mode": "void", "unit": "U-9"}, 422, "unknown-subject", "unit"),
        ({"kind": "claim-opened", "claim": "B-1", "mode": "void", "bought_on": "2026-02-30"}, 400, "malformed-record", "bought_on"),
        ({"kind": "claim-decided", "claim": "NONE", "decision": "accept", "reason": "in-term"}, 422, "unknown-subject", "claim"),
        ({"kind": "claim-replied", "claim": "NONE", "letter": "0" * 64}, 422, "unknown-subject", "letter"),
        ({"kind": "claim-replaced", "claim": "NONE", "unit": "U-000002", "term": "fresh", "old_ball": "kept"}, 422, "unknown-subject", "claim"),
    ],
)  # fmt: skip
def test_what_says_nothing_is_refused_by_its_field(
    desk: Service, record: dict[str, Any], status: int, code: str, where: str
) -> None:
    """Status, code, place and mend."""
    answer = desk.say("desk", {"at": AT, **record})
    problem = answer.json()
    assert (status, code, f"records[0].{where}") == (answer.status_code, problem["code"], problem["where"])
    assert problem["mend"]


def test_a_photo_that_is_none_and_one_that_was_erased_are_told_apart(desk: Service) -> None:
    """By the problem, which names the place; neither is entered."""
    raw = png(90)
    kept = {}
    for name, content in (("script", SCRIPT), ("photo", raw)):
        sent = desk["desk"].post("/blobs", content=content, headers={"content-type": "image/png"})
        kept[name] = sent.json()["digest"]
    gone = {"kind": "blob-erasure", "at": AT, "blobs": [kept["photo"]], "basis": "request", "reason": "asked"}
    assert 201 == desk.say("quality", gone).status_code
    details = []
    for digest in (kept["script"], kept["photo"], "1" * 64):
        answer = opened(desk, "P-1", evidence=[{"digest": digest, "what": "photo"}])
        assert (422, "records[0].evidence[0]") == (answer.status_code, answer.json()["where"])
        details.append(answer.json()["detail"])
    assert ["no picture" in details[0], "was erased" in details[1], "is not stored" in details[2]] == [True] * 3


def test_a_decision_is_refused_without_what_its_reason_needs(desk: Service) -> None:
    """It says what is missing, that the table has no source, and what to do; a fact of the claim's own is no ground."""
    own = opened(desk, "D-1", "engraving", unit="U-000001").json()["addresses"][0]
    said = {"kind": "claim-decided", "at": AT, "claim": "D-1"}
    for decision, reason, more, lacks in (
        ("accept", "in-term", {}, "the date of purchase"), ("reject", "misuse", {}, "an examination"),
        ("accept", "known-fault", {"rests_on": [own]}, "a fact that it rests on"),
        ("reject", "claimed-before", {"rests_on": [own]}, "a fact of the other claim"),
    ):  # fmt: skip
        answer = desk.say("desk", {**said, "decision": decision, "reason": reason, **more})
        assert (422, "records[0].reason") == (answer.status_code, answer.json()["where"])
        assert lacks in answer.json()["detail"]
        assert "common practice, no source" in answer.json()["detail"]


def test_a_hold_is_lifted_by_those_who_may(desk: Service) -> None:
    """Beyond one's role it is a 403; the same person twice on a recall is a 422; what is lifted is a 409."""
    held = {"kind": "hold-placed", "at": AT, "hold": "H-1", "reason": "x", "node": "unit:U-000006", "recall": True}
    assert 201 == desk.say("station", held).status_code
    lift = {"kind": "hold-lifted", "at": AT, "hold": "H-1", "reason": "sound"}
    for role in ("station", "inspector", "desk", "auditor", "admin"):
        answer = desk.say(role, lift)
        assert (403, True) == (answer.status_code, "quality" in answer.json()["detail"] or "auditor" == role)
    assert [201, 422] == [desk.say("quality", lift).status_code for _ in range(2)]
    with desk.client(desk.book.open_account("Second", ("quality",))[1]) as second:
        for status in (201, 409):
            answer = second.post("/submissions", json={"records": [lift]}, headers=desk.key())
            assert status == answer.status_code, answer.text


LOOKS = {
    "/claims": {"desk", "quality", "auditor"},
    "/claims/R-1": {"desk", "quality", "auditor"},
    "/claims/R-1/answer": {"desk", "quality"},
    "/claim-words/modes": {"desk", "quality", "auditor"},
    "/cases": {"desk", "quality", "auditor"},
    "/suspects?sort=shell-lot&name=SL-1": {"desk", "quality", "auditor"},
    "/consignees": {"desk", "quality", "auditor"},
    "/signals": {"desk", "quality", "auditor", "inspector"},
    "/find?serial=P000001": {"desk", "quality", "auditor", "inspector", "station", "admin"},
}


@pytest.mark.parametrize("path", LOOKS)
def test_each_address_is_for_its_roles_alone(desk: Service, path: str) -> None:
    """The others are told so before anything is looked up, and whoever has no token is not let in."""
    opened(desk, "R-1", "pin-loose", unit="U-000001")
    seen = {role for role in desk.tokens if 200 == desk[role].get(path).status_code}
    refused = {role for role in desk.tokens if 403 == desk[role].get(path).status_code}
    assert (LOOKS[path], set(desk.tokens) - LOOKS[path], 401) == (seen, refused, desk.nobody.get(path).status_code)


@pytest.mark.parametrize(
    "path",
    ["/claims/..%2F..%2Fetc%2Fpasswd", "/blobs/..%2F..%2Fbook.sqlite", "/cases/..%2F/letters/..%2F..%2Fx.pdf", "/cases/C-1/letters/%2e%2e.pdf"],
)  # fmt: skip
def test_no_name_in_an_address_leads_to_a_file(desk: Service, path: str) -> None:
    """It is looked up in the book, and is not there."""
    answer = desk["quality"].get(path)
    assert (404, "application/problem+json") == (answer.status_code, answer.headers["content-type"])


def test_files_are_handed_out_for_saving(desk: Service) -> None:
    """A page that was sent as a photo's neighbour is not shown as one."""
    sent = desk["desk"].post("/blobs", content=SCRIPT, headers={"content-type": "text/html"}).json()["digest"]
    headers = desk["desk"].get(f"/blobs/{sent}").headers
    assert ("attachment", "nosniff", True) == (
        headers["content-disposition"].partition(";")[0], headers["x-content-type-options"],
        "sandbox" in headers["content-security-policy"],
    )  # fmt: skip
