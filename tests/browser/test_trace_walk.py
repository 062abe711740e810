"""Walking a trace by keyboard alone, containment in two steps, and pages of balls and lots on a phone."""

from __future__ import annotations

import re

from ops.screens.browser import Look
from ops.screens.visit import open_page
from tests.browser.browsing import Browsing

FOCUSED = "() => document.activeElement.getAttribute('href') || ''"
MOST_TABS = 80


def test_a_trace_is_walked_by_keyboard(browsing: Browsing) -> None:
    """Tab reaches the boxes of the picture one after the other, Enter goes to the trace of that lot."""
    page = browsing.open("/trace/{lot_mixed}?direction=up", "quality")
    reached: list[str] = []
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        inside = page.evaluate("() => document.activeElement.closest('svg') !== null")
        if inside:
            reached.append(page.evaluate(FOCUSED))
        elif reached:
            break

    boxes = page.locator(".trace a").count()
    assert boxes == len(reached) == len(set(reached))

    page.locator(".trace a").first.focus()
    expected = page.evaluate(FOCUSED)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{expected}")
    assert expected.rpartition("/")[2] in page.inner_text("h1")


def test_containment_is_two_steps_from_a_ball(browsing: Browsing) -> None:
    """From the ball to its lot, and from there to containment with the lot as suspect."""
    page = browsing.open("/ball/{unit}", "quality")
    page.click(f".facts a[href='/lot/{browsing.plant.places['unit_lot']}']")
    address = page.locator("a.button", has_text="Contain this lot").get_attribute("href") or ""

    assert re.fullmatch(rf"/containment\?sort=shell-lot&name={browsing.plant.places['unit_lot']}", address)


def test_a_scanner_finds_a_ball(browsing: Browsing) -> None:
    """A wedge scanner types the address of the label and ends with Enter: the ball's page is there."""
    page = browsing.open("/ball", "station")
    page.focus("#q")
    places = browsing.plant.places
    page.keyboard.type(f"https://id.example/01/{places['gtin'].rjust(14, '0')}/21/{places['serial']}")
    page.keyboard.press("Enter")
    page.wait_for_url("**/ball/*")

    assert places["serial"] == page.inner_text("h1")


def test_a_phone_shows_the_marks_of_a_ball_without_scrolling_aside(browsing: Browsing) -> None:
    """At 360 pixels the marks of its verdicts and what it is lie within the screen; tables scroll by themselves."""
    page = browsing.page("quality", Look("phone"))
    for address in ("/ball/{unit_released}", "/lot/{lot_mixed}", "/trace/{lot_mixed}", "/lot"):
        open_page(page, browsing.plant.at(address))
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 360, address
    open_page(page, browsing.plant.at("/ball/{unit_released}"))
    boxes = [box for box in (cell.bounding_box() for cell in page.locator(".strip .cell").all()) if box]
    assert boxes
    assert all(0 <= box["x"] and box["x"] + box["width"] <= 360 for box in boxes)


def test_a_decision_is_made_without_scripts(own_browsing: Browsing) -> None:
    """A hold is placed with scripts off; the page that follows says so."""
    page = own_browsing.open("/ball/{unit_released}", "quality", Look(scripts=False))
    page.click("summary:has-text('Place a hold')")
    page.fill("#hold-reason", "dent near the pin")
    page.check("form[action$='/hold'] input[name=confirm]")
    page.click("text=Place the hold")

    assert "It is entered." in page.inner_text("main")
    assert "dent near the pin" in page.inner_text("main")
