"""A plant's own rulebooks and checklists, and its release policy, over HTTP."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest

from ledger.book.receipt import check_receipt
from ledger.conformity.rulebook import rulebook_digest, shipped_rulebooks
from ledger.conformity.toml_text import LARGEST_FILE
from tests.api.running import Service, engraved, running
from tests.application.own_files import BROKEN, BROKEN_LINE, CHECKLIST, OWN, STRICTER
from tests.plant import AT, ORIGIN, VERIFIER

TOML = "application/toml"
POLICY = {"kind": "release-policy-set", "at": AT, "decision": "guarded", "undecided_by": ["admin"]}
MASS = OWN.replace(b"own.hardness", b"own.mass").replace(b'"hardness"', b'"mass"').replace(b'"shore_d"', b'"lb"')
MASS = MASS.replace(b'">="', b'"<="').replace(b'"73"', b'"15.10"')
"""A ball of 15.05 lb with U = 0.2 lb meets it, and is not shown to."""


def send(
    service: Service, path: str, raw: bytes, key: str = "", role: str = "quality", media: str = TOML
) -> httpx.Response:
    """Send a file."""
    headers = {"idempotency-key": key} if key else service.key()
    return service[role].post(path, content=raw, headers={**headers, "content-type": media})


def test_an_own_rulebook_is_adopted_and_shown(tmp_path: Path) -> None:
    """201 with a receipt, then 200; it stands beside those that ship, and two editions are told apart."""
    with running(tmp_path) as service:
        first, again = send(service, "/rulebooks", OWN), send(service, "/rulebooks", OWN)
        second = send(service, "/rulebooks", STRICTER, "second")
        shown = {one["id"]: one for one in service["desk"].get("/rulebooks").json()["rulebooks"]}
        digests = rulebook_digest(OWN), rulebook_digest(STRICTER)
        diff = service["auditor"].get(f"/rulebooks/{digests[0]}/diff/own-limits").json()
        raw = service["auditor"].get(f"/entries/{first.json()['entry']}/bytes").content
    told = first.json()
    assert (201, 200, 201) == (first.status_code, again.status_code, second.status_code)
    assert ("own-limits", digests[0], False, True) == (
        told["id"], told["digest"], told["repeated"], again.json()["repeated"],
    )  # fmt: skip
    assert told["entry"] == again.json()["entry"] == check_receipt(told["receipt"], raw, [VERIFIER], ORIGIN).index
    assert {*shipped_rulebooks(), "own-limits"} == set(shown)
    assert (digests[1], False, True, "2") == (
        shown["own-limits"]["digest"], shown["own-limits"]["ships"], shown["own-limits"]["adopted"],
        shown["own-limits"]["edition"],
    )  # fmt: skip
    assert (True, False) == (shown["pba"]["ships"], shown["pba"]["adopted"])
    assert (digests, True) == ((diff["one"], diff["two"]), any("80" in one["sentence"] for one in diff["differences"]))


def test_a_wrong_file_names_the_line_and_the_mend(service: Service) -> None:
    """As a problem; the book does not grow."""
    before = service["quality"].get("/standing").json()["entries"]
    answer = send(service, "/rulebooks", BROKEN)
    problem = answer.json()
    assert (400, "malformed-rulebook", f"rulebook line {BROKEN_LINE}") == (
        answer.status_code, problem["code"], problem["where"],
    )  # fmt: skip
    assert f"line {BROKEN_LINE}" in problem["mend"]
    answer = send(service, "/checklists", CHECKLIST.replace(b'text = "Five balls"', b'text = ""'))
    assert (400, "checklist line 8") == (answer.status_code, answer.json()["where"])
    for raw in (b"", b"\xff\xfe", b"x" * 10, b"a = 1"):
        for path in ("/rulebooks", "/checklists"):
            answer = send(service, path, raw)
            assert (400, True) == (answer.status_code, bool(answer.json()["mend"]))
    assert before == service["quality"].get("/standing").json()["entries"]


@pytest.mark.parametrize("path", ["/rulebooks", "/checklists"])
def test_what_may_be_sent_and_by_whom(service: Service, path: str) -> None:
    """TOML of a limited length, with a key, by quality."""
    assert (400, "Content-Type") == (
        send(service, path, OWN, media="application/json").status_code,
        send(service, path, OWN, media="application/json").json()["where"],
    )
    assert 413 == send(service, path, b"#" * (LARGEST_FILE + 1)).status_code
    assert 400 == service["quality"].post(path, content=OWN, headers={"content-type": TOML}).status_code
    for role in ("station", "inspector", "desk", "auditor", "admin"):
        assert 403 == send(service, path, OWN, role=role).status_code
    assert 401 == service.nobody.post(path, content=OWN, headers={"content-type": TOML}).status_code


def test_a_key_is_for_one_file(service: Service) -> None:
    """Another file under the key of the first is a conflict."""
    assert 201 == send(service, "/checklists", CHECKLIST, "a-list").status_code
    assert 200 == send(service, "/checklists", CHECKLIST, "a-list").status_code
    other = CHECKLIST.replace(b"balls = 5", b"balls = 6")
    assert (409, "key-reused") == (
        send(service, "/checklists", other, "a-list").status_code,
        send(service, "/checklists", other, "a-list").json()["code"],
    )
    shown = service["station"].get("/checklists").json()["checklists"]
    own = [one for one in shown if "digest" in one]
    assert [("own-submission", rulebook_digest(CHECKLIST))] == [(one["checklist"]["id"], one["digest"]) for one in own]


def test_the_policy_is_said_and_shown(tmp_path: Path) -> None:
    """By a record of quality's; before it, what is shown says that there is none."""
    with running(tmp_path) as service:
        before = service["desk"].get("/release-policy").json()
        refused = service.say("station", POLICY)
        said = service.say("quality", POLICY)
        after = service["desk"].get("/release-policy").json()
    assert ("", (403, 201)) == (before["stated"], (refused.status_code, said.status_code))
    assert (said.json()["addresses"][0], ["admin"], "shown") == (after["stated"], after["undecided_by"], after["house"])
    assert "rule of the house: guarded acceptance, w = 1 U" in after["words"]


def _undecided(service: Service) -> None:
    """A ball that its plan's own rulebook leaves undecided, as nobody has approved its model: released as demo or first."""
    assert 201 == send(service, "/rulebooks", MASS).status_code
    plan = {"kind": "plan-set", "at": AT, "model": "M1", "windows": [], "inspect": [], "rulebooks": ["own-limits"]}
    approval = {
        "kind": "approval-entered", "at": AT, "model": "M1", "body": "own", "revision": 1, "status": "approved",
        "from_on": "2026-01-01", "classes": [15],
    }  # fmt: skip
    assert 201 == service.say("quality", plan, approval).status_code
    readings = [{"quantity": "mass", "unit": "lb", "values": ["15.05"], "gauge": "G1", "expanded": "0.2"}]
    ball = engraved(1, readings=readings)
    assert 201 == service["station"].post("/balls", json=ball, headers=service.key()).status_code


def test_an_undecided_ball_is_released_by_the_role_that_the_policy_names(tmp_path: Path) -> None:
    """By either way in, quality alone is forbidden it; quality that is admin too may, saying that it is undecided."""
    with running(tmp_path) as service:
        _undecided(service)
        wanted = {"units": ["U-000001"], "grade": "first", "undecided": True}
        nobody = service["quality"].post("/releases", json=wanted, headers=service.key())
        service.say("quality", POLICY)
        one = service["quality"].post("/releases", json=wanted, headers=service.key())
        both = service.client(service.book.open_account("Two hats", ("quality", "admin"))[1])
        silent = both.post("/releases", json={**wanted, "undecided": False}, headers=service.key())
        key = service.key()
        released = both.post("/releases", json=wanted, headers=key)
        said = service["auditor"].get(f"/entries/{released.json()['entry']}").json()["entry"]["said"]["records"][0]
        service["station"].post(
            "/balls",
            json=engraved(
                2, readings=[{"quantity": "mass", "unit": "lb", "values": ["15.05"], "gauge": "G1", "expanded": "0.2"}]
            ),
            headers=service.key(),
        )
        judged = service["quality"].get("/balls/U-000002").json()["judged"][0]
        both.close()
    assert (422, 403, 422, 201) == (
        nobody.status_code, one.status_code, silent.status_code, released.status_code,
    ), released.text  # fmt: skip
    assert "admin" in one.json()["mend"]
    assert "undecided: true" in silent.json()["mend"]
    assert (True, "undecided") == (said["undecided"], said["bases"][0]["outcome"])
    assert ("undecided", said["policy"]) == (judged["house"], judged["policy"])


def test_a_release_said_as_a_record_is_judged_again(tmp_path: Path) -> None:
    """A false outcome in POST /submissions is refused there, and so is an undecided one by the wrong hat."""
    with running(tmp_path) as service:
        _undecided(service)
        service.say("quality", POLICY)
        ask = service["quality"].post(
            "/releases", json={"units": ["U-000001"], "grade": "second"}, headers=service.key()
        )
        second = service["auditor"].get(f"/entries/{ask.json()['entry']}").json()["entry"]["said"]["records"][0]
        service.say("quality", {"kind": "rework", "at": AT, "unit": "U-000001", "operation": "polish", "station": "P1"})
        false = {**second, "grade": "first", "bases": [{**second["bases"][0], "outcome": "conforms"}]}
        lied = service.say("quality", false)
        alone = service.say("quality", {**second, "grade": "first", "undecided": True})
    assert (422, "records[0].bases[0].outcome") == (lied.status_code, lied.json()["where"])
    assert (403, "records[0].undecided") == (alone.status_code, alone.json()["where"])
