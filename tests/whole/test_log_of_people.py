"""The log of a service in use holds nothing of the people in it, not even where the store fails with their row."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.application.sign_in import set_password
from ledger.store.accounts import list_accounts
from ledger.store.engine import open_store
from tests.api.running import engraved
from tests.plant import AT
from tests.whole.serving import Premises, ServiceProcess, new_premises

PASSWORD = "several words of no order"
WRONG = "words that were never chosen"
PERSON = "Ottoline Invented"
PEOPLE = {"claimant": "Barnaby Madeup", "contact": "barnaby@mail.example", "note": "rang twice, was cross"}
TYPED = (
    PERSON, "Someone Unknown", PASSWORD, WRONG, "Madeup", "barnaby", "mail.example", "was cross", "Cosima", "A keeper",
)  # fmt: skip

FAILING = {
    "sqlite": (
        'CREATE TRIGGER "no_account" BEFORE INSERT ON "account" BEGIN SELECT RAISE(ABORT, \'no\'); END',
        'CREATE TRIGGER "no_opening" BEFORE INSERT ON "opening" BEGIN SELECT RAISE(ABORT, \'no\'); END',
    ),
    # The server's text of such an error shows the row.
    "postgresql": (
        'ALTER TABLE "account" ADD CONSTRAINT "no_account" CHECK (false) NOT VALID',
        'ALTER TABLE "opening" ADD CONSTRAINT "no_opening" CHECK (false) NOT VALID',
    ),
}


@pytest.fixture
def premises(tmp_path: Path, url: str) -> Premises:
    """A book whose keeper has a password."""
    made = new_premises(tmp_path, url)
    store = open_store(url)
    keeper = list_accounts(store)[0].account
    set_password(store, keeper, PASSWORD, 1_773_000_000_000, must_change=False)
    store.close()
    return made


def claim(number: int) -> dict[str, Any]:
    """A claim with people in it."""
    return {"kind": "claim-opened", "at": AT, "claim": f"C-{number}", "mode": "void", "unit": "U-000001", **PEOPLE}


def use(address: str, token: str) -> list[str]:
    """Sign in, rightly and wrongly, open an account, register, claim; the tokens and cookies that were given."""
    with httpx.Client(base_url=address, timeout=60, headers={"authorization": f"Bearer {token}"}) as client:

        def say(key: str, body: dict[str, Any], path: str = "/submissions") -> httpx.Response:
            return client.post(path, json=body, headers={"idempotency-key": key})

        with httpx.Client(base_url=address, timeout=60) as browser:
            let_in = browser.post("/sign-in", data={"name": "A keeper", "password": PASSWORD})
            refused = [
                browser.post("/sign-in", data={"name": name, "password": WRONG}).status_code
                for name in ("A keeper", "Someone Unknown", PERSON)
            ]
            cookies = list(browser.cookies.values())
        assert (303, [401, 401, 401]) == (let_in.status_code, refused)
        desk = client.post("/accounts", json={"name": PERSON, "roles": ["desk"]}).json()["token"]
        assert 401 == httpx.get(f"{address}/standing", headers={"authorization": "Bearer Cosima"}).status_code
        assert 400 == say("k", {"records": [{"kind": "ball-engraved", "unit": PERSON}]}).status_code
        assert 201 == say("ball", engraved(1), "/balls").status_code
        body = {"records": [claim(1)]}
        own = {"authorization": f"Bearer {desk}"}
        opened = client.post("/submissions", json=body, headers={**own, "idempotency-key": "claim"})
        assert 201 == opened.status_code, opened.text
        assert 200 == client.get("/claims/C-1/people", headers=own).status_code
    return [token, desk, *cookies]


def fail(address: str, url: str, tokens: list[str]) -> list[int]:
    """Have the store refuse a row of a person, outside the writer and in it; what was answered."""
    store = open_store(url, migrate=False)
    with store.writing() as transaction:
        for statement in FAILING[store.dialect.name]:
            transaction.run(statement)
    store.close()
    keeper, desk = ({"authorization": f"Bearer {token}"} for token in tokens[:2])
    opened = httpx.post(f"{address}/accounts", json={"name": "Cosima", "roles": ["desk"]}, headers=keeper, timeout=60)
    said = {**desk, "idempotency-key": "second"}
    claimed = httpx.post(f"{address}/submissions", json={"records": [claim(2)]}, headers=said, timeout=60)
    return [opened.status_code, claimed.status_code]


@pytest.mark.parametrize("form", ["json", "text"])
def test_the_log_holds_nothing_of_people(premises: Premises, form: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """No name, password, token, cookie, address or note of a run is in its log, which has a line for each failure."""
    monkeypatch.setenv("POURBOOK_LOG", form)
    service = ServiceProcess(premises)
    address = service.ready()
    tokens = use(address, premises.token)
    answered = fail(address, premises.url, tokens)
    assert 0 == service.stop()
    log = service.log.read_text("utf-8")
    assert [500, 503] == answered
    assert [] == [text for text in (*TYPED, *tokens) if text.lower() in log.lower()]
    if form == "json":
        # The database's driver warns by itself that it gave up what was on its way.
        lines = [line for line in map(json.loads, log.splitlines()) if line["logger"] == "pourbook"]
        assert [("error", 500, "/accounts"), ("error", 503, "/submissions")] == [
            (line["level"], line["status"], line["route"]) for line in lines
        ]
        assert (36, "Z") == (len(lines[0]["incident"]), lines[1]["time"][-1])
    else:
        assert (1, 1) == (log.count("incident"), log.count("store could not take it"))
