"""One browser for these tests, the demo plant built once and kept, and pages that are watched.

The browser lives for this folder alone: while it runs, no other event loop can run on the same thread.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from playwright.sync_api import Browser, BrowserContext, Error

from ops.demo_walk.people import PASSWORD
from ops.screens.__main__ import KEPT
from ops.screens.browser import MISSING, find_browser, open_browser
from ops.screens.plant import ROLES, DemoPlant, built_demo, demo_plant, sign_in_name
from ops.screens.visit import sign_in
from tests.browser.accessibility import AXE, AXE_MISSING
from tests.browser.browsing import Browsing
from tests.browser.engraver import at_station
from tests.browser.station_process import StationService, station_service


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Name what is missing once for all of these tests, in the closing summary, and not once a test."""
    report = yield
    if report.skipped and isinstance(report.longrepr, tuple):
        report.longrepr = (str(Path(__file__).parent), 1, report.longrepr[2])
    return report


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Chromium."""
    if find_browser() is None:
        pytest.skip(MISSING)
    with open_browser() as one:
        yield one


@pytest.fixture(scope="package")
def axe() -> None:
    """The accessibility checker is here."""
    if not AXE.is_file():
        pytest.skip(AXE_MISSING)


@pytest.fixture(scope="package")
def built(browser: Browser) -> Path:
    """The demo book, built once for every run of this version."""
    return built_demo(KEPT)


class SignedIn(NamedTuple):
    """A copy of the demo book in which a person of each role has signed in, and their cookies by role."""

    folder: Path
    cookies: dict[str, Any]


@pytest.fixture(scope="package")
def signed_in(browser: Browser, built: Path, tmp_path_factory: pytest.TempPathFactory) -> SignedIn:
    """Sessions stand in the store, so that one sign-in of each role is for every copy of this copy."""
    folder = tmp_path_factory.mktemp("signed-in") / "book"
    with demo_plant(built, folder) as one:
        return SignedIn(folder, {role: sign_in(browser, one.address, sign_in_name(role), PASSWORD) for role in ROLES})


@pytest.fixture(scope="package")
def plant(signed_in: SignedIn, tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoPlant]:
    """The demo plant that these tests look at; one that enters something takes ``own_plant``."""
    with demo_plant(signed_in.folder, tmp_path_factory.mktemp("plant") / "book") as one:
        yield one


@pytest.fixture(scope="package")
def cookies(signed_in: SignedIn) -> dict[str, Any]:
    """The cookies of every role, good at each plant of these tests."""
    return signed_in.cookies


@pytest.fixture
def own_plant(signed_in: SignedIn, tmp_path: Path) -> Iterator[DemoPlant]:
    """A demo plant of the test's own, to write to."""
    with demo_plant(signed_in.folder, tmp_path / "book") as one:
        yield one


@pytest.fixture(scope="package")
def station(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[StationService]:
    """One process of the service for the tests of stations; each begins anew with `StationService.begin`."""
    del browser  # without one nothing is started
    with station_service(tmp_path_factory.mktemp("station")) as one:
        yield one


@pytest.fixture
def service(station: StationService) -> StationService:
    """The service that runs, with no ball of this test in its book yet."""
    station.begin()
    return station


@pytest.fixture
def context(browser: Browser, service: StationService) -> Iterator[BrowserContext]:
    """A browser at the engraving station."""
    one = at_station(browser, service.address, signed_in=service.cookies)
    yield one
    for page in one.pages:
        # Closed in the middle of a navigation, a page of Chromium may never say that it is: it is led elsewhere first.
        with suppress(Error):
            page.goto("about:blank")
    one.close()


@pytest.fixture
def browsing(browser: Browser, plant: DemoPlant, cookies: dict[str, Any]) -> Iterator[Browsing]:
    """Pages of the shared plant, watched: any trouble fails the test at its end."""
    one = Browsing(browser, plant, cookies)
    yield one
    troubles = one.end()
    assert not troubles, "\n".join(troubles)


@pytest.fixture
def own_browsing(browser: Browser, own_plant: DemoPlant, cookies: dict[str, Any]) -> Iterator[Browsing]:
    """Pages of the test's own plant, watched in the same way."""
    one = Browsing(browser, own_plant, cookies)
    yield one
    troubles = one.end()
    assert not troubles, "\n".join(troubles)
