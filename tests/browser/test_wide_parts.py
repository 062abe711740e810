"""A table or picture that is wider than its place says that it goes on, and one that fits says nothing."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from ops.screens.browser import SIZES, Look
from tests.browser.browsing import DESK, Browsing

SAYS = "element => getComputedStyle(element, '::before').content"
WIDER = """() => [...document.querySelectorAll(".wide")].filter(
    element => (element.scrollWidth > element.clientWidth + 1) !== element.hasAttribute("data-wider")).length"""


def said_by_all(page: Page) -> None:
    """Every region that is wider than its place says so, and no other; asked until the page has settled."""
    page.wait_for_function(f"() => ({WIDER})() === 0")


def test_a_table_wider_than_a_phone_says_so(browsing: Browsing) -> None:
    """On a phone the table of entries says that it goes on to the side; on a desk's screen it fits and says nothing."""
    page = browsing.open("/book/entries", "auditor", Look("phone"))
    table = page.locator(".wide")
    expect(table).to_have_attribute("data-wider", "")
    assert "It goes on to the side: scroll." in table.evaluate(SAYS)
    said_by_all(page)
    page.set_viewport_size({"width": SIZES["desk"].width, "height": SIZES["desk"].height})
    expect(table).not_to_have_attribute("data-wider", "")
    assert "none" == table.evaluate(SAYS)


@pytest.mark.parametrize("look", [DESK, Look("phone")], ids=["desk", "phone"])
def test_what_is_fetched_later_says_so_too(browsing: Browsing, look: Look) -> None:
    """A part that a script puts into the page is looked at like the rest."""
    said_by_all(browsing.open("/desk/signals/shell/{lot_claimed}", "inspector", look))
