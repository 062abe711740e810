"""The book in a browser: a check that is followed, and the same without scripts; lines that are copied; a phone in German."""

from __future__ import annotations

from ops.screens.browser import Look
from ops.screens.visit import open_page
from tests.browser.accessibility import axe_clean
from tests.browser.browsing import Browsing


def test_a_check_is_followed_to_its_end(own_browsing: Browsing, axe: None) -> None:
    """The bar moves without a reload, and what the check came to stands there when it ends, dated up to its entry."""
    page = own_browsing.open("/book", "quality")
    before = page.locator("table.rows").first.locator("tbody tr").count()
    page.get_by_role("button", name="Check the book now").click()
    page.wait_for_url("**/book/check/*")
    page.get_by_role("status").wait_for(timeout=120_000)

    assert "nothing is wrong" in page.get_by_role("status").inner_text()
    assert 0 == page.locator("progress").count()
    axe_clean(page)
    page.get_by_role("link", name="To the book").click()
    page.wait_for_url("**/book")
    assert before + 1 == page.locator("table.rows").first.locator("tbody tr").count()


def test_a_check_runs_without_scripts(own_browsing: Browsing) -> None:
    """The button leads to the check, and its link shows how far it is until it has ended."""
    page = own_browsing.open("/book", "auditor", Look(scripts=False))
    again = page.get_by_role("link", name="See how far it is now")
    with page.expect_navigation():
        page.get_by_role("button", name="Check the book now").click()
    while again.count():
        with page.expect_navigation():
            again.click()
    assert "nothing is wrong" in page.locator("#check").inner_text()


def test_who_witnessed_the_book_and_who_did_not_is_told(browsing: Browsing) -> None:
    """The party that signed, the quorum that it meets, the one that was away, and what no published checkpoint covers."""
    told = browsing.open("/book", "auditor").locator("section.statement").inner_text()
    assert "The witness second-party.example/witness signed it too" in told
    assert "That is the quorum that the policy asks for" in told
    assert "The witness third-party.example/witness did not sign" in told
    assert "No time stamping authority is named" in told


def test_the_line_of_a_key_is_copied(browsing: Browsing) -> None:
    """The button copies what stands beside it, whole."""
    page = browsing.open("/book", "auditor")
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy the line of key").first.click()
    page.get_by_role("button", name="Copied").wait_for()
    assert page.locator("#key-1").inner_text() == page.evaluate("navigator.clipboard.readText()").strip()


def test_an_entry_is_reached_by_keyboard_on_a_phone_in_german(browsing: Browsing) -> None:
    """From the book to the newest entry by Tab and Enter alone, in German, at 360 px."""
    page = browsing.page("auditor", Look(size="phone", language="de-DE"))
    open_page(page, "/book/entries")
    assert "de" == page.locator("html").get_attribute("lang")
    link = page.locator("table.entries tbody a").first
    for _ in range(60):
        page.keyboard.press("Tab")
        if link.evaluate("element => element === document.activeElement"):
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/book/entry/*")
    assert page.locator("h1").inner_text().startswith("Eintrag ")
