"""The stations up to the finished ball in a browser: by thumb, by keys, by the clock, without scripts, two at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from ledger.line.lots import left_of
from ledger.line.rows import LotStep
from ledger.store.reader import open_reader
from ops.screens.browser import SIZES, Look, new_context
from ops.screens.visit import open_page, sign_in
from tests.browser.accessibility import axe_clean, small_targets, tab_through
from tests.browser.watching import Watch
from tests.pages.forms_sent import PASSWORD
from tests.pages.station_service import MINUTE, Floor, floor_running

LOT = "/station/shells?lot=SL-1"
GLOVE = 64

Opening = Callable[..., Page]


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant where SL-1 was demoulded just now, by a clock that stands."""
    with floor_running(tmp_path) as one:
        one.pours()
        yield one


@pytest.fixture
def opening(browser: Browser, floor: Floor) -> Iterator[Opening]:
    """Opens pages of the line's account, each in a context of its own, and fails the test for any trouble in them."""
    yield from _openings(browser, floor, sign_in(browser, floor.url, "Line", PASSWORD))


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Floor]:
    """The same plant for every test that enters nothing."""
    with floor_running(tmp_path_factory.mktemp("standing")) as one:
        one.pours()
        yield one


@pytest.fixture(scope="module")
def standing_cookies(browser: Browser, standing: Floor) -> Any:
    """Of the line's account there."""
    return sign_in(browser, standing.url, "Line", PASSWORD)


@pytest.fixture
def looking(browser: Browser, standing: Floor, standing_cookies: Any) -> Iterator[Opening]:
    """Opens pages of that plant, in the same way."""
    yield from _openings(browser, standing, standing_cookies)


def _openings(browser: Browser, floor: Floor, cookies: Any) -> Iterator[Opening]:
    watches: list[tuple[Page, Watch]] = []

    def opened(address: str, look: Look = Look(), refusals: tuple[int, ...] = ()) -> Page:  # noqa: B008  # it never changes
        context = new_context(browser, floor.url, look, cookies)
        page = context.new_page()
        watches.append((page, Watch(context, floor.url, refusals)))
        open_page(page, floor.url + address, scripts=look.scripts)
        return page

    yield opened
    for page, _ in watches:
        page.context.close()
    troubles = [trouble for _, watch in watches for trouble in watch.troubles]
    assert not troubles, "\n".join(troubles)


def left(floor: Floor, lot: str = "SL-1") -> int:
    """What is left of a lot."""
    row = floor.lot(lot)
    assert row is not None
    return left_of(row)


def steps_of(floor: Floor) -> list[str]:
    """The steps that stand for SL-1."""
    return [step.step for step in floor.book.lot("SL-1").steps]


def test_a_step_and_its_undo_by_thumb(floor: Floor, opening: Opening) -> None:
    """On a phone of 360 px: scan, tap the step, tap undo, choose the reason; everything pressed is large enough for a glove."""
    page = opening("/station", Look("phone"))
    page.get_by_label("Scan or type a traveller").fill("SL-1")
    page.keyboard.press("Enter")
    page.wait_for_url("**/station/shells?lot=SL-1")
    page.get_by_role("button", name="locating hole drilled", exact=True).tap()
    expect(page.locator(".done")).to_contain_text("Entered")
    assert ["hole-drilled"] == steps_of(floor)
    page.get_by_role("link", name="Undo").first.tap()
    page.get_by_label("wrong lot").tap()
    page.get_by_role("button", name="Take it back").tap()
    expect(page.locator(".said .tag").first).to_have_text("taken back")
    assert [] == steps_of(floor)


@pytest.mark.parametrize("address", ["/station", "/station/mixing", "/station/cores?from=BL-1&from=BT-1", LOT,
                                     "/station/finishing?lot=SL-1"])  # fmt: skip
def test_what_is_pressed_is_made_for_gloves(looking: Opening, address: str) -> None:
    """What is pressed or filled in on a station's page has 64 px, above and below the head and foot that all pages have."""
    page = looking(address, Look("phone"))
    page.evaluate("() => document.querySelectorAll('.top, .foot').forEach(part => part.remove())")
    assert [] == small_targets(page, GLOVE)


@pytest.mark.parametrize("address", [LOT, "/station/shells?from=CL-1", "/station/undo?entry=6"])
def test_a_station_s_page_is_accessible(looking: Opening, axe: None, address: str) -> None:
    """With closed steps, running clocks and open parts no rule that axe-core knows is broken, in the light or in the dark."""
    page = looking(address)
    page.evaluate("() => document.querySelectorAll('details').forEach(part => { part.open = true; })")
    axe_clean(page)
    page.emulate_media(color_scheme="dark")
    axe_clean(page, colours_alone=True)


def test_a_loss_is_recorded_by_keys_alone(floor: Floor, opening: Opening) -> None:
    """A wedge types the traveller and Enter; Tab reaches the rest, and Enter sends it."""
    page = opening("/station/shells")
    page.keyboard.type("sl-1")
    page.keyboard.press("Enter")
    page.wait_for_url("**lot=SL-1")
    assert ([], [], []) == tab_through(page)
    page.locator("summary", has_text="Pieces lost").focus()
    for key in ("Enter", "Tab", "3", "Tab", "s", "Tab", "v", "Tab", "Tab", "Enter"):
        page.keyboard.press(key)
    expect(page.locator(".lot-number")).to_have_text("17")
    assert 17 == left(floor)


def test_the_clock_counts(floor: Floor, opening: Opening) -> None:
    """While the cure lasts its steps are closed, tied to the reason, and the clock counts."""
    page = opening("/station")
    page.clock.install()
    floor.clock.ms += 30 * MINUTE
    open_page(page, floor.url + LOT)
    pins = page.get_by_role("button", name="pin filled", exact=True)
    expect(pins).to_be_disabled()
    expect(page.locator("#clock-pin-filled .left")).to_have_text("23:30:00")
    page.clock.run_for(90_000)
    expect(page.locator("#clock-pin-filled .left")).to_have_text("23:28:30")
    said = page.locator("#why-pin-filled")
    assert "why-pin-filled" == pins.get_attribute("aria-describedby")
    expect(said).to_contain_text("final-cure lasted 30 min")


def test_a_step_opens_when_its_time_has_come(floor: Floor, opening: Opening) -> None:
    """The page asks again when its clock has run out, and the button is open without a new page."""
    floor.clock.ms += 59 * MINUTE
    floor.say({"kind": "plan-set", "model": "M1", "windows": [{"stage": "final-cure", "min_s": 3_600}],
               "inspect": [], "rulebooks": []})  # fmt: skip
    page = opening("/station")
    page.clock.install()
    open_page(page, floor.url + LOT)
    pins = page.get_by_role("button", name="pin filled", exact=True)
    expect(pins).to_be_disabled()
    floor.clock.ms += 60_000
    page.clock.run_for(61_000)
    expect(pins).to_be_enabled()
    pins.click()
    expect(page.locator(".done")).to_contain_text("Entered")
    assert ["pin-filled"] == steps_of(floor)
    assert not floor.book.lot("SL-1").holds


def test_a_pour_begins_and_its_mould_is_timed(floor: Floor, opening: Opening) -> None:
    """By one press the pour begins without a new page; the lot is entered when the mould's time is over, and not before."""
    floor.say({"kind": "blocks-moulded", "lot": "BL-2", "model": "M1", "line": "L1", "mould_set": "MS1", "mixer": "MX1",
               "count": 20, "began_at": floor.clock.text, "batches": [{"lot": "BT-1", "kg": "1"}]})  # fmt: skip
    page = opening("/station/blocks?from=BT-1")
    page.clock.install()
    open_page(page, floor.url + "/station/blocks?from=BT-1")
    page.get_by_label("Model").select_option("M1")
    page.get_by_label("Kilograms").first.fill("12,5")
    page.get_by_label("Good pieces").fill("12")
    page.get_by_role("button", name="Pour begins now").click()
    enter = page.get_by_role("button", name="Demoulded: enter the block lot")
    expect(enter).to_be_disabled()
    expect(page.locator("#demould-local .left")).to_have_text("0:06:00")
    floor.clock.ms += 6 * MINUTE
    page.clock.run_for(361_000)
    expect(enter).to_be_enabled()
    enter.click()
    expect(page.locator(".done")).to_contain_text("Entered")
    assert 12 == left(floor, "BL-3")


def test_what_is_too_early_is_refused_in_the_page_and_can_be_told_as_done(floor: Floor, opening: Opening) -> None:
    """A form sent all the same is refused beside the form; the second way enters it, and its breach is shown."""
    floor.clock.ms += 10 * MINUTE
    page = opening(LOT, refusals=(422,))
    form = page.locator("form", has=page.locator("input[value=turned]"))
    form.get_by_label("Minutes it took").fill("5")
    # Its tap was on its way when the page learned that it may not.
    form.get_by_role("button", name="turned", exact=True).evaluate("one => { one.disabled = false; one.click(); }")
    expect(page.locator(".refused[role=alert]")).to_contain_text("final-cure lasted")
    assert "5" == form.get_by_label("Minutes it took").input_value()
    form.get_by_text("It was done already").click()
    form.get_by_role("button", name="Record it as done").click()
    expect(page.locator(".done .bad")).to_contain_text("final-cure lasted")
    assert ["turned"] == steps_of(floor)


def test_the_first_tap_of_a_device_has_the_service_s_time(browser: Browser, floor: Floor) -> None:
    """Its own clock may be wrong by months: until the service has said what time it is, the tap waits."""
    # A tap is dated to within half the way of a question: it may come out as before what was made at this very instant.
    floor.clock.ms += MINUTE
    context = new_context(browser, floor.url, Look(), sign_in(browser, floor.url, "Line", PASSWORD))
    held: list[Route] = []
    context.route("**/station/here", lambda route: held.append(route))  # noqa: PLW0108  # it wants a function
    page = context.new_page()
    with page.expect_request("**/station/here"):
        page.goto(floor.url + LOT, wait_until="commit")
    page.get_by_role("button", name="locating hole drilled", exact=True).click()
    held[0].continue_()
    expect(page.locator(".done")).to_contain_text("Entered")
    with open_reader(floor.book.store) as reader:
        (step,) = reader.rows(LotStep, "lot", "SL-1")
    assert abs(step.began_ms - floor.clock.ms) < MINUTE
    context.close()


def test_without_scripts_the_same_is_done(floor: Floor, opening: Opening) -> None:
    """Scan, step, early step refused with the reason, loss and undo: each by a form and a new page."""
    page = opening("/station", Look(scripts=False), refusals=(422,))
    page.get_by_label("Scan or type a traveller").fill("SL-1")
    page.get_by_role("button", name="Open").click()
    page.get_by_role("button", name="locating hole drilled", exact=True).click()
    assert "Entered" in page.locator(".done").inner_text()
    page.locator("summary", has_text="Pieces lost").click()
    page.get_by_label("How many", exact=True).fill("100")
    page.get_by_role("button", name="Record the loss").click()
    assert "100 lost from SL-1, 20 were left" in page.locator(".refused[role=alert]").inner_text()
    page.get_by_label("How many", exact=True).fill("4")
    page.get_by_role("button", name="Record the loss").click()
    assert ("16", 16) == (page.locator(".lot-number").inner_text(), left(floor))
    page.get_by_role("link", name="Undo").first.click()
    page.get_by_label("said twice").check()
    page.get_by_role("button", name="Take it back").click()
    assert ("20", 20) == (page.locator(".lot-number").inner_text(), left(floor))


def test_two_stations_at_once(floor: Floor, opening: Opening) -> None:
    """Two pages of one lot take from the book's count; the one that is late is told what is left, and enters nothing."""
    one, two = opening(LOT), opening(LOT, refusals=(422,))
    for page in (one, two):
        page.locator("summary", has_text="Pieces lost").click()
        page.get_by_label("How many", exact=True).fill("12")
    one.get_by_role("button", name="Record the loss").click()
    expect(one.locator(".lot-number")).to_have_text("8")
    two.get_by_role("button", name="Record the loss").click()
    expect(two.locator(".refused[role=alert]")).to_contain_text("12 lost from SL-1, 8 were left")
    assert 8 == left(floor)


def test_a_double_tap_enters_once(floor: Floor, opening: Opening) -> None:
    """Two quick taps, and the way back with another tap of the same form, leave one entry."""
    page = opening(LOT)
    page.locator("summary", has_text="Pieces lost").click()
    page.get_by_label("How many", exact=True).fill("2")
    page.get_by_role("button", name="Record the loss").dblclick()
    expect(page.locator(".lot-number")).to_have_text("18")
    assert 18 == left(floor)


def test_cautions_are_folded_after_the_first_look(looking: Opening) -> None:
    """On their first look on a device they are open; from then on folded, and always there."""
    page = looking(LOT)
    shown = page.locator(".caution")
    assert [True, True] == shown.evaluate_all("all => all.map(one => one.open)")
    page.reload()
    expect(shown.first).not_to_have_attribute("open", "")
    assert [False, False] == shown.evaluate_all("all => all.map(one => one.open)")


def test_nothing_is_wider_than_the_screen(looking: Opening) -> None:
    """From 320 px to a wall screen a station's page is as wide as the screen."""
    page = looking(LOT)
    wider = {}
    for size, screen in SIZES.items():
        page.set_viewport_size({"width": screen.width, "height": screen.height})
        wider[size] = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert dict.fromkeys(SIZES, 0) == wider
