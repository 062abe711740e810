"""The engraving station in a browser: few motions, a label that can be read, keyboard, phone, no scripts, two stations."""

from __future__ import annotations

import io

import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from ops.screens.browser import Look
from tests.browser.accessibility import small_targets
from tests.browser.engraver import LOT, WAITING, at_station, engraving, number, register, register_and_see
from tests.browser.station_process import StationService
from tests.whole.serving import STEM


def serials(service: StationService) -> set[str]:
    """The numbers in the book."""
    return {str(unit.serial) for unit in service.balls()}


def count_acts(page: Page) -> None:
    """Count taps and Enter keys on the pages of a context; readings that are typed are not counted."""
    page.context.add_init_script(
        """for (const [kind, counts] of [["click", (e) => e.isTrusted && e.detail > 0], ["keydown", (e) => e.key === "Enter"]])
        addEventListener(kind, (e) => { if (counts(e)) sessionStorage.acts = Number(sessionStorage.acts || 0) + 1; }, true);"""
    )


def acts(page: Page) -> int:
    """How many were counted."""
    return int(page.evaluate("() => Number(sessionStorage.acts || 0)"))


def test_a_ball_takes_at_most_four_interactions_after_the_scan(
    service: StationService, context: BrowserContext
) -> None:
    """Take numbers, "Engraved", the read-back's Enter, the label printed by itself, and on to the next ball."""
    page = context.new_page()
    count_acts(page)
    page.add_init_script("window.print = () => { sessionStorage.printed = Number(sessionStorage.printed || 0) + 1; };")
    page.goto("/station/engraving")
    page.locator("#scan").fill(f"{STEM}/lot/SL-1")
    page.locator("#scan").press("Enter")
    page.wait_for_url("**/station/engraving?lot=SL-1")
    page.evaluate("() => { sessionStorage.acts = 0; }")

    page.get_by_role("button", name="Take numbers").click()
    serial = number(page)
    page.get_by_role("button", name="Engraved", exact=True).click()
    page.keyboard.type(f"{STEM}/01/09521234543213/21/{serial}")
    page.keyboard.press("Enter")
    page.wait_for_url("**/label**")
    page.wait_for_function("() => sessionStorage.printed === '1'")
    page.keyboard.press("Enter")
    page.wait_for_url("**/station/engraving?lot=SL-1")

    assert acts(page) <= 4
    assert serial in serials(service)
    assert number(page) != serial


def test_what_is_printed_can_be_read(context: BrowserContext) -> None:
    """Each page of the printed file is one label, whose code holds the address of the ball."""
    page = engraving(context)
    page.add_init_script("window.print = () => {};")
    serial = register(page, labels="2")
    page.wait_for_url("**/label**")
    document = pypdfium2.PdfDocument(page.pdf())
    read = []
    for sheet in document:
        picture = Image.open(io.BytesIO(_png(sheet)))
        read += [code.text for code in zxingcpp.read_barcodes(picture)]
    assert [f"{STEM}/01/09521234543213/21/{serial}"] * 2 == read
    assert 2 == len(document)


def _png(sheet: pypdfium2.PdfPage) -> bytes:
    out = io.BytesIO()
    sheet.render(scale=4).to_pil().save(out, "PNG")
    return out.getvalue()


def test_labels_are_not_printed_again_on_the_way_back(context: BrowserContext) -> None:
    """Coming back to the page of a label prints nothing; its button does."""
    page = engraving(context)
    page.add_init_script("window.print = () => { sessionStorage.printed = Number(sessionStorage.printed || 0) + 1; };")
    register(page, labels="1")
    page.wait_for_url("**/label**")
    page.wait_for_function("() => sessionStorage.printed === '1'")
    page.get_by_role("link", name="Next ball").click()
    page.go_back()
    page.wait_for_url("**/label**")
    page.get_by_role("button", name="Print").click()
    assert "2" == page.evaluate("() => sessionStorage.printed")


def test_a_wrong_read_back_is_shown_place_by_place(service: StationService, context: BrowserContext) -> None:
    """In words and form, before anything is sent; the field is ready to be typed anew."""
    page = engraving(context)
    serial = number(page)
    before = len(service.balls())
    wrong = ("2" if serial[0] != "2" else "3") + serial[1:]
    page.get_by_role("button", name="Engraved", exact=True).click()
    page.locator("#read").fill(wrong)
    page.locator("#read").press("Enter")
    told = page.locator("#step-read [data-compared]")
    expect(told).to_contain_text(f"Place 1: {serial[0]} is shown, {wrong[0]} was read.")
    expect(told.locator("td.differs")).to_have_count(2)
    expect(page.locator("#read")).to_be_focused()
    assert before == len(service.balls())
    page.get_by_label("Labels to print").fill("0")
    page.locator("#read").fill(serial)
    page.locator("#read").press("Enter")
    expect(page.locator("#number")).not_to_have_attribute("data-serial", serial)
    assert serial in serials(service)


def test_two_stations_engrave_one_lot_at_once(
    service: StationService, context: BrowserContext, browser: Browser
) -> None:
    """Their numbers differ, and every ball of both stands once."""
    other = at_station(browser, service.address, "Second line", signed_in=service.cookies)
    pages = [engraving(context), engraving(other)]
    before = serials(service)
    said = [register_and_see(page) for _ in range(3) for page in pages]
    assert 6 == len(set(said))
    assert set(said) == serials(service) - before
    other.close()


def test_a_second_window_of_one_browser_waits_for_the_first(context: BrowserContext) -> None:
    """It would show the same number: its buttons are closed until the first window is."""
    first = engraving(context)
    second = context.new_page()
    second.goto(LOT)
    expect(second.get_by_text("being engraved in another window")).to_be_visible()
    expect(second.get_by_role("button", name="Engraved", exact=True)).to_be_disabled()
    first.close()
    expect(second.get_by_role("button", name="Engraved", exact=True)).to_be_enabled()


def test_reload_in_the_middle_engraves_nothing_twice(service: StationService, context: BrowserContext) -> None:
    """After "Engraved" and a reload the same number is shown, since nothing was registered."""
    page = engraving(context)
    serial = number(page)
    page.get_by_role("button", name="Engraved", exact=True).click()
    page.reload()
    assert serial == number(page)
    assert serial not in serials(service)
    register_and_see(page)
    assert serial in serials(service)


def test_the_record_has_the_instant_of_the_tap(service: StationService, context: BrowserContext) -> None:
    """Sent later, it still says when "Engraved" was tapped, by the service's clock and how sure that is."""
    page = engraving(context)
    context.set_offline(True)
    page.get_by_role("button", name="Engraved", exact=True).click()
    at = str(page.locator("#step-read [name=at]").input_value())
    error = int(page.locator("#step-read [name=clock_error_s]").input_value())
    serial = number(page)
    page.get_by_label("Labels to print").fill("0")
    page.locator("#read").fill(serial)
    page.locator("#read").press("Enter")
    expect(page.locator(WAITING)).to_have_count(1)
    context.set_offline(False)
    expect(page.locator("#queue [data-list=sent] > li")).to_have_count(1)
    (ball,) = [unit for unit in service.balls() if unit.serial == serial]
    assert ball.engraved_ms == page.evaluate("at => Date.parse(at)", at)
    assert 1 <= error <= 60


def test_the_keyboard_alone_registers_a_ball(service: StationService, context: BrowserContext) -> None:
    """The focus is where the next key is wanted: the button, the read-back, the next number's button."""
    page = engraving(context)
    serial = number(page)
    expect(page.get_by_role("button", name="Engraved", exact=True)).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#read")).to_be_focused()
    page.keyboard.type(serial)
    page.keyboard.press("Enter")
    page.wait_for_url("**/label**")
    assert serial in serials(service)


def test_without_scripts_a_ball_is_registered_too(service: StationService, browser: Browser) -> None:
    """The two steps are two pages, and the label is shown to be printed."""
    look = Look(size="phone", scripts=False)
    context = at_station(browser, service.address, look=look, signed_in=service.cookies)
    page = context.new_page()
    page.goto(LOT)
    page.get_by_role("button", name="Take numbers").click()
    serial = number(page)
    page.get_by_role("button", name="Engraved", exact=True).click()
    page.locator("#read").fill(serial)
    page.get_by_role("button", name="Register the ball").click()
    expect(page.locator("img.label")).to_have_count(1)
    assert serial in serials(service)
    context.close()


@pytest.mark.parametrize("size", ["phone", "desk", "wall"])
def test_targets_are_large_and_nothing_is_cut_off(service: StationService, browser: Browser, size: str) -> None:
    """Buttons and fields of the station's own are 64 pixels high at least, and the page is no wider than its screen."""
    context = at_station(browser, service.address, look=Look(size=size), signed_in=service.cookies)
    page = engraving(context)
    page.get_by_role("button", name="Engraved", exact=True).click()
    small = [one for one in small_targets(page, 64) if "Sign out" not in one and 'class="plain"' not in one]
    assert [] == small
    assert page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    context.close()
