"""Somebody at a station with a real browser and no scripts: what `Hand` does by requests is filled in and pressed here."""

from __future__ import annotations

import httpx
from playwright.sync_api import Browser, Locator, Page

from ops.screens.browser import Look, new_context
from ops.screens.visit import sign_in
from tests.browser.watching import Watch
from tests.pages.forms_sent import PASSWORD
from tests.pages.station_service import Floor, Hand


class BrowserHand(Hand):
    """The same interface over pages of a browser."""

    def __init__(self, browser: Browser, floor: Floor, name: str = "Line") -> None:
        """Sign in by the form, in a context of its own that is watched."""
        self._browser = browser
        self._watches: list[tuple[Page, Watch]] = []
        super().__init__(floor, name)

    def sign_in(self) -> None:
        """A new context in which the person has signed in; the one before stays, to be looked over at the end."""
        look = Look(scripts=False)
        cookies = sign_in(self._browser, self.floor.url, self.name, PASSWORD)
        context = new_context(self._browser, self.floor.url, look, cookies)
        self.tab = context.new_page()
        self._watches.append((self.tab, Watch(context, self.floor.url, ())))

    def open(self, address: str) -> httpx.Response:
        """Open a page, and go where it leads."""
        self.tab.goto(address)
        return self._seen()

    def send(self, action: str, nth: int = 0, /, **typed: str | list[str]) -> httpx.Response:
        """Fill in a form and press its button; the page that follows, as an answer that leads there."""
        form = self._filled(action, nth, typed)
        seen = self._pressed(form.locator("button[type=submit]:not([formaction])").last)
        refused = self.tab.locator(".refused:visible").count() > 0
        return httpx.Response(422 if refused else 303, text=seen.text, headers={"location": self.tab.url})

    def start(self, stage: str, **typed: str | list[str]) -> None:
        """Fill in the form of a pour, and press the button that begins it."""
        form = self._filled(f"/station/{stage}/pour", 0, typed)
        self._pressed(form.locator(f"button[formaction='/station/{stage}/start']"))

    def close(self) -> None:
        """Close every page; nothing went wrong in any."""
        super().close()
        for tab, _ in self._watches:
            tab.context.close()
        assert [] == [trouble for _, watch in self._watches for trouble in watch.troubles]

    def _pressed(self, button: Locator) -> httpx.Response:
        with self.tab.expect_navigation():  # a press is answered before the page that it leads to is there
            button.click()
        return self._seen()

    def _seen(self) -> httpx.Response:
        self.page = httpx.Response(200, text=self.tab.content(), request=httpx.Request("GET", self.tab.url))
        return self.page

    def _filled(self, action: str, nth: int, typed: dict[str, str | list[str]]) -> Locator:
        form = self.tab.locator(f"form[action='{action}']").nth(nth)
        for folded in form.locator("xpath=ancestor-or-self::details | .//details").all():
            if folded.get_attribute("open") is None:
                folded.locator("summary").first.click()
        for name, value in typed.items():
            values = [value] if isinstance(value, str) else value
            for place, text in enumerate(values):
                _fill(form, name, place, text)
        return form


def _fill(form: Locator, name: str, place: int, text: str) -> None:
    radio = form.locator(f"input[type=radio][name='{name}'][value='{text}']")
    if radio.count():
        radio.check()
        return
    field = form.locator(f"[name='{name}']").nth(place)
    if field.evaluate("field => field.tagName") == "SELECT":
        field.select_option(text)
    else:
        field.fill(text)
