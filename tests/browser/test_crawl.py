"""Following every link from the front page, as each role may: nothing is broken, nothing leads to another host."""

from __future__ import annotations

import re
from collections import deque
from typing import NamedTuple
from urllib.parse import parse_qs, urljoin, urlsplit

import pytest
from litestar import Litestar
from litestar.routes import HTTPRoute
from playwright.sync_api import Page

from api.app import ROUTES
from api.operation import operation_of
from ledger.access.roles import ROLES
from ops.screens.visit import open_page
from tests.browser.browsing import Browsing

MOST = 200
"""Addresses looked at for a role; one for each form of address that links lead to."""

# A link in a picture has no address of its own as a page's has.
LINKS = """() => [...document.querySelectorAll('a[href]')].map(
    link => new URL(link.getAttribute('href'), document.baseURI).href)"""


class Form(NamedTuple):
    """The addresses of one route, and whether a person's page is there."""

    pattern: re.Pattern[str]
    path: str
    is_page: bool


def forms_of_addresses() -> list[Form]:
    """Each route of the service; those with fewer places first, so that a fixed address is itself."""
    routes = [
        route for route in Litestar(route_handlers=ROUTES, openapi_config=None).routes if isinstance(route, HTTPRoute)
    ]
    return [
        Form(
            re.compile(re.sub(r"\\\{.+?\\\}", "[^/]+", re.escape(route.path))),
            route.path,
            any(
                operation.page
                for handler in route.route_handlers
                if "GET" in handler.http_methods and (operation := operation_of(handler)) is not None
            ),
        )
        for route in sorted(routes, key=lambda route: route.path.count("{"))
    ]


class Crawl:
    """What was seen of the service from one person's links."""

    def __init__(self, page: Page, address: str) -> None:
        """``address``: of the service."""
        self.page = page
        self.address = address
        self.broken: list[str] = []
        self.looked_at: list[str] = []
        self._forms = forms_of_addresses()
        self._met: set[str] = set()

    def follow(self, first: str) -> None:
        """Look at an address, then at one address of each form that is linked from what was looked at."""
        self._met.add(self._form(first))
        left = deque([(first, "nowhere")])
        while left and len(self.looked_at) < MOST:
            address, where = left.popleft()
            self.looked_at.append(address)
            for link in self._look(address, where):
                form = self._form(link)
                if form not in self._met:
                    self._met.add(form)
                    left.append((link, address))

    def _look(self, address: str, where: str) -> list[str]:
        """The links of a page of this host; nothing for what is no page."""
        if urlsplit(address).netloc != urlsplit(self.address).netloc:
            self.broken.append(f"{address}, linked at {where}, is another host's")
            return []
        form = self._form_of(address)
        if form is not None and form.is_page:
            status = open_page(self.page, address)
        else:
            answer = self.page.context.request.get(address, headers={"accept": "text/html"})
            status = answer.status
            saved = answer.headers.get("content-disposition", "").startswith("attachment")
            if status < 400 and (saved or "text/html" not in answer.headers["content-type"]):
                return []
            if status < 400:
                open_page(self.page, address)
        if status >= 400:
            self.broken.append(f"{status} for {address}, linked at {where}")
            return []
        return [
            urljoin(address, link).partition("#")[0] for link in self.page.evaluate(LINKS) if link.startswith("http")
        ]

    def _form(self, address: str) -> str:
        """The route of an address and the names of what it asks: pages that differ in neither are of one form."""
        parts, found = urlsplit(address), self._form_of(address)
        return f"{parts.netloc} {parts.path if found is None else found.path} {sorted(parse_qs(parts.query))}"

    def _form_of(self, address: str) -> Form | None:
        path = urlsplit(address).path
        return next((form for form in self._forms if form.pattern.fullmatch(path)), None)


@pytest.mark.parametrize("role", ["", *ROLES], ids=lambda role: role or "nobody")
def test_every_link_leads_somewhere(browsing: Browsing, role: str) -> None:
    """No link that a role sees is broken, none leads to another host, and no page on the way has an error."""
    crawl = Crawl(browsing.page(role), browsing.plant.address)

    crawl.follow(f"{browsing.plant.address}/")

    assert [] == crawl.broken
    assert 1 < len(crawl.looked_at) < MOST
