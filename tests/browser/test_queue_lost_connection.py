"""The queue of a station through a lost connection: nothing lost, nothing twice, all of it visible; asserted from the book."""

from __future__ import annotations

from functools import partial
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.browser.engraver import LOT, REFUSED, WAITING, at_station, engraving, number, register, register_and_see
from tests.browser.station_process import StationService

REGISTER = "**/station/engraving"


def serials(service: StationService) -> list[str]:
    """The numbers in the book, in the order of their engraving."""
    return [str(unit.serial) for unit in service.balls()]


def gone(status: int, route: Route) -> None:
    """What a gateway says that cannot reach its service."""
    route.fulfill(status=status, body="gone")


def emptied(page: Page) -> None:
    """Wait until nothing waits any more."""
    expect(page.locator(WAITING)).to_have_count(0)


def test_balls_registered_without_a_connection_are_sent_in_order(
    service: StationService, context: BrowserContext
) -> None:
    """Each is kept and listed, the next number follows, and with the connection they go out in the order of the taps."""
    page = engraving(context)
    said = [register_and_see(page)]
    # A page that was asking as the connection went would hold the queue until its question is given up.
    page.close()
    page = engraving(context)
    context.set_offline(True)
    for count in (1, 2, 3):
        said.append(register_and_see(page))
        expect(page.locator(WAITING)).to_have_count(count)
    assert 1 == len(service.balls())
    assert "No connection." in page.locator("#queue").inner_text()

    context.set_offline(False)
    emptied(page)
    assert said == serials(service)
    expect(page.locator("#queue [data-list=sent] > li")).to_have_count(3)


def test_a_service_killed_in_the_middle_loses_and_doubles_nothing(
    service: StationService, context: BrowserContext
) -> None:
    """The answer to one registration is lost with the process; two more are kept; started again, each stands once."""
    page = engraving(context)

    def enter_and_die(route: Route) -> None:
        if route.request.method == "POST":
            route.fetch()
            service.kill()
            route.abort()
        else:
            route.continue_()

    page.route(REGISTER, enter_and_die)
    said = [register_and_see(page)]
    page.unroute(REGISTER)
    said += [register_and_see(page), register_and_see(page)]
    expect(page.locator(WAITING)).to_have_count(3)
    assert said[:1] == serials(service)

    service.start()
    page.get_by_role("button", name="Send now").click()
    emptied(page)
    assert said == serials(service)


def test_what_waits_survives_reload_and_a_closed_tab(service: StationService, context: BrowserContext) -> None:
    """Without a connection the page opens from the browser, with the list; a number that waits is not shown again."""
    page = engraving(context)
    context.set_offline(True)
    said = [register_and_see(page)]
    page.reload()
    expect(page.locator(WAITING)).to_have_count(1)
    assert number(page) not in said
    said.append(register_and_see(page))
    page.close()

    again = context.new_page()
    again.goto(LOT)
    expect(again.locator(WAITING)).to_have_count(2)
    said.append(register_and_see(again))
    context.set_offline(False)
    emptied(again)
    assert said == serials(service)


def test_a_page_never_seen_says_so_without_a_connection(context: BrowserContext) -> None:
    """There is a page in words, and the way back to the stations."""
    page = engraving(context)
    context.set_offline(True)
    page.goto("/station/inspection?unit=U-404")
    expect(page.get_by_role("heading", name="No connection")).to_be_visible()


def test_what_the_book_refuses_stays_until_somebody_sees_to_it(
    service: StationService, context: BrowserContext
) -> None:
    """Kept offline, refused later: it is listed with the reason, its form opens again as typed, and it can be set aside."""
    page = engraving(context)
    context.set_offline(True)
    page.evaluate("() => { document.querySelector('#step-read [name=weight_class]').value = '99'; }")
    serial = register_and_see(page)
    context.set_offline(False)
    expect(page.locator(REFUSED)).to_have_count(1)
    assert "99" in page.locator(REFUSED).inner_text() or "16" in page.locator(REFUSED).inner_text()
    assert [] == serials(service)

    page.reload()
    expect(page.locator(REFUSED)).to_have_count(1)
    page.get_by_role("button", name="Open the form again").click()
    expect(page.locator("#step-read [name=serial]")).to_have_value(serial)
    page.get_by_role("button", name="Set aside").click()
    expect(page.locator(REFUSED)).to_have_count(0)


def test_signed_out_meanwhile_it_stays_and_asks_to_sign_in(
    service: StationService, context: BrowserContext, browser: Browser
) -> None:
    """Without a session nothing is lost; another account does not send it; its own account does, once."""
    page = engraving(context)
    context.set_offline(True)
    serial = register_and_see(page)
    session: Any = [one for one in context.cookies() if one["name"] == "pourbook"]
    context.clear_cookies(name="pourbook")
    context.set_offline(False)
    expect(page.get_by_text("Nobody is signed in any more")).to_be_visible()
    assert [] == serials(service)

    other = at_station(browser, service.address, "Second line", signed_in=service.cookies)
    others: Any = [one for one in other.cookies() if one["name"] == "pourbook"]
    context.add_cookies(others)
    other.close()
    page.goto(LOT)
    expect(page.get_by_text("Records of another account wait here as well:")).to_be_visible()
    assert [] == serials(service)

    context.clear_cookies(name="pourbook")
    context.add_cookies(session)
    page.goto(LOT)
    emptied(page)
    expect(page.locator("#queue [data-list=sent] > li")).to_have_count(1)
    assert [serial] == serials(service)


def test_two_tabs_send_each_record_once(service: StationService, context: BrowserContext) -> None:
    """Both hear of the connection at once; one sends, and the book has one entry a ball."""
    page = engraving(context)
    context.set_offline(True)
    said = [register_and_see(page), register_and_see(page)]
    second = context.new_page()
    second.goto("/station/engraving?lot=SL-1")
    posts: list[str] = []
    context.on("request", lambda request: posts.append(request.url) if request.method == "POST" else None)
    context.set_offline(False)
    emptied(page)
    emptied(second)
    assert said == serials(service)
    assert 2 == len(posts)


def test_a_tap_is_told_as_kept_while_another_tab_is_without_an_answer(
    service: StationService, context: BrowserContext
) -> None:
    """The other tab has its turn at the list and does not end it: what is recorded here waits, the next number follows."""
    page = engraving(context)
    other = context.new_page()
    other.goto("/station")
    account = page.locator("#queue").get_attribute("data-account")
    other.evaluate(
        "name => new Promise(held => { navigator.locks.request(name, () => { held(); return new Promise(() => {}); }); })",
        f"pourbook-queue {account}",
    )
    serial = register_and_see(page)
    expect(page.locator(WAITING)).to_have_count(1)
    assert serial != number(page)
    assert [] == service.balls()

    other.close()
    emptied(page)
    assert [serial] == serials(service)
    expect(page.locator("#queue [data-list=sent] > li")).to_have_count(1)


def test_a_gateway_without_its_service_is_no_answer(service: StationService, context: BrowserContext) -> None:
    """502, 503 and 504 keep the record; it goes out when the service answers."""
    page = engraving(context)
    for status in (502, 503, 504):
        page.route(REGISTER, partial(gone, status))
        serial = register(page)
        expect(page.locator(WAITING)).to_have_count(1)
        page.unroute(REGISTER)
        page.get_by_role("button", name="Send now").click()
        emptied(page)
        assert serial in serials(service)
        page = engraving(context)
    assert 3 == len(service.balls())


def test_a_double_tap_and_the_back_button_enter_once(service: StationService, context: BrowserContext) -> None:
    """Two Enters in a row send one form; back and forth shows the next number and enters nothing again."""
    page = engraving(context)
    serial = number(page)
    page.get_by_role("button", name="Engraved", exact=True).click()
    page.get_by_label("Labels to print").fill("0")
    page.locator("#read").fill(serial)
    page.evaluate("() => { const f = document.getElementById('step-read'); f.requestSubmit(); f.requestSubmit(); }")
    expect(page.locator("#number")).not_to_have_attribute("data-serial", serial)
    page.go_back()
    expect(page.locator("#number")).not_to_have_attribute("data-serial", serial)
    page.go_forward()
    page.reload()
    assert [serial] == serials(service)
