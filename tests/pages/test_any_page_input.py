"""Whatever a browser sends to a page, the answer is a page or a refusal, never a failure of the service."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote, urlencode

import httpx
import pytest
from litestar import Litestar
from litestar.routes import HTTPRoute

from api.app import ROUTES
from api.operation import operation_of
from api.pages.refusal import see_other
from ledger.access.roles import MAY_DO
from tests.api.running import ROLES, Service
from tests.api.test_approvals_served import CHECKLIST, opened
from tests.api.test_examinations_over_http import grant
from tests.pages.forms_sent import Browser, FormsFound
from tests.pages.plant_pages import plant, signed_in

TEMPLATES = Path(__file__).parents[2] / "api" / "pages" / "templates"
PLACES = {
    "unit": "U-000001", "lot": "SL-1", "name": "usbc-2026", "gauge": "G1", "code": "de", "index": "3", "family": "lot",
    "act": "hold", "check": "1", "case": "C-1", "claim": "W-1", "consignee": "D-1", "file": "0" * 64, "account": "A-1",
    "device": "D-1", "digest": "0" * 64, "examination": "EXAM-1", "approval": "AF-1",
}  # fmt: skip
"""What stands in an address; where the plant has such a thing, one of it."""

STEPS = (
    "announce", "draw", "replace", "item", "freeze", "sign", "hand-over", "answer", "report-changes", "reopen", "withdraw",
)  # fmt: skip
"""The steps of an approval file; the one that ends it last."""

ODD: tuple[str, ...] = (
    "", " ", "%00", "%FF%FE", "%ED%A0%80", "9" * 40, "-1", "1e999", "NaN", "%D9%A1%D9%A2", "%C2%B2", "a" * 3000, "%2E%2E%2F",
    "%27%22%3E%3Cb%3E", "%0D%0AX-Odd%3A%201", "2026-02-30T25%3A61", "9999-12-31T23%3A59", "0001-01-01T00%3A00", "%25%28x%29s%25",
    "3.999999", "//elsewhere.example", "=1%2B1", "%7B%7B7%7D%7D", "1,,2", "https%3A%2F%2F%5B",
)  # fmt: skip
"""Values as they go over the wire: nothing, NUL, bytes that are no text, digits of other scripts, huge, markup, a line end."""

FORM = {"content-type": "application/x-www-form-urlencoded"}


class Spot(NamedTuple):
    """One operation of a page."""

    method: str
    path: str
    action: str | None


def spots() -> list[Spot]:
    """Every operation that is a page."""
    found = []
    for route in Litestar(route_handlers=ROUTES, openapi_config=None).routes:
        for handler in route.route_handlers if isinstance(route, HTTPRoute) else ():
            operation = operation_of(handler)
            if operation is not None and operation.page:
                method = "POST" if "POST" in handler.http_methods else "GET"
                path = re.sub(r"\{(\w+)(?::\w+)?\}", r"{\1}", route.path)
                path = path.replace("/approval/{file}", "/approval/{approval}")
                steps = STEPS if "{step}" in path else ("",)
                found += [Spot(method, path.replace("{step}", step), operation.action) for step in steps]
    # What ends the session or its password comes from a page of its own test.
    return sorted(spot for spot in found if spot.path not in {"/sign-out", "/account/password"})


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The plant, with a person of each role, an approval file, and balls that an outside auditor may look at."""
    with plant(tmp_path_factory.mktemp("odd"), *ROLES) as running:
        headers = {**running.key(), "content-type": "application/toml"}
        assert running["quality"].post("/checklists", content=CHECKLIST, headers=headers).status_code == 201
        assert opened(running).status_code == 201
        assert grant(running, "EXAM-1", lots=["SL-1"]).status_code == 201
        yield running


@pytest.fixture(scope="module")
def people(service: Service) -> Iterator[dict[str, Browser]]:
    """A browser of each role."""
    found = {role: signed_in(service, role) for role in ROLES}
    yield found
    for browser in found.values():
        browser.close()


def token_of(browser: Browser) -> str:
    """The form token of a browser's session."""
    found = FormsFound()
    found.feed(browser.client.get("/account").text)
    return str(found.fields["form_token"]["value"])


def fields_of(spot: Spot) -> tuple[str, ...]:
    """The names of fields in the templates of a page's concern, and those that pages read beside."""
    concern = {"station": "stations", "people": "access", "devices": "access", "account": "access", "lot": "lots",
               "trace": "lots", "shipment": "shipments", "examination": "evidence", "sign-in": "access",
               "enrol": "access"}  # fmt: skip
    folder = spot.path.split("/")[1]
    text = "".join(one.read_text() for one in sorted(TEMPLATES.joinpath(concern.get(folder, folder)).glob("*.html")))
    named = re.findall(r"""\bname="(\w+)"|\b(?:field|choice|area|number|hidden)\w*\(\s*["'](\w+)["']""", text)
    beside = (
        "part",
        "whole",
        "start",
        "done",
        "entry",
        "next",
        "file",
        "way",
        "at",
        "began",
        "ended",
        "q",
        "lot",
        "unit",
        "key",
    )
    return tuple(sorted(({one or other for one, other in named} | set(beside)) - {"form_token"}))


def checked(answer: httpx.Response, sent: str) -> None:
    """An answer of the service's own, on its own host."""
    assert answer.status_code < 500, f"{sent}: {answer.status_code}"
    assert "Traceback" not in answer.text, sent
    assert "x-odd" not in answer.headers, sent
    assert answer.headers.get("location", "/")[:2] not in {"//", "/\\"}, sent
    assert answer.headers.get("location", "/").startswith("/"), sent


LONGEST_QUERY = 30_000
"""Characters of a query that the server takes at all."""


def ask(browser: Browser, spot: Spot, place: str, body: str) -> None:
    """Send one query or form as it is over the wire."""
    if spot.method == "GET":
        sent = f"{place}?{body}"[:LONGEST_QUERY]
        checked(browser.client.get(httpx.URL(str(browser.client.base_url) + sent)), sent)
    else:
        checked(browser.client.post(place, content=body.encode(), headers=FORM), f"{place} {body[:400]}")


@pytest.mark.parametrize("role", ROLES)
def test_odd_values_never_make_a_page_fail(people: dict[str, Browser], role: str) -> None:
    """Every page of a role takes every odd value in all of its fields at once, and each field alone some of them."""
    browser = people[role]
    token = urlencode({"form_token": token_of(browser)})
    odd = itertools.cycle(ODD)
    # Who may do most is asked most; of values and fields each page gets a part, and those beside it the rest.
    step = 8 if role == "quality" else 20
    for number, spot in enumerate(spots()):
        if spot.action is not None and role not in MAY_DO[spot.action]:
            continue
        place, names = spot.path.format(**PLACES), fields_of(spot)
        start = token if spot.method == "POST" else ""
        for value in ODD[number % step :: step]:
            ask(browser, spot, place, "&".join([start, *(f"{name}={value}" for name in names)]))
        for name in names[number % step :: step]:
            ask(browser, spot, place, f"{start}&{name}={next(odd)}")
        if number % step == 0:
            ask(browser, spot, place, f"{start}&{'&'.join(f'{name}=1&{name}=2' for name in names)}")


@pytest.mark.parametrize("role", ROLES)
def test_odd_places_never_make_a_page_fail(people: dict[str, Browser], role: str) -> None:
    """What is in no book, or no text at all, may stand in an address."""
    browser = people[role]
    token = urlencode({"form_token": token_of(browser)})
    for spot in (one for one in spots() if "{" in one.path):
        for value in (
            "%00",
            "%FF",
            "9" * 40,
            "-1",
            "%2E%2E%2F",
            "a" * 1500,
            "%27%22%3E%3Cb%3E",
            "%0D%0AX-Odd:1",
            quote("Ä²"),
        ):
            place = re.sub(r"\{\w+\}", lambda _found, value=value: value, spot.path)  # type: ignore[misc]  # bound at once
            body = token if spot.method == "POST" else ""
            answer = browser.client.request(
                spot.method, httpx.URL(str(browser.client.base_url) + place), content=body.encode(), headers=FORM
            )
            checked(answer, f"{spot.method} {place}")


BODIES = (
    (b"--x\r\nContent-Disposition: form-data; name=", "multipart/form-data; boundary=x"),
    (b"no part at all", "multipart/form-data; boundary=x"),
    (b"no part at all", "multipart/form-data"),
    (b'--x\r\nContent-Disposition: form-data; name="\xff"; filename="\x00\xfe"\r\n\r\n\xff\r\n--x--\r\n',
     "multipart/form-data; boundary=x"),
    (b'--x\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\n\xff\xfe\x00\r\n--x--\r\n',
     "multipart/form-data; boundary=x"),
    (b'--x\r\nContent-Disposition: form-data; name="key"; filename="k"\r\n\r\nk\r\n--x--\r\n',
     "multipart/form-data; boundary=x"),
    (b"[1]", "application/json"),
    (b"{", "application/json"),
    (b"a" * 5_000, "text/plain"),
    (b"&" * 5_000, "application/x-www-form-urlencoded"),
    (b"\xff=\xff&%=%&=", "application/x-www-form-urlencoded"),
)  # fmt: skip
"""Bodies that are cut off, that are a file where text is wanted, or of another type, with the type that is said."""


@pytest.mark.parametrize("which", range(len(BODIES)))
def test_forms_that_cannot_be_read_never_make_a_page_fail(people: dict[str, Browser], which: int) -> None:
    """They are refused, with the form token in a header and without."""
    browser, (body, sort) = people["quality"], BODIES[which]
    token = {"x-form-token": token_of(browser)}
    for number, spot in enumerate(one for one in spots() if one.method == "POST"):
        headers = {**(token if (number + which) % 3 else {}), "content-type": sort}
        answer = browser.client.post(spot.path.format(**PLACES), content=body, headers=headers)
        checked(answer, f"{spot.path} {sort} {body[:40]!r}")


def test_what_is_typed_cannot_end_the_line_of_an_address() -> None:
    """Where a browser is sent holds no line end, space or letter beyond ASCII; what is in percent form stays as it is."""
    assert "/ball/A%0D%0AX-Odd:%201%C3%84?q=%20&r=1" == see_other("/ball/A\r\nX-Odd: 1Ä?q=%20&r=1").headers["location"]
    assert "/ball/?" == see_other("/ball/\ud800").headers["location"]


def test_an_address_does_not_say_that_a_rulebook_is_adopted(people: dict[str, Browser]) -> None:
    """The note after an adoption stands for a rulebook that the book has as adopted, and for no other."""
    notes = [
        people["auditor"].open(f"/limits/rulebooks?adopted={name}&entry=1").text for name in ("usbc-2026", "MADE-UP")
    ]
    assert [True, False] == ['<div class="done"' in text for text in notes]


def test_a_scan_that_names_nothing_is_told_beside_a_ball_too(people: dict[str, Browser]) -> None:
    """The inspection page asks for another scan, whether or not its address names a ball as well."""
    answers = [people["station"].open(f"/station/inspection?scan=NONE{more}") for more in ("", "&unit=U-000001")]
    assert [404, 404] == [answer.status_code for answer in answers]
