"""One browser for these tests, the demo plant built once and kept, and pages that are watched.

The browser lives for this folder alone: while it runs, no other event loop can run on the same thread.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from ops.screens.__main__ import KEPT
from ops.screens.browser import MISSING, find_browser, open_browser
from ops.screens.plant import DemoPlant, built_demo, demo_plant
from tests.browser.accessibility import AXE, AXE_MISSING
from tests.browser.browsing import Browsing


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


@pytest.fixture(scope="package")
def plant(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoPlant]:
    """The demo plant that these tests look at; one that enters something takes ``own_plant``."""
    with demo_plant(built, tmp_path_factory.mktemp("plant") / "book") as one:
        yield one


@pytest.fixture(scope="package")
def cookies() -> dict[str, Any]:
    """The cookies of roles that have signed in at ``plant``."""
    return {}


@pytest.fixture
def own_plant(built: Path, tmp_path: Path) -> Iterator[DemoPlant]:
    """A demo plant of the test's own, to write to."""
    with demo_plant(built, tmp_path / "book") as one:
        yield one


@pytest.fixture
def browsing(browser: Browser, plant: DemoPlant, cookies: dict[str, Any]) -> Iterator[Browsing]:
    """Pages of the shared plant, watched: any trouble fails the test at its end."""
    one = Browsing(browser, plant, cookies)
    yield one
    troubles = one.end()
    assert not troubles, "\n".join(troubles)


@pytest.fixture
def own_browsing(browser: Browser, own_plant: DemoPlant) -> Iterator[Browsing]:
    """Pages of the test's own plant, watched in the same way."""
    one = Browsing(browser, own_plant, {})
    yield one
    troubles = one.end()
    assert not troubles, "\n".join(troubles)
