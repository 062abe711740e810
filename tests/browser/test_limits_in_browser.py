"""Pages on limits in a browser: an answer is fetched into its page, told when it is there, and kept in the address."""

from __future__ import annotations

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, expect

from ops.screens.browser import SIZES, Look
from ops.screens.visit import STILL, open_page
from tests.browser.accessibility import axe_clean
from tests.browser.browsing import DESK, Browsing

ASKED = "/limits?rulebook=usbc-2026&quantity=hardness"


LONG_MS = 120_000
"""Within which an answer is there, on a machine that has other work too."""


def opened(browsing: Browsing, address: str, role: str, look: Look = DESK, refusals: tuple[int, ...] = ()) -> Page:
    """A page with its answer."""
    page = browsing.page(role, look, refusals)
    page.set_default_timeout(LONG_MS)
    open_page(page, browsing.plant.at(address), scripts=look.scripts)
    return page


def answered(page: Page) -> None:
    """Wait until nothing is on its way."""
    page.wait_for_function(STILL)


def test_an_address_brings_its_answer(browsing: Browsing) -> None:
    """A kept address opens the page at once and fetches the answer; the form stands as it was."""
    page = opened(browsing, ASKED, "quality")
    expect(page.get_by_role("heading", level=2)).to_contain_text("balls against usbc-2026")
    assert "hardness" == page.input_value("#quantity")
    expect(page.get_by_role("status")).to_have_text("The answer is here.")


def test_waiting_is_told_and_ends(browsing: Browsing) -> None:
    """While the answer is on its way a status says so, with a bar; both are gone when it is there."""
    page = opened(browsing, "/limits", "quality")
    waited: list[str] = []
    page.expose_function("noted", lambda told: waited.append(told))  # noqa: PLW0108  # a built-in method is not taken
    page.evaluate(
        """() => new MutationObserver(() => window.noted(document.querySelector("[role=status]").textContent
            + (document.querySelector("progress") ? " with a bar" : ""))
        ).observe(document.querySelector("[data-answering]"), {subtree: true, childList: true, attributes: true})"""
    )
    page.get_by_role("button", name="Judge these balls").click()
    answered(page)
    expect(page.get_by_role("status")).to_have_text("The answer is here.")
    assert any("is being worked out" in told and told.endswith("with a bar") for told in waited)
    assert 0 == page.locator("progress").count()


def test_a_question_is_asked_by_keyboard(browsing: Browsing) -> None:
    """Enter in a field asks; the answer's heading then has the focus, and the address holds the question."""
    page = opened(browsing, "/limits", "inspector")
    page.focus("#from_on")
    page.select_option("#quantity", "hardness")
    page.fill("#from_on", "2026-10-01")
    page.focus("#lot")
    page.keyboard.press("Enter")
    answered(page)
    expect(page.locator("#answer-title")).to_be_focused()
    asked = parse_qs(urlsplit(page.url).query)
    assert ("/limits", ["2026-10-01"], ["hardness"]) == (
        urlsplit(page.url).path,
        asked["from_on"],
        asked["quantity"],
    )
    assert "lot" not in asked


def test_back_leads_to_the_question_before(browsing: Browsing) -> None:
    """The browser's own way back shows the form and the answer of before."""
    page = opened(browsing, "/limits?rulebook=distributor-north", "quality")
    page.select_option("#rulebook", "usbc-2026")
    page.get_by_role("button", name="Judge these balls").click()
    answered(page)
    expect(page.locator("#answer-title")).to_contain_text("usbc-2026")
    page.go_back()
    page.wait_for_selector("text=balls against distributor-north")
    expect(page.locator("#answer-title")).to_contain_text("distributor-north")
    answered(page)
    assert "distributor-north" == page.input_value("#rulebook")


def test_a_refusal_stands_in_the_page(browsing: Browsing) -> None:
    """What cannot be answered is told where the answer would be, and takes the focus."""
    page = opened(browsing, "/limits", "quality", refusals=(404,))
    page.fill("#lot", "SL-404")
    page.select_option("#quantity", "hardness")
    page.evaluate("document.querySelector('#rulebook').add(new Option('none-such', 'none-such', true, true))")
    page.get_by_role("button", name="Judge these balls").click()
    answered(page)
    expect(page.locator(".refused")).to_be_focused()
    expect(page.get_by_role("status")).to_contain_text("refused")
    assert "No rulebook none-such" in page.locator(".refused").inner_text()


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("/limits/charts?quantity=hardness&subgroups=lot", "Control charts of hardness"),
        ("/limits/changes?rulebook=usbc-2026&against=usbc-2012", "come out otherwise"),
        ("/limits/changes?gauge=RO-1&rulebook=usbc-2026", "balls rest on what RO-1 read"),
    ],
)
def test_every_answer_is_accessible_and_fits(browsing: Browsing, axe: None, address: str, told: str) -> None:
    """Answers that were fetched break no rule, on a desk's screen or a phone's in the dark, and are no wider than either."""
    page = opened(browsing, address, "quality")
    expect(page.locator("#answer-title")).to_contain_text(told)
    for size, dark in (("desk", False), ("phone", True)):
        page.set_viewport_size({"width": SIZES[size].width, "height": SIZES[size].height})
        page.emulate_media(color_scheme="dark" if dark else "light")
        axe_clean(page)
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_the_charts_are_there_as_a_picture(browsing: Browsing) -> None:
    """The picture is loaded when the answer is told to be there, and its words name the signals."""
    page = opened(browsing, "/limits/charts?quantity=hardness&subgroups=lot", "quality")
    picture = page.locator(".plate img")
    assert page.evaluate("document.querySelector('.plate img').naturalWidth > 0")
    assert re.search(r"subgroup means: centre [\d.]+ Shore D, \d+ signals", picture.get_attribute("alt") or "")


def test_without_scripts_the_form_leads_to_the_answer(browsing: Browsing) -> None:
    """The form's own address is the whole page; a kept address has a link to it."""
    page = opened(browsing, ASKED, "quality", Look(scripts=False))
    page.get_by_role("link", name="Show the answer").click()
    expect(page.locator("#answer-title")).to_contain_text("balls against usbc-2026")
    with page.expect_navigation():
        page.get_by_role("button", name="Judge these balls").click()
    assert "/limits/answer" == urlsplit(page.url).path
    expect(page.locator("#answer-title")).to_contain_text("balls against usbc-2026")


def test_a_worst_ball_is_one_click_away(browsing: Browsing) -> None:
    """From the worst ball to its page."""
    page = opened(browsing, ASKED, "quality")
    page.locator(".balls a").first.click()
    page.wait_for_url("**/ball/*")
    assert 1 == page.locator("h1").count()


def test_printed_the_form_is_left_out(browsing: Browsing) -> None:
    """On paper stand the question, the caution, the tables and the picture, and nothing to press."""
    page = opened(browsing, ASKED, "quality")
    page.emulate_media(media="print")
    for gone in ("form", ".tabs", ".unprinted", ".waiting"):
        assert not page.locator(f"main {gone}").first.is_visible(), gone
    for kept in (".report .facts", ".report .caution", "svg.histogram", ".counts"):
        assert page.locator(kept).first.is_visible(), kept
