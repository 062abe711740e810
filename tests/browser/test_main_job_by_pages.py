"""The whole main job through pages in a real browser: from a drum of resin to the public page of a number, and a claim."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from ledger.line.inspections import Inspection
from ledger.line.rows import Unit
from ledger.store.reader import open_reader
from tests.browser.browser_hand import BrowserHand
from tests.browser.engraver import at_station, engraving, register_and_see
from tests.pages.lot_by_forms import entered, mixed, moulded, poured
from tests.pages.station_service import WINDOWS, Floor, floor_running

GTIN = "09521234543213"


@pytest.fixture
def floor(browser: Browser, tmp_path: Path) -> Iterator[Floor]:
    """A plant with a model and its plan, and a gauge of mass in calibration."""
    del browser  # without one nothing is started
    with floor_running(tmp_path) as one:
        one.say(
            {"kind": "gauge-registered", "gauge": "G-1", "quantity": "mass", "unit": "lb", "resolution": "0.01"},
            {"kind": "gauge-calibrated", "gauge": "G-1", "as_found_good": True, "expanded": "0.02",
             "due_at": "2029-01-01T00:00:00.000+00:00"},
            {"kind": "plan-set", "model": "M1", "windows": WINDOWS, "rulebooks": [],
             "inspect": [{"quantity": "mass", "every": "unit"}]},
        )  # fmt: skip
        yield one


def finished_shells(browser: Browser, floor: Floor) -> None:
    """Drum, batch, blocks, cores, shells and their finish, each step pressed at its station."""
    hand = BrowserHand(browser, floor)
    mixed(hand)
    moulded(hand)
    poured(hand)
    hand.wait(25)
    hand.open("/station/shells?lot=SL-1")
    for step in (1, 2):
        entered(hand, hand.send("/station/shells/step", step))
    hand.open("/station?scan=sl-1")
    entered(hand, hand.send("/station/finishing/step", 0, grit="2000"))
    hand.close()


def signed_in(browser: Browser, floor: Floor, name: str) -> tuple[BrowserContext, Page]:
    """A page of somebody of the plant, with scripts."""
    context = at_station(browser, floor.url, name)
    return context, context.new_page()


def unit_of(floor: Floor, serial: str) -> Unit:
    """The ball that bears a number."""
    with open_reader(floor.book.store) as reader:
        (unit,) = reader.rows(Unit, "serial", serial)
    return unit


def test_a_ball_goes_from_the_drum_to_its_owner_through_pages(browser: Browser, floor: Floor) -> None:
    """Poured, engraved, weighed, judged, released, found by its label, and claimed: each by the page of whoever does it."""
    finished_shells(browser, floor)
    line = at_station(browser, floor.url, "Line")
    serial = register_and_see(engraving(line))
    line.close()
    unit = unit_of(floor, serial).unit

    context, page = signed_in(browser, floor, "Gauges")
    page.goto("/station/inspection")
    page.locator("#scan").fill(serial)
    page.locator("#scan").press("Enter")
    page.locator("select[name='gauge.mass']").select_option("G-1")
    page.locator("#value-mass").fill("15.05 lb")
    page.locator("#value-mass").press("Enter")
    expect(page.locator("#enter-all")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_text("The readings are entered.")).to_be_visible()
    context.close()
    with open_reader(floor.book.store) as reader:
        assert 1 == sum(isinstance(one.record, Inspection) for one in reader.facts_about(f"unit:{unit}"))

    context, page = signed_in(browser, floor, "Lead")
    page.goto(f"/ball/{unit}")
    page.locator("summary", has_text="Release at a grade").click()
    release = page.locator("form[action$='/release']")
    release.locator("[name=grade]").select_option("second")
    if release.locator("[name=confirm]").count():
        release.locator("[name=confirm]").check()
    release.locator("button[type=submit]").click()
    expect(page.get_by_text("It is entered.")).to_be_visible()
    page.goto("/desk")
    page.get_by_label("Number on the ball").fill(f"{serial[:4]}?{serial[5:]}")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Open a claim on it").click()
    page.get_by_label("What failed").select_option(index=1)
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Open the claim").click()
    expect(page.get_by_role("status").filter(has_text="The claim is open.")).to_be_visible()
    context.close()
    assert ("released", "second") == (unit_of(floor, serial).state, unit_of(floor, serial).grade)

    owner = browser.new_context(base_url=floor.url)
    phone = owner.new_page()
    phone.goto(f"/01/{GTIN}/21/{serial}")
    expect(phone.locator("h1")).to_have_text(serial)
    expect(phone.locator(".issued")).to_have_text("number issued by us")
    owner.close()
