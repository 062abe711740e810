"""A small plant for the pages of the desk and of containment: balls, shops that some of them went to, and people."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx

from tests.api.running import ROLES, Service, running
from tests.pages.forms_sent import Browser, give_password
from tests.plant import AT


@contextmanager
def desk_running(folder: Path, *, balls: int = 8) -> Iterator[Service]:
    """Balls 1 and 2 went to SHOP-1, 3 to SHOP-2, 4 to somebody outside the register; everyone has a password."""
    with running(folder, balls=balls, public_per_minute=60_000, public_burst=10_000) as service:
        for role in ROLES:
            give_password(service, role)
        for shop in ("SHOP-1", "SHOP-2"):
            said = {"kind": "consignee-registered", "at": AT, "consignee": shop, "market": "north"}
            entered(service, "desk", {**said, "name": f"Shop {shop[-1]}", "address": "1 High Street\nSampleton"})
        for shipment, numbers, where in (
            ("SH-1", (1, 2), {"to": "SHOP-1"}), ("SH-2", (3,), {"to": "SHOP-2"}), ("SH-3", (4,), {"consignee": "A lab"}),
        ):  # fmt: skip
            sent = {"kind": "shipment", "at": AT, "shipment": shipment, "units": [unit(number) for number in numbers]}
            entered(service, "station", {**sent, "purpose": "sample", **where})
        yield service


def entered(service: Service, role: str, record: dict[str, Any]) -> None:
    """Say a record that must be taken."""
    answer = service.say(role, record)
    assert 201 == answer.status_code, answer.text


def unit(number: int) -> str:
    """A ball of the plant."""
    return f"U-{number:06d}"


@contextmanager
def browser_of(service: Service, role: str) -> Iterator[Browser]:
    """A browser in which the person of a role has signed in."""
    browser = Browser(service)
    try:
        assert 303 == browser.sign_in(f"The {role}").status_code
        yield browser
    finally:
        browser.close()


def send_files(browser: Browser, action: str, files: list[tuple[str, tuple[str, bytes, str]]], **fields: Any) -> Any:
    """Send a form of the present page as a browser sends one with files."""
    form = [pair for pair in browser.found().forms[action] if pair[0] not in {*fields, *(name for name, _ in files)}]
    body: dict[str, Any] = {}
    for name, value in [*form, *fields.items()]:
        body.setdefault(name, []).append(value)
    answer = browser.client.post(action, data=body, files=files)
    if answer.status_code != 303:
        browser.page = answer
    return answer


def followed(browser: Browser, answer: httpx.Response) -> httpx.Response:
    """The page that a form leads to once it stands."""
    assert 303 == answer.status_code, answer.text
    return browser.open(answer.headers["location"])


def path_of(answer: httpx.Response) -> str:
    """Where a form leads to, without the query."""
    return urlsplit(answer.headers["location"]).path
