"""Every page, as the service lists them: accessible, light and dark, on a phone, by keyboard, without scripts, light in weight."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from ops.screens.browser import SIZES, Look
from ops.screens.page_list import PAGES, PageExample
from tests.browser.accessibility import axe_clean, small_targets, tab_through
from tests.browser.browsing import DESK, Browsing

MOST_BYTES = 150_000
LEAST_TARGET = 44

WIDER = """() => {
    const width = document.documentElement.clientWidth;
    return document.documentElement.scrollWidth <= width ? [] : [...document.body.querySelectorAll("*")]
        .filter(element => element.getBoundingClientRect().right > width + 1)
        .map(element => element.outerHTML.slice(0, 100));
}"""
HEADINGS = "() => [...document.querySelectorAll('h1, h2')].map(heading => heading.textContent.trim())"
UNSENT = """() => [...document.querySelectorAll('form')]
    .filter(form => !form.querySelector('button:not([type=button]), input[type=submit]'))
    .map(form => form.outerHTML.slice(0, 100))"""

every_page = pytest.mark.parametrize("example", PAGES, ids=lambda example: example.name)


def opened(browsing: Browsing, example: PageExample, look: Look = DESK) -> Page:
    """An example's page in a look; its answer was the one that the table says."""
    page = browsing.open(example.address, example.role, look, refusals={example.status} - {200})
    answer = next(one for one in browsing.watch_of(page).answers if one.request.is_navigation_request())
    assert example.status == answer.status
    return page


@every_page
def test_no_rule_of_accessibility_is_broken(browsing: Browsing, axe: None, example: PageExample) -> None:
    """No rule of WCAG 2.2 A and AA that axe-core knows is broken, in the light or in the dark."""
    page = opened(browsing, example)
    axe_clean(page)
    page.emulate_media(color_scheme="dark")
    axe_clean(page)


@every_page
def test_a_page_is_one_light_document(browsing: Browsing, example: PageExample) -> None:
    """A page has one first heading, one main part, a title and a language; all that it loads, uncompressed, is small."""
    page = opened(browsing, example)
    weight = {
        answer.url: len(answer.body())
        for answer in browsing.watch_of(page).answers
        if not answer.headers.get("location")
    }

    assert (1, 1) == (page.locator("h1").count(), page.locator("main").count())
    assert page.locator("h1").inner_text().strip()
    assert page.title().strip()
    assert page.locator("html").get_attribute("lang") in {"en", "de"}
    assert MOST_BYTES > sum(weight.values()), weight


@every_page
def test_a_page_fits_a_phone(browsing: Browsing, example: PageExample) -> None:
    """Nothing is wider than a phone's screen, nor than the 320 pixels of WCAG 1.4.10; what is pressed is large enough."""
    page = opened(browsing, example, Look("phone"))

    assert ([], []) == (page.evaluate(WIDER), small_targets(page, LEAST_TARGET))
    page.set_viewport_size({"width": SIZES["narrow"].width, "height": SIZES["narrow"].height})
    assert [] == page.evaluate(WIDER)


@every_page
def test_a_page_is_used_by_keyboard(browsing: Browsing, example: PageExample) -> None:
    """Tab reaches everything that can be acted on, and shows where it is."""
    found = tab_through(opened(browsing, example))

    assert ([], [], []) == found


@every_page
def test_a_page_needs_no_scripts(browsing: Browsing, example: PageExample) -> None:
    """Without scripts a page has the same first heading, loses no other that the server wrote, and every form can be sent."""
    plain = opened(browsing, example, Look(scripts=False))
    scripted = opened(browsing, example)
    without, within = plain.evaluate(HEADINGS), scripted.evaluate(HEADINGS)

    assert within[0] == without[0]
    assert [] == [heading for heading in without if heading not in within]
    assert plain.locator("main").inner_text().removeprefix(without[0]).strip()
    assert [] == plain.evaluate(UNSENT)
