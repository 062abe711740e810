"""The inspection station in a browser: readings typed by a gauge, the verdict beside them, all of them entered as one."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Page, expect

from ledger.book.instant import Instant, format_instant
from ledger.line.inspections import Inspection
from ledger.store.reader import open_reader
from ops.screens.browser import Look
from tests.browser.accessibility import small_targets
from tests.browser.browsing import Browsing
from tests.browser.engraver import PATIENCE_MS
from tests.plant import said

expect.set_options(timeout=PATIENCE_MS)

TYPED = {
    "mass": "15.05 lb", "circumference": "26.852 in", "out_of_round": "0.0040", "hardness": "HD 75.5",
    "roughness": "38 uin", "rg_low": "2.548", "rg_high": "2.583 in", "top_weight": "2.50 oz",
}  # fmt: skip


def fresh_ball(browsing: Browsing) -> str:
    """A ball of the demo plant that nothing was read of: registered for the test."""
    plant = browsing.plant
    account = plant.book.account_of(plant.demo.tokens["engraving-1"])
    lot = next(lot for lot in ("SL-038A", plant.places["lot_shell"]) if plant.book.lot(lot).account.left)
    (serial,) = plant.book.allot_serials("ENG-1", 1, "inspection-test", account).serials
    ball = {"kind": "ball-engraved", "at": _now(browsing), "unit": "U-FRESH", "lot": lot, "serial": serial}
    _say(browsing, account, {**ball, "weight_class": 15, "station": "ENG-1"})
    return "U-FRESH"


def _now(browsing: Browsing) -> str:
    return format_instant(Instant(browsing.plant.book.clock_ms(), 0))


def _say(browsing: Browsing, account: Any, record: dict[str, Any]) -> None:
    browsing.plant.book.submit(said("inspection-test-ball", record), account).result(30)


def choose_gauges(page: Page) -> None:
    """Choose the first gauge of each quantity, once."""
    for select in page.locator("select[name^='gauge.']:enabled").all():
        if not select.input_value():
            select.select_option(index=1)


def test_a_gauge_types_and_the_verdict_forms(own_browsing: Browsing) -> None:
    """Each Enter goes on to what is missing, each value is judged at once, nothing is entered before the last."""
    unit = fresh_ball(own_browsing)
    page = own_browsing.open(f"/station/inspection?unit={unit}", "inspector")
    choose_gauges(page)
    page.locator("#value-mass").focus()
    for place, (quantity, text) in enumerate(TYPED.items()):
        expect(page.locator(f"#value-{quantity}")).to_be_focused()
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        expect(page.locator("#verdict [data-missing]")).to_have_attribute("data-missing", str(len(TYPED) - place - 1))
    expect(page.locator("#enter-all")).to_be_focused()
    expect(page.locator("#verdict [data-judged=hardness] .verdict").first).to_have_text("✓ conforms")
    assert [] == readings(own_browsing, unit)

    page.keyboard.press("Enter")
    expect(page.get_by_text("The readings are entered.")).to_be_visible()
    expect(page.locator("#scan")).to_be_focused()
    (record,) = readings(own_browsing, unit)
    assert set(TYPED) == {one.quantity for one in record.readings}

    # The gauges stay chosen for the next ball.
    page.goto(own_browsing.plant.at("/station/inspection?unit={unit}"))
    assert all(select.input_value() for select in page.locator("select[name^='gauge.']:enabled").all())


def readings(browsing: Browsing, unit: str) -> list[Inspection]:
    """The inspections of a ball in the book."""
    with open_reader(browsing.plant.book.store) as reader:
        return [one.record for one in reader.facts_about(f"unit:{unit}") if isinstance(one.record, Inspection)]


def test_several_readings_and_a_wrong_one(own_browsing: Browsing) -> None:
    """A tap on + asks for another reading and the figure that stands for them; a weight without its unit is refused in words."""
    unit = fresh_ball(own_browsing)
    page = own_browsing.open(f"/station/inspection?unit={unit}", "inspector")
    choose_gauges(page)
    field = page.locator("#value-hardness")
    expect(page.locator("#stat-hardness")).to_be_hidden()
    field.fill("75")
    page.get_by_role("button", name="Another reading of hardness").click()
    page.keyboard.type("76.5")
    expect(page.locator("#stat-hardness")).to_be_visible()
    page.keyboard.press("Enter")
    expect(page.locator("#verdict [data-judged=hardness]").first).to_contain_text("75.75 Shore D")

    page.locator("#value-mass").fill("15.3")
    page.locator("#value-mass").press("Enter")
    expect(page.locator("#verdict [data-wrong='value.mass']")).to_contain_text("names no unit")
    expect(page.locator("#value-mass")).to_have_attribute("aria-invalid", "true")


def test_readings_taken_without_a_connection_are_kept(own_browsing: Browsing) -> None:
    """The verdict waits, the readings do not: they are kept, and stand in the book once the connection is back."""
    unit = fresh_ball(own_browsing)
    page = own_browsing.open(f"/station/inspection?unit={unit}", "inspector")
    choose_gauges(page)
    page.context.set_offline(True)
    page.locator("#value-hardness").fill("75.5")
    page.locator("#value-hardness").press("Enter")
    expect(page.locator("#verdict-away")).to_be_visible()
    page.get_by_role("button", name="Enter all readings").click()
    expect(page.locator("#queue [data-list=waiting] > li")).to_have_count(1)
    page.context.set_offline(False)
    expect(page.locator("#queue [data-list=sent] > li")).to_have_count(1)
    assert [("75.5",)] == [one.values for record in readings(own_browsing, unit) for one in record.readings]


def test_targets_are_large_on_a_phone_too(browsing: Browsing) -> None:
    """Fields and buttons are 64 pixels high at least, and the page is no wider than its screen."""
    for size in ("phone", "desk"):
        page = browsing.open("/station/inspection?unit={unit_engraved}", "inspector", Look(size=size))
        small = [one for one in small_targets(page, 64) if "Sign out" not in one and 'class="plain"' not in one]
        assert [] == small
        assert page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth")
