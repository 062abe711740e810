"""Somebody at the engraving station, with a browser."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, expect

from ops.screens.browser import Look, new_context
from ops.screens.visit import sign_in
from tests.pages.forms_sent import PASSWORD

PATIENCE_MS = 60_000
"""How long a page may take to change before a test gives up: a busy machine is no fault."""

LOT = "/station/engraving?lot=SL-1"
expect.set_options(timeout=PATIENCE_MS)

WAITING = "#queue [data-list=waiting] > li"
REFUSED = "#queue [data-list=refused] > li"


def at_station(
    browser: Browser,
    address: str,
    name: str = "Line",
    look: Look | None = None,
    signed_in: dict[str, Any] | None = None,
) -> BrowserContext:
    """A browser in which somebody has signed in; ``signed_in``: the cookies of who did so before, by name."""
    kept = {} if signed_in is None else signed_in
    if name not in kept:
        kept[name] = sign_in(browser, address, name, PASSWORD)
    return new_context(browser, address, look or Look(), kept[name])


def engraving(context: BrowserContext, lot: str = "SL-1") -> Page:
    """The engraving page of a lot with numbers in hand, kept by the browser's worker."""
    page = context.new_page()
    page.goto(f"/station/engraving?lot={lot}")
    if page.get_by_role("button", name="Take numbers").count():
        page.get_by_role("button", name="Take numbers").click()
    expect(page.locator("#number")).to_be_visible()
    return settled(page)


def settled(page: Page) -> Page:
    """The same once its worker answers for it and has this very page."""
    page.evaluate("() => navigator.serviceWorker.ready.then(() => null)")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.reload()
    page.wait_for_function("() => document.documentElement.dataset.station !== undefined")
    return page


def number(page: Page) -> str:
    """The number in the engraving face."""
    return str(page.locator("#number").get_attribute("data-serial"))


def register(page: Page, *, labels: str = "0") -> str:
    """Engrave the number shown, read it back, send; the number."""
    serial = number(page)
    page.get_by_role("button", name="Engraved", exact=True).click()
    page.get_by_label("Labels to print").fill(labels)
    page.locator("#read").fill(serial.lower())
    page.locator("#read").press("Enter")
    return serial


def register_and_see(page: Page) -> str:
    """The same, and wait for the next number."""
    serial = register(page)
    expect(page.locator("#number")).not_to_have_attribute("data-serial", serial)
    return serial
