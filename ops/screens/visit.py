"""Opening a page and waiting for all of it; signing in by the form that people use."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Browser, Page

from ledger.errors import Refused
from ops.screens.browser import Look, new_context

SIGN_IN = "/sign-in"

STILL = """() => document.querySelector('[aria-busy=true]') === null
    && [...document.images].every(image => image.complete || image.loading === 'lazy')"""
"""Whether nothing of a page is on its way: a part that a script fetches is ``aria-busy`` until it is there."""


def open_page(page: Page, address: str, *, scripts: bool = True) -> int:
    """Open an address and wait for what its scripts fetch; the status that it was answered with."""
    answer = page.goto(address)
    if scripts:
        page.wait_for_function(STILL)
    return 0 if answer is None else answer.status


def sign_in(browser: Browser, address: str, name: str, password: str) -> Any:
    """The cookies of a new session of an account, as `new_context` takes them. Raises Refused when the form does."""
    context = new_context(browser, address, Look())
    page = context.new_page()
    status = open_page(page, SIGN_IN)
    if status != 200:
        raise Refused("form of sign-in is not there", got=status)
    page.fill("input[name=name]", name)
    page.fill("input[name=password]", password)
    with page.expect_navigation():
        page.press("input[name=password]", "Enter")
    if page.url == f"{address}{SIGN_IN}":
        raise Refused("sign-in was refused", got=page.inner_text("main"))
    cookies = context.storage_state()
    context.close()
    return cookies
