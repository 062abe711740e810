"""The desk and containment in a browser: by keyboard alone, on a phone, in the dark, without scripts."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from ops.screens.browser import Look
from ops.screens.visit import STILL
from tests.browser.accessibility import axe_clean
from tests.browser.browsing import Browsing

PATIENCE_MS = 120_000


def half_worn(serial: str) -> str:
    """A number with two places that cannot be read."""
    return f"{serial[:4]}?{serial[5]}?{serial[7:]}"


def whole(page: Page) -> None:
    """Wait for the parts that scripts fetch; the first of them starts a process of its own."""
    page.wait_for_function(STILL, timeout=PATIENCE_MS)


def test_a_claim_takes_four_keys_beside_what_is_typed(own_browsing: Browsing) -> None:
    """A half-worn number, Enter; Enter on the ball that is left; what failed; Tab, Enter: the claim is open."""
    page = own_browsing.open("/desk", "desk")
    keys = []

    def press(key: str) -> None:
        keys.append(key)
        page.keyboard.press(key)

    page.keyboard.type(half_worn(own_browsing.plant.places["serial"]))
    press("Enter")
    expect(page.get_by_role("link", name="Open a claim on it")).to_be_focused()
    press("Enter")
    expect(page.get_by_label("What failed")).to_be_focused()
    page.keyboard.type("shell")
    press("Tab")
    press("Enter")
    expect(page.get_by_role("status").filter(has_text="The claim is open.")).to_be_visible()
    assert 4 == len(keys)
    expect(page.locator("dd", has_text="shell separated from the core")).to_be_visible()


def test_what_the_book_says_follows_what_is_typed(browsing: Browsing) -> None:
    """It comes after the page, says so, and is asked anew when the day of purchase is typed."""
    page = browsing.open("/desk/claim/new?unit={unit}&serial={serial}", "desk")
    expect(page.get_by_text("the date of purchase is not known", exact=False)).to_be_visible()
    bought = "2026-09-15"
    page.get_by_label("Bought on").fill(bought)
    page.get_by_label("Bought on").blur()
    expect(page.get_by_text(re.compile(f"Bought on {bought}"))).to_be_visible()
    expect(page.get_by_role("status").filter(has_text="what the book says: shown now.")).to_have_count(1)


def test_a_claim_is_decided_by_the_form_that_comes_with_the_facts(own_browsing: Browsing, axe: None) -> None:
    """The part that a script fetched can be sent, and what is refused there takes the focus and keeps the choice."""
    page = own_browsing.open("/desk/claim/{claim_open}", "desk", refusals={422})
    page.get_by_label("Decision and its reason").select_option("accept:fault-found")
    page.get_by_role("button", name="Enter the decision").click()
    expect(page.locator(".refused")).to_be_focused()
    expect(page.get_by_label("Decision and its reason")).to_have_value("accept:fault-found")
    page.get_by_label("Decision and its reason").select_option("need-more:photo-missing")
    page.get_by_role("button", name="Enter the decision").click()
    expect(page.get_by_text("The decision is entered.")).to_be_visible()
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("region", name="The letter as it would go")).to_be_visible()
    page.get_by_role("button", name="Store it and enter that it went").click()
    expect(page.get_by_text("the book says that it went")).to_be_visible()
    axe_clean(page)


def test_two_clicks_lead_from_a_signal_to_a_hold(own_browsing: Browsing) -> None:
    """One on what stands out, one on the button; the reason is typed between, and the counts are there by then."""
    page = own_browsing.open("/desk/signals/shell/{lot_claimed}", "quality")
    page.get_by_role("link", name="Contain it").click()
    whole(page)
    expect(page.get_by_text("40 certain, 0 possible.")).to_be_visible()
    expect(page.get_by_label("Reason, in a few words")).to_be_focused()
    page.keyboard.type("cracks over the block")
    page.get_by_role("button", name="Open a case and hold").click()
    expect(page.get_by_text("what was ordered is held")).to_be_visible()


def test_answers_are_added_up_as_they_are_chosen(own_browsing: Browsing) -> None:
    """So many of each, and none left over; a total that does not add up enters nothing."""
    page = own_browsing.open("/containment/case/{case}/answers/{consignee}", "desk", refusals={400})
    choices = page.get_by_label(re.compile("^Answer about"))
    count = choices.count()
    choices.nth(0).select_option("sold")
    expect(page.locator("[data-of=sold]")).to_have_text("1")
    expect(page.locator("[data-of='']")).to_have_text(str(count - 1))
    page.get_by_label("How many balls they answer for").fill(str(count))
    page.get_by_role("button", name="Enter the answers").click()
    expect(page.get_by_text("answers do not add up").first).to_be_visible()
    page.get_by_label("All that are left without an answer below").select_option("in-stock")
    page.get_by_role("button", name="Enter the answers").click()
    expect(page.get_by_text("The answers are entered.")).to_be_visible()


def test_a_file_is_tried_and_taken_over_without_choosing_it_again(own_browsing: Browsing) -> None:
    """The trial is shown in the page, where the file stays chosen."""
    page = own_browsing.open("/desk/imports", "desk")
    lines = b"claim,opened_on,mode\r\nOLD-1,2026-03-05,void\r\nOLD-2,2026-03-06,no-such-mode\r\n"
    page.get_by_label("What its lines are").select_option("claims")
    page.get_by_label("The file").set_input_files({"name": "old.csv", "mimeType": "text/csv", "buffer": lines})
    page.get_by_role("button", name="Try it first").click()
    whole(page)
    expect(page.get_by_text("1 of 2 lines would be entered, 1 refused.")).to_be_visible()
    page.get_by_role("button", name="Take it over").click()
    expect(page.get_by_text("Every line was told of.")).to_be_visible(timeout=PATIENCE_MS)


@pytest.mark.parametrize("look", [Look("phone", dark=True, scripts=False), Look(scripts=False)], ids=["phone", "desk"])
def test_without_scripts_the_desk_gets_as_far(own_browsing: Browsing, look: Look) -> None:
    """From the number to an open claim and to what the facts speak for, by links and forms alone."""
    page = own_browsing.open("/desk", "desk", look)
    page.get_by_label("Number on the ball").fill(half_worn(own_browsing.plant.places["serial"]))
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Open a claim on it").click()
    page.get_by_role("link", name="Show it now").click()
    expect(page.get_by_text("What the facts speak for:")).to_be_visible()
    page.get_by_label("What failed").select_option("void")
    page.get_by_role("button", name="Open the claim").click()
    expect(page.get_by_text("The claim is open.")).to_be_visible()
    page.get_by_role("link", name="Show it now").click()
    expect(page.get_by_label("Decision and its reason")).to_be_visible()
