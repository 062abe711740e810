"""The menu: each role sees the pages that it may open, and each place is a page that is there."""

from __future__ import annotations

from pathlib import Path

import pytest
from litestar import Litestar
from litestar.routes import HTTPRoute

from api.app import ROUTES
from api.operation import operation_of
from api.pages.menu import PLACES, places_for
from ledger.access.roles import MAY_DO, ROLES
from tests.api.running import Service, running
from tests.pages.forms_sent import Browser, give_password


@pytest.mark.parametrize("role", ROLES)
def test_a_role_sees_what_it_may_open(role: str) -> None:
    """A place is in the menu exactly if the role may do its action; nobody sees any."""
    assert [place for place in PLACES if role in MAY_DO[place.action]] == places_for([role])
    assert [] == places_for([])


def test_roles_together_see_what_each_sees() -> None:
    """Two hats, two menus, in one order."""
    both = places_for(["station", "desk"])
    assert {*places_for(["station"]), *places_for(["desk"])} == set(both)
    assert sorted(both, key=PLACES.index) == both


def test_every_place_is_a_page_of_its_action() -> None:
    """The address of each place is that of a page, which asks for the same action."""
    actions = {}
    for route in Litestar(route_handlers=ROUTES, openapi_config=None).routes:
        for handler in route.route_handlers if isinstance(route, HTTPRoute) else ():
            operation = operation_of(handler)
            if operation is not None and operation.page and "GET" in handler.http_methods:
                actions[route.path] = operation.action
    assert {place.address: place.action for place in PLACES} == {
        place.address: actions.get(place.address) for place in PLACES
    }


def test_each_role_finds_its_pages_on_the_front_page(tmp_path: Path) -> None:
    """The front page and the menu name the same places, and who looks; without an account neither names any."""
    with running(tmp_path) as service:
        for role in ROLES:
            browser = _signed_in(service, role)
            page = browser.open("/").text
            for place in PLACES:
                expected = 2 if place in places_for([role]) else 0
                assert expected == page.count(f'<a href="{place.address}"'), (role, place)
            assert f"You are signed in as The {role}." in page
            browser.close()
        nobody = service.nobody.get("/", headers={"accept": "text/html"}).text
    assert "<nav" not in nobody
    assert 'href="/sign-in"' in nobody


def _signed_in(service: Service, role: str) -> Browser:
    browser = Browser(service)
    browser.sign_in(give_password(service, role))
    return browser
