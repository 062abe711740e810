"""Every page, as the service lists them: accessible, light and dark, on a phone, by keyboard, without scripts, light in weight.

A page is loaded once with scripts and once without, and every test of it looks at these two: the screen is changed, and
not the page, as nothing in the styles asks for a finger or a pointer.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import pytest
from playwright.sync_api import Browser, Page

from ops.screens.browser import SIZES, Look
from ops.screens.page_list import PAGES, PageExample
from ops.screens.plant import DemoPlant
from tests.browser.accessibility import axe_clean, small_targets, tab_through
from tests.browser.browsing import DESK, Browsing

MOST_BYTES = 150_000
LEAST_TARGET = 44
NO_SCRIPTS = Look(scripts=False)

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


class Opened(NamedTuple):
    """A page as it was loaded; ``weight``: the bytes of each address that it loaded, uncompressed."""

    page: Page
    weight: dict[str, int]

    def on(self, size: str, *, dark: bool = False) -> Page:
        """The page on a screen of `SIZES`, in the light or in the dark."""
        self.page.set_viewport_size({"width": SIZES[size].width, "height": SIZES[size].height})
        self.page.emulate_media(color_scheme="dark" if dark else "light")
        return self.page


class Pages:
    """The pages of this file, which are opened one after the other."""

    def __init__(self, browser: Browser, plant: DemoPlant, cookies: dict[str, Any]) -> None:
        """Nothing is open yet."""
        self.browsing = Browsing(browser, plant, cookies)

    def load(self, example: PageExample, look: Look) -> Opened:
        """An example's page; its answer was the one that the table says."""
        page = self.browsing.open_in_turn(example.address, example.role, look, {example.status} - {200})
        assert example.status == self.browsing.answer_of(page).status
        answers = self.browsing.watch_of(page).answers
        return Opened(
            page, {answer.url: len(answer.body()) for answer in answers if not answer.headers.get("location")}
        )


@pytest.fixture(scope="module")
def pages(browser: Browser, plant: DemoPlant, cookies: dict[str, Any]) -> Iterator[Pages]:
    """A page for each role, with scripts and without."""
    one = Pages(browser, plant, cookies)
    yield one
    one.browsing.end()


@pytest.fixture(scope="module", params=PAGES, ids=lambda example: example.name)
def example(request: pytest.FixtureRequest) -> PageExample:
    """Each page in turn."""
    found: PageExample = request.param
    return found


@pytest.fixture(scope="module")
def opened(pages: Pages, example: PageExample) -> Iterator[Opened]:
    """The page with its scripts, for every test of it. Whatever went wrong meanwhile fails the last."""
    yield pages.load(example, DESK)
    troubles = pages.browsing.troubles()
    assert not troubles, "\n".join(troubles)


def test_a_page_is_one_light_document(opened: Opened) -> None:
    """A page has one first heading, one main part, a title and a language; all that it loads, uncompressed, is small."""
    page = opened.on("desk")

    assert (1, 1) == (page.locator("h1").count(), page.locator("main").count())
    assert page.locator("h1").inner_text().strip()
    assert page.title().strip()
    assert page.locator("html").get_attribute("lang") in {"en", "de"}
    assert MOST_BYTES > sum(opened.weight.values()), opened.weight


def test_a_page_needs_no_scripts(pages: Pages, opened: Opened, example: PageExample) -> None:
    """Without scripts a page has the same first heading, loses no other that the server wrote, and every form can be sent."""
    plain = pages.load(example, NO_SCRIPTS).page
    without, within = plain.evaluate(HEADINGS), opened.page.evaluate(HEADINGS)

    assert within[0] == without[0]
    assert [] == [heading for heading in without if heading not in within]
    assert plain.locator("main").inner_text().removeprefix(without[0]).strip()
    assert [] == plain.evaluate(UNSENT)


def test_a_page_fits_a_phone(opened: Opened) -> None:
    """Nothing is wider than a phone's screen, nor than the 320 pixels of WCAG 1.4.10; what is pressed is large enough."""
    page = opened.on("phone")

    assert ([], []) == (page.evaluate(WIDER), small_targets(page, LEAST_TARGET))
    assert [] == opened.on("narrow").evaluate(WIDER)


def test_no_rule_of_accessibility_is_broken(axe: None, opened: Opened) -> None:
    """No rule of WCAG 2.2 A and AA that axe-core knows is broken in the light, and none about colour in the dark."""
    axe_clean(opened.on("desk"))
    axe_clean(opened.on("desk", dark=True), colours_alone=True)


def test_a_page_is_used_by_keyboard(opened: Opened) -> None:
    """Tab reaches everything that can be acted on, and shows where it is."""
    found = tab_through(opened.on("desk"))

    assert ([], [], []) == found
