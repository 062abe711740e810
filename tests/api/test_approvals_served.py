"""An approval file over HTTP, on each database: drawn, answered, frozen, signed by two, handed over and answered."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.conformity.rulebook import shipped_rulebooks
from tests.api.running import Service, running
from tests.application.approved import LIST
from tests.application.files import PDF, png
from tests.plant import AT
from tests.stores import fresh_database, postgres_server

CHECKLIST = LIST.replace(b'quantities = ["mass", "hardness"]', b'quantities = ["mass"]')


@pytest.fixture(params=["sqlite", "postgresql"], scope="module")
def plant(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with eight balls of SL-1, its rulebook and checklist adopted, and a third person of quality."""
    folder: Path = tmp_path_factory.mktemp("approvals")
    if request.param == "sqlite":
        with running(folder, balls=8) as service:
            yield ready(service)
        return
    with postgres_server() as server, running(folder, balls=8, url=fresh_database(server)) as service:
        yield ready(service)


def ready(service: Service) -> Service:
    """The service once its files are adopted."""
    digest = shipped_rulebooks()["usbc-2026"].digest
    adopted = {"kind": "rulebook-adopted", "at": AT, "rulebook": "usbc-2026", "digest": digest}
    assert 201 == service.say("quality", adopted).status_code
    headers = {**service.key(), "content-type": "application/toml"}
    answer = service["quality"].post("/checklists", content=CHECKLIST, headers=headers)
    assert 201 == answer.status_code, answer.text
    return service


def checklist(service: Service) -> str:
    """The digest of the checklist in force."""
    seen = service["quality"].get("/checklists").json()["checklists"]
    return next(str(one["digest"]) for one in seen if "digest" in one)


def opened(service: Service, file: str = "AF-1", **fields: Any) -> httpx.Response:
    """Open a file about M1 at 15 lb."""
    said = {"kind": "approval-file-opened", "at": AT, "file": file, "model": "M1", "revision": 1, "body": "body-a"}
    rulebook = shipped_rulebooks()["usbc-2026"].digest
    listed = checklist(service)
    return service.say("quality", {**said, "classes": [15], "rulebook": rulebook, "checklist": listed, **fields})


def step(service: Service, path: str, body: Any = None, file: str = "AF-1", **given: Any) -> httpx.Response:
    """A step of a file, by default by quality."""
    client = given.get("client", service["quality"])
    headers = given.get("headers", service.key())
    sent = {} if body is None else {"json": body}
    answer: httpx.Response = client.post(f"/approvals/{file}/{path}", headers=headers, **sent)
    return answer


def entered(answer: httpx.Response) -> dict[str, Any]:
    """What was entered; it must be new."""
    assert 201 == answer.status_code, answer.text
    told: dict[str, Any] = answer.json()
    return told


def stored(service: Service, raw: bytes, media_type: str) -> str:
    """The digest of a file that is sent."""
    answer = service["quality"].post("/blobs", content=raw, headers={"content-type": media_type})
    assert answer.status_code in {200, 201}, answer.text
    return str(answer.json()["digest"])


def two_people(service: Service) -> list[httpx.Client]:
    """Clients of two more accounts with the role of quality."""
    tokens = [service.book.open_account(name, ("quality",))[1] for name in ("Second", "Third")]
    return [service.client(token) for token in tokens]


def test_a_file_goes_from_its_opening_to_its_answer(plant: Service) -> None:
    """Every step over HTTP, and each view says what is missing next."""
    assert 201 == opened(plant).status_code
    answer = plant["auditor"].get("/approvals/AF-1/candidates")
    assert [(15, 8)] == [(one["weight_class"], one["candidates"]) for one in answer.json()["classes"]]
    announced = entered(step(plant, "announcements", {"classes": [{"weight_class": 15, "balls": 3}]}))
    drawn = entered(step(plant, "draws"))
    assert "receipt" in drawn
    told = plant["inspector"].get("/approvals/AF-1").json()
    line = told["page"]["announcements"][0]
    assert (announced["facts"][0], drawn["facts"][0]) == (line["fact"], line["drawn"])
    balls = [one["unit"] for one in told["page"]["samples"]]
    assert "1 of 3 items met; photo mark missing of" in told["approval"]["said"]
    answer_all(plant, balls)
    freeze = entered(step(plant, "freezes", {}))["facts"][0]
    words = plant["quality"].get("/approvals/AF-1").json()["sign"]
    assert freeze in words
    refused = step(plant, "signatures", {"freeze": freeze})
    assert (422, "rule-stands") == (refused.status_code, refused.json()["code"])
    for client in two_people(plant):
        entered(step(plant, "signatures", {"freeze": freeze}, client=client))
        client.close()
    sent = {"kind": "approval-file-handed-over", "at": AT, "file": "AF-1", "freeze": freeze, "dossier": "d" * 64}
    assert 201 == plant.say("quality", {**sent, "to": "Body A"}).status_code
    approved = {"kind": "approval-entered", "at": AT, "model": "M1", "body": "body-a", "revision": 1}
    approved |= {"status": "approved", "from_on": "2026-04-01", "classes": [15]}
    reply = {"kind": "approval-file-answered", "at": AT, "file": "AF-1", "answer": "approved", "entered": ".0"}
    assert 201 == plant.say("quality", approved, reply).status_code
    told = plant["auditor"].get("/approvals/AF-1").json()
    assert ("answered", "approved", 3) == (
        told["approval"]["state"],
        told["approval"]["answer"],
        told["approval"]["met"],
    )
    listed = plant["inspector"].get("/approvals").json()
    assert ["AF-1"] == [one["file"] for one in listed["approvals"]]
    assert "approval rests with the governing body" in listed["caution"]
    assert plant.book.check().views_compared


def answer_all(service: Service, balls: list[str]) -> None:
    """Every item of the checklist answered, by an inspector."""
    paper, photo = stored(service, PDF, "application/pdf"), stored(service, png(), "image/png")
    said = {"kind": "approval-item-answered", "at": AT, "file": "AF-1"}
    sheet = {"documents": [{"name": "data sheet", "digest": paper}], "statement": "recipe 7"}
    photos = [{"name": "mark", "digest": photo, "unit": unit} for unit in balls]
    fields = [{"name": "coverstock", "value": "urethane"}]
    for item in ({"item": "sheet", **sheet, "fields": fields}, {"item": "photos", "photos": photos}):
        answer = service.say("inspector", {**said, **item})
        assert 201 == answer.status_code, answer.text


def test_the_same_key_gives_the_same_entry(plant: Service) -> None:
    """200 and the same facts; a key that was used for another step is refused."""
    assert 201 == opened(plant, "AF-2").status_code
    headers = plant.key()
    body = {"classes": [{"weight_class": 15, "balls": 1}]}
    first = step(plant, "announcements", body, "AF-2", headers=headers)
    again = step(plant, "announcements", body, "AF-2", headers=headers)
    assert (201, 200, first.json()["facts"]) == (first.status_code, again.status_code, again.json()["facts"])
    assert 409 == step(plant, "draws", None, "AF-2", headers=headers).status_code


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("announcements", {"classes": []}, 400),
        ("announcements", {"classes": [{"weight_class": 3, "balls": 1}]}, 400),
        ("announcements", {"classes": [{"weight_class": 15, "balls": 0}]}, 400),
        ("announcements", {"classes": [{"weight_class": 15, "balls": 1}], "colour": 1}, 400),
        ("announcements", {"classes": [{"weight_class": 15, "balls": 1}] * 2}, 409),
        ("announcements", {"classes": [{"weight_class": 15, "balls": 999}], "why": "more"}, 422),
        ("announcements", {"classes": [{"weight_class": 15, "balls": 1}], "lots": ["SL-9"]}, 422),
        ("announcements", {"classes": [{"weight_class": 15, "balls": 1}], "states": ["scrapped"]}, 400),
        ("replacements", {"unit": "U-999999", "reason": "dropped"}, 422),
        ("replacements", {"unit": "U 1", "reason": "dropped"}, 400),
        ("freezes", {"left_open": ["not-an-item"]}, 422),
        ("freezes", [], 400),
        ("signatures", {"freeze": "0.0"}, 422),
        ("signatures", {"freeze": "zero"}, 400),
        ("signatures", b"{", 400),
    ],
)
def test_odd_input_has_a_clear_answer(plant: Service, path: str, body: Any, status: int) -> None:
    """Each with a code and a place; none is a fault of the service."""
    if 404 == plant["quality"].get("/approvals/AF-3").status_code:
        assert 201 == opened(plant, "AF-3").status_code
    if isinstance(body, bytes):
        headers = {**plant.key(), "content-type": "application/json"}
        answer = plant["quality"].post(f"/approvals/AF-3/{path}", content=body, headers=headers)
    else:
        answer = step(plant, path, body, "AF-3")
    assert status == answer.status_code, answer.text
    assert answer.json()["code"]


def test_a_file_that_is_none_is_not_found(plant: Service) -> None:
    """Whatever is asked of it."""
    for path in ("/approvals/AF-99", "/approvals/AF-99/candidates", "/approvals/a%20b"):
        assert 404 == plant["quality"].get(path).status_code
    assert 404 == step(plant, "draws", None, "AF-99").status_code
    assert 404 == step(plant, "freezes", {}, "AF-99").status_code
    assert 400 == plant["quality"].get("/approvals/AF-1/candidates?state=sold").status_code
    assert 400 == plant["quality"].post("/approvals/AF-1/draws").status_code


def test_who_may_not_act_may_look_or_neither(plant: Service) -> None:
    """Inspectors and auditors look; the line and the desk do not; nobody but quality acts."""
    for role, look in (("inspector", 200), ("auditor", 200), ("station", 403), ("desk", 403)):
        assert look == plant[role].get("/approvals").status_code
        assert 403 == step(plant, "draws", client=plant[role]).status_code
    assert 401 == plant.nobody.get("/approvals").status_code
