"""Who may call what: every described operation, without a token, with a wrong one, with each role."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.access.roles import ROLES
from ledger.access.tokens import format_token
from tests.api.running import Service, running

PLACES = {"unit": "U-000001", "gauge": "G1", "lot": "SL-1", "one": "usbc-2019", "two": "usbc-2026", "index": "0", "place": "0/000",
          "rest": "x", "code": "refused", "account": "a-none", "name": "pages.css", "digest": "0" * 64,
          "case": "C-1", "consignee": "SHOP-1", "letter": "SHOP-1.pdf", "claim": "W-1", "family": "shell", "file": "0" * 64,
          "examination": "X-1", "size": "1", "authority": "tsa", "serial": "A1",
          "word": "mass", "gtin": "09506000134352", "origin_hash": "0" * 64, "found": "1"}  # fmt: skip


def operations(service: Service) -> list[tuple[str, str, dict[str, Any]]]:
    """Method, path and description of every operation."""
    document = service.nobody.get("/openapi.json").json()
    return [
        (method.upper(), path.format(**PLACES), operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def allowed_roles(operation: dict[str, Any]) -> set[str]:
    """The roles that a description names."""
    said: str = operation["description"].removeprefix("Roles: ").rstrip(".")
    return set(said.split(", "))


def call(client: httpx.Client, method: str, path: str) -> httpx.Response:
    """Call an operation with an empty object as its body."""
    body: dict[str, str] | None = {} if method == "POST" else None
    return client.request(method, path, headers={"idempotency-key": "access-1"}, json=body)


def test_without_a_token_only_public_operations_answer(service: Service) -> None:
    """Each operation that needs an account is a 401 without one, and says how to send a token."""
    for method, path, operation in operations(service):
        answer = call(service.nobody, method, path)
        if operation["security"]:
            assert (401, 'Bearer realm="pourbook"') == (answer.status_code, answer.headers["www-authenticate"]), path
        else:
            assert answer.status_code not in {401, 403}, path


@pytest.mark.parametrize("role", ROLES)
def test_each_role_may_do_what_the_description_says(service: Service, role: str) -> None:
    """An operation is a 403 for exactly the roles that its description does not name, and names those that may."""
    for method, path, operation in operations(service):
        if not operation["security"] or method == "DELETE":
            continue
        answer = call(service[role], method, path)
        if role in allowed_roles(operation):
            assert 403 != answer.status_code, path
        else:
            assert (403, "forbidden") == (answer.status_code, answer.json()["code"]), path
            assert all(one in answer.json()["detail"] for one in allowed_roles(operation)), path


@pytest.mark.parametrize(
    "header",
    [
        "", "Bearer", "Basic abc", "Bearer short", "Bearer " + format_token(bytes(32)),
        "Bearer pbk1_" + "A" * 10_000, "Token " + format_token(bytes(32)),
    ],
)  # fmt: skip
def test_a_wrong_token_is_a_401_that_never_repeats_it(service: Service, header: str) -> None:
    """Any header that is no token in use is a 401 without the token in it."""
    answer = service.nobody.get("/standing", headers={"authorization": header})

    assert (401, "unauthenticated") == (answer.status_code, answer.json()["code"])
    assert header[7:] == "" or header[7:] not in answer.text


def test_a_role_says_only_its_records(service: Service) -> None:
    """A kind that a role may not say is a 403 that names the roles which may, and the whole submission is refused."""
    placed = {
        "kind": "hold-placed",
        "at": "2026-03-02T08:00:00.000+00:00",
        "hold": "H-1",
        "reason": "smell",
        "node": "lot:SL-1",
    }
    lifted = {"kind": "hold-lifted", "at": "2026-03-02T08:00:00.000+00:00", "hold": "H-1", "reason": "none"}
    answer = service.say("station", placed, lifted)

    assert (403, "forbidden") == (answer.status_code, answer.json()["code"])
    assert ("quality" in answer.json()["detail"], []) == (True, service["quality"].get("/holds").json()["holds"])


def test_accounts_open_and_close(tmp_path: Path) -> None:
    """The keeper opens an account with roles, gives it another token and closes it; each takes effect."""
    with running(tmp_path) as service:
        keeper = service["admin"]
        opened = keeper.post("/accounts", json={"name": "Night shift", "roles": ["station"]})
        account, token = opened.json()["account"], opened.json()["token"]
        further = keeper.post(f"/accounts/{account}/tokens").json()["token"]
        with service.client(token) as first, service.client(further) as second:
            before = [client.get("/lots/SL-1").status_code for client in (first, second)]
            closed = keeper.delete(f"/accounts/{account}")
            after = [client.get("/lots/SL-1").status_code for client in (first, second)]
        listed = {one["account"]: one for one in keeper.get("/accounts").json()["accounts"]}

    assert (201, [200, 200], 204, b"", [401, 401]) == (
        opened.status_code,
        before,
        closed.status_code,
        closed.content,
        after,
    )
    assert {"account": account, "name": "Night shift", "roles": ["station"], "open": False} == listed[account]
    assert token not in str(listed)


def test_accounts_that_cannot_be(service: Service) -> None:
    """Unknown roles, no role and no name are named; an unknown account is not found; nobody closes their own."""
    keeper = service["admin"]
    asked: list[tuple[dict[str, Any], str]] = [
        ({"name": "A", "roles": ["owner"]}, "roles[0]"),
        ({"name": "A", "roles": []}, "roles"),
        ({"name": "", "roles": ["desk"]}, "name"),
        ({"roles": ["desk"]}, "name"),
    ]
    for body, where in asked:
        answer = keeper.post("/accounts", json=body)
        assert (400, where) == (answer.status_code, answer.json()["where"])
    own = service.book.account_of(service.tokens["admin"]).account

    assert [404, 404, 422] == [
        keeper.delete("/accounts/a-none").status_code,
        keeper.post("/accounts/a-none/tokens").status_code,
        keeper.delete(f"/accounts/{own}").status_code,
    ]
