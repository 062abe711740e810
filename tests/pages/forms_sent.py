"""A browser without scripts, as far as tests of forms need one: pages, cookies, and the fields of a page's forms."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

import httpx

from ledger.application.sign_in import set_password
from tests.api.running import Service

PASSWORD = "several words of no order"


class FormsFound(HTMLParser):
    """The forms of a page by their action: each a list of names and values as they stand."""

    def __init__(self) -> None:
        """Nothing is read yet."""
        super().__init__()
        self.forms: dict[str, list[tuple[str, str]]] = {}
        self.fields: dict[str, dict[str, str | None]] = {}
        self._action = ""
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note forms, and the fields with a value or a mark in them."""
        said = dict(attrs)
        if tag == "form":
            self._action = said.get("action") or ""
            self.forms.setdefault(self._action, [])
        name = said.get("name") or ""
        if tag in {"input", "select", "textarea", "button"} and name:
            self.fields[name] = said
        if tag == "select":
            self._select = name
        if tag == "input" and name and (said.get("type") != "checkbox" or "checked" in said):
            self.forms.setdefault(self._action, []).append((name, said.get("value") or ""))
        if tag == "option" and "selected" in said:
            self.forms[self._action].append((self._select, said.get("value") or ""))


class Browser:
    """One person's browser at one service; redirects are followed by hand."""

    def __init__(self, service: Service, **options: Any) -> None:
        """Nobody is signed in."""
        self.client = httpx.Client(base_url=service.url, timeout=60, headers={"accept": "text/html"}, **options)
        self.page = httpx.Response(200, text="")

    def open(self, address: str, **headers: str) -> httpx.Response:
        """Open a page."""
        self.page = self.client.get(address, headers=headers)
        return self.page

    def send(self, action: str, **fields: str | list[str]) -> httpx.Response:
        """Send the form of the present page that goes to ``action``, with some fields filled in."""
        form = [pair for pair in self.found().forms[action] if pair[0] not in fields]
        body: dict[str, Any] = {}
        for name, value in form:
            body.setdefault(name, []).append(value)
        answer = self.client.post(action, data={**body, **fields})
        if answer.status_code != 303:
            self.page = answer
        return answer

    def found(self) -> FormsFound:
        """The forms of the present page."""
        found = FormsFound()
        found.feed(self.page.text)
        return found

    def sign_in(self, name: str, password: str = PASSWORD, **fields: str) -> httpx.Response:
        """Sign in at the page."""
        self.open("/sign-in")
        return self.send("/sign-in", name=name, password=password, **fields)

    def close(self) -> None:
        """Close its connections."""
        self.client.close()


def give_password(service: Service, role: str, *, must_change: bool = False) -> str:
    """Give the account of a role its password; the account's name."""
    account = service.book.account_of(service.tokens[role]).account
    set_password(service.book.store, account, PASSWORD, service.book.clock_ms(), must_change=must_change)
    return f"The {role}"
